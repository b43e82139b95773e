import numpy as np
import pytest

from blanktrace.masks import filled
from blanktrace.shade import open_shade, with_shaded_blank

HEIGHT, WIDTH = 200, 260
ACROSS, DOWN = np.meshgrid(np.arange(WIDTH), np.arange(HEIGHT))
DISC = np.hypot(ACROSS - 90, DOWN - 100) < 60
STRAP = (np.abs(DOWN - 100) < 22) & (ACROSS > 90) & (ACROSS < 230)
WHOLE = DISC | STRAP
BAND = STRAP & ~DISC & (ACROSS < 164)
"""The disc's shadow on the strap."""
BESIDE = (np.hypot(ACROSS - 90, DOWN - 108) < 60) & ~WHOLE
"""The disc's shadow on the sheet."""


def cover(**doubts):
    """What the network says: blank for sure, but for places of which it doubts."""
    says = np.where(WHOLE, 1.0, 0.0)
    for where, share in doubts.values():
        says[where] = share
    return says.astype(np.float32)


def loss(dark, *, lost=0.9):
    """The share of the sheet's light that is missing: some of it on a lit blank, more in shade."""
    share = np.where(dark, lost, np.where(WHOLE, 0.6, 0.0)).astype(np.float32)
    return np.repeat(share[..., None], 3, axis=2)


def test_a_shadow_beside_a_blank_as_dark_is_shade():
    (found,) = open_shade(WHOLE | BESIDE, cover(beside=(BESIDE, 0.3)), loss(BESIDE))
    assert np.mean(found[BESIDE]) > 0.9
    assert not found[WHOLE].any()


@pytest.mark.parametrize("end", [164, 175, 190])
def test_a_shadow_across_a_strap_is_blank(end):
    band = STRAP & ~DISC
    band[:, end:] = False
    assert open_shade(WHOLE, cover(band=(band, 0.3)), loss(band)) == ()


def test_what_mirrors_the_sheet_is_no_shade():
    beside = loss(BESIDE, lost=0.1)
    assert open_shade(WHOLE | BESIDE, cover(beside=(BESIDE, 0.3)), beside) == ()


def test_what_a_disc_is_round_with_is_no_shade():
    """Metal mirrors the dark room on one side, and the network takes that for shadow."""
    crescent = DISC & (np.hypot(ACROSS - 90, DOWN - 92) >= 60)
    says = np.where(DISC, np.where(crescent, 0.3, 1.0), 0.0).astype(np.float32)
    assert open_shade(DISC, says, loss(crescent)) == ()
    whole = DISC | (np.hypot(ACROSS - 90, DOWN - 100) < 60 + 9 * (DOWN > 130))
    says = np.where(DISC, 1.0, np.where(whole, 0.3, 0.0)).astype(np.float32)
    (found,) = open_shade(whole, says, loss(whole & ~DISC))
    assert np.mean(found[whole & ~DISC]) > 0.9


def test_the_largest_shade_comes_first():
    above = (np.hypot(ACROSS - 90, DOWN - 96) < 60) & ~WHOLE & (ACROSS < 80)
    says = cover(beside=(BESIDE, 0.3), above=(above, 0.3))
    first, second = open_shade(WHOLE | BESIDE | above, says, loss(BESIDE | above))
    assert first[BESIDE].any() and second[above].any() and first.sum() > second.sum()


@pytest.mark.parametrize("share", [0.4, 0.7])
def test_a_strap_is_whole_where_the_discs_shadow_parts_it(share):
    found = with_shaded_blank(WHOLE & ~BAND, cover(band=(BAND, share)), loss(BAND))
    assert np.mean(found[BAND]) > 0.98
    assert np.sum(found & ~WHOLE) < 10  # what rounds the inner corners


@pytest.mark.parametrize(
    ("share", "lost"), [pytest.param(0.1, 0.9, id="none seen"), pytest.param(0.6, 0.3, id="lit")]
)
def test_a_slot_that_shows_sheet_stays(share, lost):
    mask = WHOLE & ~BAND
    assert (with_shaded_blank(mask, cover(band=(BAND, share)), loss(BAND, lost=lost)) == mask).all()


def test_a_shadow_beside_a_blank_is_not_added_to_it():
    assert (with_shaded_blank(WHOLE, cover(beside=(BESIDE, 0.6)), loss(BESIDE)) == WHOLE).all()


def test_holes_in_shade_stay_open_and_no_new_one_is_left():
    hole = np.hypot(ACROSS - 90, DOWN - 100) < 12
    speck = np.hypot(ACROSS - 152, DOWN - 100) < 3
    says = cover(band=(BAND & ~speck, 0.6), hole=(hole, 0.6))
    found = with_shaded_blank(WHOLE & ~BAND & ~hole, says, loss(BAND | hole))
    assert not found[hole].any()
    assert not (filled(found) & ~found & ~hole).any()
