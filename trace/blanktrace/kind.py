"""Tell where along its profiles the kind of surface changes from blank to sheet.

A shadow takes the same share from all channels. Where the sheet beside the blank is
unevenly lit, a discriminant (Fisher's, with a covariance stretched in the grey
direction by as much as the light varies there) therefore goes by colour; where it is
evenly lit, darkness counts too, and places the step more sharply.

References
----------
R. A. Fisher, The use of multiple measurements in taxonomic problems, Annals of
Eugenics 7, 1936.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from blanktrace.profiles import STEP_PX, along_ring

FloatArray = NDArray[np.float64]

LEAST_GREY_SPREAD = 0.04
"""Least spread, common to all channels, of the light on either side: paper, grain."""

SHADOW_RANGE = 3.0
"""How much darker a shadow may be at the edge itself than it is on average beside it."""

COLOUR_SPREAD = 0.015
"""Spread in each channel for itself: noise, grain, coloured bounce light."""


def surface_change(
    profiles: FloatArray, offsets: FloatArray, reach_px: float
) -> tuple[FloatArray, FloatArray]:
    """Say how far outward of a ring the kind of surface changes, and how much, point by point.

    Parameters
    ----------
    profiles : ndarray, shape (N, S, 3)
        Share of the sheet's light lost, along each point's normal.
    offsets : ndarray, shape (S,)
        Outward positions of the samples, in px.
    reach_px : float
        How far the ring may be off.

    Returns
    -------
    shift_px : ndarray, shape (N,)
    apart : ndarray, shape (N,)
        Squared difference of blank and surroundings, in what they vary by.
    """
    weight, middle, apart = _discriminant(profiles, offsets, reach_px / 2)
    score = np.einsum("nsc,nc->ns", profiles, weight) - middle[:, None]
    # The step that leaves most that is like the blank inside and least outside.
    gain = np.cumsum(score, axis=1)
    near = -0.5 * (offsets / reach_px) ** 2
    best = np.argmax(gain / np.abs(score).max(axis=1, keepdims=True) + near, axis=1)
    return np.asarray(offsets[best] + STEP_PX / 2, dtype=np.float64), apart


def _discriminant(
    profiles: FloatArray, offsets: FloatArray, gap_px: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Weigh the channels so that blank and sheet differ most for how much each varies.

    Returns
    -------
    weight : ndarray, shape (N, 3)
    middle : ndarray, shape (N,)
        The weighted value half way between the two.
    apart : ndarray, shape (N,)
        Squared difference of the two, in spreads.
    """
    inner, outer = offsets < -gap_px, offsets > gap_px
    inside = along_ring(profiles[:, inner].mean(axis=1), 1.5 * gap_px)
    outside = along_ring(profiles[:, outer].mean(axis=1), 1.5 * gap_px)
    # Bare lit sheet has lost nothing; what the sheet has lost outside, shadow took.
    taken = (profiles[:, outer].mean(axis=2) ** 2).mean(axis=1)
    spread = SHADOW_RANGE**2 * along_ring(taken[:, None], 4 * gap_px)[:, 0] + LEAST_GREY_SPREAD**2
    covariance = COLOUR_SPREAD**2 * np.eye(3) + spread[:, None, None] * np.ones((3, 3)) / 3
    solved = np.linalg.solve(covariance, (inside - outside)[..., None])
    weight = np.asarray(solved[..., 0], dtype=np.float64)
    middle = np.einsum("nc,nc->n", weight, (inside + outside) / 2)
    return weight, middle, np.einsum("nc,nc->n", weight, inside - outside)
