"""Lay what was traced close to a round rim on to its circle: discs and rings are round."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from blanktrace.circle import dominant_circle
from blanktrace.parts import Division

FloatArray = NDArray[np.float64]

FEWEST_RIM_POINTS = 20

RIM_REACH_MM = 0.6
"""What was traced nearer to the rim than this is rim."""


def lay_rims(
    rings_mm: tuple[FloatArray, ...],
    division: Division,
    *,
    centre_mm: FloatArray,
    radius_mm: float,
) -> tuple[FloatArray, ...]:
    """Round the disc's rim, and each loop's outer and inner rim.

    Parameters
    ----------
    rings_mm : tuple of ndarray, shape (N, 2)
        The boundary, exterior first.
    division : Division
        Its parts; the disc is the first.
    centre_mm : ndarray, shape (2,)
    radius_mm : float
        The disc's circle; those of the loops are fitted.

    Returns
    -------
    tuple of ndarray, shape (N, 2)
    """
    rings = list(rings_mm)
    rims = [(0, centre_mm, radius_mm, RIM_REACH_MM), *_loop_rims(rings, division)]
    for part, centre, radius, reach in rims:
        rings = [
            _on_rim(ring, owner == part, centre, radius, reach)
            for ring, owner in zip(rings, division.owners, strict=True)
        ]
    return tuple(rings)


def _on_rim(
    ring_mm: FloatArray,
    mine: NDArray[np.bool_],
    centre_mm: FloatArray,
    radius_mm: float,
    reach_mm: float,
) -> FloatArray:
    """Lay what was traced close to a circle on to it: discs and rings are round.

    Shadow, side wall and highlights pull single stretches of a rim off by more
    than it is out of round. Real nicks, farther off, stay.
    """
    offset = ring_mm - centre_mm
    distance = np.hypot(*offset.T)
    near = mine & (np.abs(distance - radius_mm) < reach_mm)
    laid = centre_mm + offset * (radius_mm / np.maximum(distance, 1e-9))[:, None]
    return np.where(near[:, None], laid, ring_mm)


def _loop_rims(
    rings: list[FloatArray], division: Division
) -> list[tuple[int, FloatArray, float, float]]:
    """Fit each loop's outer and inner rim: part, centre, radius and how near is near."""
    points, owners = np.concatenate(rings), np.concatenate(division.owners)
    rims = []
    for index, part in enumerate(division.parts):
        if part.kind != "loop" or part.diameter_mm is None or part.inner_mm is None:
            continue
        mine = points[owners == index]
        distance = np.hypot(*(mine - part.centre_mm).T)
        middle = (part.diameter_mm + part.inner_mm) / 4
        reach = (part.diameter_mm - part.inner_mm) / 4
        for rim in (mine[distance > middle], mine[distance <= middle]):
            if len(rim) >= FEWEST_RIM_POINTS:
                centre, radius = dominant_circle(rim)
                rims.append((index, centre, radius, min(reach, RIM_REACH_MM)))
    return rims
