"""Tell where along its profiles the kind of surface changes from blank to what lies beside it.

A shadow takes the same share from all channels, so surfaces are compared by the
logarithm of light: by how light they are, and by their hues. Near by along the ring,
what lies a little inside shows what the blank looks like, and what lies a little
outside shows the sheet, in light or in shadow; blur mixes the two. Each sample of a
profile is more likely the one or the other. What looks like neither, such as the blank's
own shaded side or a shadow that deepens towards it, may lie outside, but hardly inside.
The kind changes where most of what is likely blank is left inside, and least of it outside.

References
----------
S. C. Zhu, A. Yuille, Region competition: unifying snakes, region growing, and
Bayes/MDL for multiband image segmentation, IEEE Transactions on Pattern Analysis and
Machine Intelligence 18(9), 1996 (reference from memory).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from blanktrace.hues import log_hues
from blanktrace.profiles import STEP_PX, along_ring

FloatArray = NDArray[np.float64]

NEAR_PX = 8.0
"""Gaussian along the ring over which a surface looks the same."""

BLANK_SPREADS = (0.12, 0.08, 0.08)
SHEET_SPREADS = (0.10, 0.05, 0.05)
"""Least standard deviations of the logarithms of light, of red over green and of blue over green,
beyond what is seen to vary: grain, bounced light, unlike paper."""

SEEN_SHARE = 0.5
OTHER_DENSITY = 0.25
"""Share of what lies outside that looks as it does a little farther out; and how dense all that it
may look like besides lies, over the three logarithms."""

MIXED_SHARE = 0.01
"""Share of samples that are blank and surroundings mixed by the blur: without them, a sharp edge
is placed where the blank's own look ends, a blur inward."""

LEAST_DENSITY = 1e-4
MOST_SURE = 8.0
"""What an unlikely look still has, and the most that a sample counts for (logarithm of the two
likelihoods' ratio): one spot of dirt decides nothing."""

LEAST_NOISE = 0.004
DARK_NOISES = 3.0
"""Noise of light, as a share of the sheet's, at least; and how much of it is added to light before
logarithms are taken: below, all is noise."""

LEAST_STEP = 1e-6


def surface_change(profiles: FloatArray, offsets: FloatArray, reach_px: float) -> FloatArray:
    """Say how far outward of a ring the kind of surface changes, point by point.

    Parameters
    ----------
    profiles : ndarray, shape (N, S, 3)
        Share of the sheet's light lost, along each point's normal.
    offsets : ndarray, shape (S,)
        Outward positions of the samples, in px; they reach beyond half of `reach_px`.
    reach_px : float
        How far the ring may be off.

    Returns
    -------
    ndarray, shape (N,)
        In px.
    """
    score = _likelier_blank(np.maximum(1 - profiles, 0), offsets, reach_px / 2)
    # The step that leaves most that is like the blank inside and least outside.
    gain = np.cumsum(score, axis=1) / np.abs(score).max(axis=1, keepdims=True)
    near = -0.5 * (offsets / reach_px) ** 2
    best = np.argmax(gain + near, axis=1)
    return np.asarray(offsets[best] + STEP_PX / 2, dtype=np.float64)


def _likelier_blank(light: FloatArray, offsets: FloatArray, gap_px: float) -> FloatArray:
    """Say how much likelier each sample (N, S) is blank than not: logarithm of the ratio."""
    inner, outer = offsets < -gap_px, offsets > gap_px
    noise = _noise(light[:, outer])
    floor = DARK_NOISES * noise
    looks, unsure = _looks(light, floor), _unsure(light, floor, noise)
    inside, outside = (
        along_ring(light[:, side].mean(axis=1), NEAR_PX)[:, None] for side in (inner, outer)
    )

    def density(
        side: NDArray[np.bool_], mean: FloatArray, spreads: tuple[float, ...]
    ) -> FloatArray:
        away = looks - _looks(mean, floor)
        varied = along_ring((away[:, side] ** 2).mean(axis=1), NEAR_PX)[:, None]
        return _density(away, unsure + np.square(spreads) + varied)

    step = inside - outside
    share = ((light - outside) * step).sum(axis=2) / np.maximum((step**2).sum(axis=2), LEAST_STEP)
    share = np.clip(share, 0, 1)
    between = _looks(outside + share[..., None] * step, floor)
    mixed = MIXED_SHARE * _density(looks - between, unsure + np.square(BLANK_SPREADS))
    blank = density(inner, inside, BLANK_SPREADS) + LEAST_DENSITY
    sheet = density(outer, outside, SHEET_SPREADS)
    other = SEEN_SHARE * sheet + (1 - SEEN_SHARE) * OTHER_DENSITY
    ratio = (blank + mixed * share) / (other + mixed * (1 - share))
    return np.asarray(np.clip(np.log(ratio), -MOST_SURE, MOST_SURE))


def _noise(light: FloatArray) -> float:
    """Tell the light's noise from neighbours along the ring."""
    apart = np.abs(np.diff(light, axis=0))
    return max(1.4826 * float(np.median(apart)) / float(np.sqrt(2)), LEAST_NOISE)


def _looks(light: FloatArray, floor: float) -> FloatArray:
    """Logarithms of light, of red over green and of blue over green, along the last axis."""
    red, blue, lightness = log_hues(light + floor)
    return np.stack([lightness, red, blue], axis=-1)


def _unsure(light: FloatArray, floor: float, noise: float) -> FloatArray:
    """Variances that noise gives those logarithms."""
    variance = (noise / (light + floor)) ** 2
    red, green, blue = np.moveaxis(variance, -1, 0)
    return np.stack([variance.mean(axis=-1) / 3, red + green, blue + green], axis=-1)


def _density(away: FloatArray, variance: FloatArray) -> FloatArray:
    """Give the normal density of looks that are so far from the usual."""
    squares = (away**2 / variance).sum(axis=2)
    return np.asarray(np.exp(-squares / 2) / np.sqrt((2 * np.pi) ** 3 * variance.prod(axis=2)))
