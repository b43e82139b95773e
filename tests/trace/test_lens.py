import cv2
import numpy as np
import pytest

from blanktrace.errors import LensError
from blanktrace.lens import Lens
from blanktrace.photo import Photo
from tests.trace.boards import lens_of

SOME_PX = np.array([[0.0, 0.0], [599.0, 0.0], [310.0, 220.0], [80.0, 400.0], [599.0, 449.0]])


def test_bends_as_opencv_does():
    """The same model in a general-purpose library, projectPoints with (k1, k2, p1, p2)."""
    lens = lens_of()
    rays = np.column_stack([(SOME_PX - lens.centre_px) / lens.focal_px, np.ones(len(SOME_PX))])
    matrix = np.array(
        [[lens.focal_px, 0, lens.centre_px[0]], [0, lens.focal_px, lens.centre_px[1]], [0, 0, 1]]
    )
    terms = np.array([*lens.radial, *lens.decentring])
    expected, _ = cv2.projectPoints(rays, np.zeros(3), np.zeros(3), matrix, terms)
    assert lens.bend(SOME_PX) == pytest.approx(expected[:, 0], abs=1e-9)


@pytest.mark.parametrize("radial", [(-0.1, 0.02), (0.05, 0.0), (0.0, 0.0)], ids=str)
def test_straighten_undoes_bend(radial):
    lens = lens_of(radial=radial)
    assert lens.straighten(lens.bend(SOME_PX)) == pytest.approx(SOME_PX, abs=1e-6)


def test_a_radial_bend_on_paper():
    # 0.5 focal lengths out, k1 = -0.04: moved in by 0.5 * 0.04 * 0.25 = 0.005 focal lengths.
    lens = lens_of(radial=(-0.04, 0.0), decentring=(0.0, 0.0), focal_px=1000.0)
    point = lens.centre_px + (500.0, 0.0)
    assert lens.bend(point[None])[0] == pytest.approx(point - (5.0, 0.0))


@pytest.mark.parametrize("quarters", [1, 2, 3])
def test_turns_with_the_picture(quarters):
    lens = lens_of()
    width, height = lens.size_px

    def turned(points):
        w, h = width, height
        for _ in range(quarters):
            points = np.column_stack([h - 1 - points[:, 1], points[:, 0]])
            w, h = h, w
        return points

    assert lens.turned(quarters).bend(turned(SOME_PX)) == pytest.approx(turned(lens.bend(SOME_PX)))
    doubts, as_before = lens.turned(quarters).doubts(turned(SOME_PX)), lens.doubts(SOME_PX)
    spread, before = (np.sqrt((one**2).sum(axis=(0, 2))) for one in (doubts, as_before))
    assert spread == pytest.approx(before, rel=1e-3, abs=1e-5)


def test_doubt_about_the_bend_grows_outward():
    # Nothing known: k1 uncertain by 0.01, so a point at r focal lengths is by 0.01 r³.
    lens = Lens.unbent(500.0, (601, 451))
    (moves,) = lens.doubts(np.array([[300.0, 225.0], [550.0, 225.0]]))
    assert np.abs(moves[0]).max() == 0
    assert np.hypot(*moves[1]) == pytest.approx(500 * 0.01 * 0.5**3, rel=0.02)


def photo(width, height, *, focal_px=None, turns=0):
    source = "nothing: the photo does not tell its focal length"
    return Photo(np.zeros((height, width, 3), np.uint8), focal_px, source, "tag.jpg", turns)


def test_fits_an_upright_photo_of_the_same_camera():
    lens = lens_of()
    assert lens.fitted_to(photo(600, 450)) is lens
    assert lens.fitted_to(photo(450, 600, turns=1)).size_px == (450, 600)


@pytest.mark.parametrize(
    ("taken", "words"),
    [
        pytest.param(photo(560, 420), "neither cut nor made smaller", id="cut"),
        pytest.param(photo(450, 600), "450 x 600 px", id="turned by another program"),
        pytest.param(photo(600, 450, focal_px=900.0), "another zoom", id="zoomed"),
    ],
)
def test_refuses_another_cameras_photo(taken, words):
    with pytest.raises(LensError, match=words):
        lens_of().fitted_to(taken)
