"""A close-up keeps places and light."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from skimage.measure import find_contours

from blanktrace import close_up as module
from blanktrace.background import linear_light, model_sheet
from blanktrace.close_up import close_up, shrunk
from tests.trace.pictures import disc_level, grid, photograph

PLACE, RADIUS_PX = (903.3, 611.8), 210.0


@pytest.fixture(scope="module")
def near():
    x, y = grid(1600, 1200)
    rgb = photograph(disc_level(x, y, PLACE, RADIUS_PX, 1.0))
    sheet = model_sheet(linear_light(shrunk(rgb, (800, 600))))
    x, y = grid(800, 600)
    place = (np.array(PLACE) - 0.5) / 2
    return close_up(rgb, np.hypot(x - place[0], y - place[1]) < RADIUS_PX / 2, sheet, margin_px=14)


def test_it_holds_no_more_pixels_than_asked_for(near):
    assert 0.98 * module.CUT_PIXELS < near.patch.size < 1.02 * module.CUT_PIXELS
    assert near.share.shape[:2] == near.patch.shape == near.sheet.bare.shape
    assert near.factor < 1


def test_the_bare_sheet_gives_all_its_light_back(near):
    one_level = 0.01  # of 8 bits
    assert_allclose(np.median(near.share[~near.patch], axis=0), 1, atol=one_level)


def test_points_go_back_to_where_they_are_in_the_photograph(near):
    (line,) = (
        ring for ring in find_contours(near.share.mean(axis=2), 0.6) if len(ring) > RADIUS_PX
    )
    ring = near.onto_photo(line[:, ::-1])
    assert_allclose(ring.mean(axis=0), PLACE, atol=0.3)
    assert_allclose(np.hypot(*(ring - PLACE).T), RADIUS_PX, atol=0.6)


def test_a_small_photograph_is_shown_as_it_is():
    x, y = grid(300, 240)
    rgb = photograph(disc_level(x, y, (150, 120), 40.0, 1.0))
    disc = np.hypot(x - 150, y - 120) < 40
    one = close_up(rgb, disc, model_sheet(linear_light(rgb)), margin_px=14)
    assert one.factor == 1
    assert_allclose(one.onto_photo(np.zeros((1, 2))), [[96.0 + 1, 66.0 + 1]], atol=1)
