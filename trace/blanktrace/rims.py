"""Lay what was traced close to a round rim on to its circle: of discs, rings and drilled holes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blanktrace.circle import dominant_circle
from blanktrace.parts import Division

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
    rings = list(rings_mm)
    rims = [] if disc is None else [_Rim(0, *disc, RIM_REACH_MM)]
    for rim in (*rims, *_loop_rims(rings, division), *_hole_rims(rings, division)):
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


def _loop_rims(rings: list[FloatArray], division: Division) -> list[_Rim]:
    """Fit each loop's outer and inner rim."""
    points, owners = np.concatenate(rings), np.concatenate(division.owners)
    rims = []
    for index, part in enumerate(division.parts):
        if part.kind != "loop" or part.diameter_mm is None or part.inner_mm is None:
            continue
        mine = points[owners == index]
        distance = np.hypot(*(mine - part.centre_mm).T)
        middle = (part.diameter_mm + part.inner_mm) / 4
        reach = min((part.diameter_mm - part.inner_mm) / 4, RIM_REACH_MM)
        for rim in (mine[distance > middle], mine[distance <= middle]):
            if len(rim) >= FEWEST_RIM_POINTS:
                rims.append(_Rim(index, *dominant_circle(rim), reach))
    return rims


def _hole_rims(rings: list[FloatArray], division: Division) -> list[_Rim]:
    """Fit the rim of each hole that is round."""
    points, owners = np.concatenate(rings), np.concatenate(division.owners)
    rims = []
    for index, part in enumerate(division.parts):
        mine = points[owners == index]
        if part.kind != "hole" or len(mine) < FEWEST_RIM_POINTS:
            continue
        centre, radius = dominant_circle(mine)
        off = np.abs(np.hypot(*(mine - centre).T) - radius)
        on_rim = np.mean(off < min(ROUND_MM, ROUND_SHARE * radius))
        if on_rim >= LEAST_ON_RIM and np.mean(off < RIM_REACH_MM) >= LEAST_NEAR_RIM:
            rims.append(_Rim(index, centre, radius, RIM_REACH_MM))
    return rims
