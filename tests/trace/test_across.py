"""A disc's rim where its strap comes out from under it, on pictures drawn exactly."""

import numpy as np
import pytest
import shapely

from blanktrace.across import rim_across
from tests.trace.edges import edge_of
from tests.trace.pictures import SHEET, box_level, disc_level, encoded, grid
from tests.trace.shapes import dense

WIDTH, HEIGHT, BLUR = 420, 520, 1.0
MIDDLE, RADIUS = np.array([210.0, 330.0]), 150.0
STRAP_LOW, STRAP_HIGH = (165.0, 60.0), (255.0, 330.0)
BRIGHT, TAN = 0.98 * SHEET, 0.35 * SHEET
"""Metal that mirrors the sheet, and a strap."""


def blank(radius=RADIUS, middle=MIDDLE):
    return (
        shapely.Point(middle)
        .buffer(radius, quad_segs=180)
        .union(shapely.box(*STRAP_LOW, *STRAP_HIGH))
    )


def picture(disc_light, *, strap_light=TAN, disc_above=True):
    """The disc on its strap, or under it, blurred in closed form."""
    x, y = grid(WIDTH, HEIGHT)
    disc = disc_level(x, y, MIDDLE, RADIUS, BLUR)[..., None], disc_light
    strap = box_level(x, y, STRAP_LOW, STRAP_HIGH, BLUR)[..., None], strap_light
    light = np.broadcast_to(SHEET, (*x.shape, 3))
    for level, own in (strap, disc) if disc_above else (disc, strap):
        light = light + level * (own - light)
    return encoded(light)


def across(rgb, polygon):
    return rim_across(rgb, edge_of(dense(polygon, spacing=1.5)), light=SHEET)


@pytest.mark.parametrize(
    ("radius", "middle"), [(150.0, MIDDLE), (148.8, MIDDLE), (149.0, MIDDLE + (-0.5, 0.8))]
)
def test_rim_lost_against_the_sheet_shows_across_the_strap(radius, middle):
    """The boundary is an ellipse as good as the rim's, but smaller."""
    found = across(picture(BRIGHT), blank(radius, middle))
    off = np.hypot(*(found - MIDDLE).T) - RADIUS
    assert np.abs(off).max() < 0.1
    # 90 px wide at 150 px from the middle is 35 degrees, less what its own sides blur.
    spread = np.ptp(np.degrees(np.arctan2(*(found - MIDDLE).T[::-1])))
    assert 25 < spread < 36


def test_strap_that_lies_on_the_disc_hides_the_rim():
    assert len(across(picture(BRIGHT, disc_above=False), blank())) == 0


def test_rim_as_light_as_the_strap_does_not_show():
    assert len(across(picture(TAN), blank())) == 0


def test_a_dark_disc_is_not_asked():
    """What is dark within and light beyond may be the end of the disc's shadow on the strap."""
    assert len(across(picture(0.1 * SHEET, strap_light=0.7 * SHEET), blank())) == 0


def test_a_step_that_runs_otherwise_is_no_rim():
    """Bands across the strap that the disc's own ellipse does not follow."""
    rgb = picture(TAN).copy()
    for row in range(176, 192, 4):
        rgb[row : row + 2, 168:252] = encoded(0.7 * SHEET)
    assert len(across(rgb, blank())) == 0


@pytest.mark.parametrize(
    "shape", [shapely.Point(MIDDLE).buffer(RADIUS, quad_segs=180), shapely.box(60, 60, 360, 460)]
)
def test_blank_without_strap_or_disc_has_none(shape):
    assert len(across(picture(BRIGHT), shape)) == 0
