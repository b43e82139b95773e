"""Say how much of each pixel along a blank's boundary is blank.

A pixel on the boundary mixes the blank's light with that of the sheet beside it, in
proportion to how much of it each covers. Averages of what surely is blank and surely
is sheet or shadow, taken near by, are the two ends of that mixture; between them the
pixel's place is read along the direction that tells the two apart best for how much
each varies (Fisher's discriminant). A shadow darkens towards the blank, so beside one
darkness counts for little and colour for much.

Where the share is one half, there is the boundary: no neater than the averages, but
in the right place to a fraction of a pixel, with corners and necks as they are.

References
----------
R. A. Fisher, The use of multiple measurements in taxonomic problems, Annals of
Eugenics 7, 1936.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Picture = NDArray[np.float32]
MaskArray = NDArray[np.bool_]

BAND_PX = 1.5
"""How far the mask's boundary may be off: nearer pixels are surely neither."""

NEAR_PX = 3.0
FAR_PX = 9.0
"""Gaussian windows of the averages; the wide one serves where the near one sees nothing."""

LEAST_SEEN = 0.02
"""Share of a window's weight that must be sure for its average to count."""

GREY_SPREAD = 0.04
SHADOW_RANGE = 1.0
"""Spread of light on the sheet common to all channels; more by this share of what shadow took."""

COLOUR_SPREAD = 0.015
"""Spread in each channel for itself: noise, grain, coloured bounce light."""

LEAST_APART = 4.0
"""Squared difference, in spreads, at which a pixel says as much as the mask does."""

SMOOTH_PX = 0.6


def blank_share(loss: Picture, mask: MaskArray, *, clear: MaskArray) -> Picture:
    """Estimate the share of blank in each pixel.

    Parameters
    ----------
    loss : ndarray of float32, shape (h, w, 3)
        Share of the bare sheet's light that is missing.
    mask : ndarray of bool, shape (h, w)
        The blank, to a few pixels.
    clear : ndarray of bool, shape (h, w)
        Where no other blank is.

    Returns
    -------
    ndarray of float32, shape (h, w)
        0 to 1; away from the mask's boundary just 0 or 1.
    """
    inner = _distance(mask)
    outer = _distance(~mask)
    band = (inner <= BAND_PX) & (outer <= BAND_PX)
    inside, within = _average(loss, (inner > BAND_PX).astype(np.float32))
    outside, without = _average(loss, ((outer > BAND_PX) & clear).astype(np.float32))
    y, x = np.nonzero(band)
    there, i, o = loss[y, x], inside[y, x], outside[y, x]
    grey = GREY_SPREAD**2 + (SHADOW_RANGE * np.abs(o).mean(axis=1)) ** 2
    covariance = COLOUR_SPREAD**2 * np.eye(3) + grey[:, None, None] * np.ones((3, 3)) / 3
    covariance = covariance + (within[y, x] + without[y, x])[:, None, None] * np.eye(3)
    weight = np.linalg.solve(covariance, (i - o)[..., None])[..., 0]
    apart = np.einsum("nc,nc->n", weight, i - o)
    share = np.einsum("nc,nc->n", weight, there - o) / np.maximum(apart, 1e-9)
    result = mask.astype(np.float32)
    told = apart / (apart + LEAST_APART)
    result[y, x] = told * np.clip(share, 0, 1) + (1 - told) * result[y, x]
    return np.asarray(cv2.GaussianBlur(result, (0, 0), SMOOTH_PX))


def _distance(mask: MaskArray) -> Picture:
    """Distance from each pixel of a mask to its boundary; 0 off the mask."""
    return np.asarray(cv2.distanceTransform(mask.astype(np.uint8), cv2.DIST_L2, 5))


def _average(loss: Picture, sure: Picture) -> tuple[Picture, Picture]:
    """Average near by over what is sure, and say how much each channel varies there."""
    values = np.dstack([loss * sure[..., None], sure])
    near, far = (cv2.GaussianBlur(values, (0, 0), sd) for sd in (NEAR_PX, FAR_PX))
    mixed = near + LEAST_SEEN * far
    mean = mixed[..., :3] / np.maximum(mixed[..., 3:], 1e-9)
    return np.asarray(mean), np.zeros(loss.shape[:2], dtype=np.float32)
