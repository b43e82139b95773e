"""Compare the channels of light by their logarithms: a shadow changes no ratio of two.

Whoever takes them keeps the light off zero, each by the noise that it can bear.
"""

from __future__ import annotations

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

Float = TypeVar("Float", np.float32, np.float64)


def log_hues(light: NDArray[Float]) -> tuple[NDArray[Float], NDArray[Float], NDArray[Float]]:
    """Return logarithms of red over green, of blue over green, and of all three.

    Parameters
    ----------
    light : ndarray, shape (..., 3)
        Red, green and blue, above 0.

    Returns
    -------
    red, blue, lightness : ndarray, shape (...)
        The last is the mean of the three logarithms.
    """
    logs: NDArray[Float] = np.log(light)
    red, green, blue = logs[..., 0], logs[..., 1], logs[..., 2]
    lightness: NDArray[Float] = np.divide(red + green + blue, 3, dtype=light.dtype)
    return red - green, blue - green, lightness
