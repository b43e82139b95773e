"""Draw strips from formulae: a blank of one look beside lit sheet, its wall or a soft shadow.

Scenes are full of rims, grain and mirrored light, which move an edge to one side now and
then. These have none, and keep the network true where there is nothing but a blurred step.
"""

from __future__ import annotations

import colorsys

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from scipy import ndimage

from blanktrace.strip import ACROSS, FINE

Floats = NDArray[np.float64]

FINER = 4
"""Steps to a sample across, in which the step is drawn before it is blurred."""
BLURS_PX = (0.5, 2.5)
MOST_REACH_PX = 12.0


def drawn_strip(rng: Generator, rows: int) -> tuple[Floats, Floats, float]:
    """Draw a strip.

    Returns
    -------
    light : ndarray, shape (rows, ACROSS, 3)
        Share of the sheet's light.
    share : ndarray, shape (rows, ACROSS)
        Share of blank.
    reach_px : float
    """
    reach = float(np.exp(rng.uniform(np.log(1.5), np.log(MOST_REACH_PX))))
    step = reach / FINE
    offsets = (np.arange(FINER * ACROSS) - (FINER * ACROSS - 1) / 2) * step / FINER
    wander = ndimage.gaussian_filter1d(rng.standard_normal(rows), rng.uniform(4, 30), mode="wrap")
    off = rng.normal(0, 0.4) + rng.uniform(0, 0.3) * wander / wander.std()
    away = offsets - reach * np.clip(off, -1.3, 1.3)[:, None]
    blank = _colour(rng)
    beyond = _beyond(rng, away, reach)
    if rng.random() < 0.3:
        wall = blank * rng.uniform(0.15, 0.9) * beyond
        wide = rng.uniform(0, 1) * reach
        beyond = np.where((away < wide)[..., None], wall, beyond)
    grain = 1 + rng.uniform(0, 0.15) * ndimage.gaussian_filter(
        rng.standard_normal(away.shape), (rng.uniform(0.5, 3), rng.uniform(2, 16))
    ) * rng.uniform(2, 12)
    inside = np.clip(blank * np.clip(grain, 0.4, 1.6)[..., None], 0.005, 1.1)
    share = np.clip(0.5 - away / 1.0, 0, 1)
    sharp = inside * share[..., None] + beyond * (1 - share[..., None])
    blur = float(np.exp(rng.uniform(*np.log(BLURS_PX)))) * FINER / step
    light = ndimage.gaussian_filter1d(sharp, blur, axis=1, mode="nearest")
    thin = light.reshape(rows, ACROSS, FINER, 3).mean(axis=2)
    noise = rng.normal(0, rng.uniform(0.001, 0.02), thin.shape)
    return thin + noise, share.reshape(rows, ACROSS, FINER).mean(axis=2), reach


def _colour(rng: Generator) -> Floats:
    """Draw a blank's look, as a share of the sheet's: any hue, soot to nearly white."""
    value = float(np.exp(rng.uniform(np.log(0.02), np.log(0.95))))
    chroma = rng.uniform(0, 0.15) if rng.random() < 0.3 else rng.uniform(0.1, 0.8)
    return np.array(colorsys.hsv_to_rgb(float(rng.random()), float(chroma), value))


def _beyond(rng: Generator, away: Floats, reach: float) -> Floats:
    """Draw what lies beside: lit sheet, or a shadow that is deepest at the blank."""
    if rng.random() < 0.35:
        return np.ones((*away.shape, 3))
    deep = float(np.exp(rng.uniform(np.log(0.04), np.log(0.8))))
    rise = rng.uniform(0, 0.6) / reach if rng.random() < 0.6 else 0.0
    shade = np.clip(deep + rise * np.maximum(away, 0), 0, 1)[..., None]
    # Where light of another colour fills the shadow, it is tinted.
    return np.asarray(shade ** (1 + rng.normal(0, 0.06, 3)))
