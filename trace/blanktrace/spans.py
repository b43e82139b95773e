"""Fit a line and a circle to every span of a ring at once, from sums of products.

References
----------
G. Taubin, Estimation of planar curves, surfaces and nonplanar space curves defined
by implicit equations, IEEE Trans. PAMI 13(11), 1991.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

NEWTON_STEPS = 12
"""Taubin's least root converges from below, by quadratic steps."""


@dataclass(frozen=True, eq=False)
class Fits:
    """A curve for each of K spans of a ring, and its weighted sum of squared distances.

    Parameters
    ----------
    coefficients : ndarray, shape (K, 4)
        A, B, C and D of `Curve`.
    squares : ndarray, shape (K,)
    """

    coefficients: FloatArray
    squares: FloatArray


def moment_sums(ring: FloatArray, weight: FloatArray) -> FloatArray:
    """Sum weighted products of x, y and z = x² + y² up to each point of a ring.

    Parameters
    ----------
    ring : ndarray, shape (N, 2)
    weight : ndarray, shape (N,)

    Returns
    -------
    ndarray, shape (N + 1, 10)
        The difference of two rows holds the moments of the span between them.
    """
    x, y = ring.T
    z = x * x + y * y
    products = [np.ones_like(x), x, y, z, x * x, x * y, y * y, x * z, y * z, z * z]
    sums = np.cumsum(weight[:, None] * np.column_stack(products), axis=0)
    return np.vstack([np.zeros(len(products)), sums])


def fit_lines(moments: FloatArray) -> Fits:
    """Fit lines by least squares.

    Parameters
    ----------
    moments : ndarray, shape (K, 10)

    Returns
    -------
    Fits
    """
    total, x, y, xx, xy, yy = _about_middle(moments)[:6]
    angle = np.arctan2(2 * xy, xx - yy) / 2
    b, c = -np.sin(angle), np.cos(angle)
    least = (xx + yy - np.hypot(xx - yy, 2 * xy)) / 2
    flat = np.zeros_like(b)
    return Fits(np.column_stack([flat, b, c, -(b * x + c * y)]), total * np.maximum(least, 0.0))


def fit_arcs(moments: FloatArray) -> Fits:
    """Fit circles by Taubin's method.

    Parameters
    ----------
    moments : ndarray, shape (K, 10)

    Returns
    -------
    Fits
        The sum is infinite where points lie on a line.
    """
    total, x, y, xx, xy, yy, xz, yz, zz = _about_middle(moments)
    z = xx + yy
    area, spread = xx * yy - xy * xy, zz - z * z
    cubic = 4 * z
    square = -3 * z * z - zz
    linear = spread * z + 4 * area * z - xz * xz - yz * yz
    constant = xz * (xz * yy - yz * xy) + yz * (yz * xx - xz * xy) - spread * area
    root = np.zeros_like(z)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        for _ in range(NEWTON_STEPS):
            value = constant + root * (linear + root * (square + root * cubic))
            slope = linear + root * (2 * square + 3 * root * cubic)
            root = np.nan_to_num(root - value / slope, posinf=0.0, neginf=0.0)
        root = np.maximum(root, 0.0)
        divisor = 2 * (root * root - root * z + area)
        u = (xz * (yy - root) - yz * xy) / divisor
        v = (yz * (xx - root) - xz * xy) / divisor
        radius = np.sqrt(u * u + v * v + z)
        a, b, c, d = 1 / (2 * radius), -u / radius, -v / radius, -z / (2 * radius)
        mean = zz * a**2 + xx * b**2 + yy * c**2 + d**2
        mean = mean + 2 * (a * (b * xz + c * yz + d * z) + b * c * xy)
        squares = np.where(np.isfinite(mean), total * np.maximum(mean, 0.0), np.inf)
    shifted = [a, b - 2 * a * x, c - 2 * a * y, a * (x * x + y * y) - b * x - c * y + d]
    return Fits(np.nan_to_num(np.column_stack(shifted)), squares)


def _about_middle(moments: FloatArray) -> tuple[FloatArray, ...]:
    """Give total weight, middle x and y, and xx, xy, yy, xz, yz, zz about the middle."""
    total = moments[:, 0]
    x, y, z, xx, xy, yy, xz, yz, zz = (moments[:, 1:] / total[:, None]).T
    m = x * x + y * y
    own_xx, own_xy, own_yy = xx - x * x, xy - x * y, yy - y * y
    own_z = own_xx + own_yy
    own_xz = xz - 2 * x * xx - 2 * y * xy + m * x - x * own_z
    own_yz = yz - 2 * x * xy - 2 * y * yy + m * y - y * own_z
    own_zz = zz - 4 * (x * xz + y * yz) + 4 * (x * x * xx + 2 * x * y * xy + y * y * yy)
    own_zz += 2 * m * z - 3 * m * m
    return total, x, y, own_xx, own_xy, own_yy, own_xz, own_yz, own_zz
