"""Blank is told from sheet and shadow by its shape and look, whichever way it lies."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from blanktrace.background import linear_light, model_sheet
from blanktrace.close_up import CloseUp
from blanktrace.cover import blank_cover, looks
from tests.trace.pictures import disc_level, grid, photograph, tag_photograph


def whole(rgb):
    """A photograph as one close-up."""
    linear = linear_light(rgb)
    sheet = model_sheet(linear)
    height, width = linear.shape[:2]
    share = (linear / np.exp(sheet.log_light)).astype(np.float32)
    where = (slice(0, height), slice(0, width))
    return CloseUp(share, sheet, ~sheet.bare, where, 1.0)


@pytest.mark.parametrize("size", [(320, 256), (333, 271), (210, 300)])
def test_a_wooden_disc_is_covered_and_nothing_else(size):
    x, y = grid(*size)
    level = disc_level(x, y, (size[0] / 2, size[1] / 2), 70.0, 0.8)
    cover = blank_cover(whole(photograph(level))).share
    assert cover.shape == level.shape
    assert cover.sum() == pytest.approx(level.sum(), rel=0.01)
    assert np.abs(cover - level).mean() < 0.005


def test_a_shadow_is_no_blank():
    rgb, centre = tag_photograph(size=(400, 360), radius=80.0)
    cover = blank_cover(whole(rgb)).share
    x, y = grid(400, 360)
    disc = disc_level(x, y, centre, 80.0, 0.8)
    assert cover[disc > 0.95].min() > 0.5
    beyond = np.hypot(x - centre[0], y - centre[1]) > 84
    assert cover[beyond & (y > centre[1])].max() < 0.5


@pytest.mark.parametrize("turns", [1, 2, 3])
def test_turned_it_is_told_alike(turns):
    rgb, _ = tag_photograph(size=(320, 320), radius=70.0)
    near = whole(rgb)
    turned = whole(np.ascontiguousarray(np.rot90(rgb, turns)))
    there = np.rot90(blank_cover(turned).share, -turns)
    assert np.mean((there > 0.5) != (blank_cover(near).share > 0.5)) < 0.002


def test_black_and_glints_are_shown_as_finite_numbers():
    share = np.stack([np.zeros((8, 8, 3)), np.full((8, 8, 3), 1e4)]).reshape(16, 8, 3)
    shown = looks(share.astype(np.float32), np.ones((16, 8), bool))
    assert np.isfinite(shown).all()
    assert np.abs(shown).max() < 5


def test_what_lies_off_the_sheet_is_not_looked_at():
    rng = np.random.default_rng(6)
    share = rng.uniform(0, 1, (2, 16, 16, 3)).astype(np.float32)
    extent = np.zeros((16, 16), bool)
    assert_allclose(looks(share[0], extent), looks(share[1], extent))


def test_a_place_of_the_photograph_is_asked_for_where_it_lies_in_the_close_up():
    x, y = grid(320, 256)
    near = whole(photograph(disc_level(x, y, (160, 128), 70.0, 0.8)))
    # The same as if it were part of a photograph twice as large, 40 px right and 30 down.
    part = replace(near, where=(slice(30, 542), slice(40, 680)), factor=0.5)
    cover = replace(blank_cover(near), near=part)
    places = np.stack([x, y], axis=-1)[::7, ::9]
    assert_allclose(cover.at(2 * places + 0.5 + (40, 30)), cover.share[::7, ::9], atol=1e-4)
    assert_allclose(part.onto_photo(part.from_photo(places[0])), places[0])
