"""The network's filters are plain correlations, and it knows blank from sheet."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import ndimage

from blanktrace import network
from blanktrace.network import blank_odds, looks


@pytest.mark.parametrize("gap", [1, 2, 4])
def test_filters_are_correlations_that_go_round_the_ring(gap):
    rng = np.random.default_rng(3)
    seen = rng.normal(size=(30, 21, 2)).astype(np.float32)
    taps = rng.normal(size=(5, 5, 2, 3)).astype(np.float32)
    made = network._filtered(seen, taps, gap)
    wide = np.zeros((4 * gap + 1, 4 * gap + 1, 2, 3))
    wide[::gap, ::gap] = taps
    rolled = np.pad(seen, ((2 * gap, 2 * gap), (0, 0), (0, 0)), mode="wrap").astype(float)
    for out in range(3):
        expected = sum(
            ndimage.correlate(rolled[..., k], wide[..., k, out], mode="constant") for k in range(2)
        )
        assert_allclose(made[..., out], expected[2 * gap : -2 * gap], atol=1e-4)


def test_a_strip_turned_along_its_ring_is_judged_the_same():
    light = np.random.default_rng(4).uniform(0.05, 1, (50, 41, 3))
    turned = blank_odds(np.roll(light, 17, axis=0), 4.0)
    assert_allclose(np.roll(turned, -17, axis=0), blank_odds(light, 4.0), atol=1e-3)


def test_wood_inside_and_paper_outside_are_told_apart():
    light = np.ones((60, 41, 3))
    light[:, :20] = (0.42, 0.22, 0.12)
    odds = blank_odds(light, 4.0)
    assert odds[:, :16].min() > 1
    assert odds[:, 25:].max() < -1


def test_black_is_shown_as_a_finite_number():
    assert np.isfinite(looks(np.zeros((8, 41, 3)), 3.0)).all()
