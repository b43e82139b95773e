"""Say by how much a closed ring turns at each of its points."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


def turns_rad(ring: FloatArray, reach: int = 1) -> FloatArray:
    """Measure the turn from the chord that ends at each point to the one that starts there.

    Parameters
    ----------
    ring : ndarray, shape (N, 2)
        Points in order, the first not repeated.
    reach : int
        Points that a chord spans.

    Returns
    -------
    ndarray, shape (N,)
        From x towards y positive, within half a turn.
    """
    before, after = ring - np.roll(ring, reach, axis=0), np.roll(ring, -reach, axis=0) - ring
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    return np.asarray(np.arctan2(cross, np.einsum("nk,nk->n", before, after)))
