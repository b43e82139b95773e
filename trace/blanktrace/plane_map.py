"""Map an outline's millimetres to its photograph, from the boundary that both know.

References
----------
R. Hartley and A. Zisserman, *Multiple View Geometry in Computer Vision*, 2nd
edition, 2004, algorithm 4.2 (normalised direct linear transformation).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from blanktrace.outline import Outline

FloatArray = NDArray[np.float64]

MOST_POINTS = 400
LEAST_POINTS = 12

FIT_SHARE = 0.02
"""A map that misses the boundary by more than this share of its size is none."""


def to_photo_map(
    outline: Outline, *, within_mm: float = np.inf, beyond_mm: float = 0.0
) -> FloatArray | None:
    """Fit the projective map from the outline's frame to photo pixels.

    Parameters
    ----------
    outline : Outline
        With its `rings_px`.
    within_mm, beyond_mm : float
        Only boundary points at such distances from the origin count: those of
        one part lie at one height, where the map is exact.

    Returns
    -------
    ndarray, shape (3, 3), or None
        None where too few points are left, or the two boundaries do not match
        point by point (a boundary that had to be mended).
    """
    ring_mm = np.asarray(outline.polygon.exterior.coords)[:-1]
    ring_px = outline.rings_px[0]
    if len(ring_mm) != len(ring_px):
        return None
    away = np.hypot(*ring_mm.T)
    chosen = np.flatnonzero((away >= beyond_mm) & (away <= within_mm))
    if len(chosen) < LEAST_POINTS:
        return None
    chosen = chosen[:: max(len(chosen) // MOST_POINTS, 1)]
    # Turning a ring the other way round keeps its first point.
    either_way = (ring_px, np.roll(ring_px[::-1], 1, axis=0))
    fits = [_fit(ring_mm[chosen], ring[chosen]) for ring in either_way]
    errors = [
        float(np.sqrt(np.mean((transfer(fit, ring_mm[chosen]) - ring[chosen]) ** 2)))
        for fit, ring in zip(fits, either_way, strict=True)
    ]
    best = int(np.argmin(errors))
    size_px = float(np.ptp(ring_px, axis=0).max())
    return fits[best] if errors[best] <= FIT_SHARE * size_px else None


def transfer(matrix: FloatArray, points: FloatArray) -> FloatArray:
    """Apply a projective map to points, shape (N, 2)."""
    mapped = np.column_stack([points, np.ones(len(points))]) @ matrix.T
    return np.asarray(mapped[:, :2] / mapped[:, 2:])


def _fit(source: FloatArray, target: FloatArray) -> FloatArray:
    to_unit, from_unit = _normaliser(source), np.linalg.inv(_normaliser(target))
    a, b = transfer(to_unit, source), transfer(np.linalg.inv(from_unit), target)
    ones = np.column_stack([a, np.ones(len(a))])
    none = np.zeros_like(ones)
    rows = np.vstack(
        [
            np.hstack([ones, none, -b[:, :1] * ones]),
            np.hstack([none, ones, -b[:, 1:] * ones]),
        ]
    )
    matrix = np.linalg.svd(rows, full_matrices=False)[2][-1].reshape(3, 3)
    return np.asarray(from_unit @ matrix @ to_unit)


def _normaliser(points: FloatArray) -> FloatArray:
    """Return the map that centres points and brings their mean distance to the root of 2."""
    middle = points.mean(axis=0)
    scale = np.sqrt(2) / np.hypot(*(points - middle).T).mean()
    return np.array([[scale, 0, -scale * middle[0]], [0, scale, -scale * middle[1]], [0, 0, 1]])
