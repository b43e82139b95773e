"""Measure how far a path of lines and arcs and a ring of points lie apart, both ways."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from blanktrace.path import Path, arc_of

FloatArray = NDArray[np.float64]

SAMPLE_MM = 0.05
MOST_SAMPLES = 20_000
"""The path is looked at every 0.05 mm, more coarsely where that would be too often."""


def path_deviation_mm(path: Path, points_mm: ArrayLike) -> float:
    """Find the largest distance between a closed path and a closed ring of points.

    Parameters
    ----------
    path : Path
        Closed.
    points_mm : array_like, shape (N, 2)
        The ring's points in order, the first not repeated.

    Returns
    -------
    float
        The larger of two: the farthest that any of the points lies from the
        path, and the farthest that any place of the path lies from the ring's
        straight edges.

    Raises
    ------
    ValueError
        If the path is open.
    """
    if not path.closed:
        raise ValueError("path must be closed to be compared with a ring")
    points = np.asarray(points_mm, dtype=np.float64)
    ends = np.stack([points, np.roll(points, -1, axis=0)], axis=1)
    edges = shapely.STRtree(np.asarray(shapely.linestrings(ends)))
    samples = np.asarray(shapely.points(_samples(path)))
    _, gaps = edges.query_nearest(samples, return_distance=True, all_matches=False)
    return max(float(distances_to_path(path, points).max()), float(np.max(gaps)))


def distances_to_path(path: Path, points: FloatArray) -> FloatArray:
    """Measure each point's distance to the nearest line or arc of a path, shape (N,)."""
    nearest = np.full(len(points), np.inf)
    for start, end, bulge in zip(*path.segments, strict=True):
        nearest = np.minimum(nearest, _distances_to_segment(points, start, end, float(bulge)))
    return nearest


def _distances_to_segment(
    points: FloatArray, start: FloatArray, end: FloatArray, bulge: float
) -> FloatArray:
    from_start, from_end = points - start, points - end
    to_ends: FloatArray = np.minimum(np.hypot(*from_start.T), np.hypot(*from_end.T))
    if bulge == 0:
        chord = end - start
        length = float(np.hypot(*chord))
        if length == 0:
            return to_ends
        along = from_start @ chord / length
        across = np.abs(from_start @ np.array([-chord[1], chord[0]])) / length
        return np.where((along >= 0) & (along <= length), across, to_ends)
    centre, radius, first, sweep = arc_of(start, end, bulge)
    offsets = points - centre
    turned = (np.arctan2(offsets[:, 1], offsets[:, 0]) - first) * np.sign(sweep)
    beside = np.mod(turned, 2 * np.pi) <= abs(sweep)
    return np.where(beside, np.abs(np.hypot(*offsets.T) - radius), to_ends)


def _samples(path: Path) -> FloatArray:
    """Place points along the path, every vertex among them."""
    step = max(SAMPLE_MM, path.length_mm / MOST_SAMPLES)
    pieces = []
    for start, end, bulge in zip(*path.segments, strict=True):
        chord = float(np.hypot(*(end - start)))
        half = 2 * np.arctan(abs(bulge))
        count = max(int(np.ceil(chord / np.sinc(half / np.pi) / step)), 1)
        shares = np.arange(count) / count
        if bulge == 0:
            pieces.append(start + shares[:, None] * (end - start))
            continue
        centre, radius, first, sweep = arc_of(start, end, float(bulge))
        angles = first + sweep * shares
        pieces.append(centre + radius * np.column_stack([np.cos(angles), np.sin(angles)]))
    return np.concatenate(pieces)
