import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from blanktrace.circle import fit_circle, fit_circle_hyper
from blanktrace.errors import NoDiscError

# W. Gander, G. H. Golub, R. Strebel, BIT 34 (1994) 558-578: six points, and the printed
# geometric fit (from memory, recomputed to more digits outside the project).
SIX_POINTS = [(1, 7), (2, 6), (5, 8), (7, 7), (9, 5), (3, 7)]


def arc(count, degrees, *, centre=(0.0, 0.0), radius=1.0):
    """Points spaced evenly over an arc about the x axis, each in the middle of its share."""
    angles = np.deg2rad(degrees) * ((np.arange(count) + 0.5) / count - 0.5)
    return np.add(centre, radius * np.column_stack([np.cos(angles), np.sin(angles)]))


def test_geometric_fit_of_gander_golub_strebel():
    circle = fit_circle(SIX_POINTS)
    assert_allclose(circle.centre_px, (4.739782407, 2.983532680), atol=2e-7)
    assert circle.radius_px == pytest.approx(4.714226053, abs=2e-7)
    assert circle.rms_px**2 * 6 == pytest.approx(1.227599078, abs=1e-9)
    assert circle.count == 6


def test_hyper_fit_of_the_same_points():
    # Al-Sharadqah and Chernov (2009); recomputed by an independent eigensolver.
    centre, radius = fit_circle_hyper(SIX_POINTS)
    assert_allclose(centre, (4.615481517, 2.807354397), atol=1e-8)
    assert radius == pytest.approx(4.827575176, abs=1e-8)


@pytest.mark.parametrize("degrees", [360, 180, 90, 20])
@pytest.mark.parametrize("fit", ["geometric", "hyper"])
def test_exact_circle_comes_back(degrees, fit):
    points = arc(50, degrees, centre=(1200.5, -340.25), radius=417.0)
    if fit == "geometric":
        circle = fit_circle(points)
        centre, radius = circle.centre_px, circle.radius_px
        assert circle.rms_px < 1e-11
    else:
        centre, radius = fit_circle_hyper(points)
    assert_allclose(centre, (1200.5, -340.25), atol=1e-8)
    assert radius == pytest.approx(417.0, abs=1e-8)


@pytest.mark.parametrize(
    ("degrees", "along_expected", "across_expected", "radius_expected"),
    # Cramer-Rao bound for n = 100, sigma = 0.1: Y. T. Chan, S. M. Thomas (1995).
    [
        (360, 0.0141421, 0.0141421, 0.0100000),
        (315, 0.0154985, 0.0133120, 0.0102301),
        (180, 0.0324930, 0.0141421, 0.0229760),
        (90, 0.1136627, 0.0234603, 0.1028198),
    ],
)
def test_scatter_reaches_the_cramer_rao_bound(
    degrees, along_expected, across_expected, radius_expected
):
    rng = np.random.default_rng(20)
    clean = arc(100, degrees, radius=50.0)
    fits = [fit_circle(clean + rng.normal(0, 0.1, clean.shape)) for _ in range(400)]
    found = np.array([[*fit.centre_px, fit.radius_px] for fit in fits])
    expected = (along_expected, across_expected, radius_expected)
    assert_allclose(found.std(axis=0), expected, rtol=0.1)
    claimed = np.sqrt(np.mean([np.diag(fit.covariance) for fit in fits], axis=0))
    assert_allclose(claimed, expected, rtol=0.1)


@pytest.mark.parametrize(("fit", "k_expected"), [("geometric", 0.5), ("hyper", 0.0)])
def test_bias_of_the_radius(fit, k_expected):
    # bias -> k sigma^2 / R: A. Al-Sharadqah, N. Chernov (2009), k from memory.
    rng = np.random.default_rng(4)
    clean, sigma, runs = arc(100, 360), 0.1, 1500
    total = 0.0
    for _ in range(runs):
        noisy = clean + rng.normal(0, sigma, clean.shape)
        total += fit_circle(noisy).radius_px if fit == "geometric" else fit_circle_hyper(noisy)[1]
    # Scatter of the mean: sigma / sqrt(n runs) is 0.026 in k. Three of it.
    assert (total / runs - 1) / sigma**2 == pytest.approx(k_expected, abs=0.08)


def test_weights_decide():
    points = np.vstack([arc(40, 360, radius=10.0), [(30.0, 0.0)]])
    circle = fit_circle(points, weights=[1.0] * 40 + [0.0])
    assert circle.radius_px == pytest.approx(10.0, abs=1e-9)
    assert fit_circle(points).radius_px > 10.1


def test_neighbours_that_share_noise_count_for_less():
    rng = np.random.default_rng(8)
    clean = arc(2000, 360, radius=300.0)
    found, claimed = [], []
    for _ in range(60):
        radial = np.convolve(rng.normal(0, 0.3, 2019), np.full(20, 20**-0.5), mode="valid")
        fit = fit_circle(clean * (1 + radial / 300.0)[:, None])
        found.append(fit.radius_px)
        claimed.append(np.sqrt(fit.covariance[2, 2]))
    # Twenty neighbours share their noise, so that 2000 points are worth 100.
    assert np.std(found) == pytest.approx(0.03, rel=0.3)
    assert np.mean(claimed) == pytest.approx(0.03, rel=0.2)


@settings(max_examples=40, deadline=None)
@given(angle=st.floats(0, 2 * np.pi), x=st.floats(-1e4, 1e4), y=st.floats(-1e4, 1e4))
def test_turned_points_give_the_turned_circle(angle, x, y):
    points = np.array(SIX_POINTS, dtype=float)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    circle, turned = fit_circle(points), fit_circle(points @ turn.T + (x, y))
    assert_allclose(turned.centre_px, turn @ circle.centre_px + (x, y), atol=1e-5)
    assert turned.radius_px == pytest.approx(circle.radius_px, abs=1e-5)


def test_points_on_a_line_are_no_circle():
    with pytest.raises(NoDiscError, match="straight line"):
        fit_circle([(0, 0), (1, 2), (2, 4), (3, 6), (5, 10)])


def test_points_in_one_place_are_no_circle():
    with pytest.raises(NoDiscError, match="one place"):
        fit_circle([(3, 4)] * 5)


@pytest.mark.parametrize(
    ("points", "weights", "message"),
    [
        ([(0, 0), (1, 0), (0, 1)], None, "4 points or more, got 3"),
        ([(0, 0, 0)] * 5, None, r"must be \(N, 2\)"),
        ([(0, 0), (1, 0), (0, 1), (np.nan, 1)], None, "finite"),
        (SIX_POINTS, [1.0], "to match"),
        (SIX_POINTS, [-1.0] * 6, "not negative"),
    ],
    ids=["three points", "3-D", "nan", "too few weights", "negative weights"],
)
def test_callers_mistakes(points, weights, message):
    with pytest.raises(ValueError, match=message):
        fit_circle(points, weights=weights)
