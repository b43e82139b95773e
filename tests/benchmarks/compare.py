"""Measure how far a traced outline is from the truth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, spatial
from shapely import Polygon

FloatArray = NDArray[np.float64]

SPACING_MM = 0.1


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

    def moved(p: FloatArray) -> FloatArray:
        cos, sin = np.cos(p[2]), np.sin(p[2])
        return a @ np.array([[cos, sin], [-sin, cos]]) + p[:2]

    starts = [(0.0, 0.0, 0.0), (0.0, 0.0, np.pi)]
    best = min(
        (
            optimize.least_squares(
                lambda p: tree.query(moved(p))[0],
                start,
                loss="soft_l1",
                f_scale=0.2,
                x_scale=[0.1, 0.1, 0.003],
            )
            for start in starts
        ),
        key=lambda solution: solution.cost,
    )
    there = moved(best.x)
    both = np.concatenate([tree.query(there)[0], spatial.cKDTree(there).query(b)[0]])
    # Points of one boundary fall between those of the other.
    squared = np.maximum(both**2 - SPACING_MM**2 / 24, 0.0)
    return Distance(float(np.sqrt(squared.mean())), float(both.max()))


def _points(polygon: Polygon) -> FloatArray:
    rings = [polygon.exterior, *polygon.interiors]
    return np.concatenate([np.asarray(ring.segmentize(SPACING_MM).coords)[:, :2] for ring in rings])
