"""Touching discs part along their waist, and neither keeps any of it."""

import cv2
import numpy as np
import pytest

from blanktrace.separate import separate_blanks

RADIUS_PX = 100
FIRST, ROW = 130, 150


def drawn(gap_px):
    """Two discs side by side."""
    picture = np.zeros((2 * ROW, 500), np.uint8)
    for middle in (FIRST, FIRST + 2 * RADIUS_PX + gap_px):
        cv2.circle(picture, (middle, ROW), RADIUS_PX, 1, -1)
    return picture


@pytest.mark.parametrize(("gap_px", "waist_px"), [(0, 0), (4, 12), (8, 18)])
def test_discs_that_touch_come_out_round(gap_px, waist_px):
    picture = drawn(gap_px)
    middle = FIRST + RADIUS_PX + gap_px // 2
    cv2.rectangle(picture, (middle - 6, ROW - waist_px), (middle + 6, ROW + waist_px), 1, -1)
    discs = separate_blanks(picture > 0)
    assert len(discs) == 2
    for disc in discs:
        ys, xs = np.nonzero(disc)
        centre = FIRST if xs.min() < FIRST else FIRST + 2 * RADIUS_PX + gap_px
        assert np.hypot(xs - centre, ys - ROW).max() < RADIUS_PX + 3
        assert disc.sum() == pytest.approx(np.pi * RADIUS_PX**2, rel=0.02)


def test_a_strap_that_touches_the_next_disc_stays():
    picture = drawn(gap_px=60)
    edge = FIRST + RADIUS_PX
    cv2.rectangle(picture, (edge - 5, ROW - 20), (edge + 61, ROW + 20), 1, -1)
    area = sum(disc.sum() for disc in separate_blanks(picture > 0))
    assert area == pytest.approx((picture > 0).sum(), abs=10)
