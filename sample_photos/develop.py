"""Turn traced light into the JPEG that a phone would have written.

Lens blur and falling light towards the corners, photon and read noise, a white balance
that is nearly right, the sRGB curve, light noise reduction and sharpening, JPEG.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image as Pictures
from PIL.TiffImagePlugin import IFDRational

Image = NDArray[np.float32]

PAPER_LEVEL = 0.74
"""Linear level at which metering leaves the lighter side of white paper: 222 of 255."""
LUMA = np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)
"""Share of red, green and blue in luminance (ITU-R BT.709)."""
QUALITY = 90
ACTUAL_FOCAL_MM = 5.7
ORIENTATION_TAG, EXIF_IFD = 0x0112, 0x8769
FOCAL_LENGTH_TAG, EQUIVALENT_TAG = 0x920A, 0xA405
UNTURN = {1: 0, 6: 1}
"""Quarter turns counter-clockwise from the upright image to the stored pixels."""


@dataclass(frozen=True)
class Phone:
    """How one phone sees: blur in px, noise, and how far it corrects colour."""

    blur_px: float = 0.75
    full_well: float = 1300.0
    read_noise: float = 0.0018
    balance: float = 0.86
    vignette: float = 0.16
    sharpen: float = 0.45


def develop(light: Image, *, phone: Phone, rng: np.random.Generator) -> NDArray[np.uint8]:
    """Develop linear light (H, W, 3) into sRGB bytes."""
    seen = cv2.GaussianBlur(light, (0, 0), phone.blur_px)
    seen = seen * falloff(light.shape[:2], phone.vignette)[..., None]
    some = seen.reshape(-1, 3)[::97]
    luminance = some @ LUMA
    # The sheet is what is bright but not a glint: the second brightest tenth.
    low, high = np.percentile(luminance, (80, 90))
    white = some[(luminance >= low) & (luminance <= high)].mean(axis=0)
    grey = float(white @ LUMA)
    # Sensor channels see unequal light; balancing them amplifies the weak ones' noise.
    gain = (grey / white) ** phone.balance * PAPER_LEVEL / grey
    seen = seen * gain.astype(np.float32)
    shot = np.sqrt(np.clip(seen, 0, None) / phone.full_well)
    seen += rng.standard_normal(seen.shape, dtype=np.float32) * np.hypot(shot, phone.read_noise)
    return np.asarray(np.round(finish(curve(seen), phone.sharpen) * 255), dtype=np.uint8)


def falloff(shape: tuple[int, int], amount: float) -> Image:
    """Light lost towards the corners, 1 in the middle."""
    y, x = (np.linspace(-1, 1, n, dtype=np.float32) * n for n in shape)
    radius = np.hypot(*np.meshgrid(x, y)) / np.hypot(*shape)
    return np.asarray(1 - amount * radius**2 * (1.3 - 0.3 * radius**2), dtype=np.float32)


def curve(light: Image) -> Image:
    """The sRGB transfer curve."""
    v = np.clip(light, 0, 1)
    return np.where(v <= 0.0031308, 12.92 * v, 1.055 * v ** (1 / 2.4) - 0.055).astype(np.float32)


def finish(picture: Image, sharpen: float) -> Image:
    """Reduce noise, colour noise above all, then sharpen a little."""
    ycc = cv2.cvtColor(picture, cv2.COLOR_RGB2YCrCb)
    luma, chroma = ycc[..., 0], ycc[..., 1:]
    calm = cv2.bilateralFilter(luma, 5, 0.035, 1.2)
    luma = 0.5 * luma + 0.5 * calm
    luma = luma + sharpen * (luma - cv2.GaussianBlur(luma, (0, 0), 1.1))
    ycc[..., 0], ycc[..., 1:] = luma, cv2.GaussianBlur(chroma, (0, 0), 1.4)
    return np.clip(cv2.cvtColor(ycc, cv2.COLOR_YCrCb2RGB), 0, 1)


def write_jpeg(
    path: Path, pixels: NDArray[np.uint8], *, orientation: int, equivalent_mm: float
) -> None:
    """Write the file as a phone does: stored as the sensor lies, with its tags."""
    stored = np.ascontiguousarray(np.rot90(pixels, UNTURN[orientation]))
    picture = Pictures.fromarray(stored)
    tags = Pictures.Exif()
    tags[ORIENTATION_TAG] = orientation
    details = tags.get_ifd(EXIF_IFD)
    details[FOCAL_LENGTH_TAG] = IFDRational(round(ACTUAL_FOCAL_MM * 100), 100)
    details[EQUIVALENT_TAG] = round(equivalent_mm)
    buffer = io.BytesIO()
    picture.save(buffer, "JPEG", quality=QUALITY, subsampling="4:2:0", exif=tags)
    path.write_bytes(buffer.getvalue())
