import numpy as np
import pytest
from scipy import ndimage

from blanktrace.corner import restore_corners

SPACING_PX = 1.5


def wedge(tip_deg, length=200.0):
    """A triangle with one tip at the origin, opening along +x."""
    half = np.deg2rad(tip_deg) / 2
    ends = length * np.array([[np.cos(half), np.sin(half)], [np.cos(half), -np.sin(half)]])
    corners = np.vstack([[0.0, 0.0], ends[1], ends[0], [0.0, 0.0]])
    along = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(corners, axis=0).T))])
    even = np.arange(0, along[-1], SPACING_PX)
    return np.column_stack([np.interp(even, along, corners[:, k]) for k in (0, 1)])


def rounded(ring, sd_points):
    return ndimage.gaussian_filter1d(ring, sd_points, axis=0, mode="wrap")


@pytest.mark.parametrize("tip_deg", [45.0, 60.0, 90.0])
def test_a_blurred_tip_comes_back(tip_deg):
    blurred = rounded(wedge(tip_deg), 1.5)
    sharp = restore_corners(blurred, spacing_px=SPACING_PX, blur_px=1.0)
    lost = np.hypot(*blurred.T).min()
    assert lost > 0.4
    assert np.hypot(*sharp.T).min() < 0.25 * lost


def test_a_real_radius_stays():
    t = np.arange(0, 2 * np.pi, SPACING_PX / 60)
    ring = 60 * np.column_stack([np.cos(t), np.sin(t)])
    kept = restore_corners(ring, spacing_px=SPACING_PX, blur_px=1.0)
    assert np.array_equal(kept, ring)


def test_a_ring_too_small_to_have_flanks_is_left_alone():
    ring = wedge(60.0, length=12.0)
    assert np.array_equal(restore_corners(ring, spacing_px=SPACING_PX, blur_px=1.0), ring)
