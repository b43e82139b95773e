"""Look along rays for the steps that light makes, and place them between the samples."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from blanktrace.profiles import STEP_PX, Pixels, along_ring, loss_at, summits

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

MARGIN_BLURS = 6.0
"""How far beyond what is looked at light is sampled, in Gaussians: what they reach, and beside."""


@dataclass(frozen=True, eq=False)
class Look:
    """Heights of the steps met along N rays.

    Attributes
    ----------
    feet, outward : ndarray, shape (N, 2)
        Where each ray starts, and its direction.
    offsets : ndarray, shape (S,)
        Places along the rays, outward.
    loss : ndarray, shape (N, S)
        Share of the sheet's light missing, the channels' mean.
    steps : ndarray, shape (N, S)
        Height of a step there, all channels together.
    blur_px : float
        The Gaussian that it was met with.
    """

    feet: FloatArray
    outward: FloatArray
    offsets: FloatArray
    loss: FloatArray
    steps: FloatArray
    blur_px: float

    def summits(self) -> BoolArray:
        """Mark samples (N, S) that are steeper than those on either side."""
        steps = self.steps
        marked = np.zeros(steps.shape, dtype=np.bool_)
        marked[:, 1:-1] = (steps[:, 1:-1] >= steps[:, :-2]) & (steps[:, 1:-1] > steps[:, 2:])
        return marked

    def summit_at(
        self, rows: NDArray[np.intp], columns: NDArray[np.intp]
    ) -> tuple[FloatArray, FloatArray]:
        """Place summits on their rays, and tell their widths."""
        shift, width = summits(self.steps, rows, columns)
        return self.offsets[columns] + shift, width

    def likeliest(
        self, marked: BoolArray, *, reach_px: float, spread_px: float
    ) -> tuple[FloatArray, BoolArray]:
        """Choose a summit on each ray: the highest, and the nearer its foot the likelier.

        Parameters
        ----------
        marked : ndarray of bool, shape (N, S)
            Which summits may be chosen.
        reach_px : float
            How far from the foot they may be.
        spread_px : float
            At how far off a height counts for 0.6 (Gaussian).

        Returns
        -------
        offset : ndarray, shape (N,)
            0 where there is none.
        found : ndarray of bool, shape (N,)
        """
        near = marked & (np.abs(self.offsets) <= reach_px)
        window = np.exp(-0.5 * (self.offsets / spread_px) ** 2)
        height = np.where(near, self.steps * window, 0.0)
        columns = np.clip(np.argmax(height, axis=1), 1, len(self.offsets) - 2)
        found = height.max(axis=1) > 0
        offset, _ = self.summit_at(np.arange(len(height)), columns)
        return np.where(found, offset, 0.0), found


def look_along(
    rgb: Pixels,
    feet: FloatArray,
    outward: FloatArray,
    *,
    reach_px: tuple[float, float],
    light: FloatArray,
    blur_px: float,
    along_px: float,
) -> Look:
    """Look along rays that start side by side round a closed curve.

    Parameters
    ----------
    rgb : ndarray of uint8 or uint16, shape (H, W, 3)
        The full photograph, sRGB.
    feet, outward : ndarray, shape (N, 2)
        Where each ray starts, and its direction.
    reach_px : (float, float)
        From where to where, outward of the feet.
    light : ndarray, shape (3,)
        Linear light of the bare sheet about the blank.
    blur_px : float
        Gaussian along the rays that steps are met with.
    along_px : float
        Gaussian across them that quiets noise.

    Returns
    -------
    Look
    """
    margin = MARGIN_BLURS * blur_px
    offsets = np.arange(reach_px[0] - margin, reach_px[1] + margin + STEP_PX / 2, STEP_PX)
    loss = loss_at(rgb, feet[:, None] + offsets[None, :, None] * outward[:, None], light)
    loss = along_ring(loss, along_px)
    slopes = ndimage.gaussian_filter1d(loss, blur_px / STEP_PX, axis=1, order=1, mode="nearest")
    # A step of height 1 has this slope at its middle once the Gaussian has met it.
    unit = STEP_PX / (blur_px * np.sqrt(2 * np.pi))
    steps = np.linalg.norm(slopes, axis=2) / unit
    return Look(feet, outward, offsets, loss.mean(axis=2), steps, blur_px)
