"""A boundary is believed unless, as a whole, much of the blank seems to lie beyond it."""

from dataclasses import replace

import numpy as np
import pytest

from blanktrace.boundary import find_boundary
from blanktrace.errors import ContrastError
from blanktrace.odds import blank_odds
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


def beyond(found, share):
    """The same find, all covered over so much of its close-up from the left."""
    cover = found.cover.share.copy()
    cover[:, : round(share * cover.shape[1])] = 1
    return replace(found, cover=replace(found.cover, share=cover))


def test_a_boundary_that_all_agree_on_is_given(disc):
    (edge,) = find_boundary(*disc)
    assert np.hypot(*(edge.points_px - MIDDLE).T) == pytest.approx(90, abs=0.5)


def test_a_boundary_beyond_which_there_seems_to_be_blank_is_refused(disc, monkeypatch):
    rgb, found = disc
    monkeypatch.setattr("blanktrace.kind.blank_odds", without_cover)
    with pytest.raises(ContrastError, match="seems to go on beyond"):
        find_boundary(rgb, beyond(found, 0.5))


def without_cover(light, cover, reach_px):
    """What a strip alone says."""
    return blank_odds(light, np.full_like(cover, 0.5), reach_px)
