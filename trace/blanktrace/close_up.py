"""Take a closer look at one patch of a photograph: a blank, perhaps several, with their shadows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from blanktrace.background import MaskArray, Picture, Sheet, linear_light

Pixels = NDArray[np.uint8] | NDArray[np.uint16]

CUT_PIXELS = 140_000
"""Pixels to which the surroundings of a patch are reduced."""


@dataclass(frozen=True, eq=False)
class CloseUp:
    """What lies about a patch.

    Attributes
    ----------
    share : ndarray of float32, shape (h, w, 3)
        Linear light as a share of the bare sheet's.
    sheet : Sheet
        The sheet there, at the same size.
    patch : ndarray of bool, shape (h, w)
        What stands out from it.
    where : (slice, slice)
        Its rows and columns of the photograph.
    factor : float
        Its pixels per pixel of the photograph, 1 at most.
    """

    share: Picture
    sheet: Sheet
    patch: MaskArray
    where: tuple[slice, slice]
    factor: float

    def from_photo(self, places_px: NDArray[np.float64]) -> NDArray[np.float64]:
        """Take places (..., 2) in the photograph's pixels to its own."""
        rows, columns = self.where
        return np.asarray((places_px - (columns.start, rows.start) + 0.5) * self.factor - 0.5)

    def onto_photo(self, ring_px: NDArray[np.float64]) -> NDArray[np.float64]:
        """Take points (N, 2) of it to the photograph's pixels."""
        rows, columns = self.where
        return np.asarray((ring_px + 0.5) / self.factor - 0.5 + (columns.start, rows.start))


def close_up(rgb: Pixels, patch: MaskArray, sheet: Sheet, *, margin_px: int) -> CloseUp:
    """Cut a patch out of the photograph at a finer scale.

    Parameters
    ----------
    rgb : ndarray of uint8 or uint16, shape (H, W, 3)
        The full photograph.
    patch : ndarray of bool, shape (h, w)
        What stands out there, in the reduced photograph.
    sheet : Sheet
        The sheet, at the same size.
    margin_px : int
        Sheet to show around the patch, in pixels of the reduced photograph.
    """
    factor = patch.shape[1] / rgb.shape[1]
    ys, xs = np.nonzero(patch)
    top, left = max(0, ys.min() - margin_px), max(0, xs.min() - margin_px)
    bottom, right = ys.max() + 1 + margin_px, xs.max() + 1 + margin_px
    coarse = np.s_[top:bottom, left:right]
    where = (
        slice(round(top / factor), min(round(bottom / factor), rgb.shape[0])),
        slice(round(left / factor), min(round(right / factor), rgb.shape[1])),
    )
    crop = rgb[where]
    closer = min(1.0, float(np.sqrt(CUT_PIXELS / (crop.shape[0] * crop.shape[1]))))
    size = (round(crop.shape[1] * closer), round(crop.shape[0] * closer))
    near = Sheet(
        log_light=enlarged(sheet.log_light[coarse], size),
        bare=enlarged(sheet.bare[coarse], size),
        extent=enlarged(sheet.extent[coarse], size),
        noise=sheet.noise,
    )
    linear = linear_light(shrunk(crop, size))
    share = np.asarray(linear / np.exp(near.log_light), dtype=np.float32)
    return CloseUp(share, near, enlarged(patch[coarse], size), where, closer)


def shrunk(rgb: Pixels, size: tuple[int, int]) -> Pixels:
    """Average a photograph down to a size (width, height), its values stored as they were."""
    smaller = cv2.resize(rgb, size, interpolation=cv2.INTER_AREA)
    if rgb.dtype == np.uint8:
        return np.asarray(smaller, dtype=np.uint8)
    return np.asarray(smaller, dtype=np.uint16)


def enlarged(picture: NDArray[Any], size: tuple[int, int]) -> NDArray[Any]:
    """Bring a picture or a mask to a larger size (width, height)."""
    if picture.dtype == np.bool_:
        return cv2.resize(picture.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_LINEAR))
