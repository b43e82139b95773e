"""A strip about a circle is a rectangle, and each of its samples lies where it says."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from blanktrace.strip import ACROSS, HALF_REACHES, cut_strip, resampled

WHITE = np.ones(3)
RADIUS_PX, REACH_PX = 60.0, 4.0
MIDDLE = np.array([100.0, 90.0])


def circle(count=400):
    t = np.linspace(0, 2 * np.pi, count, endpoint=False)
    return MIDDLE + RADIUS_PX * np.column_stack([np.cos(t), np.sin(t)])


def test_a_circles_strip_shows_distance_from_its_middle():
    rows, columns = np.mgrid[0:200, 0:220]
    away = np.hypot(columns - MIDDLE[0], rows - MIDDLE[1])
    # As bright, in linear light, as it is far (sRGB curve: IEC 61966-2-1).
    level = np.clip(away / 120, 0, 1)
    srgb = np.where(level < 0.0031308, 12.92 * level, 1.055 * level ** (1 / 2.4) - 0.055)
    rgb = np.rint(np.repeat(srgb[..., None], 3, axis=2) * 65535).astype(np.uint16)
    strip = cut_strip(rgb, circle(), light=WHITE, reach_px=REACH_PX)
    assert strip.light.shape == (len(strip.points_px), ACROSS, 3)
    assert_allclose(strip.offsets_px[[0, -1]], [-HALF_REACHES * REACH_PX, HALF_REACHES * REACH_PX])
    seen = strip.light[..., 0] * 120
    assert_allclose(seen, np.broadcast_to(RADIUS_PX + strip.offsets_px, seen.shape), atol=0.05)


def test_samples_lie_along_outward_normals():
    rgb = np.full((200, 220, 3), 255, np.uint8)
    strip = cut_strip(rgb, circle(), light=WHITE, reach_px=REACH_PX)
    away = np.linalg.norm(strip.places_px - MIDDLE, axis=2)
    assert_allclose(away, np.broadcast_to(RADIUS_PX + strip.offsets_px, away.shape), atol=0.02)


@pytest.mark.parametrize("spacing", [0.7, 1.5, 4.0])
def test_points_are_evenly_spaced(spacing):
    even = resampled(np.array([[0.0, 0.0], [30.0, 0.0], [30.0, 10.0], [0.0, 10.0]]), spacing)
    gaps = np.hypot(*(np.roll(even, -1, axis=0) - even).T)
    assert len(even) == round(80 / spacing)
    # Only a chord across a corner is shorter.
    assert_allclose(np.sort(gaps)[4:], 80 / len(even), rtol=1e-9)


def test_further_columns_go_with_their_points():
    square = np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [0.0, 10.0]])
    worn = resampled(np.column_stack([square, square.sum(axis=1)]), 0.8)
    assert_allclose(worn[:, :2], resampled(square, 0.8))
    assert_allclose(worn[:, 2], worn[:, :2].sum(axis=1), atol=1e-9)
