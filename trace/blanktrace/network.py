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

from functools import cache
from importlib.resources import files
from io import BytesIO

import numpy as np
from numpy.typing import NDArray

from blanktrace.hues import log_hues

Floats = NDArray[np.float32]

WEIGHTS = "network.npz"

GAPS = (1, 1, 2, 4, 2, 1, 1)
"""Distance of each layer's taps, in samples."""
CARRIED = (3, 4)
"""Layers whose input is added to what they make."""

AT_ONCE = 256
"""Rows of a strip that are filtered at once: what they need stays in the processor's cache."""

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
    layers = _layers()
    for number, ((taps, level), gap) in enumerate(zip(layers, GAPS, strict=True)):
        made = _filtered(seen, taps, gap) + level
        if number < len(layers) - 1:
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


@cache
def _layers() -> tuple[tuple[Floats, Floats], ...]:
    """Taps (K, K, in, out) and levels (out,) of each layer."""
    with np.load(BytesIO((files("blanktrace") / WEIGHTS).read_bytes())) as kept:
        return tuple(
            (kept[f"taps{k}"].astype(np.float32), kept[f"level{k}"].astype(np.float32))
            for k in range(len(GAPS))
        )


def _filtered(seen: Floats, taps: Floats, gap: int) -> Floats:
    """Run taps over samples (N, S, in), which go round along the ring and end across it."""
    count, across, _ = seen.shape
    reach = gap * (taps.shape[0] // 2)
    round_px = np.take(seen, np.arange(-reach, count + reach), axis=0, mode="wrap")
    wide = np.pad(round_px, ((0, 0), (reach, reach), (0, 0)))
    made = np.zeros((count, across, taps.shape[3]), np.float32)
    for first in range(0, count, AT_ONCE):
        here = made[first : first + AT_ONCE].reshape(-1, taps.shape[3])
        near = wide[first : first + AT_ONCE + 2 * reach]
        # What all taps of a row see, side by side: one product for each row of taps.
        beside = [near[:, gap * k : gap * k + across] for k in range(taps.shape[1])]
        rows = np.concatenate(beside, axis=2).reshape(len(near) * across, -1)
        for number, tap in enumerate(taps):
            start = number * gap * across
            here += rows[start : start + len(here)] @ tap.reshape(-1, taps.shape[3])
    return made
