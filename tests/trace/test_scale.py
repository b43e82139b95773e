import numpy as np
import pytest
from numpy.testing import assert_allclose

from blanktrace.rectify import View
from blanktrace.scale import edge_heights, rectangle_sides, view_of_length, views_of_disc

CAMERA = {"focal_px": 3000.0, "centre_px": np.array([1999.5, 1499.5])}
RADIUS_MM = 32.0
TOP_MM = 5.0
DOUBT_PX = 0.01


def camera(tilt_deg=0.0, towards_deg=0.0, height_mm=400.0):
    tilt, towards = np.deg2rad([tilt_deg, towards_deg])
    normal = (np.sin(tilt) * np.cos(towards), np.sin(tilt) * np.sin(towards), np.cos(tilt))
    return View(**CAMERA, normal=normal, height_mm=height_mm)


def closed_normals(points):
    """Outward normals of a ring in the photograph, walked from x towards y."""
    tangent = np.roll(points, -1, axis=0) - np.roll(points, 1, axis=0)
    normal = np.column_stack([tangent[:, 1], -tangent[:, 0]])
    return normal / np.hypot(*normal.T)[:, None]


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
        rim, outward, conic=conic, radius_mm=RADIUS_MM, doubt_px=DOUBT_PX, top_mm=TOP_MM, **CAMERA
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
        views_of_disc(
            rim, outward, conic=conic, radius_mm=r, doubt_px=DOUBT_PX, top_mm=TOP_MM, **CAMERA
        )[0].view
        for r in (RADIUS_MM, 1.01 * RADIUS_MM)
    )
    assert (two.height_mm - TOP_MM) / (one.height_mm - TOP_MM) == pytest.approx(1.01, abs=1e-4)


@pytest.mark.parametrize("side", [0, 1], ids=["length", "width"])
@pytest.mark.parametrize("top_mm", [0.0, 4.0])
def test_height_from_a_length(side, top_mm):
    true = camera(height_mm=380.0)
    corners = np.array([(-60.0, 15), (60, 15), (60, -15), (-60, -15)]) + (5.0, 3.0)
    turn = np.deg2rad(25.0)
    corners = corners @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    points = true.to_photo(corners, top_mm)
    # Around the point below the camera every wall faces away, so that the top edges show.
    start = View(**CAMERA, normal=(0, 0, 1), height_mm=3000.0)
    found = view_of_length(
        points,
        closed_normals(points),
        measured_mm=(120.0, 30.0)[side],
        side=side,
        top_mm=top_mm,
        lean=start,
    )
    assert found.height_mm == pytest.approx(380.0, abs=1e-6)


def test_the_foot_shows_where_the_wall_faces_the_point_below_the_camera():
    view = camera()
    nadir = CAMERA["centre_px"]
    points = nadir + np.array([(100.0, 0), (200.0, 0)])
    outward = np.array([(-1.0, 0), (1.0, 0)])

    def heights(foot_share):
        return edge_heights(view, points, outward, top_mm=TOP_MM, foot_share=foot_share).tolist()

    assert heights(1.0) == [0.0, TOP_MM]
    assert heights(0.5) == [TOP_MM / 2, TOP_MM]
    assert heights(0.0) == [TOP_MM, TOP_MM]


def test_sides_of_the_smallest_rectangle():
    assert_allclose(rectangle_sides(np.array([(0.0, 0), (3, 4), (-4, 3), (-1, 7)])), (5.0, 5.0))
