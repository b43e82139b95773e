"""Measure what each pixel of a photograph says against the bare sheet.

Dividing the photograph by the modelled light of the bare sheet leaves, for each
channel, the share of light that comes back. What blocks part of the light takes
the same share from every channel if there is one light; with a lamp and a window
the shadow leans towards the colour of the light that still reaches it. Either
way shadows lie on (or, towards blue, beside) the straight line from full light to
black, and most blanks do not.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from blanktrace.background import MaskArray, Picture, Sheet
from blanktrace.hues import log_hues
from blanktrace.masks import disc_kernel

BLUER_SHADOW = (0.35, -0.40)
"""How far the red and blue loss of a shadow may exceed that of green: lamp off, window on."""

STANDS_OUT = 0.06
"""Least share of light lost or gained that is no paper mottle."""

COLOUR_STANDS_OUT = 0.03
"""Least departure of a channel from the shadow line that is a colour of its own."""

SHADOW_TINT = 0.15
"""Departure that bounced light may give a shadow, as a share of the light lost."""

DEEP_HUE = 0.15
"""The same for the ratio of two channels (natural logarithm)."""

DARKEST = 0.03
"""Share of light below which a hue cannot be told."""

NOISES = 5.0
"""How many standard deviations make a difference."""

TEXTURE_NOISES = 6.0

ENOUGH = 20_000


@dataclass(frozen=True, eq=False)
class Evidence:
    """What each pixel of the reduced picture says.

    Attributes
    ----------
    loss : ndarray, shape (h, w, 3)
        Share of the bare sheet's light that is missing, per channel.
    colour : ndarray, shape (h, w)
        How far its colour is from any that a shadow has, over what shadows vary by.
    textured : ndarray of bool, shape (h, w)
        Has fine contrast that the sheet has not.
    stands_out : ndarray of bool, shape (h, w)
        Is not bare sheet.
    noise : float
        Standard deviation of the bare sheet's light, as a share of it.
    """

    loss: Picture
    colour: Picture
    textured: MaskArray
    stands_out: MaskArray
    noise: float

    @property
    def coloured(self) -> MaskArray:
        """Has a colour that no shadow has."""
        return self.colour > 1


def gather_evidence(share: Picture, sheet: Sheet) -> Evidence:
    """Measure colour, darkness and texture, from shares of the bare sheet's light."""
    loss = np.asarray(1 - cv2.GaussianBlur(share, (0, 0), 1.0), dtype=np.float32)
    darkness = grey(loss)
    departure = _off_shadow_line(loss)
    noise = max(float(np.percentile(_some(departure[sheet.bare]), 99)) / 2.6, 0.004)
    limit = np.maximum(NOISES * noise, COLOUR_STANDS_OUT + SHADOW_TINT * np.clip(darkness, 0, 1))
    colour = np.maximum(departure / limit, _deep_colour(loss, sheet.bare))
    light = grey(share)
    fine = light - cv2.GaussianBlur(light, (0, 0), 2.0)
    contrast = np.sqrt(cv2.GaussianBlur(fine * fine, (0, 0), 2.0))
    paper = float(np.median(_some(contrast[sheet.bare])))
    dark_noise = spread(darkness[sheet.bare])
    textured = contrast > TEXTURE_NOISES * paper
    stands_out = np.abs(darkness) > max(STANDS_OUT, NOISES * dark_noise)
    inside = sheet.extent
    # A lone coloured pixel is noise.
    colour = cv2.morphologyEx(colour.astype(np.float32), cv2.MORPH_OPEN, disc_kernel(1))
    return Evidence(
        loss=loss,
        colour=np.where(inside, colour, np.float32(0)),
        textured=textured & inside,
        stands_out=stands_out & inside,
        noise=sheet.noise,
    )


def grey(picture: Picture) -> Picture:
    """Average the channels."""
    return np.asarray(cv2.transform(picture, np.full((1, 3), 1 / 3)), dtype=np.float32)


def _off_shadow_line(loss: Picture) -> Picture:
    """Distance of a pixel's loss from what some shadow could cause."""
    red, green, blue = np.moveaxis(loss, 2, 0)
    base = np.maximum(green, 0)
    u, v = red - green, blue - green
    reach_u, reach_v = BLUER_SHADOW[0] * base, BLUER_SHADOW[1] * base
    length = np.maximum(reach_u**2 + reach_v**2, 1e-9)
    along = np.clip((u * reach_u + v * reach_v) / length, 0, 1)
    return np.asarray(np.hypot(u - along * reach_u, v - along * reach_v))


def _deep_colour(loss: Picture, bare: MaskArray) -> Picture:
    """Find dark places with a hue of their own, which losses near 1 hide: by ratios.

    A shadow may turn bluer (less red, more blue than green) but not otherwise.
    """
    noise = [spread(side) for side in log_hues(_lit(_some(loss[bare])))[:2]]
    dark = np.maximum(np.maximum(loss[..., 0], loss[..., 1]), loss[..., 2]) > DEEP_HUE / 2
    red, blue, light = log_hues(_lit(loss[dark]))
    # Noise in a ratio grows as the light falls.
    growth = np.exp(np.clip(-light, 0, 3) / 2)
    limit = [max(NOISES * one, 0.03) * growth + DEEP_HUE for one in noise]
    bluer = (red < limit[0]) & (blue > -limit[1])
    hue = np.maximum(np.abs(red) / limit[0], np.abs(blue) / limit[1])
    result = np.zeros(loss.shape[:2], dtype=np.float32)
    result[dark] = np.where(bluer, 0, hue)
    return result


def _lit(loss: Picture) -> Picture:
    """Light that comes back, but for what is too little to have a hue."""
    return np.maximum(1 - loss, DARKEST)


def _some(values: NDArray[np.float32]) -> NDArray[np.float32]:
    """Take enough of many values for their spread to be known to a percent."""
    return values[:: 1 + len(values) // ENOUGH]


def spread(values: NDArray[np.float32]) -> float:
    """Robust standard deviation: 1.4826 times the median absolute deviation."""
    values = _some(values)
    return float(1.4826 * np.median(np.abs(values - np.median(values))))
