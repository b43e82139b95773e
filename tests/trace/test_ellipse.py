import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from blanktrace.conic import direct_conic, foot_points, shape_of_conic
from blanktrace.ellipse import fit_ellipse
from blanktrace.errors import NoDiscError

# W. Gander, G. H. Golub, R. Strebel, BIT 34 (1994) 558-578: eight points, and the printed
# geometric fit (from memory, recomputed to more digits outside the project).
EIGHT_POINTS = [(1, 7), (2, 6), (5, 8), (7, 7), (9, 5), (3, 7), (6, 2), (8, 4)]


def on_ellipse(count, a, b, *, angle=0.0, centre=(0.0, 0.0), arc=2 * np.pi):
    u = arc * np.arange(count) / count
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    return np.column_stack([a * np.cos(u), b * np.sin(u)]) @ turn.T + centre


def test_geometric_fit_of_gander_golub_strebel():
    ellipse = fit_ellipse(EIGHT_POINTS)
    assert_allclose(ellipse.centre_px, (2.699612107, 3.815956616), atol=2e-6)
    assert_allclose(ellipse.semi_axes_px, (6.518722403, 3.031886005), atol=2e-6)
    assert ellipse.angle_rad == pytest.approx(0.3596242712, abs=2e-7)
    assert ellipse.rms_px**2 * 8 == pytest.approx(1.37330554, abs=1e-8)


def test_direct_fit_of_the_same_points():
    # Fitzgibbon, Pilu, Fisher (1999); equals two general-purpose libraries' direct fits.
    points = np.array(EIGHT_POINTS, dtype=float)
    x, y, p, q, r = shape_of_conic(direct_conic(points - points.mean(axis=0)))
    assert_allclose((x, y) + points.mean(axis=0), (5.063877719, 5.069752704), atol=1e-8)
    assert p + np.hypot(q, r) == pytest.approx(3.775663715, abs=1e-8)
    assert p - np.hypot(q, r) == pytest.approx(2.642333999, abs=1e-8)
    assert np.arctan2(r, q) / 2 == pytest.approx(-0.3861200379, abs=1e-9)


@pytest.mark.parametrize("ratio", [1.0, 0.97, 0.5, 0.1])
@pytest.mark.parametrize("arc", [2 * np.pi, np.pi])
def test_exact_ellipse_comes_back(ratio, arc):
    points = on_ellipse(80, 400.0, 400.0 * ratio, angle=0.7, centre=(2000.0, 1500.0), arc=arc)
    ellipse = fit_ellipse(points)
    assert_allclose(ellipse.centre_px, (2000.0, 1500.0), atol=1e-6)
    assert_allclose(ellipse.semi_axes_px, (400.0, 400.0 * ratio), atol=1e-6)
    if ratio < 1:
        assert ellipse.angle_rad == pytest.approx(0.7, abs=1e-7)


@pytest.mark.parametrize(
    ("tilt_deg", "a_expected", "b_expected", "offset_expected"),
    # Perspective image of a circle, closed form; confirmed with a 40-digit conic transformation.
    [
        (5, 337.5162245, 336.2480370, -3.296919),
        (10, 337.564418945868, 332.499509305190, -6.495517559924),
        (20, 337.7501121, 317.6164907, -12.221014),
        (30, 338.0352060, 293.2113127, -16.493136),
    ],
)
def test_projected_circle(tilt_deg, a_expected, b_expected, offset_expected):
    focal, distance, radius, tilt = 3000.0, 400.0, 45.0, np.deg2rad(tilt_deg)
    u = 2 * np.pi * np.arange(360) / 360
    x, y = radius * np.cos(u), radius * np.sin(u)
    depth = distance - y * np.sin(tilt)
    ellipse = fit_ellipse(np.column_stack([focal * x / depth, focal * y * np.cos(tilt) / depth]))
    assert_allclose(ellipse.semi_axes_px, (a_expected, b_expected), atol=1e-6)
    assert ellipse.angle_rad == pytest.approx(0.0, abs=1e-9)
    # The near half's side is +y here.
    assert_allclose(np.abs(ellipse.centre_px), (0.0, abs(offset_expected)), atol=2e-6)


def test_covariance_matches_scatter():
    rng = np.random.default_rng(5)
    clean = on_ellipse(100, 50.0, 46.0, angle=0.4, arc=1.5 * np.pi)
    fits = [fit_ellipse(clean + rng.normal(0, 0.05, clean.shape)) for _ in range(200)]
    found = np.array([[*f.centre_px, *f.semi_axes_px, f.angle_rad] for f in fits])
    claimed = np.mean([f.covariance for f in fits], axis=0)
    assert_allclose(np.sqrt(np.diag(claimed)), found.std(axis=0), rtol=0.15)
    scale = np.sqrt(np.outer(np.diag(claimed), np.diag(claimed)))
    assert_allclose(claimed / scale, np.corrcoef(found.T), atol=0.15)


def test_circle_has_no_angle_worth_the_name():
    rng = np.random.default_rng(6)
    points = on_ellipse(200, 50.0, 50.0)
    ellipse = fit_ellipse(points + rng.normal(0, 0.1, points.shape))
    assert 0.2 < np.sqrt(ellipse.covariance[4, 4]) <= 0.5


@pytest.mark.parametrize(("a", "b"), [(1, 1), (1, 0.999), (2, 1), (5, 0.01), (300, 280)])
def test_foot_points_against_a_fine_polygon(a, b):
    rng = np.random.default_rng(1)
    special = [(0, 0), (a / 2, 0), (0, b / 2), (a, 0), (0, b), (a - b * b / a, 0), (a / 3, 1e-14)]
    points = np.vstack([rng.normal(0, a, (60, 2)), special])
    unit, distance = foot_points(points, a, b)
    ring = np.column_stack([a * np.cos(np.linspace(0, 2 * np.pi, 20001))] * 2)
    ring[:, 1] = b * np.sin(np.linspace(0, 2 * np.pi, 20001))
    nearest = np.min(np.hypot(*(points[:, None] - ring).transpose(2, 0, 1)), axis=1)
    # A ring of 20000 chords is never more than half a chord farther.
    assert np.all(np.abs(distance) <= nearest + 1e-12 * a)
    assert_allclose(np.abs(distance), nearest, atol=a * 2e-4)
    assert_allclose(np.hypot(*unit.T), 1.0, atol=1e-14)
    inside = (points[:, 0] / a) ** 2 + (points[:, 1] / b) ** 2 < 1
    assert np.array_equal(distance < 0, inside & (distance != 0))


def test_distance_along_the_normal_is_exact():
    u = np.linspace(0, 2 * np.pi, 50)
    normal = np.column_stack([np.cos(u) / 5, np.sin(u) / 3])
    normal /= np.hypot(*normal.T)[:, None]
    points = on_ellipse(200, 5.0, 3.0, angle=-0.3, centre=(7.0, 8.0))
    ellipse = fit_ellipse(points)
    turn = np.array([[np.cos(-0.3), -np.sin(-0.3)], [np.sin(-0.3), np.cos(-0.3)]])
    foot = np.column_stack([5 * np.cos(u), 3 * np.sin(u)])
    for gap in (-0.5, 0.25, 4.0):
        measured = ellipse.signed_distance_px((foot + gap * normal) @ turn.T + (7.0, 8.0))
        assert_allclose(measured, gap, atol=1e-9)


def test_own_points_lie_on_it():
    ellipse = fit_ellipse(EIGHT_POINTS)
    assert_allclose(ellipse.signed_distance_px(ellipse.points(100)), 0.0, atol=1e-12)


@settings(max_examples=40, deadline=None)
@given(angle=st.floats(-np.pi, np.pi), x=st.floats(-1e3, 1e3), y=st.floats(-1e3, 1e3))
def test_turned_points_give_the_turned_ellipse(angle, x, y):
    points = np.array(EIGHT_POINTS, dtype=float)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    ellipse, turned = fit_ellipse(points), fit_ellipse(points @ turn.T + (x, y))
    assert_allclose(turned.centre_px, turn @ ellipse.centre_px + (x, y), atol=1e-4)
    assert_allclose(turned.semi_axes_px, ellipse.semi_axes_px, atol=1e-4)
    off = (turned.angle_rad - ellipse.angle_rad - angle) % np.pi
    assert min(off, np.pi - off) < 1e-5
    assert -np.pi / 2 < turned.angle_rad <= np.pi / 2


@pytest.mark.parametrize(
    ("points", "error", "message"),
    [
        (EIGHT_POINTS[:5], ValueError, "6 points or more, got 5"),
        ([(x, 2 * x) for x in range(8)], NoDiscError, "straight line"),
        ([(1, 1)] * 8, NoDiscError, "one place"),
    ],
    ids=["five points", "line", "one place"],
)
def test_refusals(points, error, message):
    with pytest.raises(error, match=message):
        fit_ellipse(points)
