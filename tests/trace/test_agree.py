import numpy as np
import pytest

from blanktrace.agree import agreed_mask
from tests.trace.pictures import grid


def agreed(cover, cut):
    """Where two drawn opinions agree on blank, on a square of 60 x 60."""
    return agreed_mask(np.asarray(cover, np.float32), np.asarray(cut))


def assert_alike(found, expected):
    """The same but for a few pixels at corners, which no disc fits into."""
    assert np.sum(found != expected) <= 20


ACROSS, DOWN = grid(60, 60)
SQUARE = (np.abs(ACROSS - 30) < 20) & (np.abs(DOWN - 30) < 20)
WITHIN = np.hypot(ACROSS - 30, DOWN - 30) < 6


@pytest.mark.parametrize(("chance", "decides"), [(0.3, True), (0.7, True), (0.001, False)])
def test_the_cut_decides_where_the_cover_is_in_doubt_and_only_there(chance, decides):
    cover = np.where(SQUARE & (ACROSS > 30), chance, np.where(SQUARE, 0.99, 0.01))
    found = agreed(cover, SQUARE)
    assert_alike(found, SQUARE if decides else SQUARE & (ACROSS <= 30))


def test_a_hole_that_the_cut_found_is_kept():
    found = agreed(np.where(SQUARE, 0.999, 0.001), SQUARE & ~WITHIN)
    assert_alike(found, SQUARE & ~WITHIN)


def test_what_the_cut_leaves_out_within_what_the_network_sees_is_no_hole():
    """Once a shaded strap is bridged, no piece of it is left out."""
    notch = SQUARE & (np.abs(DOWN - 30) < 6) & (ACROSS > 25)
    cover = np.where(SQUARE & ~notch, 0.99, np.where(notch, 0.6, 0.01))
    cover[notch & (ACROSS > 40)] = 0.95
    assert_alike(agreed(cover, SQUARE & ~notch), SQUARE)


def test_a_seam_between_parts_is_closed_and_a_hairline_taken_off():
    seam = SQUARE & (np.abs(ACROSS - 30) < 2)
    hair = (DOWN == 30) & (ACROSS > 45)
    cover = np.where((SQUARE & ~seam) | hair, 0.999, 0.001)
    assert_alike(agreed(cover, cover > 0.5), SQUARE)


@pytest.mark.parametrize("chance", [0.05, 0.15])
def test_a_round_hole_that_only_the_network_sees_is_kept(chance):
    """Sheet in a hole of pale wood, as light as the wood, is wood to the cut."""
    found = agreed(np.where(SQUARE & ~WITHIN, 0.99, np.where(WITHIN, chance, 0.01)), SQUARE)
    assert_alike(found, SQUARE & ~WITHIN)


def test_a_glint_that_the_network_doubts_is_blank():
    cover = np.where(SQUARE & ~WITHIN, 0.99, np.where(WITHIN, 0.3, 0.01))
    assert_alike(agreed(cover, SQUARE), SQUARE)


def test_a_streak_is_no_hole_however_sure_the_network_is():
    streak = (np.abs(ACROSS - 30) < 15) & (np.abs(DOWN - 30) < 4)
    cover = np.where(SQUARE & ~streak, 0.99, np.where(streak, 0.1, 0.01))
    assert_alike(agreed(cover, SQUARE), SQUARE)


WIDE, LONG = grid(60, 100)
TAG = (np.abs(WIDE - 30) < 20) & (np.abs(LONG - 30) < 20)
FROM_RING = np.hypot(WIDE - 30, LONG - 62)
RING, IN_RING = (FROM_RING < 16) & (FROM_RING > 10) & ~TAG, FROM_RING <= 10


def ring_cover(ring=RING, *, within=0.01):
    """A tag, sure, and a ring on it that the network thinks likelier than not."""
    return np.select([TAG, ring, IN_RING], [0.99, 0.7, within], 0.01)


def test_a_ring_on_a_blank_that_only_the_network_sees_is_kept():
    """Wire as light as the sheet is no blank to the cut."""
    assert_alike(agreed(ring_cover(), TAG), TAG | RING)


@pytest.mark.parametrize(
    "cover",
    [
        pytest.param(ring_cover(RING & (WIDE < 38)), id="that does not go all round"),
        pytest.param(ring_cover(within=0.35), id="with something in it"),
        pytest.param(
            np.where(np.abs(np.hypot(WIDE - 30, LONG - 74) - 13) < 3, 0.7, 0.01), id="free"
        ),
    ],
)
def test_what_the_network_thinks_likelier_than_not_is_no_ring(cover):
    assert_alike(agreed(np.where(TAG, 0.99, cover), TAG), TAG)
