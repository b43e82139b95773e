"""A boundary is believed only where the close look and the whole agree on it."""

from dataclasses import replace

import numpy as np
import pytest

from blanktrace.boundary import find_boundary
from blanktrace.errors import ContrastError
from blanktrace.silhouette import find_silhouettes
from tests.trace.pictures import disc_level, grid, photograph

SIZE, MIDDLE = (640, 480), (320, 240)


@pytest.fixture
def disc():
    """A wooden disc's photograph, and what was found there."""
    x, y = grid(*SIZE)
    rgb = photograph(disc_level(x, y, MIDDLE, 90.0, 1.0))
    (found,) = find_silhouettes(rgb).silhouettes
    return rgb, found


def doubting(found, share):
    """The same find, its cover taken away over so much of it from the left."""
    cover = found.cover.share.copy()
    cover[:, : round(share * cover.shape[1])] = 0
    return replace(found, cover=replace(found.cover, share=cover))


def test_a_boundary_that_all_agree_on_is_given(disc):
    (edge,) = find_boundary(*disc)
    assert np.hypot(*(edge.points_px - MIDDLE).T) == pytest.approx(90, abs=0.5)


def test_a_boundary_that_looks_otherwise_as_a_whole_is_refused(disc):
    rgb, found = disc
    with pytest.raises(ContrastError, match="of the edge is in doubt"):
        find_boundary(rgb, doubting(found, 0.5))
