"""Cut a strip along a ring out of a photograph, and straighten it.

The strip is as wide as the ring may be off, twice over, and sampled in shares of that,
so that one eye for strips serves every photograph and every look, rough or close.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from blanktrace.cover import Cover
from blanktrace.profiles import Pixels, loss_at

FloatArray = NDArray[np.float64]

HALF_REACHES = 2
"""Half width of a strip, in reaches."""

FINE, COARSE = 10, 3
"""Samples to a reach, across a strip and along it."""

ACROSS = 2 * HALF_REACHES * FINE + 1
"""Samples across a strip."""

ALONG_SAMPLES = 0.5
"""Gaussian along the strip: quiets noise between samples that lie far apart."""

UNKNOWN = 0.5
"""Cover of a place of which nothing is known."""

FEWEST = 8
"""Points of a ring at least."""


@dataclass(frozen=True, eq=False)
class Strip:
    """A straightened strip about a closed ring.

    Attributes
    ----------
    points_px : ndarray, shape (N, 2)
        The ring (x, y), sampled evenly.
    outward : ndarray, shape (N, 2)
        Unit normals from blank to sheet.
    light : ndarray, shape (N, S, 3)
        Share of the sheet's light.
    cover : ndarray, shape (N, S)
        How much of each sample is blank, as it looks from farther off.
    reach_px : float
        How far the ring may be off.
    """

    points_px: FloatArray
    outward: FloatArray
    light: FloatArray
    cover: NDArray[np.float32]
    reach_px: float

    @property
    def offsets_px(self) -> FloatArray:
        """Outward positions of the samples, shape (S,)."""
        return _offsets(self.reach_px)

    @property
    def places_px(self) -> FloatArray:
        """Where each sample lies, shape (N, S, 2)."""
        return places(self.points_px, self.outward, self.offsets_px)


def cut_strip(
    rgb: Pixels,
    ring_px: FloatArray,
    *,
    light: FloatArray,
    reach_px: float,
    cover: Cover | None = None,
) -> Strip:
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
    cover : Cover, optional
        How much of each place is blank; left out, any place is as likely to be.

    Returns
    -------
    Strip
    """
    ring = resampled(ring_px, reach_px / COARSE)
    normals = outward(ring, COARSE)
    samples = places(ring, normals, _offsets(reach_px))
    share = 1 - loss_at(rgb, samples, light)
    even = ndimage.gaussian_filter1d(share, ALONG_SAMPLES, axis=0, mode="wrap")
    seen = np.full(samples.shape[:2], UNKNOWN, np.float32) if cover is None else cover.at(samples)
    return Strip(ring, normals, even, seen, reach_px)


def _offsets(reach_px: float) -> FloatArray:
    return np.linspace(-HALF_REACHES, HALF_REACHES, ACROSS) * reach_px


def places(ring: FloatArray, normals: FloatArray, offsets: FloatArray) -> FloatArray:
    """Give the places (N, S, 2) that lie at offsets along a ring's normals."""
    return np.asarray(ring[:, None, :] + offsets[None, :, None] * normals[:, None, :])


def resampled(ring: FloatArray, spacing: float) -> FloatArray:
    """Place points (M, 2) evenly along a closed ring (N, 2); further columns go with them."""
    closed = np.vstack([ring, ring[:1]])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(closed[:, :2], axis=0).T))])
    count = max(round(along[-1] / spacing), FEWEST)
    want = np.arange(count) * along[-1] / count
    return np.column_stack([np.interp(want, along, closed[:, k]) for k in range(ring.shape[1])])


def smoothed(ring: FloatArray, length_px: float) -> FloatArray:
    """Round off a closed ring's stairs by a Gaussian along it."""
    return np.asarray(
        ndimage.gaussian_filter1d(resampled(ring, 1.0), length_px, axis=0, mode="wrap")
    )


def outward(ring: FloatArray, points: float) -> FloatArray:
    """Find unit normals to the right of travel, from tangents averaged over so many points."""
    tangent = ndimage.gaussian_filter1d(ring, points, axis=0, order=1, mode="wrap")
    tangent /= np.maximum(np.linalg.norm(tangent, axis=1, keepdims=True), 1e-12)
    return np.column_stack([tangent[:, 1], -tangent[:, 0]])
