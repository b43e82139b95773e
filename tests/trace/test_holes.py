"""Which gaps in a blank are holes."""

import numpy as np
import pytest

from blanktrace.evidence import Evidence
from blanktrace.holes import find_holes, showing_sheet, unseen_holes

SIDE = 60


def evidence(light):
    flat = np.zeros((SIDE, SIDE))
    loss = np.repeat((1 - light)[..., None], 3, axis=2).astype(np.float32)
    return Evidence(loss=loss, colour=flat, textured=flat > 0, stands_out=flat == 0, noise=0.01)


def disc(x, y, radius):
    rows, columns = np.indices((SIDE, SIDE))
    return np.hypot(columns - x, rows - y) < radius


@pytest.mark.parametrize(
    ("lit", "in_shadow", "is_hole"),
    [(0.9, 0.9, True), (0.9, 0.05, True), (0.2, 0.05, True), (0.06, 0.05, False)],
    ids=["open to the light", "a lit crescent", "all in shadow", "fleck on dark cloth"],
)
def test_a_hole_shows_sheet(lit, in_shadow, is_hole):
    hole = disc(30, 30, 8)
    light = np.where(hole, in_shadow, 0.04)
    light[hole & disc(25, 30, 8)] = lit
    kept = showing_sheet(hole, evidence(light))
    assert np.array_equal(kept, hole if is_hole else np.zeros_like(hole))


def test_each_hole_is_judged_by_itself():
    sheet, fleck = disc(15, 30, 6), disc(45, 30, 6)
    light = np.where(sheet, 0.5, 0.04)
    assert np.array_equal(showing_sheet(sheet | fleck, evidence(light)), sheet)


WIDE = 120
ROWS, COLUMNS = np.indices((WIDE, WIDE))
WHOLE = (np.minimum(ROWS, COLUMNS) > 5) & (np.maximum(ROWS, COLUMNS) < WIDE - 5)
FLECK = np.hypot(COLUMNS - 60, ROWS - 60) < 4
HALF_MOON = (np.hypot(COLUMNS - 60, ROWS - 60) < 14) & (ROWS > 62)
STREAK = (np.abs(ROWS - 40) < 3) & (np.abs(COLUMNS - 60) < 22)


@pytest.mark.parametrize(("gap", "is_hole"), [(HALF_MOON, True), (STREAK, False)])
def test_a_handle_hole_is_compact_and_a_streak_is_not(gap, is_hole):
    rng = np.random.default_rng(0)
    colours = rng.normal((120, 128, 128), 3, (WIDE, WIDE, 3))
    colours[gap, 0] += 90
    found = find_holes(gap, WHOLE, ~WHOLE, colours.astype(np.uint8))
    assert np.array_equal(found, gap if is_hole else np.zeros_like(gap))


def test_a_fleck_of_a_hue_beyond_the_scale_is_no_hole():
    """Blue at the end of its 8 bits seems to vary by nothing beside a fleck that just leaves it."""
    rng = np.random.default_rng(1)
    colours = rng.normal((120, 210, -40), (3, 10, 25), (WIDE, WIDE, 3))
    colours[FLECK, 2] += 65
    clipped = np.clip(colours, 0, 255).astype(np.uint8)
    assert not find_holes(FLECK, WHOLE, ~WHOLE, clipped).any()


@pytest.mark.parametrize(
    ("light", "seen", "is_unseen"),
    [(0.5, 0.99, True), (0.51, 0.99, True), (0.6, 0.99, False), (0.5, 0.4, False)],
    ids=["like what is about it", "within its grain", "lighter", "the network doubts it"],
)
def test_a_hole_that_shows_to_nobody_is_closed(light, seen, is_unseen):
    blank, hole = disc(30, 30, 25), disc(30, 30, 6)
    grain = np.random.default_rng(0).normal(0, 0.02, (SIDE, SIDE))
    lost = 1 - grain - np.select([hole, blank], [light, 0.5], 1.0)
    cover = np.where(blank, 0.99, 0.01)
    cover[30, 30] = seen
    found = unseen_holes(
        blank & ~hole,
        cover.astype(np.float32),
        np.repeat(lost[..., None], 3, axis=2).astype(np.float32),
    )
    assert np.array_equal(found, hole if is_unseen else np.zeros_like(hole))
