"""Take an outline's overall sizes, and tell whether it is the blank that calipers measured."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from blanktrace.budget import EDGE_CAUSE
from blanktrace.outline import Measured, Outline
from blanktrace.rectangle import rectangle_about

SAME_SHARE = 0.01
"""A side that differs from the measured size by more than this share is another blank's."""


def overall_mm(outline: Outline) -> tuple[float, float]:
    """Return an outline's length and width: along the tab and across it, where there is a disc.

    Without a disc they are the sides of the rectangle round it.
    """
    if outline.rim is not None:
        left, low, right, high = outline.polygon.bounds
        return high - low, right - left
    return _rectangle_mm(outline)


def sizes_mm(outline: Outline) -> dict[Measured, float]:
    """Return an outline's diameter, where it has a disc, its length and its width."""
    length_mm, width_mm = overall_mm(outline)
    sizes: dict[Measured, float] = {"length": length_mm, "width": width_mm}
    return sizes if outline.rim is None else {"disc": outline.rim.diameter_mm, **sizes}


def own_size_mm(outline: Outline) -> float:
    """Return an outline's own size of the kind that was measured, on it or on a blank beside it."""
    return sizes_mm(outline).get(outline.scale.measured, outline.scale.measured_mm)


def u95_of_size_mm(outline: Outline, size_mm: float, *, without: Sequence[str] = ()) -> float:
    """Reckon the expanded uncertainty (95 %) of one size of an outline.

    Parameters
    ----------
    outline : Outline
    size_mm : float
    without : sequence of str
        Causes that are to be left out.

    Notes
    -----
    What makes the whole outline too large grows with the size it is reckoned
    for. Only the edge is as uncertain on a small part as on a large one, and
    both ends of a size may err by it.
    """
    away_mm = np.hypot(*np.asarray(outline.polygon.exterior.coords).T)
    spans = size_mm / float(np.sqrt(np.mean(away_mm**2)))
    squares = [
        (cause.u95_mm * (2.0 if cause.cause == EDGE_CAUSE else spans)) ** 2
        for cause in outline.quality.contributions
        if cause.cause not in without
    ]
    return float(np.sqrt(sum(squares)))


def measured_itself(outline: Outline) -> bool:
    """Tell whether the measured size is this blank's, or of another one in the photo."""
    scale = outline.scale
    if scale.measured == "disc":
        return outline.rim is not None and outline.rim.diameter_mm == scale.measured_mm
    side_mm = _rectangle_mm(outline)[("length", "width").index(scale.measured)]
    return abs(side_mm - scale.measured_mm) <= SAME_SHARE * scale.measured_mm


def _rectangle_mm(outline: Outline) -> tuple[float, float]:
    rectangle = rectangle_about(np.asarray(outline.polygon.exterior.coords)[:-1])
    return rectangle.long, rectangle.short
