"""Say how uncertain each located boundary point is.

What misleads is not the sensor's noise but what the blank and the sheet are
themselves uneven by: a grain line as bright as the paper moves the boundary to its
own side. So the step between blank and sheet is held against how much either side
varies along the boundary near by.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

FloatArray = NDArray[np.float64]

NEAR_BLURS = 1.5
"""Nearer the edge than this, blank and sheet are blurred into each other."""

ALONG_REACHES = 4.0
"""Gaussian along the boundary, in reaches, over which sides are compared."""

LEAST_STEP = 1e-3
MOST_UNEVEN = 1.0
"""Where a side varies by as much as the step, nothing worse can be said of a point."""

DOUBT_PX = 2.0
"""Uncertainty of a point where the sides vary as much as the step is high. It shrinks with the
square root of that ratio, as measured on synthetic photographs."""

LEAST_DOUBT_PX = 0.15


def edge_doubt_px(
    profiles: FloatArray,
    offsets: FloatArray,
    *,
    blur_px: float,
    reach_px: float,
    spacing_px: float,
) -> FloatArray:
    """Estimate each boundary point's standard uncertainty across the boundary.

    Parameters
    ----------
    profiles : ndarray, shape (N, S, 3)
        Share of the sheet's light lost, along each point's normal.
    offsets : ndarray, shape (S,)
        Outward positions of the samples, in px; they reach beyond `NEAR_BLURS`.
    blur_px : float
    reach_px : float
        How far the rough boundary may have been off.
    spacing_px : float
        Distance of the points.

    Returns
    -------
    ndarray, shape (N,)
    """

    def along(values: FloatArray) -> FloatArray:
        length = ALONG_REACHES * reach_px / spacing_px
        return np.asarray(ndimage.gaussian_filter1d(values, length, axis=0, mode="wrap"))

    inside = profiles[:, offsets < -NEAR_BLURS * blur_px].mean(axis=1)
    outside = profiles[:, offsets > NEAR_BLURS * blur_px].mean(axis=1)
    step = along(inside - outside)
    height = np.linalg.norm(step, axis=1)
    towards = step / np.maximum(height, LEAST_STEP)[:, None]
    variance = np.zeros(len(profiles))
    for side in (inside, outside):
        seen = np.einsum("nc,nc->n", side, towards)
        variance += along((seen - along(seen)) ** 2)
    uneven = np.minimum(np.sqrt(variance) / np.maximum(height, LEAST_STEP), MOST_UNEVEN)
    return np.asarray(np.hypot(LEAST_DOUBT_PX, DOUBT_PX * np.sqrt(uneven)))
