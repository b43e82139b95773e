"""Choose between the two ways a camera can lean over one disc.

The image of a disc fits two leans, to opposite sides of the line of sight. What
hangs on the disc tells them apart: seen under the wrong one, a round loop turns
out oval, a tab tapers, a blank that is alike on both sides of its axis is not. The
camera being held nearly level speaks for the smaller lean; how much each of these
may be off in an honest blank weighs them against each other.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, spatial

from blanktrace.parts import Division

FloatArray = NDArray[np.float64]

USUAL_TILT_DEG = 4.0
"""Standard deviation of the lean of a phone held above a sheet with some care."""

USUAL_ROUND_MM, USUAL_TAPER_MM, USUAL_SHAPE_MM = 0.04, 0.15, 0.4
"""How far a bought-in loop is out of round; a tab, cut from a strip, out of parallel; and out of
symmetry."""

STRANGE_FLAW = 3.5
"""In units of what is usual, beyond which a flaw says ever less: the boundary may be wrong, not the
lean. Of two, though, the larger always says more."""

FEWEST_POINTS = 20

FEWEST_SIDE_POINTS = 12
LEAST_SIDE_MM = 2.0
"""What a tab's side must show, in points and in length, for its direction to be told."""

SIDE_STRAY_MM = 0.1
"""Distance from a side's line at which a point has lost half its pull: a stitch, a burr."""

BENT_MM = 0.3
"""Median distance from its line beyond which a side is no straight one, and says nothing."""

CLEAR = 4.0
"""Difference of the two costs (as in a chi-square) above which the choice is clear."""


@dataclass(frozen=True)
class Judgement:
    """How well a lean explains the rest of the blank.

    Attributes
    ----------
    cost : float
        Sum of squared departures in units of what is usual, large ones as their logarithms.
    witnesses : tuple of str
        What was there to judge by.
    """

    cost: float
    witnesses: tuple[str, ...]


def judge_lean(
    rings_mm: tuple[FloatArray, ...], division: Division, *, centre_mm: FloatArray, tilt_deg: float
) -> Judgement:
    """Say how believable a blank looks under a lean.

    Parameters
    ----------
    rings_mm : tuple of ndarray, shape (N, 2)
        Boundary brought to the plane under that lean.
    division : Division
        Its parts.
    centre_mm : ndarray, shape (2,)
        The disc's centre.
    tilt_deg : float

    Returns
    -------
    Judgement
    """
    flaws: dict[str, float] = {}  # in units of what is usual
    points = np.concatenate(rings_mm) - centre_mm
    owners = np.concatenate(division.owners)
    kinds = np.array([part.kind for part in division.parts])
    for index in np.flatnonzero(kinds == "loop"):
        flaws["the loop's roundness"] = _out_of_round(points[owners == index]) / USUAL_ROUND_MM
    tab = points[np.isin(owners, np.flatnonzero(kinds == "tab"))]
    if len(tab) > FEWEST_POINTS and np.isfinite(division.axis_rad):
        flaws["the tab's symmetry"] = _asymmetry(tab, division.axis_rad) / USUAL_SHAPE_MM
        taper = _taper(tab, division.axis_rad)
        if taper is not None:
            flaws["the tab's parallel sides"] = taper / USUAL_TAPER_MM
    strange = (np.array(list(flaws.values())) / STRANGE_FLAW) ** 2
    cost = (tilt_deg / USUAL_TILT_DEG) ** 2 + STRANGE_FLAW**2 * np.sum(np.log1p(strange))
    return Judgement(cost=float(cost), witnesses=tuple(flaws))


def _out_of_round(points: FloatArray) -> float:
    """Half the difference of the long and short diameter of a ring's two rims."""
    centre = (points.max(axis=0) + points.min(axis=0)) / 2
    for _ in range(8):
        offset = points - centre
        angle = np.arctan2(offset[:, 1], offset[:, 0])
        distance = np.hypot(*offset.T)
        outer = distance > (distance.max() + distance.min()) / 2
        basis = np.column_stack(
            [outer, ~outer, np.cos(angle), np.sin(angle), np.cos(2 * angle), np.sin(2 * angle)]
        ).astype(np.float64)
        weights = np.ones(len(points))
        for _ in range(3):
            scaled = basis * weights[:, None]
            solution = np.linalg.lstsq(scaled, distance * weights, rcond=None)[0]
            off = np.abs(distance - basis @ solution)
            weights = 1 / (1 + (off / max(2 * float(np.median(off)), 1e-3)) ** 2)
        centre = centre + solution[2:4]
    return float(np.hypot(*solution[4:6]))


def _asymmetry(points: FloatArray, axis_rad: float) -> float:
    """Root mean square distance from a blank's far parts to their mirror image."""
    points = points[:: max(1, len(points) // 400)]

    def distances(angle: float) -> FloatArray:
        along = np.array([np.cos(angle), np.sin(angle)])
        mirrored = 2 * (points @ along)[:, None] * along - points
        return np.asarray(spatial.cKDTree(points).query(mirrored)[0])

    best = optimize.minimize_scalar(
        lambda angle: float(np.mean(np.minimum(distances(angle), 1.0) ** 2)),
        bounds=(axis_rad - 0.06, axis_rad + 0.06),
        method="bounded",
    )
    nearest_two = np.asarray(spatial.cKDTree(points).query(points, k=2)[0], dtype=np.float64)
    spacing = float(np.median(nearest_two[:, 1]))
    # Points fall between each other's mirror images by up to half their spacing.
    return float(np.sqrt(max(best.fun - spacing**2 / 12, 0.0)))


def _taper(points: FloatArray, axis_rad: float) -> float | None:
    """Change of a tab's half width over its length, from lines through its two sides."""
    along = points @ np.array([np.cos(axis_rad), np.sin(axis_rad)])
    across = points @ np.array([-np.sin(axis_rad), np.cos(axis_rad)])
    reach = np.percentile(along, [15, 75])
    slopes = []
    for side in (across > 0, across < 0):
        keep = side & (along > reach[0]) & (along < reach[1])
        keep &= np.abs(across) > 0.6 * np.median(np.abs(across[keep])) if keep.any() else keep
        if keep.sum() < FEWEST_SIDE_POINTS or np.ptp(along[keep]) < LEAST_SIDE_MM:
            return None
        weights = np.ones(int(keep.sum()))
        for _ in range(5):
            slope, level = np.polyfit(along[keep], across[keep], 1, w=weights)
            off = np.abs(across[keep] - slope * along[keep] - level)
            weights = 1 / (1 + (off / SIDE_STRAY_MM) ** 2)
        if np.median(off) > BENT_MM:
            return None
        slopes.append(slope)
    return float(abs(slopes[0] - slopes[1]) / 2 * (reach[1] - reach[0]))
