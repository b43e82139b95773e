"""Hold the slopes of a picture against those that a blank is full of itself.

Grain and brushing have slopes of their own, and more across the grain than along it.
An edge is what stands out from them, in whatever channel.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from blanktrace.background import MaskArray, Picture

FloatArray = NDArray[np.float64]

SOBEL_SUM = 8
"""What Sobel's mask makes of a slope of one a pixel."""

TO_SD = 1.4826
"""Standard deviation of a Gaussian over the median of its sizes."""


@dataclass(frozen=True, eq=False)
class Slopes:
    """Slopes of a picture, and what is usual within a blank.

    Attributes
    ----------
    x, y : ndarray of float32, shape (h, w, 3)
        Change a pixel, along columns and rows.
    variances : ndarray, shape (3, 3)
        Within the blank: of either, and what they have in common, by channel.
    least : float
        Standard deviation of a smooth blank's.
    """

    x: Picture
    y: Picture
    variances: FloatArray
    least: float

    def noise(self, normals: FloatArray) -> FloatArray:
        """Give the standard deviation of the slope in each of N directions, shape (N, 3)."""
        x, y = normals.T
        variance = np.column_stack([x * x, y * y, 2 * x * y]) @ self.variances
        return np.asarray(np.sqrt(np.maximum(variance, 0)) + self.least)


def slopes_of(picture: Picture, inner: MaskArray, *, least: float) -> Slopes:
    """Take the slopes of a picture.

    Parameters
    ----------
    picture : ndarray of float32, shape (h, w, 3)
    inner : ndarray of bool, shape (h, w)
        Well within the blank; not empty.
    least : float
        Added to their standard deviation: what a smooth blank's may be in truth.

    Returns
    -------
    Slopes
    """
    x, y = (
        np.asarray(cv2.Sobel(picture, cv2.CV_32F, *axis, ksize=3) / SOBEL_SUM, dtype=np.float32)
        for axis in ((1, 0), (0, 1))
    )
    within = x[inner], y[inner]
    along_x, along_y = (_variance(one) for one in within)
    # Of grain that runs aslant: by how much the slopes along the two diagonals differ.
    rising, falling = (_variance(within[0] + sign * within[1]) for sign in (1, -1))
    return Slopes(x, y, np.array([along_x, along_y, (rising - falling) / 4]), least)


def _variance(slopes: Picture) -> FloatArray:
    """Give the variance of most of N slopes, by channel."""
    return np.asarray((TO_SD * np.median(np.abs(slopes), axis=0)) ** 2, dtype=np.float64)
