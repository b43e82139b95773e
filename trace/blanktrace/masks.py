"""Open, close, grow, shrink and fill masks."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

MaskArray = NDArray[np.bool_]


def opened(mask: MaskArray, radius_px: int) -> MaskArray:
    """Take away what a disc of a radius does not fit into."""
    return _morphed(mask, cv2.MORPH_OPEN, radius_px)


def closed(mask: MaskArray, radius_px: int) -> MaskArray:
    """Fill what a disc of a radius does not fit into."""
    return _morphed(mask, cv2.MORPH_CLOSE, radius_px)


def eroded(mask: MaskArray, radius_px: int) -> MaskArray:
    """Shrink by a radius."""
    return _morphed(mask, cv2.MORPH_ERODE, radius_px)


def dilated(mask: MaskArray, radius_px: int) -> MaskArray:
    """Grow by a radius."""
    return _morphed(mask, cv2.MORPH_DILATE, radius_px)


def disc_kernel(radius_px: int) -> NDArray[np.uint8]:
    """Make the disc that masks are opened, closed, shrunk and grown with."""
    side = 2 * radius_px + 1
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side)), dtype=np.uint8)


def filled(mask: MaskArray) -> MaskArray:
    """Close all holes."""
    outlines, _ = cv2.findContours(
        mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE
    )
    filled = np.zeros(mask.shape, dtype=np.uint8)
    cv2.drawContours(filled, outlines, -1, 1, cv2.FILLED)
    return filled.astype(bool)


def _morphed(mask: MaskArray, operation: int, radius_px: int) -> MaskArray:
    worked = cv2.morphologyEx(mask.astype(np.uint8), operation, disc_kernel(radius_px))
    return worked.astype(bool)
