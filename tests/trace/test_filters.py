"""Filters are plain correlations, whatever is filtered at once."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import ndimage

from blanktrace import filters
from blanktrace.filters import filtered


@pytest.mark.parametrize("at_once", [30, 100, 10_000])
@pytest.mark.parametrize(("side", "gap"), [(3, 1), (5, 1), (5, 2), (3, 4), (1, 1)])
def test_the_same_as_a_library_makes(side, gap, at_once, monkeypatch):
    monkeypatch.setattr(filters, "AT_ONCE", at_once)
    rng = np.random.default_rng(3)
    margin = gap * (side // 2)
    seen = rng.normal(size=(30 + 2 * margin, 21 + 2 * margin, 2)).astype(np.float32)
    taps = rng.normal(size=(side, side, 2, 3)).astype(np.float32)
    spread = np.zeros((2 * margin + 1, 2 * margin + 1, 2, 3))
    spread[::gap, ::gap] = taps
    inner = np.s_[margin : margin + 30, margin : margin + 21]
    level = rng.normal(size=3).astype(np.float32)
    made = filtered(seen, taps, level, gap)
    assert made.shape == (30, 21, 3)
    for out in range(3):
        expected = sum(
            ndimage.correlate(seen[..., k].astype(float), spread[..., k, out]) for k in range(2)
        )
        assert_allclose(made[..., out], expected[inner] + level[out], atol=1e-4)
