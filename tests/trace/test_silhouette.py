import numpy as np
import pytest
import shapely
from scipy.ndimage import gaussian_filter

from blanktrace.cover import Cover
from blanktrace.errors import (
    ContrastError,
    CutOffError,
    NoBlankError,
    SeveralBlanksError,
    TraceError,
)
from blanktrace.silhouette import ROUGH_PX, choose, find_silhouettes
from tests.trace.pictures import SHEET, disc_level, encoded, grid, photograph, tag_photograph

SIZE = (640, 480)
BRASS = np.array([0.42, 0.33, 0.13])


def discs(*places, blur=1.0, radius=70.0, size=SIZE):
    x, y = grid(*size)
    level = np.max([disc_level(x, y, place, radius, blur) for place in places], axis=0)
    return photograph(level)


def signed_area(ring):
    """Above 0 where a ring turns from x towards y."""
    x, y = ring.T
    return np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y) / 2


def test_disc_with_tab_and_its_shadow():
    rgb, centre = tag_photograph()
    (found,) = find_silhouettes(rgb).silhouettes
    radius = 110.0
    tab = shapely.box(*(centre + (-0.3 * radius, -1.6 * radius)), *(centre + (0.3 * radius, 0)))
    truth = shapely.Point(centre).buffer(radius, quad_segs=90).union(tab)
    off = shapely.Polygon(found.rings_px[0]).symmetric_difference(truth).area
    # The shadow reaches 10 px beyond the blank; a boundary within the reach leaves it out.
    assert off / truth.length < 0.6 * found.reach_px
    assert len(found.rings_px) == 1
    np.testing.assert_allclose(found.light, SHEET, rtol=0.03)
    assert signed_area(found.rings_px[0]) > 0


def test_touching_discs_are_told_apart_though_one_mirrors_the_sheet():
    x, y = grid(*SIZE)
    places = ((240, 240), (378, 240))
    level = np.max([disc_level(x, y, place, 70.0, 1.0) for place in places], axis=0)
    level = level - disc_level(x, y, (225, 235), 32.0, 1.0)
    found = find_silhouettes(photograph(level)).silhouettes
    assert len(found) == 2
    for one, (cx, cy) in zip(
        sorted(found, key=lambda s: s.rings_px[0].mean(axis=0)[0]), places, strict=True
    ):
        body = shapely.Polygon(one.rings_px[0])
        assert body.area == pytest.approx(np.pi * 70.0**2, rel=0.04)
        assert body.centroid.distance(shapely.Point(cx, cy)) < 3.0


def test_holes_turn_the_other_way():
    x, y = grid(*SIZE)
    level = disc_level(x, y, (320, 240), 120.0, 1.0) - disc_level(x, y, (330, 240), 60.0, 1.0)
    (found,) = find_silhouettes(photograph(level)).silhouettes
    outer, hole = found.rings_px
    assert shapely.Polygon(hole).centroid.coords[0] == pytest.approx((330, 240), abs=1.0)
    assert signed_area(outer) > 0 > signed_area(hole)


def test_several_are_found_the_largest_first_and_chosen_by_place():
    x, y = grid(*SIZE)
    large, small = disc_level(x, y, (180, 240), 90, 1.0), disc_level(x, y, (470, 230), 60, 1.0)
    found = find_silhouettes(photograph(np.maximum(large, small))).silhouettes
    assert len(found) == 2
    assert found[0].area_px2 > found[1].area_px2
    assert choose(found, at=(180, 240)) == 0
    assert choose(found, at=(470, 230)) == 1
    with pytest.raises(SeveralBlanksError, match="2 blanks are in view"):
        choose(found, at=None)
    with pytest.raises(NoBlankError, match="nearest is at"):
        choose(found, at=(320, 20))


def test_one_needs_no_place():
    assert choose(find_silhouettes(discs((320, 240))).silhouettes, at=None) == 0


@pytest.mark.parametrize(
    ("place", "side"),
    [((30, 240), "left"), ((610, 240), "right"), ((320, 20), "top"), ((320, 470), "bottom")],
)
def test_cut_off(place, side):
    with pytest.raises(CutOffError, match=f"{side} edge of the photo"):
        find_silhouettes(discs(place))


def test_empty_sheet():
    with pytest.raises(NoBlankError, match="Nothing stands out"):
        find_silhouettes(photograph(np.zeros((480, 640))))


def test_what_goes_on_beyond_the_close_up_is_refused(monkeypatch):
    def everywhere(near):
        return Cover(near, np.ones(near.patch.shape, np.float32))

    monkeypatch.setattr("blanktrace.silhouette.blank_cover", everywhere)
    with pytest.raises(ContrastError, match="goes on far beyond"):
        find_silhouettes(discs((320, 240)))


def test_refusals_are_trace_errors():
    assert issubclass(CutOffError, TraceError)
    assert issubclass(TraceError, ValueError)


def brown(level, shade):
    """A brown blank of a share `level` of each pixel, on a sheet left with a share of its light."""
    loss = level[..., None] * np.array([0.45, 0.62, 0.78])
    light = SHEET * (1 - loss) * (level[..., None] + (1 - level[..., None]) * shade[..., None])
    encoded = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    noise = np.random.default_rng(5).normal(0, 1.0, light.shape)
    return np.clip(255 * encoded + noise, 0, 255).astype(np.uint8)


@pytest.mark.parametrize("dark", [0.3, 0.6, 0.85], ids=["pale", "middling", "dark"])
def test_a_shadow_as_dark_as_the_wood_is_left_out_by_its_colour(dark):
    x, y = grid(*SIZE)
    blank = disc_level(x, y, (280, 240), 90.0, 1.0)
    shadow = disc_level(x, y, (330, 260), 90.0, 6.0)
    (found,) = find_silhouettes(brown(blank, 1 - dark * shadow)).silhouettes
    off = np.hypot(*(found.rings_px[0] - (280, 240)).T) - 90.0
    assert np.abs(off).max() < found.reach_px
    assert len(found.rings_px) == 1


def test_a_drilled_hole_in_its_own_shade_is_kept():
    x, y = grid(*SIZE)
    hole = disc_level(x, y, (335, 240), 9.0, 1.0)
    blank = disc_level(x, y, (280, 240), 90.0, 1.0) - hole
    (found,) = find_silhouettes(brown(blank, 1 - 0.6 * hole)).silhouettes
    (ring,) = found.rings_px[1:]
    assert shapely.Polygon(ring).centroid.coords[0] == pytest.approx((335, 240), abs=1.0)


def two_metals(*, relief, softness, dark=0.55):
    """A brass frame about an engraved grey middle, and a long shadow of the same grey."""
    x, y = grid(*SIZE)
    rng = np.random.default_rng(0)
    whole, middle = (disc_level(x, y, (300, 220), r, 1.0)[..., None] for r in (120, 84))
    shadow = dark * disc_level(x, y, (370, 270), 118, softness)[..., None]
    engraved = 3.5 * gaussian_filter(rng.standard_normal(x.shape), 1.0)[..., None]
    linear = SHEET * (1 - shadow)
    linear = linear + whole * (BRASS - linear)
    linear = linear + middle * (SHEET * (1 - dark) * (1 + relief * engraved) - linear)
    return encoded(linear + 0.003 * rng.standard_normal(linear.shape))


@pytest.mark.parametrize("relief", [0.1, 0.25])
@pytest.mark.parametrize("softness", [3.0, 9.0])
def test_a_grey_middle_in_a_coloured_frame_is_blank_and_a_shadow_as_grey_is_not(relief, softness):
    (found,) = find_silhouettes(two_metals(relief=relief, softness=softness)).silhouettes
    assert len(found.rings_px) == 1
    off = np.hypot(*(found.rings_px[0] - (300, 220)).T) - 120
    assert np.abs(off).max() < ROUGH_PX
