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

from blanktrace.filters import filtered, layers
from blanktrace.hues import log_hues

Floats = NDArray[np.float32]

WEIGHTS = "odds.npz"

GAPS = (1, 1, 2, 4, 2, 1, 1)
"""Distance of each layer's taps, in samples."""
CARRIED = (3, 4)
"""Layers whose input is added to what they make."""

DARK = 0.02
"""Added to light before its logarithm: below, all is noise."""
PLAIN_REACH_PX = 4.0
"""Reach that counts as neither coarse nor fine."""


def blank_odds(light: NDArray[np.float64], reach_px: float) -> Floats:
    """Say how likely samples are blank.

    Parameters
    ----------
    light : ndarray, shape (N, S, 3)
        Share of the sheet's light along a closed ring, from inside outward.
    reach_px : float
        What ten samples across are, in px.

    Returns
    -------
    ndarray, shape (N, S)
        Logarithm of the odds.
    """
    seen = looks(light, reach_px)
    all_layers = layers(WEIGHTS)
    for number, ((taps, level), gap) in enumerate(zip(all_layers, GAPS, strict=True)):
        made = filtered(_around(seen, gap * (len(taps) // 2)), taps, gap) + level
        if number < len(all_layers) - 1:
            made = np.maximum(made, 0)
        seen = seen + made if number in CARRIED else made
    return seen[..., 0]


def looks(light: NDArray[np.float64], reach_px: float) -> Floats:
    """Show the network each sample: (N, S, 8).

    How light it is and its two hues, by logarithms; the three lights as they are; how far
    out it lies; how coarse the strip is.
    """
    red, blue, lightness = log_hues(np.maximum(light, 0) + DARK)
    out = np.broadcast_to(np.linspace(-1, 1, light.shape[1]), red.shape)
    coarse = np.full(red.shape, np.log(reach_px / PLAIN_REACH_PX))
    shown = [lightness / 1.5, 2 * red, 2 * blue]
    shown += [light[..., k] - 0.5 for k in range(3)]
    return np.stack([*shown, out, coarse], axis=-1).astype(np.float32)


def _around(seen: Floats, reach: int) -> Floats:
    """Add what lies about samples (N, S, in), which go round along the ring and end across it."""
    along = np.pad(seen, ((reach, reach), (0, 0), (0, 0)), mode="wrap")
    return np.pad(along, ((0, 0), (reach, reach), (0, 0)))
