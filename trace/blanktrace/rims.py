"""Lay what was traced close to a round rim on to its circle: of discs, rings and drilled holes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blanktrace.circle import dominant_circle
from blanktrace.parts import Division, Part

FloatArray = NDArray[np.float64]

FEWEST_RIM_POINTS = 20

RIM_REACH_MM = 0.6
"""What was traced nearer to the rim than this is rim."""

ROUND_MM, ROUND_SHARE = 0.2, 0.08
LEAST_ON_RIM, LEAST_NEAR_RIM = 0.6, 0.85
"""A hole is round if most of it lies within this, or this share of its radius, of one circle, and
nearly all near it: a wall in view, or the end of a shadow on the sheet, draws out one side."""


@dataclass(frozen=True, eq=False)
class _Rim:
    """A circle that part of a boundary follows, and how near to it is near."""

    part: int
    centre_mm: FloatArray
    radius_mm: float
    reach_mm: float


def lay_rims(
    rings_mm: tuple[FloatArray, ...],
    division: Division,
    *,
    disc: tuple[FloatArray, float] | None = None,
) -> tuple[FloatArray, ...]:
    """Round the disc's rim, each loop's outer and inner rim, and the holes that are round.

    Parameters
    ----------
    rings_mm : tuple of ndarray, shape (N, 2)
        The boundary, exterior first.
    division : Division
        Its parts; a disc is the first.
    disc : (ndarray, float), optional
        Centre and radius of the disc, where there is one; the other circles are fitted.

    Returns
    -------
    tuple of ndarray, shape (N, 2)
    """
    rims = [] if disc is None else [_Rim(0, *disc, RIM_REACH_MM)]
    points, owners = np.concatenate(rings_mm), np.concatenate(division.owners)
    for index, part in enumerate(division.parts):
        if part.kind == "loop":
            rims += _loop_rims(index, part, points[owners == index])
        elif part.kind == "hole":
            rims += _hole_rims(index, points[owners == index])
    rings = list(rings_mm)
    for rim in rims:
        rings = [
            _on_rim(ring, owner == rim.part, rim)
            for ring, owner in zip(rings, division.owners, strict=True)
        ]
    return tuple(rings)


def _on_rim(ring_mm: FloatArray, mine: NDArray[np.bool_], rim: _Rim) -> FloatArray:
    """Lay what was traced close to a circle on to it: discs and rings are round.

    Shadow, side wall and highlights pull single stretches of a rim off by more
    than it is out of round. Real nicks, farther off, stay.
    """
    offset = ring_mm - rim.centre_mm
    distance = np.hypot(*offset.T)
    near = mine & (np.abs(distance - rim.radius_mm) < rim.reach_mm)
    laid = rim.centre_mm + offset * (rim.radius_mm / np.maximum(distance, 1e-9))[:, None]
    return np.where(near[:, None], laid, ring_mm)


def _loop_rims(index: int, loop: Part, points: FloatArray) -> list[_Rim]:
    """Fit a loop's outer and inner rim."""
    if loop.diameter_mm is None or loop.inner_mm is None:
        return []
    distance = np.hypot(*(points - loop.centre_mm).T)
    middle = (loop.diameter_mm + loop.inner_mm) / 4
    reach = min((loop.diameter_mm - loop.inner_mm) / 4, RIM_REACH_MM)
    return [
        _Rim(index, *dominant_circle(rim), reach)
        for rim in (points[distance > middle], points[distance <= middle])
        if len(rim) >= FEWEST_RIM_POINTS
    ]


def _hole_rims(index: int, points: FloatArray) -> list[_Rim]:
    """Fit a hole's rim, if it is round."""
    if len(points) < FEWEST_RIM_POINTS:
        return []
    centre, radius = dominant_circle(points)
    off = np.abs(np.hypot(*(points - centre).T) - radius)
    on_rim = np.mean(off < min(ROUND_MM, ROUND_SHARE * radius))
    if on_rim < LEAST_ON_RIM or np.mean(off < RIM_REACH_MM) < LEAST_NEAR_RIM:
        return []
    return [_Rim(index, centre, radius, RIM_REACH_MM)]
