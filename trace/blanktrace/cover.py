"""Say how much of each pixel of a close-up is blank: a network that was shown close-ups.

It looks at the picture ever more coarsely, so that it sees whole shapes, and then ever more
finely again, beside what it saw on the way down. Its weights were fitted to close-ups whose
truth is known, drawn and rendered by `tests/training`, with no photograph of any benchmark
among them.

References
----------
O. Ronneberger, P. Fischer, T. Brox, U-Net: convolutional networks for biomedical image
segmentation, Medical Image Computing and Computer-Assisted Intervention, 2015 (reference
from memory).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

from blanktrace.background import MaskArray, Picture
from blanktrace.close_up import CloseUp
from blanktrace.filters import filtered, layers, shown_light

WEIGHTS = "cover.npz"

LEVELS = 5
"""Scales at which it looks, each half as fine as the last; the finest sees half the close-up's."""
COARSEST_PX = 2**LEVELS
"""Pixels of the close-up to one of the coarsest scale."""

MOST_LIGHT = 4.0
"""Share of the sheet's light that a glint is cut off at."""


@dataclass(frozen=True, eq=False)
class Cover:
    """How much of each pixel of a close-up is blank.

    Attributes
    ----------
    near : CloseUp
    share : ndarray of float32, shape (h, w)
        0 to 1. Where it cannot be told whether a place is blank, it is the chance.
    """

    near: CloseUp
    share: Picture

    def at(self, places_px: NDArray[np.float64]) -> Picture:
        """Say it of places (N, S, 2) of the photograph: (N, S)."""
        x, y = np.moveaxis(self.near.from_photo(places_px), -1, 0).astype(np.float32)
        seen = cv2.remap(self.share, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        return np.asarray(seen, np.float32)


def blank_cover(near: CloseUp) -> Cover:
    """Say how much of each pixel is blank."""
    height, width = near.patch.shape
    shown = looks(near.share, near.sheet.extent)
    over = [(0, -size % COARSEST_PX) for size in (height, width)]
    seen = _folded(np.pad(shown, (*over, (0, 0)), mode="edge"))
    kept: list[Picture] = []
    blocks = iter(layers(WEIGHTS))
    for level in range(LEVELS):
        seen = _block(_coarser(seen) if level else seen, blocks)
        kept.append(seen)
    for beside in kept[-2::-1]:
        finer = seen.repeat(2, axis=0).repeat(2, axis=1)
        seen = _block(np.concatenate([finer, beside], axis=2), blocks)
    taps, level_of = next(blocks)
    odds = _unfolded(seen @ taps[0, 0] + level_of)[:height, :width]
    return Cover(near, np.asarray(expit(odds), dtype=np.float32))


def looks(share: Picture, extent: MaskArray) -> Picture:
    """Show the network each pixel: (h, w, 7).

    How light it is and its two hues, by logarithms; the three lights as they are; whether it
    lies on the sheet.
    """
    light = np.clip(np.where(extent[..., None], share, 0), 0, MOST_LIGHT)
    shown = [shown_light(light), np.minimum(light, 2) - 0.5, extent[..., None]]
    return np.concatenate(shown, axis=-1).astype(np.float32)


def _block(seen: Picture, pairs: Iterator[tuple[Picture, Picture]]) -> Picture:
    """Filter twice, each place by those about it."""
    for taps, level in islice(pairs, 2):
        wide = np.pad(seen, ((1, 1), (1, 1), (0, 0)))
        seen = filtered(wide, taps, level)
        np.maximum(seen, 0, out=seen)
    return seen


def _coarser(seen: Picture) -> Picture:
    """Keep the most of every four."""
    pairs = np.maximum(seen[::2], seen[1::2])
    return np.maximum(pairs[:, ::2], pairs[:, 1::2])


def _folded(shown: Picture) -> Picture:
    """Lay every four pixels on one place: (h, w, c) becomes (h / 2, w / 2, 4 c)."""
    height, width, count = shown.shape
    fours = shown.reshape(height // 2, 2, width // 2, 2, count)
    return fours.transpose(0, 2, 4, 1, 3).reshape(height // 2, width // 2, 4 * count)


def _unfolded(fours: Picture) -> Picture:
    """Lay them out again: (h / 2, w / 2, 4) becomes (h, w)."""
    height, width, _ = fours.shape
    return fours.reshape(height, width, 2, 2).transpose(0, 2, 1, 3).reshape(2 * height, 2 * width)
