"""The plane geometry of ellipses: conic coefficients, and nearest points.

Everything here works on arrays of points or of ellipses at once. An ellipse's
*shape* is (x, y, p, q, r): centre, mean radius p, and flattening (q, r), so that
its points are c + S (cos u, sin u) with S = [[p+q, r], [r, p-q]].
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

MOST_STEPS = 60
STILL = 4e-16
"""A Newton step below this share of the variable changes nothing in float64."""


def shape_of_conic(conics: FloatArray) -> FloatArray:
    """Turn coefficients of Ax² + Bxy + Cy² + Dx + Ey + F = 0 into ellipse shapes.

    Parameters
    ----------
    conics : ndarray, shape (..., 6)

    Returns
    -------
    ndarray, shape (..., 5)
        NaN where a conic is no real ellipse.

    Notes
    -----
    With (x - c)ᵀ M (x - c) = 1, S is M to the power -1/2, which for a 2 × 2
    matrix has the closed form adj(M + sI) / (s t), s = √det M, t = √(tr M + 2s).
    """
    a, b, c, d, e, f = np.moveaxis(np.asarray(conics, dtype=np.float64), -1, 0)
    with np.errstate(invalid="ignore", divide="ignore"):
        det = a * c - b * b / 4
        x = (b * e / 4 - c * d / 2) / det
        y = (b * d / 4 - a * e / 2) / det
        size = -(f + (d * x + e * y) / 2)
        m11, m12, m22 = a / size, b / 2 / size, c / size
        trace = m11 + m22
        s = np.sqrt(np.where((det > 0) & (trace > 0), m11 * m22 - m12**2, np.nan))
        st = s * np.sqrt(trace + 2 * s)
        shape = np.stack([x, y, (trace / 2 + s) / st, (m22 - m11) / 2 / st, -m12 / st], axis=-1)
    return np.where(np.isfinite(shape).all(axis=-1, keepdims=True), shape, np.nan)


def direct_conic(points: FloatArray) -> FloatArray:
    """Fit the ellipse's conic with the least algebraic distances under 4AC - B² = 1.

    Parameters
    ----------
    points : ndarray, shape (N, 2)
        Centred and scaled to about 1, not all on a line.

    Returns
    -------
    ndarray, shape (6,)

    References
    ----------
    .. [1] R. Halir, J. Flusser, "Numerically stable direct least squares
       fitting of ellipses", Proc. WSCG (1998) 125-132.
    """
    x, y = points.T
    quadratic = np.column_stack([x * x, x * y, y * y])
    linear = np.column_stack([x, y, np.ones(len(x))])
    cross = quadratic.T @ linear
    eliminate = -np.linalg.solve(linear.T @ linear, cross.T)
    reduced = quadratic.T @ quadratic + cross @ eliminate
    # The constraint matrix [[0, 0, 2], [0, -1, 0], [2, 0, 0]], inverted by hand.
    reduced = np.array([reduced[2] / 2, -reduced[1], reduced[0] / 2])
    vectors = np.linalg.eig(reduced)[1].real
    constraint = 4 * vectors[0] * vectors[2] - vectors[1] ** 2
    chosen = vectors[:, int(np.argmax(constraint))]
    return np.concatenate([chosen, eliminate @ chosen])


def axes_of_shape(shape: FloatArray) -> tuple[float, float, float]:
    """Give a shape's long and short semi-axes and its angle in (-π/2, π/2]."""
    p, q, r = shape[2:]
    # r + 0.0 turns a -0.0 into 0.0, which would give -π/2 for π/2.
    h = float(np.hypot(q, r))
    return float(p) + h, float(p) - h, float(np.arctan2(r + 0.0, q)) / 2


def turn(angle_rad: float) -> FloatArray:
    """Make the matrix that turns column vectors from x towards y."""
    cos, sin = np.cos(angle_rad), np.sin(angle_rad)
    return np.array([[cos, -sin], [sin, cos]])


def foot_points(points: FloatArray, long: float, short: float) -> tuple[FloatArray, FloatArray]:
    """Find the nearest points on an ellipse with its axes along x and y.

    Parameters
    ----------
    points : ndarray, shape (N, 2)
        In the ellipse's own frame.
    long, short : float
        Semi-axes, long not below short, short above 0.

    Returns
    -------
    unit : ndarray, shape (N, 2)
        (cos u, sin u): the foot point is (long cos u, short sin u).
    distance : ndarray, shape (N,)
        Positive outside.

    Notes
    -----
    In the first quadrant the foot of (x, y) is (a² x / (s + a² - b²), b² y / s)
    for the one s > 0 that puts it on the ellipse. The condition is convex and
    falls in s, so Newton's steps from the left of its root never overshoot and
    need no safeguard; the chosen start keeps it at or below 1 there [1]_.

    References
    ----------
    .. [1] D. Eberly, "Distance from a point to an ellipse, an ellipsoid, or a
       hyperellipsoid", Geometric Tools (2013).
    """
    focal = long**2 - short**2
    ax, by = long * np.abs(points[:, 0]), short * np.abs(points[:, 1])
    s = np.maximum(np.maximum(by, ax - focal), np.finfo(float).tiny)
    for _ in range(MOST_STEPS):
        cos, sin = ax / (s + focal), by / s
        value = cos**2 + sin**2 - 1
        step = value / (2 * (cos**2 / (s + focal) + sin**2 / s) + np.finfo(float).tiny)
        s = s + np.maximum(step, 0)
        if np.all(step <= STILL * (s + focal)):
            break
    cos = np.minimum(ax / (s + focal), 1.0)
    # Between the foci on the long axis s is 0, and only the other coordinate tells.
    sin = np.where(by > 0, by / s, np.sqrt(1 - cos**2))
    norm = np.hypot(cos, sin)
    unit = np.column_stack(
        [np.copysign(cos / norm, points[:, 0]), np.copysign(sin / norm, points[:, 1])]
    )
    gaps = points - unit * (long, short)
    outside = (points[:, 0] / long) ** 2 + (points[:, 1] / short) ** 2 >= 1
    return unit, np.where(outside, 1.0, -1.0) * np.hypot(gaps[:, 0], gaps[:, 1])
