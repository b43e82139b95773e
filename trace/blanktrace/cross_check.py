"""Compare an outline with sizes that were measured besides the one that sets the scale.

What moves the whole boundary outward or inward grows with the size it is compared
over; only the edge itself is as uncertain on a small part as on a large one, and
both ends of a size may err together.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from blanktrace.budget import CALIPER_LIMIT_MM, COVERAGE, EDGE_CAUSE
from blanktrace.lengths import format_length
from blanktrace.outline import Check, Outline
from blanktrace.sizes import overall_mm

OVERALL = ("length", "width")


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
    return Check(name, measured_mm, nearest, _u95_mm(outline, nearest))


def _found_mm(outline: Outline, name: str) -> list[float]:
    """Every size of that name that the outline has."""
    if name in OVERALL:
        return [overall_mm(outline)[OVERALL.index(name)]]
    parts = [part for part in outline.parts if part.kind == name]
    sizes = [part.width_mm if part.kind == "tab" else part.diameter_mm for part in parts]
    return [size for size in sizes if size is not None]


def _u95_mm(outline: Outline, size_mm: float) -> float:
    """Reckon the expanded uncertainty of the difference between a size found and one measured."""
    away_mm = np.hypot(*np.asarray(outline.polygon.exterior.coords).T)
    spans = size_mm / float(np.sqrt(np.mean(away_mm**2)))
    squares = [
        (cause.u95_mm * (2.0 if cause.cause == EDGE_CAUSE else spans)) ** 2
        for cause in outline.quality.contributions
    ]
    reading_mm = COVERAGE * CALIPER_LIMIT_MM / np.sqrt(3)
    return float(np.sqrt(sum(squares) + reading_mm**2))


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
