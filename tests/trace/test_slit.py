"""Shade beside a strap that looks like a slit, on pictures drawn exactly."""

import numpy as np
import pytest
import shapely

from blanktrace.slit import DOUBT_PX, close_slits
from tests.trace.edges import edge_of
from tests.trace.pictures import SHEET, WOOD, encoded, grid
from tests.trace.shapes import dense

WIDTH, HEIGHT = 420, 520
MIDDLE, RADIUS = (210.0, 330.0), 150.0
DISC = shapely.Point(MIDDLE).buffer(RADIUS, quad_segs=180)
STRAP = shapely.box(165, 60, 255, 330)
WHOLE = DISC.union(STRAP)
SLIT = shapely.box(225, 160, 300, 190).difference(DISC)
"""Beside the rim, into the strap from its right."""


def edge(polygon):
    return edge_of(dense(polygon, spacing=1.5))


def picture(*, loss):
    """Disc and strap on the sheet; in the slit, so much of the sheet's light is missing."""
    x, y = grid(WIDTH, HEIGHT)
    light = np.broadcast_to(SHEET, (*x.shape, 3)).copy()
    light[shapely.contains_xy(WHOLE, x, y)] = WOOD
    light[shapely.contains_xy(SLIT, x, y)] = (1 - loss) * SHEET
    return encoded(light)


def strays_px(points, polygon):
    return shapely.distance(shapely.points(points), polygon.boundary)


def turned_over(shape):
    return shapely.transform(shape, lambda p: np.column_stack([WIDTH - 1 - p[:, 0], p[:, 1]]))


@pytest.mark.parametrize("is_right", [True, False])
def test_dark_slit_is_closed_along_the_straps_side(is_right):
    """The way a hidden edge runs: on, as a straight cut does (common practice, no source)."""
    found, truth, rgb = WHOLE.difference(SLIT), WHOLE, picture(loss=0.95)
    if not is_right:
        found, truth, rgb = turned_over(found), turned_over(truth), rgb[:, ::-1]
    before = edge(found)
    after = close_slits(rgb, before, light=SHEET)
    assert strays_px(before.points_px, truth).max() > 20
    assert strays_px(after.points_px, truth).max() < 0.5
    moved = np.any(after.points_px != before.points_px, axis=1)
    assert np.all(after.doubt_px[moved] == DOUBT_PX)
    assert np.array_equal(after.doubt_px[~moved], before.doubt_px[~moved])


@pytest.mark.parametrize("loss", [0.0, 0.4, 0.6])
def test_slit_in_which_the_sheet_shows_stays(loss):
    before = edge(WHOLE.difference(SLIT))
    assert close_slits(picture(loss=loss), before, light=SHEET) is before


def test_whole_strap_stays():
    before = edge(WHOLE)
    assert close_slits(picture(loss=0.95), before, light=SHEET) is before


def test_wide_recess_stays():
    """What takes half of the strap's side is its shape."""
    recess = shapely.box(200, 90, 300, 190).difference(DISC)
    x, y = grid(WIDTH, HEIGHT)
    rgb = picture(loss=0.0).copy()
    rgb[shapely.contains_xy(recess, x, y)] = 0
    before = edge(WHOLE.difference(recess))
    assert close_slits(rgb, before, light=SHEET) is before


@pytest.mark.parametrize(
    "shape", [DISC, shapely.box(60, 60, 360, 460).difference(shapely.box(200, 160, 400, 190))]
)
def test_blank_without_strap_or_disc_stays(shape):
    before = edge(shape)
    assert close_slits(picture(loss=0.95), before, light=SHEET) is before
