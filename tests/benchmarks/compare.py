"""Measure how far a traced outline is from the truth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import optimize, spatial
from shapely import Polygon

FloatArray = NDArray[np.float64]

SPACING_MM = 0.1

TURNS = 36
"""Turns that a fit may start from: a blank with no tab points anywhere."""
FITTED = 2
FEW = 300
MANY = 3000
"""Points that choose among the turns, and points that fit: more say no more."""


@dataclass(frozen=True)
class Distance:
    """Distances between two boundaries, both ways, after the best rigid move.

    A shop lays the blank into the pocket, so where the outline's frame lies does
    not count, but its size and shape do.
    """

    rms_mm: float
    worst_mm: float


def distance(found: Polygon, truth: Polygon) -> Distance:
    """Compare two outlines, holes included."""
    a, b = _points(found), _points(truth)
    tree = spatial.cKDTree(b)

    fitted = _thinned(a, MANY)
    best = min(
        (
            optimize.least_squares(
                lambda p: tree.query(_moved(fitted, p))[0],
                start,
                loss="soft_l1",
                f_scale=0.2,
                x_scale=[0.1, 0.1, 0.003],
                max_nfev=50,
            )
            for start in _starts(a, b, tree)
        ),
        key=lambda solution: solution.cost,
    )
    there = _moved(a, best.x)
    both = np.concatenate([tree.query(there)[0], spatial.cKDTree(there).query(b)[0]])
    # Points of one boundary fall between those of the other.
    squared = np.maximum(both**2 - SPACING_MM**2 / 24, 0.0)
    return Distance(float(np.sqrt(squared.mean())), float(both.max()))


def _starts(a: FloatArray, b: FloatArray, tree: spatial.cKDTree) -> list[FloatArray]:
    """Choose the likeliest turns, origin on origin or middle on middle."""
    few = _thinned(a, FEW)

    def start(angle: float, about: tuple[FloatArray, FloatArray]) -> FloatArray:
        turned = _moved(about[0][None], np.array([0.0, 0.0, angle]))[0]
        return np.array([*(about[1] - turned), angle])

    def cost(p: FloatArray) -> float:
        return float(np.minimum(tree.query(_moved(few, p))[0], 2.0).mean())

    middles = (a.mean(axis=0), b.mean(axis=0))
    own = (np.zeros(2), np.zeros(2))
    turns = [start(2 * np.pi * k / TURNS, on) for on in (own, middles) for k in range(TURNS)]
    return sorted(turns, key=cost)[:FITTED]


def _moved(points: FloatArray, p: FloatArray) -> FloatArray:
    cos, sin = np.cos(p[2]), np.sin(p[2])
    return np.asarray(points @ np.array([[cos, sin], [-sin, cos]]) + p[:2])


def _thinned(points: FloatArray, most: int) -> FloatArray:
    return points[:: max(1, len(points) // most)]


def _points(polygon: Polygon) -> FloatArray:
    """Points along every ring, evenly by length, so that no part counts for its vertices."""
    rings = [polygon.exterior, *polygon.interiors]
    return np.concatenate(
        [
            shapely.get_coordinates(ring.interpolate(np.arange(0.0, ring.length, SPACING_MM)))
            for ring in rings
        ]
    )
