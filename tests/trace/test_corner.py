import cv2
import numpy as np
import pytest
import shapely
from scipy import ndimage

from blanktrace.corner import restore_corners
from tests.trace.pictures import SHEET, WOOD, encoded
from tests.trace.shapes import dense

SPACING_PX, BLUR_PX = 1.5, 1.0
SIDE = 320
TIP = np.array([60.3, 160.4])
FINE = 8
"""Subpixels to a side that pictures are drawn in."""


def wedge(tip_deg, length=200.0):
    """A triangle with one tip at `TIP`, opening along +x."""
    half = np.deg2rad(tip_deg) / 2
    ends = length * np.array([[np.cos(half), np.sin(half)], [np.cos(half), -np.sin(half)]])
    return shapely.Polygon(np.vstack([[0.0, 0.0], ends]) + TIP)


def rounded_off(polygon, radius):
    return polygon.buffer(-radius, quad_segs=64).buffer(radius, quad_segs=64)


def photo(polygon):
    """A picture of a wooden polygon on the sheet, blurred."""
    corners = shapely.get_coordinates(polygon.exterior)[:-1]
    fine = np.zeros((SIDE * FINE, SIDE * FINE), np.float32)
    places = np.round(((corners + 0.5) * FINE - 0.5) * 16).astype(np.int32)
    cv2.fillPoly(fine, [places], 1.0, cv2.LINE_8, 4)
    share = cv2.resize(fine, (SIDE, SIDE), interpolation=cv2.INTER_AREA)
    share = cv2.GaussianBlur(share, (0, 0), BLUR_PX)[..., None]
    return encoded(SHEET * (1 - share) + WOOD * share)


def restored(rgb, ring):
    return restore_corners(rgb, ring, light=SHEET, spacing_px=SPACING_PX, blur_px=BLUR_PX)[0]


def lost_px(ring):
    return np.hypot(*(ring - TIP).T).min()


@pytest.mark.parametrize("tip_deg", [45.0, 60.0, 90.0])
def test_a_blurred_tip_comes_back(tip_deg):
    blurred = ndimage.gaussian_filter1d(
        dense(wedge(tip_deg), spacing=SPACING_PX), 1.5, axis=0, mode="wrap"
    )
    sharp = restored(photo(wedge(tip_deg)), blurred)
    assert lost_px(blurred) > 0.4
    assert lost_px(sharp) < 0.25 * lost_px(blurred)


def test_a_slim_tip_that_was_left_out_comes_back():
    cut_short = wedge(40.0).difference(shapely.Point(TIP).buffer(5.0))
    sharp = restored(photo(wedge(40.0)), dense(cut_short, spacing=SPACING_PX))
    assert lost_px(sharp) < 0.5


@pytest.mark.parametrize(("tip_deg", "radius"), [(110.0, 12.0), (90.0, 6.0), (60.0, 4.0)])
def test_a_rounded_corner_stays_round(tip_deg, radius):
    rounded = rounded_off(wedge(tip_deg), radius)
    ring = dense(rounded, spacing=SPACING_PX)
    kept = restored(photo(rounded), ring)
    near = np.hypot(*(ring - TIP).T) < 40
    assert np.array_equal(kept[near], ring[near])


def test_a_circle_stays():
    t = np.arange(0, 2 * np.pi, SPACING_PX / 60)
    ring = 160 + 60 * np.column_stack([np.cos(t), np.sin(t)])
    assert np.array_equal(restored(photo(shapely.Polygon(ring)), ring), ring)


def test_a_ring_too_small_to_have_flanks_is_left_alone():
    small = wedge(60.0, length=12.0)
    ring = dense(small, spacing=SPACING_PX)
    assert np.array_equal(restored(photo(small), ring), ring)


def test_it_says_which_points_are_corners():
    ring = dense(wedge(60.0), spacing=SPACING_PX)
    blurred = ndimage.gaussian_filter1d(ring, 1.5, axis=0, mode="wrap")
    sharp, corners = restore_corners(
        photo(wedge(60.0)), blurred, light=SHEET, spacing_px=SPACING_PX, blur_px=BLUR_PX
    )
    ends = shapely.get_coordinates(wedge(60.0))[:-1]
    seen = [end for end in ends if (end > 5).all() and (end < SIDE - 5).all()]
    assert len(corners) >= len(seen)
    for end in seen:
        assert np.hypot(*(sharp[list(corners)] - end).T).min() < 0.6
