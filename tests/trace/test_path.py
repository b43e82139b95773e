import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from blanktrace.path import Path, arc_of

BULGES = st.floats(-3, 3).filter(lambda b: abs(b) > 1e-3)


def arc_path(bulge, chord=10.0):
    """One arc and its chord: a circular segment."""
    return Path([(0, 0), (chord, 0)], [bulge, 0.0])


@pytest.mark.parametrize(
    ("angle_deg", "bulge_expected"),
    # tan(angle / 4), the definition in the DXF reference.
    [(45, 0.1989123674), (90, 0.4142135624), (180, 1.0), (270, 2.4142135624)],
)
def test_bulge_gives_its_angle(angle_deg, bulge_expected):
    *_, sweep = arc_of(np.zeros(2), np.array([1.0, 0.0]), bulge_expected)
    assert np.rad2deg(sweep) == pytest.approx(angle_deg, abs=1e-7)


@pytest.mark.parametrize(
    ("bulge", "radius_expected", "sagitta_expected", "area_expected"),
    # Chord 10: radius c(1 + b²)/4b, sagitta bc/2, segment area R²/2 (α - sin α).
    [(0.5, 6.25, 2.5, 17.4724694), (1.0, 5.0, 5.0, 39.2699082)],
)
def test_chord_and_bulge(bulge, radius_expected, sagitta_expected, area_expected):
    path = arc_path(bulge)
    _, radius, _, sweep = arc_of(*path.points_mm, bulge)
    assert radius == pytest.approx(radius_expected)
    # A positive bulge turns left and so passes below its chord.
    assert path.flattened(1e-6)[:, 1].min() == pytest.approx(-sagitta_expected, abs=1e-5)
    assert path.signed_area_mm2 == pytest.approx(area_expected, abs=1e-7)
    assert path.length_mm == pytest.approx(10.0 + radius_expected * sweep)


def test_circle():
    circle = Path.circle((3, 4), radius_mm=45.0)
    assert circle.as_circle == pytest.approx((3, 4, 45))
    assert circle.signed_area_mm2 == pytest.approx(np.pi * 45**2)
    assert circle.length_mm == pytest.approx(2 * np.pi * 45)
    assert circle.reversed().signed_area_mm2 == pytest.approx(-np.pi * 45**2)


@pytest.mark.parametrize(("tolerance", "sides_least"), [(0.05, 67), (0.01, 150), (0.005, 211)])
def test_sides_that_a_circle_needs(tolerance, sides_least):
    # Sagitta R(1 - cos(pi/n)) at R = 45; each half circle is rounded up by itself.
    points = Path.circle((0, 0), radius_mm=45.0).flattened(tolerance)
    assert sides_least <= len(points) <= sides_least + 2


def test_polygon_of_64_sides():
    # Area ratio (n/2π) sin(2π/n) and sagitta for n = 64, R = 45: standard formulae.
    tolerance = 0.0542045 + 1e-6
    points = Path.circle((0, 0), radius_mm=45.0).flattened(tolerance)
    assert len(points) == 64
    ratio = shapely.Polygon(points).area / (np.pi * 45**2)
    assert ratio == pytest.approx(0.9983944, abs=1e-7)


@given(bulge=BULGES, side=st.sampled_from(["on", "left", "right"]))
def test_flattening_keeps_to_tolerance_and_side(bulge, side):
    tolerance = 0.02
    path = arc_path(bulge)
    centre, radius, *_ = arc_of(*path.points_mm, bulge)
    points = path.flattened(tolerance, side=side)[:-1]
    ring = np.vstack([points, path.points_mm[1]])
    share = np.linspace(0, 1, 50)[:, None, None]
    chords = (ring[:-1] + share * (ring[1:] - ring[:-1])).reshape(-1, 2)
    off = np.hypot(*(chords - centre).T) - radius
    # The right of an arc that turns left is outside its circle.
    outward = off if bulge > 0 else -off
    assert np.abs(off).max() <= tolerance * (1 + 1e-9)
    if side == "right":
        assert outward.min() >= -1e-9
    if side == "left":
        assert outward.max() <= 1e-9


@given(bulge=BULGES)
def test_area_and_length_are_the_limits_of_polygons(bulge):
    path = arc_path(bulge)
    fine = shapely.LinearRing(path.flattened(1e-6))
    assert abs(path.signed_area_mm2) == pytest.approx(
        shapely.Polygon(fine).area, rel=1e-5, abs=1e-4
    )
    assert path.length_mm == pytest.approx(fine.length, rel=1e-6)
    assert np.sign(path.signed_area_mm2) == np.sign(bulge)


@given(angle=st.floats(-7, 7), x=st.floats(-100, 100), y=st.floats(-100, 100))
def test_moving_keeps_area_and_length(angle, x, y):
    path = Path([(0, 0), (20, 0), (20, 10)], [0.3, 0.0, -0.2])
    moved = path.moved(angle_rad=angle, x_mm=x, y_mm=y)
    assert moved.signed_area_mm2 == pytest.approx(path.signed_area_mm2)
    assert moved.length_mm == pytest.approx(path.length_mm)
    cos, sin = np.cos(angle), np.sin(angle)
    assert_allclose(moved.points_mm[1], (20 * cos + x, 20 * sin + y), atol=1e-9)


@pytest.mark.parametrize("closed", [True, False])
def test_reversing_twice_changes_nothing(closed):
    path = Path([(0, 0), (20, 0), (20, 10)], [0.3, 0.5, -0.2 if closed else 0.0], closed=closed)
    back = path.reversed()
    assert back.length_mm == pytest.approx(path.length_mm)
    if closed:
        assert back.signed_area_mm2 == pytest.approx(-path.signed_area_mm2)
    assert_allclose(back.reversed().points_mm, path.points_mm)
    assert_allclose(back.reversed().bulges, path.bulges)


def test_open_path_ends_where_it_ends():
    path = Path([(0, 0), (10, 0), (10, 5)], closed=False)
    assert path.length_mm == 15.0
    assert_allclose(path.flattened(0.1), [(0, 0), (10, 0), (10, 5)])


def test_arrays_are_read_only():
    with pytest.raises(ValueError, match="read-only"):
        Path([(0, 0), (1, 0)]).points_mm[0, 0] = 5.0


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Path([(0, 0)]), "N of 2 or more"),
        (lambda: Path([(0, 0, 0), (1, 1, 1)]), r"must be \(N, 2\)"),
        (lambda: Path([(0, 0), (1, 0)], [0.0]), "to match"),
        (lambda: Path([(0, 0), (np.nan, 0)]), "finite"),
        (lambda: Path([(0, 0), (1, 0)], [0.0, 1.0], closed=False), "last bulge"),
        (lambda: Path.circle((0, 0), radius_mm=0.0), "above 0"),
        (lambda: Path([(0, 0), (1, 0)]).flattened(0.0), "above 0"),
        (lambda: arc_of(np.zeros(2), np.ones(2), 0.0), "no arc"),
    ],
    ids=["short", "3-D", "bulges", "nan", "open end", "circle", "tolerance", "line"],
)
def test_mistakes_are_named(make, message):
    with pytest.raises(ValueError, match=message):
        make()
