import cv2
import numpy as np
import pytest

from blanktrace.drilled import find_doubted, find_drilled
from blanktrace.silhouette import ROUGH_PX

SIDE = 300
BLANK, SHEET, SHADE = (120, 128, 128), (226, 128, 128), (60, 128, 128)


def steel(*, hole=(170, 120, 13), lit=0.5, seed=0):
    """A brushed square with a hole, its sheet lit on one side and in shadow on the other."""
    rng = np.random.default_rng(seed)
    picture = np.empty((SIDE, SIDE, 3))
    picture[:] = BLANK
    picture[..., 0] += 9 * rng.standard_normal(SIDE)
    y, x = np.indices((SIDE, SIDE))
    if hole is not None:
        within = np.hypot(x - hole[0], y - hole[1]) < hole[2]
        bright = x < hole[0] + hole[2] * (2 * lit - 1)
        picture[within & bright], picture[within & ~bright] = SHEET, SHADE
    picture = cv2.GaussianBlur(picture, (0, 0), 1.0) + rng.normal(0, 2, picture.shape)
    return np.clip(picture, 0, 255).astype(np.uint8)


def seen(x, y, radius):
    """What a cut has of a hole: a piece about its middle."""
    rows, columns = np.indices((SIDE, SIDE))
    return np.hypot(columns - x, rows - y) < radius


WHOLE = np.pad(np.ones((SIDE - 40, SIDE - 40), dtype=bool), 20)


@pytest.mark.parametrize("lit", [0.3, 0.5, 0.8])
@pytest.mark.parametrize("radius", [8.0, 13.0, 20.0])
def test_finds_a_hole_half_in_shadow_from_a_piece_of_it(lit, radius):
    picture = steel(hole=(170, 120, radius), lit=lit)
    found = find_drilled(seen(168, 121, 0.6 * radius), WHOLE, picture, unseen=True)
    assert np.sqrt(found.sum() / np.pi) == pytest.approx(radius, abs=ROUGH_PX)
    y, x = np.argwhere(found).mean(axis=0)
    assert np.hypot(x - 170, y - 120) < ROUGH_PX


@pytest.mark.parametrize("place", [(170, 120), (60, 225)])
def test_finds_a_hole_of_which_the_cut_saw_nothing(place):
    picture = steel(hole=(*place, 13), lit=0.8)
    found = find_drilled(np.zeros_like(WHOLE), WHOLE, picture, unseen=True)
    assert np.sqrt(found.sum() / np.pi) == pytest.approx(13, abs=ROUGH_PX)
    y, x = np.argwhere(found).mean(axis=0)
    assert np.hypot(x - place[0], y - place[1]) < ROUGH_PX


@pytest.mark.parametrize("seed", range(4))
def test_grain_is_no_hole(seed):
    gaps = seen(100, 100, 6) | seen(180, 140, 9) | seen(60, 220, 4)
    assert not find_drilled(gaps, WHOLE, steel(hole=None, seed=seed), unseen=True).any()


def test_what_opens_to_the_outside_is_no_hole():
    assert not find_drilled(seen(24, 150, 8), WHOLE, steel(hole=(24, 150, 13)), unseen=True).any()


@pytest.mark.parametrize(("count", "kept"), [(4, True), (9, False)])
def test_many_round_edges_are_a_relief(count, kept):
    """A button has four holes; a coin's letters and beads are more."""
    holes = [(60 + 90 * (index % 3), 60 + 90 * (index // 3), 10) for index in range(count)]
    picture = steel(hole=None)
    rows, columns = np.indices((SIDE, SIDE))
    for x, y, radius in holes:
        level = np.where(np.hypot(columns - x, rows - y) < radius, 255, 0).astype(np.uint8)
        share = cv2.GaussianBlur(level, (0, 0), 1.0)[..., None] / 255
        picture = np.rint(picture * (1 - share) + np.array(SHEET) * share).astype(np.uint8)
    gaps = np.any([seen(x, y, 0.6 * radius) for x, y, radius in holes], axis=0)
    assert find_drilled(gaps, WHOLE, picture, unseen=True).any() == kept


def slate(*, doubt, hole=(170, 120, 13)):
    """Slate over sheet in shadow, as dark as itself but for a black crescent; and its cover."""
    rng = np.random.default_rng(3)
    rows, columns = np.indices((SIDE, SIDE))
    within = np.hypot(columns - hole[0], rows - hole[1]) < hole[2]
    crescent = within & (np.hypot(columns - hole[0] + 5, rows - hole[1]) >= hole[2])
    picture = np.empty((SIDE, SIDE, 3))
    picture[:] = BLANK
    picture[within, 0] -= 6
    picture[crescent] = SHADE
    picture = cv2.GaussianBlur(picture, (0, 0), 1.0) + rng.normal(0, 1, picture.shape)
    cover = np.where(doubt(within), 0.6, 1.0)
    cover[crescent] = 0.1
    cover = cv2.GaussianBlur(np.where(WHOLE, cover, 0.0), (0, 0), 1.0)
    return cover.astype(np.float32), np.clip(picture, 0, 255).astype(np.uint8)


@pytest.mark.parametrize("radius", [9.0, 13.0, 20.0])
def test_finds_a_hole_that_the_network_doubts(radius):
    cover, picture = slate(doubt=lambda within: within, hole=(170, 120, radius))
    found = find_doubted(cover, WHOLE, picture)
    assert np.sqrt(found.sum() / np.pi) == pytest.approx(radius, abs=ROUGH_PX)
    y, x = np.argwhere(found).mean(axis=0)
    assert np.hypot(x - 170, y - 120) < ROUGH_PX


def test_doubt_that_goes_on_about_it_is_no_hole():
    wide = np.hypot(*(np.indices((SIDE, SIDE)) - 120)) < 70
    cover, picture = slate(doubt=lambda within: within | wide)
    assert not find_doubted(cover, WHOLE, picture).any()


def test_doubt_without_a_round_edge_is_no_hole():
    cover, _ = slate(doubt=lambda within: within)
    assert not find_doubted(cover, WHOLE, steel(hole=None)).any()
