"""The rim of a bright disc, on pictures drawn exactly."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtr

from blanktrace.edge import locate_edge
from blanktrace.ellipse import fit_ellipse
from blanktrace.seek import seek_rim
from tests.trace.pictures import SHEET, WOOD, box_level, disc_photograph, encoded, grid, photograph

SIDE, CENTRE, RADIUS, BLUR = 520, (258.3, 261.7), 150.0, 1.2
RIM_PX = 4.0
"""Width of the turned edge of a coin or tag, darker than its face."""
GOAL_PX = 0.3
"""Well below the 0.5 px that the error budget allows for the light beside an edge."""


def ring(radius=RADIUS, *, centre=CENTRE, flat=0.0, towards=0.0):
    """A rough outline, from x towards y, drawn out to one side by a share of its radius."""
    t = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    out = radius * (1 + flat * np.clip(np.cos(t - towards), 0, None) ** 2)
    return np.array(centre) + out[:, None] * np.column_stack([np.cos(t), np.sin(t)])


def bright_disc(*, noise=0.004, shade=0.45):
    """A face as bright as the sheet inside a dark rim, its soft shadow to the right."""
    x, y = grid(SIDE, SIDE)
    x -= CENTRE[0]
    y -= CENTRE[1]
    inside = RADIUS - np.hypot(x, y)
    shadow = shade * ndtr((RADIUS + 2 - np.hypot(x - 12, y)) / 6.0)
    light = SHEET * (1 - shadow)[..., None]
    face = np.where((x < 0)[..., None], SHEET * 0.97, SHEET * 0.6)
    edge, step = ndtr(inside / BLUR)[..., None], ndtr((inside - RIM_PX) / BLUR)[..., None]
    linear = light * (1 - edge) + WOOD * (edge - step) + face * step
    linear = linear + noise * np.random.default_rng(0).standard_normal(linear.shape)
    return encoded(linear)


def located(rgb, rough):
    return locate_edge(rgb, rough, light=SHEET, reach_px=5.0)


@pytest.mark.parametrize(
    "rough",
    [ring(flat=0.1), ring(flat=-0.08, towards=2.0), ring(0.95 * RADIUS, flat=0.12, towards=3.0)],
    ids=["shadow kept", "metal lost", "both"],
)
def test_finds_the_rim_that_the_boundary_missed(rough):
    rgb = bright_disc()
    # The boundary where a cut left it: located no nearer, as where it is faint.
    edge = replace(located(rgb, ring()), points_px=rough, apart_px=rough)
    found = seek_rim(rgb, edge, light=SHEET)
    rim = fit_ellipse(found.apart_px)
    assert np.hypot(*(rim.centre_px - CENTRE)) < GOAL_PX
    assert rim.semi_axes_px == pytest.approx((RADIUS, RADIUS), abs=GOAL_PX)
    off = np.hypot(*(found.points_px - CENTRE).T) - RADIUS
    assert np.sqrt(np.mean(off**2)) < GOAL_PX
    outward = (found.points_px - CENTRE) / RADIUS
    assert np.einsum("nk,nk->n", found.outward, outward).min() > 0.99
    assert found.doubt_px.min() > 0


def test_leaves_a_boundary_that_is_right():
    rgb = disc_photograph(SIDE, CENTRE, RADIUS, BLUR, noise=0.006)
    edge = located(rgb, ring(flat=0.02))
    assert seek_rim(rgb, edge, light=SHEET) is edge


@pytest.mark.parametrize(
    ("low", "high"),
    [((110, 110), (410, 410)), ((110, 150), (410, 370))],
    ids=["square", "oblong"],
)
def test_leaves_what_is_no_disc(low, high):
    x, y = grid(SIDE, SIDE)
    rgb = photograph(box_level(x, y, low, high, BLUR))
    corners = np.array([low, (high[0], low[1]), high, (low[0], high[1])], dtype=float)
    ends = zip(corners, np.roll(corners, -1, axis=0), strict=True)
    sides = [np.linspace(a, b, 80, endpoint=False) for a, b in ends]
    rough = np.concatenate(sides)
    edge = replace(located(rgb, rough), points_px=rough, apart_px=rough)
    assert seek_rim(rgb, edge, light=SHEET) is edge


def test_leaves_a_boundary_where_there_is_nothing_round():
    rgb = photograph(np.zeros((SIDE, SIDE)))
    rough = ring(flat=0.1)
    edge = replace(located(rgb, rough), points_px=rough, apart_px=rough)
    assert seek_rim(rgb, edge, light=SHEET) is edge


def disc_and_shadow(face, *, dark, towards, beyond, softness=BLUR, noise=0.004):
    """A disc in light from one side, its shadow larger than it, to the other."""
    x, y = grid(SIDE, SIDE)
    x -= CENTRE[0]
    y -= CENTRE[1]
    away = np.hypot(x - towards[0], y - towards[1])
    shadow = dark * ndtr((RADIUS + beyond - away) / softness)[..., None]
    disc = ndtr((RADIUS - np.hypot(x, y)) / BLUR)[..., None]
    linear = SHEET * (1 - shadow) * (1 - disc) + face * disc
    return encoded(linear + noise * np.random.default_rng(0).standard_normal(linear.shape))


def disc_in_the_sun(face, **kw):
    return disc_and_shadow(face, dark=0.8, towards=(9, 4), beyond=1, **kw)


def assert_finds_the_rim(rgb, rough):
    edge = replace(located(rgb, ring()), points_px=rough, apart_px=rough)
    rim = fit_ellipse(seek_rim(rgb, edge, light=SHEET).apart_px)
    assert np.hypot(*(rim.centre_px - CENTRE)) < GOAL_PX
    assert rim.semi_axes_px == pytest.approx((RADIUS, RADIUS), abs=GOAL_PX)


@pytest.mark.parametrize("face", [WOOD, 0.8 * SHEET], ids=["wood", "as light as the sheet"])
@pytest.mark.parametrize("rough", [ring(flat=-0.08, towards=2.0), ring(flat=-0.08, towards=5.0)])
def test_finds_the_rim_within_a_shadow_that_ends_as_sharply(face, rough):
    assert_finds_the_rim(disc_in_the_sun(face), rough)


def test_leaves_a_rim_whose_shadow_ends_as_sharply():
    """In the sun: what lies outermost is the shadow's end."""
    rgb = disc_in_the_sun(WOOD, noise=0.0)
    edge = located(rgb, ring())
    assert seek_rim(rgb, edge, light=SHEET) is edge


@pytest.mark.parametrize("softness", [2.6, 3.0])
@pytest.mark.parametrize("towards", [(2, -3), (-3, 1)])
def test_finds_the_rim_within_a_softer_shadow_all_round(softness, towards):
    """By the window: the shadow's end is the outermost edge, on all sides."""
    rgb = disc_and_shadow(0.9 * SHEET, dark=0.7, towards=towards, beyond=8, softness=softness)
    assert_finds_the_rim(rgb, ring(1.03 * RADIUS, flat=-0.1, towards=2.0))
