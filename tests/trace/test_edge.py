import numpy as np
import pytest
from numpy.testing import assert_allclose

from blanktrace.circle import fit_circle
from blanktrace.disc import fit_disc
from blanktrace.edge import locate_edge
from tests.trace.pictures import (
    SHEET,
    WOOD,
    box_level,
    disc_level,
    disc_photograph,
    grid,
    photograph,
)

NOISE = 0.006
"""Of linear light, per channel; white is 0.72."""
CONTRAST = float(np.linalg.norm(SHEET - WOOD))
"""Of the three channels together, weighed by what each tells."""
GOAL_PX = 0.02
LIGHT_SLOPE = 1e-4
"""Change of light a pixel: a quarter over 2500 px, a strong side light."""


def line_sd_px(noise, blur):
    """Least sd of a straight edge's place from one line of pixels across it.

    (noise / contrast) (2 √π s)^½, the standard estimation bound (from memory); for
    contrast 150, noise 3 and blur 1 px it gives 0.0377 px.
    """
    return noise / CONTRAST * np.sqrt(2 * np.sqrt(np.pi) * blur)


def bounds_px(noise, blur, radius, hidden=0.0):
    """Cramér-Rao bounds of (centre, radius) of a rim, `hidden` of it not in view.

    Chan & Thomas, CVGIP 57 (1995) (formula from memory). The independent points are
    lines of pixels, one a pixel of rim: a locator that averages along the rim has
    fewer, and better by as much.
    """
    half = np.pi * (1 - hidden)
    count = 2 * half * radius
    mean, turn = np.sinc(half / np.pi), np.sinc(2 * half / np.pi)
    along, across = (1 + turn) / 2, (1 - turn) / 2
    spread = along - mean**2
    sd = line_sd_px(noise, blur) / np.sqrt(count)
    return sd / np.sqrt(min(spread, across)), sd * np.sqrt(along / spread)


def ellipse_bounds_px(noise, blur, radius, hidden):
    """Bounds of (centre, mean radius) where the rim's two ovalities are unknown besides.

    By the information matrix of the five: what cos t, sin t, 1, cos 2t and sin 2t of
    the rim's distance share on an open arc costs each of them.
    """
    t = np.linspace(-np.pi, np.pi, round(2 * np.pi * radius), endpoint=False)
    t = t[np.abs(t) < np.pi * (1 - hidden)]
    each = np.column_stack([np.cos(t), np.sin(t), np.ones_like(t), np.cos(2 * t), np.sin(2 * t)])
    sd = line_sd_px(noise, blur) * np.sqrt(np.diag(np.linalg.inv(each.T @ each)))
    return max(sd[:2]), sd[2]


def test_ellipse_bounds_meet_the_circles_on_a_full_rim():
    full = ellipse_bounds_px(NOISE, 1.0, 200.0, hidden=0.0)
    assert_allclose(full, bounds_px(NOISE, 1.0, 200.0), rtol=1e-3)


def test_bounds_against_check_values():
    # n = 100, σ = 0.1, full circle: 0.0141421 and 0.0100000; an arc of 315°: sd of R 0.0102301.
    unit = line_sd_px(NOISE, 1.0)
    radius = 50 / np.pi
    full = np.array(bounds_px(NOISE, 1.0, radius)) / unit
    assert_allclose(full, [0.141421, 0.1], rtol=1e-5)
    arc = np.array(bounds_px(NOISE, 1.0, radius, hidden=1 / 8)) / unit * np.sqrt(7 / 8)
    assert_allclose(arc, [0.154985, 0.102301], rtol=1e-5)
    assert 3 / 150 * np.sqrt(2 * np.sqrt(np.pi)) == pytest.approx(0.0376559, abs=1e-7)


def rough_ring(centre, radius, wander=1.5):
    """A circle walked from x towards y, off by up to `wander`."""
    t = np.linspace(0, 2 * np.pi, round(2 * np.pi * radius), endpoint=False)
    off = radius + wander * np.sin(7 * t)
    return np.asarray(centre) + np.column_stack([off * np.cos(t), off * np.sin(t)])


def located(rgb, ring):
    return locate_edge(rgb, ring, light=SHEET, reach_px=4.0)


@pytest.mark.parametrize(
    ("radius", "offset", "blur", "noise"),
    [
        pytest.param(60.3, (0.31, -0.17), 0.7, NOISE, id="small, sharp"),
        pytest.param(250.7, (0.13, 0.49), 0.7, NOISE, id="sharp"),
        pytest.param(1500.4, (0.21, 0.87), 0.7, NOISE, id="large"),
        pytest.param(60.0, (0.0, 0.0), 1.0, 0.0, id="small, no noise"),
        pytest.param(60.3, (0.5, 0.5), 3.0, NOISE, id="small, soft"),
        pytest.param(250.7, (0.25, 0.75), 1.5, 2 * NOISE, id="noisy"),
        pytest.param(251.2, (0.4, 0.9), 3.0, NOISE, id="soft"),
        pytest.param(1500.4, (0.21, 0.87), 1.2, NOISE, id="large, softer"),
    ],
)
def test_radius_and_centre(radius, offset, blur, noise):
    side = int(2 * radius + 80)
    centre = np.array([side / 2, side / 2]) + offset
    rgb = disc_photograph(side, centre, radius, blur, noise=noise, light_slope=LIGHT_SLOPE)
    edge = located(rgb, rough_ring(centre, radius))
    circle = fit_circle(edge.points_px)
    centre_sd, radius_sd = bounds_px(noise, blur, radius)
    assert circle.radius_px == pytest.approx(radius, abs=GOAL_PX + 3 * radius_sd)
    assert_allclose(circle.centre_px, centre, atol=GOAL_PX + 3 * centre_sd)
    # Reading between pixels blurs a little more: variance up to 1/6 px².
    assert blur - 0.1 < edge.blur_px < np.sqrt(blur**2 + 1 / 6) + 0.1
    assert circle.signed_distance_px(edge.points_px).std() < 0.1


@pytest.mark.parametrize(("radius", "blur"), [(120.4, 1.0), (400.2, 1.5)])
def test_a_strap_that_hides_a_fifth_of_the_rim_does_not_move_it(radius, blur):
    width, height = int(2 * radius + 60), int(2.7 * radius + 60)
    centre = np.array([width / 2 + 0.37, height - radius - 30.21])
    half = radius * np.sin(np.pi / 5)
    low, high = centre + (-half, -1.6 * radius), centre + (half, 0)
    x, y = grid(width, height)
    level = np.maximum(disc_level(x, y, centre, radius, blur), box_level(x, y, low, high, blur))
    ring = rough_ring(centre, radius, wander=0.0)
    free = ~((np.abs(ring[:, 0] - centre[0]) < half) & (ring[:, 1] < centre[1]))
    # Walked from the strap's right edge round to its left, then over its end.
    rim = np.roll(ring, -int(np.flatnonzero(~free & np.roll(free, -1))[0]) - 1, axis=0)
    rim = rim[: free.sum()]
    strap = np.array([low, (high[0], low[1])])
    rough = dense(np.vstack([rim, strap]))
    edge = located(photograph(level, noise=NOISE), rough)
    disc = fit_disc(edge.points_px)
    centre_sd, radius_sd = ellipse_bounds_px(NOISE, blur, radius, hidden=0.2)
    assert disc.ellipse.mean_radius_px == pytest.approx(radius, abs=GOAL_PX + 3 * radius_sd)
    assert_allclose(disc.ellipse.centre_px, centre, atol=GOAL_PX + 3 * centre_sd)


def dense(ring):
    closed = np.vstack([ring, ring[:1]])
    along = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    even = np.arange(0, along[-1], 1.0)
    return np.column_stack([np.interp(even, along, closed[:, k]) for k in (0, 1)])


def test_normals_point_to_the_sheet_and_strength_tells_noise():
    x, y = grid(200, 200)
    level = disc_level(x, y, (100, 100), 60.0, 1.0)
    quiet, loud = (
        located(photograph(level, noise=noise), rough_ring((100, 100), 60.0))
        for noise in (NOISE, 5 * NOISE)
    )
    away = quiet.points_px - (100, 100)
    away /= np.hypot(*away.T)[:, None]
    assert np.einsum("nk,nk->n", away, quiet.outward).min() > 0.99
    assert np.median(quiet.strength) > 2 * np.median(loud.strength) > 30
