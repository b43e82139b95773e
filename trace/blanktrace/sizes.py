"""Take an outline's overall sizes, and tell whether it is the blank that calipers measured."""

from __future__ import annotations

import numpy as np

from blanktrace.outline import Outline
from blanktrace.scale import rectangle_sides

SAME_SHARE = 0.01
"""A side that differs from the measured size by more than this share is another blank's."""


def overall_mm(outline: Outline) -> tuple[float, float]:
    """Return an outline's length and width: along the tab and across it, where there is a disc.

    Without a disc they are the sides of the smallest rectangle round it.
    """
    if outline.rim is not None:
        left, low, right, high = outline.polygon.bounds
        return high - low, right - left
    return _rectangle_mm(outline)


def measured_itself(outline: Outline) -> bool:
    """Tell whether the measured size is this blank's, or of another one in the photo."""
    scale = outline.scale
    if scale.measured == "disc":
        return outline.rim is not None and outline.rim.diameter_mm == scale.measured_mm
    side_mm = _rectangle_mm(outline)[("length", "width").index(scale.measured)]
    return abs(side_mm - scale.measured_mm) <= SAME_SHARE * scale.measured_mm


def _rectangle_mm(outline: Outline) -> tuple[float, float]:
    return rectangle_sides(np.asarray(outline.polygon.exterior.coords)[:-1])
