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


@dataclass(frozen=True, eq=False)
class _Boundary:
    """A boundary as short straight pieces, each about one of its points."""

    points: FloatArray
    tangents: FloatArray
    tree: spatial.cKDTree

    def distances(self, places: FloatArray) -> FloatArray:
        """Distance from each place to the piece about the nearest point."""
        nearest = self.tree.query(places)[1]
        away = places - self.points[nearest]
        along = np.einsum("nk,nk->n", away, self.tangents[nearest])
        along = np.clip(along, -SPACING_MM / 2, SPACING_MM / 2)
        return np.hypot(*(away - along[:, None] * self.tangents[nearest]).T)


def distance(found: Polygon, truth: Polygon) -> Distance:
    """Compare two outlines, holes included."""
    of, to = _boundary(found), _boundary(truth)
    fitted = _thinned(of.points, MANY)
    best = min(
        (
            optimize.least_squares(
                lambda p: to.distances(_moved(fitted, p)),
                start,
                loss="soft_l1",
                f_scale=0.2,
                x_scale=[0.1, 0.1, 0.003],
                max_nfev=50,
            )
            for start in _starts(of.points, to.points, to.tree)
        ),
        key=lambda solution: solution.cost,
    )
    there = _moved(of.points, best.x)
    turned = _moved(of.tangents, np.array([0.0, 0.0, best.x[2]]))
    moved = _Boundary(there, turned, spatial.cKDTree(there))
    both = np.concatenate([to.distances(there), moved.distances(to.points)])
    return Distance(float(np.sqrt(np.mean(both**2))), float(both.max()))


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


def _boundary(polygon: Polygon) -> _Boundary:
    """Points along every ring, evenly by length, so that no part counts for its vertices."""
    rings = [
        shapely.get_coordinates(ring.interpolate(np.arange(0.0, ring.length, SPACING_MM)))
        for ring in (polygon.exterior, *polygon.interiors)
    ]
    points = np.concatenate(rings)
    along = np.concatenate([np.roll(ring, -1, axis=0) - np.roll(ring, 1, axis=0) for ring in rings])
    tangents = along / np.maximum(np.hypot(*along.T), np.finfo(float).tiny)[:, None]
    return _Boundary(points, tangents, spatial.cKDTree(points))
