"""Map an outline's millimetres to its photograph, from the boundary that both know.

References
----------
P. J. Besl and N. D. McKay, A method for registration of 3-D shapes, IEEE PAMI 14,
1992 (nearest points as partners, again and again).
R. Hartley and A. Zisserman, *Multiple View Geometry in Computer Vision*, 2nd
edition, 2004, algorithm 4.2 (normalised direct linear transformation).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree
from shapely import Polygon

from blanktrace.outline import Outline

FloatArray = NDArray[np.float64]

POINTS = 400
"""Boundary points that are enough to find the map by."""

TURNS = 180
"""Directions tried at first, evenly spread."""

ROUNDS = 12
"""Rounds of pairing nearest points; they settle in fewer."""

LEAST_POINTS = 12


def to_photo_map(
    outline: Outline, *, within_mm: float = np.inf, beyond_mm: float = 0.0
) -> FloatArray:
    """Fit the map from the outline's frame to photo pixels.

    Parameters
    ----------
    outline : Outline
        With its `rings_px`.
    within_mm, beyond_mm : float
        Only boundary points at such distances from the origin count in the end:
        those of one part lie at one height, where a projective map is exact.
        Where they are too few, a map without perspective is fitted to all.

    Returns
    -------
    ndarray, shape (3, 3)

    Notes
    -----
    The boundaries need not match point by point: one of them may have been
    mended since.
    """
    ring_mm = np.asarray(outline.polygon.exterior.coords)[:-1]
    ring_px = outline.rings_px[0]
    some = ring_mm[:: max(len(ring_mm) // POINTS, 1)]
    seen = KDTree(ring_px)
    matrix = _nearest_turn(some, seen, outline)
    for _ in range(ROUNDS):
        _, partners = seen.query(transfer(matrix, some))
        matrix = _fit_affine(some, ring_px[partners])
    away = np.hypot(*ring_mm.T)
    chosen = ring_mm[(away >= beyond_mm) & (away <= within_mm)]
    if len(chosen) < LEAST_POINTS:
        return matrix
    _, partners = seen.query(transfer(matrix, chosen))
    return _fit(chosen, ring_px[partners])


def transfer(matrix: FloatArray, points: FloatArray) -> FloatArray:
    """Apply a projective map to points, shape (N, 2)."""
    mapped = np.column_stack([points, np.ones(len(points))]) @ matrix.T
    return np.asarray(mapped[:, :2] / mapped[:, 2:])


def _nearest_turn(points_mm: FloatArray, seen: KDTree, outline: Outline) -> FloatArray:
    """Try all directions at the known scale and place, and return the best as a map."""
    scale = 1 / outline.scale.mm_per_px
    if outline.rim is None:
        middle = Polygon(outline.rings_px[0], outline.rings_px[1:]).buffer(0).centroid
        x, y = middle.x, middle.y
    else:
        x, y = outline.rim.centre_px
    best, least = np.eye(3), np.inf
    for turn in np.linspace(0, 2 * np.pi, TURNS, endpoint=False):
        c, s = scale * np.cos(turn), scale * np.sin(turn)
        # The photograph's y runs down.
        matrix = np.array([[c, -s, x], [-s, -c, y], [0, 0, 1]])
        distances, _ = seen.query(transfer(matrix, points_mm))
        if np.sum(distances) < least:
            best, least = matrix, float(np.sum(distances))
    return best


def _fit_affine(source: FloatArray, target: FloatArray) -> FloatArray:
    """Fit a map without perspective, which cannot drift off while partners are still wrong."""
    columns = np.column_stack([source, np.ones(len(source))])
    solution, *_ = np.linalg.lstsq(columns, target, rcond=None)
    return np.vstack([solution.T, [0.0, 0.0, 1.0]])


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
