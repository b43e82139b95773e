"""Say of every sample of a strip how likely it is blank: a small network that was shown strips.

Seven layers of filters look at the strip's light, each at what the last one made of its
surroundings. Their weights were fitted to strips whose truth is known, drawn and rendered
by `tests/training`, with no photograph of any benchmark among them.

References
----------
F. Yu, V. Koltun, Multi-scale context aggregation by dilated convolutions, International
Conference on Learning Representations, 2016 (filters with gaps; reference from memory).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import logit

from blanktrace.filters import filtered, layers, shown_light

Floats = NDArray[np.float32]

WEIGHTS = "odds.npz"

GAPS = (1, 1, 2, 4, 2, 1, 1)
"""Distance of each layer's taps, in samples."""
CARRIED = (3, 4)
"""Layers whose input is added to what they make."""

LEAST_CHANCE = 0.02
"""The least cover, and the least that is missing to 1, that is told from none."""

PLAIN_REACH_PX = 4.0
"""Reach that counts as neither coarse nor fine."""


def blank_odds(light: NDArray[np.float64], cover: Floats, reach_px: float) -> Floats:
    """Say how likely samples are blank.

    Parameters
    ----------
    light : ndarray, shape (N, S, 3)
        Share of the sheet's light along a closed ring, from inside outward.
    cover : ndarray, shape (N, S)
        How much of each sample is blank, as the network for close-ups says.
    reach_px : float
        What ten samples across are, in px.

    Returns
    -------
    ndarray, shape (N, S)
        Logarithm of the odds.
    """
    seen = looks(light, cover, reach_px)
    all_layers = layers(WEIGHTS)
    for number, ((taps, level), gap) in enumerate(zip(all_layers, GAPS, strict=True)):
        made = filtered(_around(seen, gap * (len(taps) // 2)), taps, level, gap)
        if number < len(all_layers) - 1:
            np.maximum(made, 0, out=made)
        seen = seen + made if number in CARRIED else made
    return seen[..., 0]


def looks(light: NDArray[np.float64], cover: Floats, reach_px: float) -> Floats:
    """Show the network each sample: (N, S, 9).

    How light it is and its two hues, by logarithms; the three lights as they are; how far
    out it lies; how coarse the strip is; its cover, by the logarithm of the odds.
    """
    samples = (*light.shape[:2], 1)
    out = np.broadcast_to(np.linspace(-1, 1, light.shape[1])[:, None], samples)
    coarse = np.full(samples, np.log(reach_px / PLAIN_REACH_PX))
    chance = np.clip(cover, LEAST_CHANCE, 1 - LEAST_CHANCE)[..., None]
    shown = [shown_light(np.maximum(light, 0)), light - 0.5, out, coarse, logit(chance) / 4]
    return np.concatenate(shown, axis=-1).astype(np.float32)


def _around(seen: Floats, reach: int) -> Floats:
    """Add what lies about samples (N, S, in), which go round along the ring and end across it."""
    count, across, kinds = seen.shape
    wide = np.zeros((count + 2 * reach, across + 2 * reach, kinds), np.float32)
    inner = wide[:, reach : reach + across]
    inner[reach : reach + count] = seen
    inner[:reach] = seen[np.arange(-reach, 0) % count]
    inner[reach + count :] = seen[np.arange(reach) % count]
    return wide
