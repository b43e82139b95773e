"""What both networks share: light as they are shown it, weights from their file, their filters."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from io import BytesIO
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from blanktrace.hues import log_hues

Floats = NDArray[np.float32]
Float = TypeVar("Float", np.float32, np.float64)

DARK = 0.02
"""Added to light before its logarithm: below, all is noise."""

AT_ONCE = 5000
"""Places that are filtered at once: what they need stays in the processor's cache."""


@cache
def layers(weights: str) -> tuple[tuple[Floats, Floats], ...]:
    """Read taps (K, K, in, out) and levels (out,) of each layer from a file of the package."""
    return read_layers((files("blanktrace") / weights).read_bytes())


def read_layers(stored: bytes) -> tuple[tuple[Floats, Floats], ...]:
    """Read them from what such a file holds."""
    with np.load(BytesIO(stored)) as kept:
        return tuple(
            (kept[f"taps{k}"].astype(np.float32), kept[f"level{k}"].astype(np.float32))
            for k in range(len(kept.files) // 2)
        )


def shown_light(light: NDArray[Float]) -> NDArray[Float]:
    """Show a network light as shares of the sheet's, 0 and up: (..., 3) becomes (..., 3).

    How light it is and its two hues, by logarithms, about as large as the shares themselves.
    """
    red, blue, lightness = log_hues(light + DARK)
    return np.stack([lightness / 1.5, 2 * red, 2 * blue], axis=-1)


def filtered(wide: Floats, taps: Floats, level: Floats, gap: int = 1) -> Floats:
    """Weigh each place's surroundings, and add a level.

    Parameters
    ----------
    wide : ndarray of float32, shape (H + 2 m, W + 2 m, in)
        What is seen, m more on every side, where m is gap times (K - 1) / 2.
    taps : ndarray of float32, shape (K, K, in, out)
    level : ndarray of float32, shape (out,)
    gap : int
        Distance of the taps from one another.

    Returns
    -------
    ndarray of float32, shape (H, W, out)
    """
    side, _, _, out = taps.shape
    height, width = (size - gap * (side - 1) for size in wide.shape[:2])
    made = np.empty((height, width, out), np.float32)
    step = max(1, AT_ONCE // width)
    for first in range(0, height, step):
        here = made[first : first + step].reshape(-1, out)
        here[:] = level
        near = wide[first : first + step + gap * (side - 1)]
        # What all taps of a row see, side by side: one product for each row of taps.
        beside = [near[:, gap * k : gap * k + width] for k in range(side)]
        rows = np.concatenate(beside, axis=2).reshape(len(near) * width, -1)
        for number, tap in enumerate(taps):
            start = number * gap * width
            here += rows[start : start + len(here)] @ tap.reshape(-1, out)
    return made
