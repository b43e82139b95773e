from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from blanktrace.roundness import DiscRim
from blanktrace.scale import views_of_disc
from tests.trace.cameras import CAMERA, TOP_MM, camera, closed_normals

RADIUS_MM = 32.0
DOUBT_PX = 0.01


def rim_of(view, centre_mm, *, foot=False):
    """A thick disc's rim: its face's edge, or its foot where the wall is in view."""
    t = np.linspace(0, -2 * np.pi, 720, endpoint=False)
    away = np.column_stack([np.cos(t), np.sin(t)])
    circle = centre_mm + RADIUS_MM * away
    # The origin of the plane is the point below the camera.
    facing = np.einsum("nk,nk->n", away, circle) < 0
    heights = np.where(facing & foot, 0.0, TOP_MM)
    points = view.to_photo(circle, heights)
    return points, closed_normals(view.to_photo(circle, TOP_MM))


def record(points, outward, *, foot=False):
    return DiscRim(points, outward, np.full(len(points), float(foot)), DOUBT_PX)


def conic_of(view, centre_mm, height_mm):
    """The image of a circle by its plane's homography: H⁻ᵀ C H⁻¹ (Hartley & Zisserman 2004)."""
    drop = view.height_mm - height_mm
    to_image = np.column_stack([view.axes.T, drop * view.normal])
    x, y = centre_mm
    circle = np.array([[1, 0, -x], [0, 1, -y], [-x, -y, x**2 + y**2 - RADIUS_MM**2]])
    back = np.linalg.inv(to_image)
    return back.T @ circle @ back


@pytest.mark.parametrize("foot", [False, True], ids=["face edge", "foot"])
@pytest.mark.parametrize(
    ("tilt_deg", "towards_deg", "centre"),
    [(2.0, 40.0, (12.0, -7.0)), (6.0, -110.0, (-30.0, 18.0)), (12.0, 170.0, (40.0, 25.0))],
)
def test_one_of_two_views_is_the_camera(tilt_deg, towards_deg, centre, foot):
    true = camera(tilt_deg, towards_deg)
    centre = np.array(centre)
    rim, outward = rim_of(true, centre, foot=foot)
    conic = conic_of(true, centre, TOP_MM)
    views = views_of_disc(
        record(rim, outward), conic=conic, radius_mm=RADIUS_MM, top_mm=TOP_MM, **CAMERA
    )
    assert views[0].view.tilt_deg <= views[1].view.tilt_deg
    seen = min(views, key=lambda one: np.abs(one.view.normal - true.normal).max())
    assert_allclose(seen.view.normal, true.normal, atol=np.deg2rad(0.02))
    assert seen.view.height_mm == pytest.approx(400.0, abs=0.02)
    # The plane's x axis turns a little with the lean, so only the distance is kept.
    assert np.hypot(*seen.centre_mm) == pytest.approx(np.hypot(*centre), abs=0.1)
    assert seen.rms_mm < 0.005


def test_height_follows_the_measured_size():
    true = camera(4.0, 20.0)
    rim, outward = rim_of(true, np.zeros(2))
    conic = conic_of(true, np.zeros(2), TOP_MM)
    one, two = (
        views_of_disc(record(rim, outward), conic=conic, radius_mm=r, top_mm=TOP_MM, **CAMERA)[
            0
        ].view
        for r in (RADIUS_MM, 1.01 * RADIUS_MM)
    )
    assert (two.height_mm - TOP_MM) / (one.height_mm - TOP_MM) == pytest.approx(1.01, abs=1e-4)


LOST_PX = 2.5
"""How far inside the rim a bevel as light as the sheet has its dark edge."""


def lost_rim(view, *, across_px):
    """A rim hidden over a sixth by a strap, and located on its bevel's edge on either side."""
    points, outward = rim_of(view, np.zeros(2))
    degrees = np.linspace(0, 360, len(points), endpoint=False)
    shown = degrees >= 60
    lost = np.clip(1 - ((((degrees + 150) % 360) - 180) / 100) ** 2, 0, 1)
    found = points - LOST_PX * lost[:, None] * outward
    across = points[~shown] if across_px is None else across_px
    return DiscRim(found[shown], outward[shown], np.zeros(shown.sum()), DOUBT_PX, across)


def test_a_rim_lost_in_part_is_found_by_where_it_crosses_the_strap():
    """What came out too small and to one side is taken for height and lean."""
    true = camera(4.0, 20.0)
    at = {
        "conic": conic_of(true, np.zeros(2), TOP_MM),
        "radius_mm": RADIUS_MM,
        "top_mm": TOP_MM,
        **CAMERA,
    }
    without, found = (
        min(
            views_of_disc(lost_rim(true, across_px=across), **at),
            key=lambda one: _degrees_off(one.view, true),
        )
        for across in (np.zeros((0, 2)), None)
    )
    off = [abs(one.view.height_mm - true.height_mm) for one in (without, found)]
    assert off[0] > 0.7
    # A third as many points tell the truth as are off, but they are told apart by nothing.
    assert off[1] < 0.6 * off[0]
    assert _degrees_off(found.view, true) < 0.75 * _degrees_off(without.view, true)


def test_a_rim_that_agrees_with_what_shows_across_the_strap_stays_as_it_is():
    true = camera(4.0, 20.0)
    points, outward = rim_of(true, np.zeros(2))
    at = {
        "conic": conic_of(true, np.zeros(2), TOP_MM),
        "radius_mm": RADIUS_MM,
        "top_mm": TOP_MM,
        **CAMERA,
    }
    shown = slice(120, None)
    rim = record(points[shown], outward[shown])
    beside = replace(rim, across_px=points[:120] + 0.6 * outward[:120])
    for one, other in zip(views_of_disc(rim, **at), views_of_disc(beside, **at), strict=True):
        assert np.array_equal(one.view.normal, other.view.normal)
        assert one.view.height_mm == other.view.height_mm


def small_rim(view, centre_mm, radius_mm, *, oval_px=0.0, towards=0.0):
    """A flat disc's rim, located out of round by an amplitude in pixels."""
    t = np.linspace(0, -2 * np.pi, 360, endpoint=False)
    circle = np.array(centre_mm) + radius_mm * np.column_stack([np.cos(t), np.sin(t)])
    points = view.to_photo(circle)
    outward = closed_normals(points)
    return record(points + oval_px * np.cos(2 * (t - towards))[:, None] * outward, outward)


PLACES = [(0.0, 0.0), (60.0, 10.0), (-50.0, 40.0), (20.0, -55.0), (-30.0, -30.0)]


def test_other_discs_tell_the_lean_that_a_small_uneven_one_does_not():
    """Each located oval by 0.3 px or so, which of a disc 11 mm in radius says 3 degrees."""
    rng = np.random.default_rng(0)
    true = camera(8.0, 60.0)
    alone, together, stated = [], [], []
    for _ in range(8):
        rims = [
            small_rim(true, place, 11.0, oval_px=rng.normal(0, 0.3), towards=rng.uniform(0, np.pi))
            for place in PLACES
        ]
        conic = _conic_of_points(rims[0].points_px)
        at = {"conic": conic, "radius_mm": 11.0, "top_mm": 0.0, **CAMERA}
        alone.append(min(_degrees_off(one.view, true) for one in views_of_disc(rims[0], **at)))
        views = views_of_disc(rims[0], beside=tuple(rims[1:]), **at)
        likelier = min(views, key=lambda one: one.misfit)
        together.append(_degrees_off(likelier.view, true))
        stated.append(np.degrees(likelier.lean_rad))
    # Of two components each within 2 standard uncertainties 19 times in 20, nearly all within 3.
    assert np.mean(np.array(together) < 3 * np.array(stated)) == 1
    assert np.sqrt(np.mean(np.square(together))) < 0.8 * np.sqrt(np.mean(np.square(alone)))
    assert np.mean(stated) < 4 * np.sqrt(np.mean(np.square(together)))


def _degrees_off(view, true):
    return float(np.degrees(np.arccos(np.clip(view.normal @ true.normal, -1, 1))))


def _conic_of_points(points):
    """The ellipse through points by least squares of its equation, in normalised coordinates."""
    x, y = ((points - CAMERA["centre_px"]) / CAMERA["focal_px"]).T
    rows = np.column_stack([x * x, x * y, y * y, x, y, np.ones_like(x)])
    a, b, c, d, e, f = np.linalg.svd(rows)[2][-1]
    return np.array([[a, b / 2, d / 2], [b / 2, c, e / 2], [d / 2, e / 2, f]])


def test_round_discs_beside_leave_one_lean():
    """Seen alone a disc fits two leans; several at different places fit the true one only."""
    true = camera(8.0, 60.0)
    rims = [small_rim(true, place, 11.0) for place in PLACES]
    found = views_of_disc(
        rims[0],
        conic=_conic_of_points(rims[0].points_px),
        radius_mm=11.0,
        top_mm=0.0,
        beside=tuple(rims[1:]),
        **CAMERA,
    )
    likelier, other = sorted(found, key=lambda one: one.misfit)
    assert _degrees_off(likelier.view, true) < 0.1
    assert _degrees_off(other.view, true) < 0.1 or other.misfit > likelier.misfit + 4


@pytest.mark.parametrize("others", [1, 4], ids=["beside one disc", "among four"])
def test_an_oval_beside_is_not_taken_for_a_leant_disc(others):
    true = camera(3.0, 60.0)
    rims = [small_rim(true, place, 11.0) for place in PLACES[:others]]
    oval = small_rim(true, PLACES[-1], 11.0, oval_px=4.0)
    conic = _conic_of_points(rims[0].points_px)
    with_it, without = (
        views_of_disc(rims[0], conic=conic, radius_mm=11.0, top_mm=0.0, beside=beside, **CAMERA)
        for beside in ((*rims[1:], oval), tuple(rims[1:]))
    )
    for one, other in zip(with_it, without, strict=True):
        assert_allclose(one.view.normal, other.view.normal, atol=1e-9)
