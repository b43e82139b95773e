"""Tell where along its profiles the kind of surface changes from blank to what lies beside it.

The network says of each sample how likely it is blank. The kind changes where most of what
is likely blank is left inside, and least of it outside; the samples about that place, each
blank by so much, say to a fraction of a sample where. The farther the network is in two
minds across the boundary, the less sure is its place.

References
----------
S. C. Zhu, A. Yuille, Region competition: unifying snakes, region growing, and
Bayes/MDL for multiband image segmentation, IEEE Transactions on Pattern Analysis and
Machine Intelligence 18(9), 1996 (reference from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

from blanktrace.odds import blank_odds
from blanktrace.strip import FINE, Strip

FloatArray = NDArray[np.float64]

MOST_SURE = 4.0
"""The most that a sample counts for (logarithm of its odds): one spot of dirt decides nothing."""

FARNESS = 0.5
"""What a place one reach off is behind one on the ring, in sure samples."""

ABOUT = 5
MOST_STEPS = 3.0
"""Samples to either side of the change that place it exactly, and how far they may move it."""

LEAST_DOUBT_PX = 0.15
"""Uncertainty of the best place in the best of photographs."""

CLEAR_WIDTH_PX, DOUBT_POWER = 3.0, 2.2
"""Width of doubt at which a place is uncertain by a pixel, and how its uncertainty grows with that
width: found on scenes whose truth is known."""


@dataclass(frozen=True, eq=False)
class Change:
    """Where the kind of surface changes.

    Attributes
    ----------
    off_px : ndarray, shape (N,)
        How far outward of the ring, point by point.
    doubt_px : ndarray, shape (N,)
        Its standard uncertainty.
    """

    off_px: FloatArray
    doubt_px: FloatArray


def surface_change(strip: Strip) -> Change:
    """Say where along a ring's normals the kind of surface changes.

    Parameters
    ----------
    strip : Strip
        The photograph along the ring.

    Returns
    -------
    Change
    """
    odds = blank_odds(strip.light, strip.cover, strip.reach_px).astype(np.float64)
    offsets = strip.offsets_px
    # The step that leaves most that is like the blank inside and least outside.
    gain = np.cumsum(np.clip(odds, -MOST_SURE, MOST_SURE), axis=1) / MOST_SURE
    last = np.argmax(gain - FARNESS * (offsets / strip.reach_px) ** 2, axis=1)
    chance = expit(odds)
    columns = last[:, None] + np.arange(1 - ABOUT, 1 + ABOUT)
    inside = np.clip(columns, 0, odds.shape[1] - 1)
    share = np.take_along_axis(chance, inside, axis=1)
    # Off the strip's ends, all is blank inside and none outside.
    share = np.where(columns < 0, 1.0, np.where(columns >= odds.shape[1], 0.0, share))
    exact = np.clip(share.sum(axis=1) - ABOUT, -MOST_STEPS, MOST_STEPS)
    step_px = strip.reach_px / FINE
    width_px = 4 * step_px * np.sum(chance * (1 - chance), axis=1)
    return Change(
        off_px=offsets[last] + step_px * (0.5 + exact),
        doubt_px=np.hypot(LEAST_DOUBT_PX, (width_px / CLEAR_WIDTH_PX) ** DOUBT_POWER),
    )
