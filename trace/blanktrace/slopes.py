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
    spreads : ndarray, shape (2, 3)
        Standard deviation of either within the blank, by channel.
    """

    x: Picture
    y: Picture
    spreads: FloatArray

    def noise(self, normals: FloatArray) -> FloatArray:
        """Give the standard deviation of the slope in each of N directions, shape (N, 3)."""
        return np.asarray(
            np.hypot(normals[:, :1] * self.spreads[0], normals[:, 1:] * self.spreads[1])
        )


def slopes_of(picture: Picture, inner: MaskArray, *, least: float) -> Slopes:
    """Take the slopes of a picture.

    Parameters
    ----------
    picture : ndarray of float32, shape (h, w, 3)
    inner : ndarray of bool, shape (h, w)
        Well within the blank; not empty.
    least : float
        Added to the spreads: what a smooth blank's may be in truth.

    Returns
    -------
    Slopes
    """
    x, y = (
        np.asarray(cv2.Sobel(picture, cv2.CV_32F, *axis, ksize=3) / SOBEL_SUM, dtype=np.float32)
        for axis in ((1, 0), (0, 1))
    )
    spreads = np.array([TO_SD * np.median(np.abs(one[inner]), axis=0) + least for one in (x, y)])
    return Slopes(x, y, spreads)
