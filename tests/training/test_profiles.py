"""Drawn strips: blank inside, none outside, and a blurred step where the two meet."""

import numpy as np
import pytest

from blanktrace.strip import ACROSS
from tests.training.profiles import drawn_strip


@pytest.mark.parametrize("seed", range(12))
def test_a_strip_is_blank_inside_and_sheet_or_shade_outside(seed):
    light, share, reach_px = drawn_strip(np.random.default_rng(seed), rows=100)
    assert light.shape == (100, ACROSS, 3)
    assert share.shape == (100, ACROSS)
    assert 1.5 <= reach_px <= 12
    assert (np.diff(share, axis=1) <= 0).all()
    assert share[:, 0].min() == 1
    assert share[:, -1].max() == 0
    assert light.min() > -0.1
    assert light.max() < 1.3
