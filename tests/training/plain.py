"""Light a shape as simply as can be: even or blotched face, blurred shadows moved aside.

What the network has seen of surfaces is then not all there is.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.random import Generator
from numpy.typing import ArrayLike, NDArray
from scipy import ndimage

Picture = NDArray[np.float32]

HALF = 0.5
FACES = (0.02, 0.9)
HUES = 0.35
GRAIN_SHARE, GRAINS_PX, MOST_GRAIN = 0.6, (0.7, 8.0), 0.3
BLOTCH_SHARE, BLOTCHES_PX, BLOTCH_LEVEL = 0.35, (6.0, 40.0), (0.8, 2.5)
FRAMED_SHARE = 0.2
SHADOWS, FARTHEST_PX, STEP_PX, SOFT_PX = (0, 2), 120.0, 4.0, (0.7, 15.0)
TINT = 0.06
BLURS_PX, NOISES = (0.4, 2.0), (0.001, 0.02)


def plain_light(cover: Picture, rng: Generator) -> Picture:
    """Light that a shape and its sheet send back, as shares of the bare sheet's.

    Parameters
    ----------
    cover : ndarray of float32, shape (H, W)
        How much of each pixel is blank.

    Returns
    -------
    ndarray of float32, shape (H, W, 3)
    """
    face = _colour(rng) * _grain(cover.shape, rng)[..., None]
    if rng.random() < BLOTCH_SHARE:
        # Engraved, of two metals, or a mirror of the sheet.
        noise = smooth_noise(cover.shape, _between(BLOTCHES_PX, rng), rng)
        blotch = noise > rng.uniform(*BLOTCH_LEVEL)
        other = _colour(rng) if rng.random() < 0.6 else rng.uniform(0.9, 1.1) * np.ones(3)
        face = np.where(blotch[..., None], other * _grain(cover.shape, rng)[..., None], face)
    if rng.random() < FRAMED_SHARE:
        inner = framed(cover, rng)[..., None]
        face += inner * (_colour(rng) * _grain(cover.shape, rng)[..., None] - face)
    sheet = np.ones((*cover.shape, 3))
    for _ in range(int(rng.integers(SHADOWS[0], SHADOWS[1] + 1))):
        sheet *= _shadow(cover, rng)
    if rng.random() < 0.5:
        close = ndimage.gaussian_filter(cover, rng.uniform(2, 8))
        sheet *= (1 - rng.uniform(0.1, 0.7) * close)[..., None]
    light = cover[..., None] * face + (1 - cover[..., None]) * sheet
    blur = _between(BLURS_PX, rng)
    light = ndimage.gaussian_filter(light, (blur, blur, 0))
    light += rng.normal(0, _between(NOISES, rng), light.shape)
    return light.astype(np.float32)


def framed(cover: Picture, rng: Generator) -> Picture:
    """How much of each pixel (H, W) lies within a frame that goes all round a shape."""
    depth = cv2.distanceTransform((cover > HALF).astype(np.uint8), cv2.DIST_L2, 5)
    inner = depth > rng.uniform(0.1, 0.6) * max(float(depth.max()), 1.0)
    return np.asarray(cv2.GaussianBlur(inner.astype(np.float32), (0, 0), 0.8))


def _colour(rng: Generator) -> NDArray[np.float64]:
    hue = rng.uniform(0, HUES) if rng.random() < 0.7 else 0.0
    return np.minimum(_between(FACES, rng) * np.exp(rng.normal(0, hue, 3)), 1.2)


def _grain(shape: tuple[int, ...], rng: Generator) -> NDArray[np.float64]:
    if rng.random() > GRAIN_SHARE:
        return np.ones(shape)
    return np.exp(rng.uniform(0, MOST_GRAIN) * smooth_noise(shape, _between(GRAINS_PX, rng), rng))


def smooth_noise(
    shape: tuple[int, ...], sizes_px: ArrayLike, rng: Generator
) -> NDArray[np.float64]:
    """Draw noise of spread 1, its grains as large as told, across and down."""
    across, down = np.broadcast_to(sizes_px, 2)
    noise = cv2.GaussianBlur(rng.standard_normal(shape), (0, 0), across, sigmaY=down)
    return np.asarray(noise / noise.std(), np.float64)


def _shadow(cover: Picture, rng: Generator) -> NDArray[np.float64]:
    """Share of light (H, W, 3) where the shape's shadow, moved aside, falls."""
    way, far = rng.uniform(0, 2 * np.pi), FARTHEST_PX * rng.random() ** 2
    soft = _between(SOFT_PX, rng)
    moved = np.zeros_like(cover)
    for part in np.linspace(0, far, 2 + int(far / STEP_PX)):  # the sides cast it too
        onto = np.array([[1, 0, part * np.cos(way)], [0, 1, part * np.sin(way)]])
        moved = np.maximum(moved, cv2.warpAffine(cover, onto, cover.shape[::-1]))
    moved = ndimage.gaussian_filter(moved, soft)
    depth = rng.uniform(0.1, 0.95) * np.exp(-np.abs(rng.normal(0, TINT, 3)))
    return np.asarray(1 - moved[..., None] * depth)


def _between(limits: tuple[float, float], rng: Generator) -> float:
    return float(np.exp(rng.uniform(*np.log(limits))))
