"""Cut a piece out of a photograph at a size to look at, and draw thin lines over it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

FloatArray = NDArray[np.float64]
Pixels = NDArray[np.uint8] | NDArray[np.uint16]

PHOTO_PX = 1120
"""Long side of the photograph's part of the picture."""

MARGIN_SHARE = 0.3
"""Background shown about the blank, as a share of its longer side."""

ROUNDEST = 4 / 3
"""The crop is at most this much longer than wide, so that the picture stays compact."""

OVERSAMPLING = 3
"""Lines are drawn this much larger, then averaged down to smooth edges."""

LINE_PX, HALO_PX = 2.2, 5.0
"""Width of the outline, and of the white under it."""

PAPER = "#ffffff"


@dataclass(frozen=True)
class Crop:
    """Part of the photograph, and how much it is enlarged (below 1: reduced)."""

    left: int
    top: int
    right: int
    bottom: int
    factor: float

    @property
    def size(self) -> tuple[int, int]:
        """Width and height in the picture."""
        return (
            max(round((self.right - self.left) * self.factor), 1),
            max(round((self.bottom - self.top) * self.factor), 1),
        )

    def at(self, points_px: FloatArray) -> FloatArray:
        """Take photo pixels to the crop's; a pixel's middle is half a pixel from its corner."""
        return (points_px + 0.5 - (self.left, self.top)) * self.factor - 0.5


def crop_about(ring_px: FloatArray, shape: tuple[int, ...]) -> Crop:
    """Choose the piece of a photograph of some shape that shows a boundary and its surroundings."""
    low, high = ring_px.min(axis=0), ring_px.max(axis=0)
    size = high - low
    margin = MARGIN_SHARE * size.max()
    wanted = np.maximum(size + 2 * margin, (size.max() + 2 * margin) / ROUNDEST)
    middle = (low + high) / 2
    left, top = np.maximum(np.floor(middle - wanted / 2), 0).astype(int)
    right, bottom = np.minimum(np.ceil(middle + wanted / 2), (shape[1], shape[0])).astype(int)
    factor = PHOTO_PX / max(right - left, bottom - top)
    return Crop(int(left), int(top), int(right), int(bottom), float(factor))


def cut_out(rgb: Pixels, crop: Crop) -> Image.Image:
    """Cut the piece out at its size."""
    part = rgb[crop.top : crop.bottom, crop.left : crop.right]
    shown = (part >> 8).astype(np.uint8) if part.dtype == np.uint16 else part
    way = Image.Resampling.BOX if crop.factor < 1 else Image.Resampling.BICUBIC
    return Image.fromarray(np.ascontiguousarray(shown)).resize(crop.size, way)


def draw_lines(photo: Image.Image, lines: list[FloatArray], colour: str) -> None:
    """Draw thin lines on white ones, with smooth edges."""
    for width, paint in ((HALO_PX, PAPER), (LINE_PX, colour)):
        size = photo.width * OVERSAMPLING, photo.height * OVERSAMPLING
        mask = Image.new("L", size)
        pen = ImageDraw.Draw(mask)
        for line in lines:
            large = (line + 0.5) * OVERSAMPLING - 0.5
            pen.line(
                [(x, y) for x, y in large.tolist()],
                fill=255,
                width=round(width * OVERSAMPLING),
                joint="curve",
            )
        photo.paste(paint, mask=mask.reduce(OVERSAMPLING))
