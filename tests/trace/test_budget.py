from dataclasses import replace

import numpy as np
import pytest

from blanktrace.budget import CALIPER_LIMIT_MM, COVERAGE, Circumstances, add_up

USUAL = Circumstances(
    measured_mm=64.0,
    radius_mm=40.0,
    beyond_mm=15.0,
    nadir_mm=30.0,
    apart_mm=0.0,
    height_mm=400.0,
    mm_per_px=0.11,
    blur_px=1.0,
    fit_mm=0.005,
    lean_deg=0.5,
    heights_given=True,
    focal_known=True,
    tilt_deg=2.0,
    bend_mm=0.01,
    lens_known=False,
)


def test_causes_add_in_squares_the_largest_first():
    total, causes = add_up(USUAL)
    parts = [cause.u95_mm for cause in causes]
    assert total == pytest.approx(np.sqrt(np.sum(np.square(parts))))
    assert parts == sorted(parts, reverse=True)
    assert all(cause.remedy for cause in causes)
    assert 0.05 < total < 0.5


def test_the_calipers_alone():
    # A rectangle of half width 0.03 mm (DIN 862) has the standard uncertainty 0.03/√3
    # (JCGM 100:2008, 4.3.7); the boundary lies 40 of 64 mm from where the scale is set.
    _, causes = add_up(USUAL)
    calipers = next(c for c in causes if "caliper" in c.cause)
    expected = COVERAGE * CALIPER_LIMIT_MM / np.sqrt(3) * 40 / 64
    assert calipers.u95_mm == pytest.approx(expected)


@pytest.mark.parametrize(
    "worse",
    [
        {"heights_given": False},
        {"focal_known": False},
        {"lean_deg": 3.0},
        {"blur_px": 4.0},
        {"mm_per_px": 0.3},
        {"fit_mm": 0.1},
        {"nadir_mm": 150.0},
        {"bend_mm": 0.1},
        {"height_mm": 200.0},
    ],
    ids=str,
)
def test_what_is_worse_costs(worse):
    assert add_up(replace(USUAL, **worse))[0] > add_up(USUAL)[0]


def test_unknown_heights_ask_for_thickness():
    _, causes = add_up(replace(USUAL, heights_given=False))
    assert "--thick" in causes[0].remedy
