"""Cut a strip along a ring out of a photograph, and straighten it.

The strip is as wide as the ring may be off, twice over, and sampled in shares of that,
so that one eye for strips serves every photograph and every look, rough or close.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from blanktrace.profiles import Pixels, loss_at

FloatArray = NDArray[np.float64]

HALF_REACHES, ACROSS = 2.0, 41
"""Half width of a strip in reaches, and samples across it: ten to a reach."""

ALONG_REACHES = 1 / 3
"""Distance of samples along a strip, in reaches."""

ALONG_SAMPLES = 0.5
"""Gaussian along the strip: quiets noise between samples that lie far apart."""

FEWEST = 8


@dataclass(frozen=True, eq=False)
class Strip:
    """A straightened strip about a closed ring.

    Attributes
    ----------
    points_px : ndarray, shape (N, 2)
        The ring (x, y), sampled evenly.
    outward : ndarray, shape (N, 2)
        Unit normals from blank to sheet.
    offsets_px : ndarray, shape (S,)
        Outward positions of the samples.
    light : ndarray, shape (N, S, 3)
        Share of the sheet's light.
    """

    points_px: FloatArray
    outward: FloatArray
    offsets_px: FloatArray
    light: FloatArray

    @property
    def places_px(self) -> FloatArray:
        """Where each sample lies, shape (N, S, 2)."""
        return places(self.points_px, self.outward, self.offsets_px)


def cut_strip(rgb: Pixels, ring_px: FloatArray, *, light: FloatArray, reach_px: float) -> Strip:
    """Cut a strip along a ring.

    Parameters
    ----------
    rgb : ndarray of uint8 or uint16, shape (H, W, 3)
        The photograph, sRGB.
    ring_px : ndarray, shape (N, 2)
        Boundary (x, y), the blank on the left of its travel as seen with y down.
    light : ndarray, shape (3,)
        Linear light of the bare sheet.
    reach_px : float
        How far the ring may be off.

    Returns
    -------
    Strip
    """
    step = ALONG_REACHES * reach_px
    ring = resampled(ring_px, step)
    normals = outward(ring, reach_px / step)
    offsets = np.linspace(-HALF_REACHES, HALF_REACHES, ACROSS) * reach_px
    share = 1 - loss_at(rgb, places(ring, normals, offsets), light)
    even = ndimage.gaussian_filter1d(share, ALONG_SAMPLES, axis=0, mode="wrap")
    return Strip(ring, normals, offsets, even)


def places(ring: FloatArray, normals: FloatArray, offsets: FloatArray) -> FloatArray:
    """Give the places (N, S, 2) that lie at offsets along a ring's normals."""
    return np.asarray(ring[:, None, :] + offsets[None, :, None] * normals[:, None, :])


def resampled(ring: FloatArray, spacing: float) -> FloatArray:
    """Place points (M, 2) evenly along a closed ring (N, 2)."""
    closed = np.vstack([ring, ring[:1]])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    count = max(round(along[-1] / spacing), FEWEST)
    want = np.arange(count) * along[-1] / count
    return np.column_stack([np.interp(want, along, closed[:, k]) for k in (0, 1)])


def outward(ring: FloatArray, points: float) -> FloatArray:
    """Find unit normals to the right of travel, from tangents averaged over so many points."""
    tangent = ndimage.gaussian_filter1d(ring, points, axis=0, order=1, mode="wrap")
    tangent /= np.maximum(np.linalg.norm(tangent, axis=1, keepdims=True), 1e-12)
    return np.column_stack([tangent[:, 1], -tangent[:, 0]])
