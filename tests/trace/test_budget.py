from dataclasses import replace

import numpy as np
import pytest

from blanktrace.budget import (
    CALIPER_LIMIT_MM,
    COVERAGE,
    EDGE_CAUSE,
    ENDS_CAUSE,
    Circumstances,
    add_up,
    refuse_vague,
)
from blanktrace.effects import Effects
from blanktrace.errors import ContrastError

USUAL = Circumstances(
    measured_mm=64.0,
    radius_mm=40.0,
    mm_per_px=0.11,
    blur_px=1.0,
    located_share=0.5,
    doubt_px=0.3,
    uneven_mm=0.03,
    stray_mm=0.0,
    fit_mm=0.005,
    by_ends=False,
    effects=Effects(tilt_mm=0.03, height_mm=0.03, focal_mm=0.01, bend_mm=0.01),
    heights_given=True,
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
        {"blur_px": 4.0},
        {"mm_per_px": 0.3},
        {"located_share": 1.0},
        {"doubt_px": 1.0},
        {"uneven_mm": 0.2},
        {"stray_mm": 0.2},
        {"fit_mm": 0.1},
        *({"effects": replace(USUAL.effects, **{name: 0.2})} for name in vars(USUAL.effects)),
    ],
    ids=str,
)
def test_what_is_worse_costs(worse):
    assert add_up(replace(USUAL, **worse))[0] > add_up(USUAL)[0]


def test_an_edge_that_is_not_located_costs_nothing():
    """All of a disc lies on the circle that was measured: no edge is left to be uncertain of."""
    _, causes = add_up(replace(USUAL, located_share=0.0))
    assert next(c for c in causes if c.cause == EDGE_CAUSE).u95_mm == 0


def test_unknown_heights_ask_for_thickness():
    effects = replace(USUAL.effects, height_mm=0.5)
    _, causes = add_up(replace(USUAL, effects=effects, heights_given=False))
    assert "--thick" in causes[0].remedy


def test_two_ends_tell_a_length_less_surely_than_a_rim_tells_a_disc():
    """Ends ±1.4 px each are 2 px together: 0.22 mm of 64, so 0.14 mm at 40 mm (two standard
    uncertainties, twice that)."""
    _, causes = add_up(replace(USUAL, by_ends=True))
    ends = next(c for c in causes if c.cause == ENDS_CAUSE)
    assert ends.u95_mm == pytest.approx(2 * 2 * 0.11 * 40 / 64)
    assert next(c for c in add_up(USUAL)[1] if c.cause == ENDS_CAUSE).u95_mm == 0


@pytest.mark.parametrize(("doubt_px", "size_mm"), [(2.0, 50.0), (8.0, 450.0)])
def test_an_edge_that_is_known_well_enough_for_its_size_is_kept(doubt_px, size_mm):
    _, causes = add_up(replace(USUAL, located_share=1.0, doubt_px=doubt_px))
    refuse_vague(causes, size_mm=size_mm)


@pytest.mark.parametrize(("doubt_px", "size_mm"), [(4.0, 50.0), (12.0, 450.0)])
def test_an_edge_that_is_known_too_badly_for_a_pocket_is_refused(doubt_px, size_mm):
    _, causes = add_up(replace(USUAL, located_share=1.0, doubt_px=doubt_px))
    with pytest.raises(ContrastError, match=r"mm allowed at this size"):
        refuse_vague(causes, size_mm=size_mm)
