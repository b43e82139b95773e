"""Sample light along profiles across a boundary, and place the steps in them.

A step blurred by a Gaussian has a Gaussian for its derivative. Its middle and its
width are then read from three samples of the derivative about the summit, by a
parabola through their logarithms, exactly [1]_.

References
----------
.. [1] F. Devernay, A non-maxima suppression method for edge detection with
   sub-pixel accuracy, INRIA report 2724, 1995.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from blanktrace.background import linear_curve

FloatArray = NDArray[np.float64]
Pixels = NDArray[np.uint8] | NDArray[np.uint16]

SPACING_PX = 1.5
"""Distance of boundary points: near the blur of a sharp photograph, so none is lost."""

STEP_PX = 0.5
"""Distance of samples along a profile."""

SHARP_PX = 1.0
"""Least Gaussian in the derivative across the boundary. A softer photograph is met with
its own blur, the filter that hears a blurred step best."""

BESIDE_BLURS = (1.0, 2.5)
"""How far outward the light beside an edge is looked at."""

LEAST_SLOPE = 1e-9
LEAST_CURVATURE = 1e-6


def loss_at(rgb: Pixels, places: FloatArray, light: FloatArray) -> FloatArray:
    """Sample the share of the sheet's light that is missing.

    Parameters
    ----------
    rgb : ndarray of uint8 or uint16, shape (H, W, 3)
        The full photograph, sRGB.
    places : ndarray, shape (N, S, 2)
        Where (x, y); places outside the photograph count as on its edge.
    light : ndarray, shape (3,)
        Linear light of the bare sheet.

    Returns
    -------
    ndarray, shape (N, S, 3)
    """
    height, width = rgb.shape[:2]
    x = np.clip(places[..., 0], 0, width - 1.001)
    y = np.clip(places[..., 1], 0, height - 1.001)
    column, row = x.astype(np.intp), y.astype(np.intp)
    u = (x - column).astype(np.float32)[..., None]
    v = (y - row).astype(np.float32)[..., None]
    curve = linear_curve(rgb.dtype)
    above = curve[rgb[row, column]] * (1 - u) + curve[rgb[row, column + 1]] * u
    below = curve[rgb[row + 1, column]] * (1 - u) + curve[rgb[row + 1, column + 1]] * u
    return np.asarray(1.0 - (above * (1 - v) + below * v) / light)


def summits(
    slopes: FloatArray, rows: NDArray[np.intp], columns: NDArray[np.intp]
) -> tuple[FloatArray, FloatArray]:
    """Place summits of slopes between the samples, and tell their widths.

    Parameters
    ----------
    slopes : ndarray, shape (N, S)
    rows, columns : ndarray of int, shape (M,)
        The highest sample of each summit, none at an end of its row.

    Returns
    -------
    shift_px : ndarray, shape (M,)
        From the highest sample.
    width_px : ndarray, shape (M,)
        Standard deviation of the Gaussian.
    """
    near = (np.maximum(slopes[rows, columns + k], LEAST_SLOPE) for k in (-1, 0, 1))
    left, top, right = (np.log(slope) for slope in near)
    curvature = np.maximum(2 * top - left - right, LEAST_CURVATURE)
    fraction = np.clip((right - left) / (2 * curvature), -1, 1)
    return np.asarray(fraction * STEP_PX), np.asarray(STEP_PX / np.sqrt(curvature))


def along_ring(values: FloatArray, length_px: float) -> FloatArray:
    """Average values of boundary points along their closed ring.

    Parameters
    ----------
    values : ndarray, shape (N, ...)
    length_px : float
        Standard deviation of the Gaussian.

    Returns
    -------
    ndarray, shape (N, ...)
    """
    length = length_px / SPACING_PX
    return np.asarray(ndimage.gaussian_filter1d(values, length, axis=0, mode="wrap"))
