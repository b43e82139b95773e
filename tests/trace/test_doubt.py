from __future__ import annotations

import numpy as np
import pytest

from blanktrace.doubt import LEAST_DOUBT_PX, edge_doubt_px

OFFSETS = np.arange(-6.0, 6.01, 0.5)
COUNT = 400


def profiles(inside, outside=0.0):
    """Steps of height `inside`, point by point, the same in all channels."""
    loss = np.where(OFFSETS < 0, np.broadcast_to(inside, (COUNT,))[:, None], outside)
    return np.repeat(loss[..., None], 3, axis=2)


def doubt(values, reach_px=4.0):
    return edge_doubt_px(values, OFFSETS, blur_px=1.0, reach_px=reach_px, spacing_px=1.5)


def test_an_even_step_is_placed_to_a_fraction_of_a_pixel():
    assert doubt(profiles(0.6)) == pytest.approx(LEAST_DOUBT_PX)


def test_grain_counts_by_its_share_of_the_step():
    wave = np.sin(np.arange(COUNT) * 0.7)
    weak, strong = (np.median(doubt(profiles(h + 0.05 * wave))) for h in (0.2, 0.8))
    assert weak > 1.5 * strong > LEAST_DOUBT_PX
    # By the square root of the share: four times the step, half the doubt.
    assert weak / strong == pytest.approx(2.0, rel=0.15)


def test_no_step_is_no_place():
    noise = np.random.default_rng(3).normal(0, 0.05, COUNT)
    assert np.median(doubt(profiles(noise))) > 1.5
