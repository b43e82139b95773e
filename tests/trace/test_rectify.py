import numpy as np
import pytest
from numpy.testing import assert_allclose

from blanktrace.ellipse import fit_ellipse
from blanktrace.rectify import View, circle_poses

FOCAL_PX = 3000.0
DISTANCE_MM = 400.0
RADIUS_MM = 45.0


def tilted(deg, *, towards_deg=90.0, focal_px=FOCAL_PX, centre_px=(0.0, 0.0), distance=DISTANCE_MM):
    """A camera whose axis meets the sheet at a distance, the sheet leaning away to one side."""
    tilt, towards = np.deg2rad([deg, towards_deg])
    side = np.sin(tilt) * np.array([np.cos(towards), np.sin(towards)])
    return View(
        focal_px=focal_px,
        centre_px=centre_px,
        normal=(*side, np.cos(tilt)),
        height_mm=distance * np.cos(tilt),
    )


def ring(view, radius_mm, centre_mm, *, height_mm=0.0, count=720):
    """The image of a circle in the sheet's plane."""
    t = np.linspace(0, 2 * np.pi, count, endpoint=False)
    circle = centre_mm + radius_mm * np.column_stack([np.cos(t), np.sin(t)])
    return view.to_photo(circle, height_mm)


@pytest.mark.parametrize("tilt_deg", [0.0, 3.0, 17.0])
@pytest.mark.parametrize("height_mm", [0.0, 5.0])
def test_there_and_back(tilt_deg, height_mm):
    view = tilted(tilt_deg, towards_deg=35.0, centre_px=(1999.5, 1499.5))
    points = np.random.default_rng(1).uniform((0, 0), (4000, 3000), (50, 2))
    assert_allclose(view.to_photo(view.to_plane(points, height_mm), height_mm), points, atol=1e-8)


def test_plane_is_true_to_scale_and_not_mirrored():
    view = tilted(12.0, towards_deg=200.0, centre_px=(1999.5, 1499.5))
    square = np.array([(0, 0), (10, 0), (10, 10), (0, 10.0)])
    seen = view.to_photo(square)
    # y runs down in the photograph: seen there, the ring turns the other way.
    x, y = seen.T
    assert np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y) < 0
    assert_allclose(view.axes @ view.axes.T, np.eye(2), atol=1e-12)
    assert_allclose(view.axes @ view.normal, 0, atol=1e-12)


@pytest.mark.parametrize("tilt_deg", [0.5, 5.0, 30.0])
def test_tilt_is_the_angle_of_the_normal(tilt_deg):
    assert tilted(tilt_deg, towards_deg=-70.0).tilt_deg == pytest.approx(tilt_deg, abs=1e-9)


# The perspective image of a circle, f = 3000 px, D = 400 mm, r = 45 mm: long and short
# semi-axis, and the ellipse's centre against the image of the circle's own. Closed forms
# of the pinhole projection, evaluated outside the project, 10° to 40 digits.
ELLIPSES = [
    (5.0, 337.5162245, 336.2480370, 3.296919),
    (10.0, 337.564418945868, 332.499509305190, 6.495517559924),
    (20.0, 337.7501121, 317.6164907, 12.221014),
    (30.0, 338.0352060, 293.2113127, 16.493136),
]


@pytest.mark.parametrize(("tilt_deg", "a", "b", "offset"), ELLIPSES)
def test_image_of_a_circle(tilt_deg, a, b, offset):
    view = tilted(tilt_deg)
    middle = view.to_plane(np.zeros((1, 2)))
    ellipse = fit_ellipse(ring(view, RADIUS_MM, middle))
    assert_allclose(ellipse.semi_axes_px, (a, b), rtol=1e-8)
    assert_allclose(np.abs(ellipse.centre_px), (0, offset), atol=1e-6)
    # Towards the near side, where the sheet is closer to the camera.
    below, above = (view.height_mm / (np.array([0, y, 1.0]) @ view.normal) for y in (0.1, -0.1))
    near = 1.0 if below < above else -1.0
    assert np.sign(ellipse.centre_px[1]) == near


@pytest.mark.parametrize(("tilt_deg", "a", "b", "offset"), ELLIPSES)
def test_both_poses_of_a_circle(tilt_deg, a, b, offset):
    view = tilted(tilt_deg)
    middle = view.to_plane(np.zeros((1, 2)))
    side = np.sign(fit_ellipse(ring(view, RADIUS_MM, middle)).centre_px[1])
    poses = circle_poses(ellipse_conic(a, b, side * offset), radius_mm=RADIUS_MM)
    gaps = [np.abs(normal - view.normal).max() for normal, _ in poses]
    right = int(np.argmin(gaps))
    assert gaps[right] < 1e-5
    assert poses[right][1] == pytest.approx(view.height_mm, rel=1e-6)
    # The other plane holds a circle of that radius with the same image.
    normal, distance = poses[1 - right]
    other = View(focal_px=FOCAL_PX, centre_px=(0, 0), normal=normal, height_mm=distance)
    t = np.linspace(0, 2 * np.pi, 360, endpoint=False)
    seen = np.column_stack([a * np.cos(t), side * offset + b * np.sin(t)])
    back = other.to_plane(seen)
    assert_allclose(np.hypot(*(back - back.mean(axis=0)).T).mean(), RADIUS_MM, atol=0.3)
    centre = (back.max(axis=0) + back.min(axis=0)) / 2
    assert_allclose(np.hypot(*(back - centre).T), RADIUS_MM, atol=0.01)
    assert abs(poses[0][0][2]) >= abs(poses[1][0][2])


def ellipse_conic(a, b, y):
    """An upright ellipse about (0, y) in pixels, over the focal length."""
    a, b, y = np.array([a, b, y]) / FOCAL_PX
    return np.array([[1 / a**2, 0, 0], [0, 1 / b**2, -y / b**2], [0, -y / b**2, (y / b) ** 2 - 1]])


def test_circle_off_the_axis_seen_square_on():
    # f = 3000, D = 400, r = 45 about (80, 60): an exact circle of 337.5 px about (600, 450).
    view = View(focal_px=FOCAL_PX, centre_px=(0, 0), normal=(0, 0, 1), height_mm=DISTANCE_MM)
    ellipse = fit_ellipse(ring(view, RADIUS_MM, np.array([80.0, 60.0])))
    assert_allclose(ellipse.semi_axes_px, 337.5, rtol=1e-9)
    assert_allclose(ellipse.centre_px, (600.0, -450.0), atol=1e-6)


def test_a_raised_face_reads_too_large():
    # D / (D - h): 400 and 5 mm make 1.0126582, 1.1392405 mm on a disc of 90 mm.
    view = View(focal_px=FOCAL_PX, centre_px=(0, 0), normal=(0, 0, 1), height_mm=DISTANCE_MM)
    raised = view.to_photo(np.array([(-45.0, 0), (45.0, 0)]), 5.0)
    flat, true = view.to_plane(raised), view.to_plane(raised, 5.0)
    assert np.ptp(flat[:, 0]) == pytest.approx(90 + 1.1392405, abs=1e-7)
    assert np.ptp(true[:, 0]) == pytest.approx(90, abs=1e-9)
    assert np.ptp(flat[:, 0]) / np.ptp(true[:, 0]) == pytest.approx(1.0126582, abs=1e-7)


@pytest.mark.parametrize("bad", [{"focal_px": 0.0}, {"height_mm": -1.0}, {"normal": (0, 0, -1)}])
def test_impossible_cameras_are_refused(bad):
    sound = {"focal_px": 1.0, "centre_px": (0, 0), "normal": (0, 0, 1), "height_mm": 1.0}
    with pytest.raises(ValueError, match="above 0"):
        View(**{**sound, **bad})


def test_a_conic_that_is_no_ellipse_is_refused():
    with pytest.raises(ValueError, match="not a real ellipse"):
        circle_poses(np.eye(3), radius_mm=1.0)
