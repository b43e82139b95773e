"""Roundness of rims, on circles and ellipses that anyone can check on paper."""

import numpy as np
import pytest

from blanktrace.rectify import View
from blanktrace.roundness import (
    ODD_OVALS,
    OVAL_PX,
    DiscRim,
    lean_doubt_rad,
    lean_sine,
    odd_one,
    off_circle,
    oval_of,
)

T = np.linspace(0, 2 * np.pi, 240, endpoint=False)


def ellipse(long, short, *, centre=(0.0, 0.0), turn=0.0):
    cos, sin = np.cos(turn), np.sin(turn)
    points = np.column_stack([long * np.cos(T), short * np.sin(T)])
    return np.array(centre) + points @ np.array([[cos, sin], [-sin, cos]])


def test_a_circle_is_not_off_itself():
    off, centre, radius = off_circle(ellipse(11.0, 11.0, centre=(70.0, -30.0)))
    assert np.abs(off).max() < 1e-9
    assert (*centre, radius) == pytest.approx((70.0, -30.0, 11.0))


@pytest.mark.parametrize("turn", [0.0, 0.6, 2.0])
def test_an_ellipse_is_oval_by_half_the_difference_of_its_semi_axes(turn):
    amplitude, radius = oval_of(ellipse(11.1, 10.9, centre=(40.0, 5.0), turn=turn))
    assert amplitude == pytest.approx(0.1, rel=0.01)
    assert radius == pytest.approx(11.0, abs=0.01)


def test_what_leans_is_seen_from_that_angle():
    tilt = np.radians(10.0)
    view = View(
        focal_px=3000.0,
        centre_px=(2000.0, 1500.0),
        normal=(np.sin(tilt), 0.0, np.cos(tilt)),
        height_mm=300.0,
    )

    def rim(x_px):
        points = ellipse(80.0, 80.0, centre=(2000.0 + x_px, 1500.0))
        return DiscRim(points, points, np.zeros(len(points)), 0.1)

    assert lean_sine(view, rim(0.0)) == pytest.approx(np.sin(tilt))
    # The line of sight along the normal meets the sheet square on.
    assert lean_sine(view, rim(3000.0 * np.tan(tilt))) == pytest.approx(0.0, abs=1e-6)


def test_a_rim_is_completed_in_order_where_it_crosses_a_strap():
    whole = ellipse(80.0, 80.0, centre=(500.0, 400.0))
    across, rest = whole[:40], whole[40:]
    rim = DiscRim(rest, rest - (500.0, 400.0), np.ones(len(rest)), 0.1, across).completed()
    turn = np.argmin(np.hypot(*(rim.points_px - whole[0]).T))
    assert np.allclose(np.roll(rim.points_px, -turn, axis=0), whole)
    hidden = np.roll(np.all(rim.outward == 0, axis=1), -turn)
    assert np.array_equal(hidden, np.arange(240) < 40)
    assert np.array_equal(np.roll(rim.foot_share, -turn) == 0, hidden)
    assert not len(rim.across_px)


def test_a_lean_is_as_uncertain_as_the_ovals_that_look_like_it():
    """A disc that leans by t has axes of R and R cos t: oval by R (1 - cos t) / 2.

    Another degree or two makes it oval by as much again as here, in one rim of ten and
    with as much again for what all have in common.
    """
    radius, tilt, more = 12.0, np.radians(10.0), np.radians(1.5)

    def oval(lean):
        return radius * (1 - np.cos(lean)) / 2

    extra = oval(tilt + more) - oval(tilt)
    count = 10
    ovals = np.full(count, extra * np.sqrt((count - 1) / count))
    sines = np.full(count, np.sin(tilt))
    found = lean_doubt_rad(ovals, np.full(count, radius), sines, least_mm=0.0)
    assert found == pytest.approx(more * np.sqrt(1 + 1 / count), rel=0.2)


@pytest.mark.parametrize(
    ("ovals", "odd"),
    [
        ([], None),
        ([0.2, 0.3, 0.1], None),
        ([0.2, 0.3, 0.1, 3.0], 3),
        ([3.0, 0.3, 0.1, 0.2], 0),
        ([2.0, 2.0], 1),
        ([0.5, 0.5], None),
        ([0.9, 1.1, 1.0, 3.0], None),
    ],
    ids=["alone", "all round", "one odd", "the measured one", "a pair", "near", "all uneven"],
)
def test_finds_the_odd_one(ovals, odd):
    assert odd_one(np.array(ovals)) == odd


def test_no_rim_is_odd_for_what_it_may_be_located_oval_by():
    assert odd_one(np.array([0.0, 0.0, 0.0, 0.9 * ODD_OVALS * OVAL_PX])) is None
