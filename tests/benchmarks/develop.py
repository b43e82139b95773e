"""From linear light to a phone's JPEG: lens, sensor, tone curve, sharpening."""

from __future__ import annotations

import io

import cv2
import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from PIL import Image

from tests.benchmarks.records import Development

Floats = NDArray[np.float32]

EXIF_IFD = 0x8769
FOCAL_35_TAG = 0xA405
"""FocalLengthIn35mmFilm (Exif 2.3, table 8)."""
SHOT_SHARE = 0.85
"""Share of a lit pixel's noise variance that counts photons; the rest is read-out."""
SHARPEN_RADIUS_PX = 1.2


def develop(radiance: Floats, setting: Development, rng: Generator) -> NDArray[np.uint8]:
    """Turn linear light (H, W, 3) into 8-bit sRGB."""
    image = radiance
    if setting.blur_px:
        image = np.asarray(cv2.GaussianBlur(image, (0, 0), setting.blur_px), np.float32)
    image = image * (_exposure(image, setting) * _vignette(image, setting))[..., None]
    image *= np.array(setting.white, np.float32)
    if setting.noise:
        image = _noisy(image, setting, rng)
    image = _srgb(np.clip(image, 0, 1))
    if setting.contrast:
        image -= setting.contrast * np.sin(2 * np.pi * image) / (2 * np.pi)
    if setting.sharpen:
        soft = cv2.GaussianBlur(image, (0, 0), SHARPEN_RADIUS_PX)
        image += setting.sharpen * (image - soft)
    return np.clip(np.rint(image * 255), 0, 255).astype(np.uint8)


def to_jpeg(rgb: NDArray[np.uint8], *, quality: int, focal35_tag: int | None) -> bytes:
    """Write a JPEG, with the 35 mm focal length where it is known."""
    exif = Image.Exif()
    if focal35_tag is not None:
        exif.get_ifd(EXIF_IFD)[FOCAL_35_TAG] = focal35_tag
    buffer = io.BytesIO()
    Image.fromarray(rgb).save(buffer, "JPEG", quality=quality, exif=exif)
    return buffer.getvalue()


def from_jpeg(jpeg: bytes) -> NDArray[np.uint8]:
    """Read a JPEG's pixels."""
    with Image.open(io.BytesIO(jpeg)) as image:
        return np.asarray(image.convert("RGB"))


def _exposure(image: Floats, setting: Development) -> np.float32:
    """Gain that brings the brightest large areas to the wanted level."""
    green = image[::8, ::8, 1]
    return np.float32(setting.exposure / max(float(np.percentile(green, 97)), 1e-6))


def _vignette(image: Floats, setting: Development) -> Floats:
    rows, columns = image.shape[:2]
    y = (np.arange(rows, dtype=np.float32) - (rows - 1) / 2)[:, None]
    x = (np.arange(columns, dtype=np.float32) - (columns - 1) / 2)[None, :]
    share = (x**2 + y**2) / ((rows / 2) ** 2 + (columns / 2) ** 2)
    return np.asarray(1 - setting.vignette * share, np.float32)


def _noisy(image: Floats, setting: Development, rng: Generator) -> Floats:
    """Add photon and read-out noise; its chroma is coarser, as demosaicing leaves it."""
    fine = rng.standard_normal(image.shape, dtype=np.float32)
    # The kernel keeps unit variance, so that the setting stays the sd of a pixel.
    kernel = np.array([0.25, 1.0, 0.25], np.float32)
    kernel /= np.sqrt(np.sum(kernel**2))
    grain = cv2.sepFilter2D(fine, -1, kernel, kernel)
    spread = setting.noise * np.sqrt(SHOT_SHARE * np.maximum(image, 0) + 1 - SHOT_SHARE)
    return np.asarray(image + spread * grain, np.float32)


def _srgb(linear: Floats) -> Floats:
    """Apply the sRGB curve (IEC 61966-2-1)."""
    curved = 1.055 * np.power(linear, 1 / 2.4, dtype=np.float32) - 0.055
    return np.where(linear <= 0.0031308, 12.92 * linear, curved).astype(np.float32)
