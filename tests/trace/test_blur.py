import pytest

from blanktrace.blur import blur_shift_px


@pytest.mark.parametrize(
    ("radius", "blur", "shift_expected"),
    # The blurred disc's exact profile, integrated numerically outside the project;
    # the effect: Mendonça et al., "Bias in the localization of curved edges" (2004).
    [(20, 1, -0.025026), (20, 2, -0.100421), (50, 2, -0.040027), (500, 2, -0.0040000)],
)
def test_half_level_shift(radius, blur, shift_expected):
    assert blur_shift_px(radius, blur) == pytest.approx(shift_expected, abs=6e-7)


def test_exact_and_leading_term_meet():
    below, above = blur_shift_px(29.999, 1.0), blur_shift_px(30.0, 1.0)
    assert below == pytest.approx(above, rel=6e-4)


def test_sharp_edge_stays():
    assert blur_shift_px(100.0, 0.0) == 0.0


def test_disc_lost_in_blur_is_refused():
    with pytest.raises(ValueError, match=r"1\.5 times blur_px"):
        blur_shift_px(1.0, 1.0)
