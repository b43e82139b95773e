"""A ring of bright wire on a strap, on pictures drawn exactly."""

import numpy as np
import pytest
import shapely

from blanktrace.circle import fit_circle_hyper
from blanktrace.wire import LEAST_DOUBT_PX, seek_rings
from tests.trace.edges import edge_of
from tests.trace.pictures import SHEET, WOOD, encoded, grid
from tests.trace.shapes import dense

WIDTH, HEIGHT = 420, 640
DISC, DISC_PX = (210.0, 430.0), 150.0
RING, OUTER_PX, INNER_PX = (211.3, 148.6), 62.0, 46.0
FLANK_PX = 4.5
STRAP = shapely.box(165, 190, 255, 320)
BLUR_PX = 1.0

GOAL_PX = 0.35

UNSTRETCHED = np.eye(2)


def circle(centre, radius):
    return shapely.Point(centre).buffer(radius, quad_segs=180)


def blank(outer=OUTER_PX, inner=INNER_PX, *, centre=RING):
    """Disc, strap and ring: the outline, and the hole inside the ring."""
    hole = circle(centre, inner).difference(STRAP)
    whole = shapely.union_all([circle(DISC, DISC_PX), STRAP, circle(centre, outer)])
    return whole, hole


def smooth(inside):
    return np.clip(inside / (2 * BLUR_PX) + 0.5, 0, 1)[..., None]


def picture(*, shade=0.0, noise=0.004, stretch=UNSTRETCHED):
    """Wire with dark flanks and a highlight as light as the sheet; its shadow falls to the left.

    The wire is bent to a circle, which a camera that leans sees stretched.
    """
    x, y = grid(WIDTH, HEIGHT)
    along = np.linalg.solve(stretch, [(x - RING[0]).ravel(), (y - RING[1]).ravel()])
    away = np.hypot(*along).reshape(x.shape)
    light = np.broadcast_to(SHEET, (*x.shape, 3)).copy()
    cast = np.hypot(x - RING[0] + 9, y - RING[1] - 3)
    light *= 1 - shade * smooth(np.minimum(OUTER_PX - cast, cast - INNER_PX))
    depth = np.minimum(OUTER_PX - away, away - INNER_PX)
    light += smooth(depth) * (0.35 * SHEET - light)
    light += smooth(depth - FLANK_PX) * (0.98 * SHEET - light)
    strap = np.minimum.reduce([x - 165, 255 - x, y - 190, 320 - y])
    disc = DISC_PX - np.hypot(x - DISC[0], y - DISC[1])
    light += smooth(np.maximum(strap, disc)) * (WOOD - light)
    return encoded(light + noise * np.random.default_rng(0).standard_normal(light.shape))


def edge(polygon, *, hole=False, doubt_px=0.2):
    """An edge record of a polygon as it stands: blank on the left as seen with y down."""
    ring = dense(polygon, spacing=1.5)
    return edge_of(ring[::-1] if hole else ring, doubt_px=doubt_px)


def on_ring(points, radius):
    """Those points near a circle about the ring's centre and clear of the strap."""
    clear = points[:, 1] < RING[1] + 20
    return points[clear & (np.abs(np.hypot(*(points - RING).T) - radius) < 8)]


@pytest.mark.parametrize(
    ("missed", "centre"),
    [
        ({"inner": INNER_PX + FLANK_PX}, RING),
        ({"outer": OUTER_PX - FLANK_PX}, RING),
        ({"inner": INNER_PX + FLANK_PX, "outer": OUTER_PX - FLANK_PX}, RING),
        ({"inner": INNER_PX + FLANK_PX}, (RING[0] - 2, RING[1] + 1)),
    ],
    ids=["inner flank", "outer flank", "both flanks", "about another centre"],
)
@pytest.mark.parametrize("shade", [0.0, 0.3], ids=["no shadow", "shadow"])
def test_finds_the_flanks_that_the_boundary_missed(missed, centre, shade):
    """A boundary that had the choice of a flank's two edges doubts by the flank's width."""
    whole, hole = blank(**missed, centre=centre)
    rims = edge(whole, doubt_px=FLANK_PX), edge(hole, hole=True, doubt_px=FLANK_PX)
    outer, inner = seek_rings(picture(shade=shade), rims, light=SHEET)
    for found, radius in ((outer, OUTER_PX), (inner, INNER_PX)):
        middle, fitted = fit_circle_hyper(on_ring(found.points_px, radius))
        assert np.hypot(*(middle - RING)) < GOAL_PX
        assert fitted == pytest.approx(radius, abs=GOAL_PX)


def test_boundary_that_is_sure_hardly_moves():
    """Of two findings the surer counts for more, by the inverse of their variances [ISO/IEC Guide
    98-3 (GUM), weighted means; reference from memory].
    """
    whole, hole = blank(inner=INNER_PX + FLANK_PX)
    _, inner = seek_rings(picture(), (edge(whole), edge(hole, hole=True)), light=SHEET)
    fitted = fit_circle_hyper(on_ring(inner.points_px, INNER_PX + FLANK_PX))[1]
    moved = FLANK_PX * 0.2**2 / (0.2**2 + LEAST_DOUBT_PX**2)
    assert INNER_PX + FLANK_PX - fitted == pytest.approx(moved, abs=0.1)
    on_wire = inner.doubt_px != 0.2
    assert inner.doubt_px[on_wire] == pytest.approx((0.2**-2 + LEAST_DOUBT_PX**-2) ** -0.5)


@pytest.mark.parametrize("turned", [0.0, 0.8, 1.6])
def test_ring_that_a_leaning_camera_sees_oval_stays_oval(turned):
    """A lean of 6 degrees makes one a fifth of the camera's height away oval by some 1 %."""
    cos, sin = np.cos(turned), np.sin(turned)
    turn = np.array([[cos, -sin], [sin, cos]])
    stretch = turn @ np.diag([1.015, 1 / 1.015]) @ turn.T
    whole, hole = blank(inner=INNER_PX + FLANK_PX)
    rims = edge(whole, doubt_px=FLANK_PX), edge(hole, hole=True, doubt_px=FLANK_PX)
    _, inner = seek_rings(picture(stretch=stretch), rims, light=SHEET)
    found = np.linalg.solve(stretch, (on_ring(inner.points_px, INNER_PX) - RING).T)
    off = np.hypot(*found) - INNER_PX
    assert np.sqrt(np.mean(off[found[1] < 0] ** 2)) < GOAL_PX


def test_disc_and_strap_stay():
    whole, hole = blank(inner=INNER_PX + FLANK_PX)
    before = edge(whole)
    after, _ = seek_rings(picture(), (before, edge(hole, hole=True)), light=SHEET)
    rest = before.points_px[:, 1] > RING[1] + OUTER_PX
    assert np.array_equal(after.points_px[rest], before.points_px[rest])


def test_a_drilled_hole_is_no_ring():
    disc = edge(circle(DISC, DISC_PX))
    hole = edge(circle((DISC[0], DISC[1] - 120), 12), hole=True)
    assert seek_rings(picture(), (disc, hole), light=SHEET)[1] is hole


def test_a_washer_is_no_ring_on_a_strap():
    rims = edge(circle(RING, OUTER_PX)), edge(circle(RING, INNER_PX), hole=True)
    assert seek_rings(picture(), rims, light=SHEET) == rims


def test_without_a_hole_there_is_no_ring():
    rims = (edge(blank()[0]),)
    assert seek_rings(picture(), rims, light=SHEET) is rims
