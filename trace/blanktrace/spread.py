"""Say how much the blanks of one photograph differ in size.

Bought-in blanks vary, and a pocket must take the largest. They are all seen at
one scale, so what is wrong with that scale is wrong with all of them alike; what
the photograph adds to their differences is the rest.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from blanktrace.budget import CALIPER_CAUSE, FIT_CAUSE
from blanktrace.outline import Outline, SizeSpread
from blanktrace.sizes import sizes_mm, u95_of_size_mm

ALIKE = 0.1
"""Share by which the area of a blank of the same kind may differ: a twentieth of its size."""

COMMON = (CALIPER_CAUSE, FIT_CAUSE)
"""Causes that make all blanks of a photograph too large, or all too small."""


def add_spread(outlines: Sequence[Outline]) -> tuple[Outline, ...]:
    """Compare the blanks of a photograph, and note in each how far they differ.

    Parameters
    ----------
    outlines : sequence of Outline
        The measured one first. Others of another kind, by area or by having a
        disc or none, get no spread and count in none.

    Returns
    -------
    tuple of Outline
        In the same order. One blank alone has no spread.
    """
    first = outlines[0]
    alike = [one for one in outlines if _is_alike(one, first)]
    if len(alike) == 1:
        return tuple(outlines)
    spread = tuple(_spread_of(alike, index) for index in range(len(sizes_mm(first))))
    return tuple(replace(one, spread=spread) if _is_alike(one, first) else one for one in outlines)


def _is_alike(one: Outline, first: Outline) -> bool:
    share = one.polygon.area / first.polygon.area - 1
    return (one.rim is None) == (first.rim is None) and abs(share) <= ALIKE


def _spread_of(outlines: Sequence[Outline], index: int) -> SizeSpread:
    name = list(sizes_mm(outlines[0]))[index]
    found = np.array([sizes_mm(one)[name] for one in outlines])
    doubts = [
        u95_of_size_mm(one, size, without=COMMON) for one, size in zip(outlines, found, strict=True)
    ]
    return SizeSpread(
        size=name,
        count=len(found),
        smallest_mm=float(found.min()),
        mean_mm=float(found.mean()),
        largest_mm=float(found.max()),
        # Of the difference of two of them.
        photo_mm=float(np.sqrt(2 * np.mean(np.square(doubts)))),
    )
