"""The network goes round a ring, and knows blank from sheet."""

import numpy as np
from numpy.testing import assert_allclose

from blanktrace.odds import blank_odds, looks

UNKNOWN = np.full((60, 41), 0.5, np.float32)
"""Cover where any place may be blank."""


def test_a_strip_turned_along_its_ring_is_judged_the_same():
    light = np.random.default_rng(4).uniform(0.05, 1, (50, 41, 3))
    cover = np.random.default_rng(5).uniform(0, 1, (50, 41)).astype(np.float32)
    turned = blank_odds(np.roll(light, 17, axis=0), np.roll(cover, 17, axis=0), 4.0)
    assert_allclose(np.roll(turned, -17, axis=0), blank_odds(light, cover, 4.0), atol=1e-3)


def test_wood_inside_and_paper_outside_are_told_apart():
    light = np.ones((60, 41, 3))
    light[:, :20] = (0.42, 0.22, 0.12)
    odds = blank_odds(light, UNKNOWN, 4.0)
    assert odds[:, :16].min() > 1
    assert odds[:, 25:].max() < -1


def test_black_is_shown_as_a_finite_number():
    assert np.isfinite(looks(np.zeros((60, 41, 3)), UNKNOWN, 3.0)).all()


def test_surely_blank_and_surely_not_are_shown_as_finite_numbers():
    shown = looks(np.ones((60, 41, 3)), (UNKNOWN > 0).astype(np.float32), 3.0)
    assert np.isfinite(shown).all()


def test_where_light_tells_nothing_the_cover_decides():
    light = np.full((60, 41, 3), 0.8)
    cover = np.where(np.arange(41) < 24, 0.99, 0.01) * np.ones((60, 1))
    odds = blank_odds(light, cover.astype(np.float32), 4.0)
    assert odds[:, 4:20].min() > 0
    assert odds[:, 28:37].max() < 0
