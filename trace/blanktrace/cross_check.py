"""Compare an outline with sizes that were measured besides the one that sets the scale.

A difference is judged by what the outline's size and the calipers' reading are
uncertain by.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from blanktrace.budget import CALIPER_LIMIT_MM, COVERAGE
from blanktrace.lengths import format_length
from blanktrace.outline import Check, Outline
from blanktrace.sizes import sizes_mm, u95_of_size_mm


def cross_check(outline: Outline, also_mm: Mapping[str, float]) -> Outline:
    """Compare further measured sizes with an outline, and note what came of it.

    Parameters
    ----------
    outline : Outline
    also_mm : mapping
        Sizes by name: ``length``, ``width``, ``disc``, ``loop`` and ``hole`` (their
        diameters), ``tab`` (its width). Where several parts share a name, the one
        of the nearest size is meant.

    Returns
    -------
    Outline
        With the comparisons among its checks, and a warning for each that fails.
    """
    checks = tuple(_check(outline, name, measured) for name, measured in also_mm.items())
    said = [_sentence(check) for check in checks if not check.agrees]
    quality = outline.quality
    return replace(
        outline,
        quality=replace(quality, checks=checks, warnings=(*said, *quality.warnings)),
    )


def _check(outline: Outline, name: str, measured_mm: float) -> Check:
    found = _found_mm(outline, name)
    if not found:
        return Check(name, measured_mm, None, 0.0)
    nearest = min(found, key=lambda size_mm: abs(size_mm - measured_mm))
    reading_mm = COVERAGE * CALIPER_LIMIT_MM / np.sqrt(3)
    u95_mm = float(np.hypot(u95_of_size_mm(outline, nearest), reading_mm))
    return Check(name, measured_mm, nearest, u95_mm)


def _found_mm(outline: Outline, name: str) -> list[float]:
    """Every size of that name that the outline has."""
    overall = sizes_mm(outline)
    if name in overall:
        return [overall[name]]
    parts = [part for part in outline.parts if part.kind == name]
    sizes = [part.width_mm if part.kind == "tab" else part.diameter_mm for part in parts]
    return [size for size in sizes if size is not None]


def _sentence(check: Check) -> str:
    measured = f"You measured a {check.size} of {format_length(check.measured_mm)}"
    if check.found_mm is None:
        return (
            f"{measured}; no {check.size} is found in the outline. Check on the picture what was "
            "traced."
        )
    return (
        f"{measured}; the outline says {format_length(check.found_mm)} "
        f"±{format_length(check.u95_mm)}. One of them is wrong: check both readings of the "
        "calipers, the heights given with --thick, and on the picture that the line lies on the "
        "edge there."
    )
