import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.optimize import brentq
from scipy.special import chndtr

from blanktrace.blur import blur_shifts_px
from blanktrace.profiles import SPACING_PX


def disc_shift_px(radius, blur):
    """Found radius less true radius at half level: the root of P(χ'² < R²/s²; 2, r²/s²) = 1/2."""
    edge = radius / blur
    place = brentq(lambda place: chndtr(edge**2, 2.0, place**2) - 0.5, 0.0, edge, xtol=1e-13)
    return blur * (place - edge)


@pytest.mark.parametrize(
    ("radius", "blur", "shift_expected"),
    # The blurred disc's exact profile, integrated numerically outside the project;
    # the effect: Mendonça et al., "Bias in the localization of curved edges" (2004).
    [(20, 1, -0.025026), (20, 2, -0.100421), (50, 2, -0.040027), (500, 2, -0.0040000)],
)
def test_half_level_shift(radius, blur, shift_expected):
    assert disc_shift_px(radius, blur) == pytest.approx(shift_expected, abs=6e-7)


def rim(radius, hole=False):
    t = np.arange(0, 2 * np.pi, SPACING_PX / radius)
    t = np.linspace(0, 2 * np.pi, len(t), endpoint=False)
    ring = radius * np.column_stack([np.cos(t), np.sin(t)])
    return ring[::-1] if hole else ring


@pytest.mark.parametrize(("radius", "blur"), [(20, 1), (20, 2), (50, 2), (500, 2)])
def test_a_disc_shrinks_and_a_hole_with_it(radius, blur):
    shift = disc_shift_px(radius, blur)
    # The Gaussian that its curvature is told by makes a rim smaller by 16 / 2R².
    assert_allclose(blur_shifts_px(rim(radius), blur), shift, rtol=0.03)
    assert_allclose(blur_shifts_px(rim(radius, hole=True), blur), -shift, rtol=0.03)


def test_a_straight_side_and_a_sharp_photograph_stay():
    side = np.arange(-200, 200) * SPACING_PX
    strip = np.vstack(
        [
            np.column_stack([side, np.zeros_like(side)]),
            np.column_stack([side[::-1], np.full_like(side, 300.0)]),
        ]
    )
    assert np.abs(blur_shifts_px(strip, 2.0)[50:350]).max() < 1e-12
    assert not blur_shifts_px(rim(20), 0.0).any()


def test_a_tip_moves_by_no_more_than_the_smallest_disc_would():
    assert np.abs(blur_shifts_px(rim(3.0), 4.0)).max() <= 4.0 / 3 + 1e-12
