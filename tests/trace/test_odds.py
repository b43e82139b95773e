"""The network goes round a ring, and knows blank from sheet."""

import numpy as np
from numpy.testing import assert_allclose

from blanktrace.odds import blank_odds, looks


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
