"""The benchmark's photographs are exact in geometry, and shadows and walls fall where they must."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image
from shapely import Point

from tests.benchmarks import materials
from tests.benchmarks.blanks import Blank, Part
from tests.benchmarks.camera import Camera
from tests.benchmarks.develop import EXIF_IFD, FOCAL_35_TAG
from tests.benchmarks.lights import at, square
from tests.benchmarks.materials import Material
from tests.benchmarks.records import Development, Paper, Pose, Scene
from tests.benchmarks.scenes import all_scenes
from tests.benchmarks.synthesise import radiance, synthesise, truth

SIZE_PX = (240, 180)
PLAIN = Development(
    blur_px=0.0, vignette=0.0, exposure=1.0, noise=0.0, contrast=0.0, sharpen=0.0, quality=95
)


@pytest.fixture(autouse=True)
def _ideal_materials(monkeypatch: pytest.MonkeyPatch) -> None:
    ink = Material((0.0, 0.0, 0.0), "even", 0.0, 1.0, rim_loss=0.0)
    monkeypatch.setitem(materials.MATERIALS, "ink", ink)
    chalk_on_ink = Material((0.8, 0.8, 0.8), "even", 0.0, 0.0, grain=(0.8, 0.8, 0.8), rim_loss=0.0)
    monkeypatch.setitem(materials.MATERIALS, "chalk on ink", chalk_on_ink)


def _camera(**view: float) -> Camera:
    settings = {"height_mm": 60.0, "focal35_mm": 26.0, **view}
    return Camera.over((0.0, 0.0), size_px=SIZE_PX, **settings)


def _scene(
    camera: Camera,
    *,
    diameter_mm: float = 20.0,
    thick_mm: float = 0.0,
    material: str = "ink",
    pose: Pose = Pose(),  # noqa: B008
) -> Scene:
    disc = Part("disc", Point(0, 0).buffer(diameter_mm / 2, quad_segs=256), 0.0, thick_mm, material)
    return Scene(
        name="test",
        seed=5,
        blanks=((Blank("disc", (disc,), "disc", diameter_mm), pose),),
        lights=(),
        ambient=(1.0, 1.0, 1.0),
        paper=Paper((0.8, 0.8, 0.8), grain=0.0),
        camera=camera,
        development=PLAIN,
    )


def _coverage(scene: Scene) -> NDArray[np.float64]:
    """How much of each pixel is dark."""
    light = radiance(scene, np.random.default_rng(0))[..., 1].astype(np.float64)
    return 1 - light / 0.8


def _centroid(weight: NDArray[np.float64]) -> NDArray[np.float64]:
    rows, columns = np.indices(weight.shape)
    sums = np.array([np.sum(weight * columns), np.sum(weight * rows)])
    return np.asarray(sums / weight.sum())


def _projected_ellipse(
    camera: Camera, pose: Pose, *, radius_mm: float, z_mm: float
) -> tuple[float, NDArray[np.float64]]:
    """Area and centre of a circle's image, by its dual conic (Hartley & Zisserman 2004, ch. 8)."""
    calibration = np.array([[camera.focal_px, 0, 0], [0, camera.focal_px, 0], [0, 0, 1.0]])
    calibration[:2, 2] = camera.centre_px
    eye = camera.position_mm - (0, 0, z_mm)
    rigid = np.column_stack([camera.rotation[:, :2], -camera.rotation @ eye])
    place = np.array([[1, 0, pose.x_mm], [0, 1, pose.y_mm], [0, 0, 1.0]])
    to_image = calibration @ rigid @ place
    dual = to_image @ np.diag([radius_mm**2, radius_mm**2, -1]) @ to_image.T
    dual /= dual[2, 2]
    centre = dual[:2, 2]
    return float(np.pi * np.sqrt(np.linalg.det(np.outer(centre, centre) - dual[:2, :2]))), centre


@pytest.mark.parametrize(
    ("view", "x_mm", "y_mm"),
    [
        pytest.param({}, 0.0, 0.0, id="from straight above"),
        pytest.param({"tilt_deg": 15.0, "towards_deg": 40.0}, 0.013, -0.041, id="tilted"),
        pytest.param({"tilt_deg": 8.0, "roll_deg": 33.0}, 11.37, 5.21, id="rolled, off centre"),
    ],
)
def test_flat_disc_covers_its_projected_ellipse(
    view: dict[str, float], x_mm: float, y_mm: float
) -> None:
    pose = Pose(x_mm, y_mm)
    scene = _scene(_camera(**view), pose=pose)
    _assert_covers(_coverage(scene), _projected_ellipse(scene.camera, pose, radius_mm=10, z_mm=0))


def test_raised_disc_covers_the_ellipse_of_its_top() -> None:
    pose = Pose(0.31, -0.17)
    # Light from the zenith leaves the paper even and hides the shadow under the disc.
    zenith = square((0.0, 0.0, 1e6), (1.0, 1.0), (1.0, 1.0, 1.0), 1.0, samples=4)
    scene = replace(
        _scene(_camera(), thick_mm=5.0, pose=pose), lights=(zenith,), ambient=(0.0, 0.0, 0.0)
    )
    _assert_covers(_coverage(scene), _projected_ellipse(scene.camera, pose, radius_mm=10, z_mm=5))


def _assert_covers(dark: NDArray[np.float64], ellipse: tuple[float, NDArray[np.float64]]) -> None:
    area_expected, centre_expected = ellipse
    diameter, diameter_expected = 2 * np.sqrt(np.array([dark.sum(), area_expected]) / np.pi)
    assert diameter == pytest.approx(diameter_expected, abs=0.02)
    np.testing.assert_allclose(_centroid(dark), centre_expected, atol=0.02)


def test_shadow_falls_away_from_the_lamp() -> None:
    lamp = square(at(0.0, 45.0, 400.0), (5.0, 5.0), (1.0, 1.0, 1.0), 1.0, samples=16)
    scene = replace(_scene(_camera(), thick_mm=4.0), lights=(lamp,), ambient=(0.2, 0.2, 0.2))
    light = radiance(scene, np.random.default_rng(0))[..., 1]
    spots_mm = np.array([[x, 0.0, 0.0] for x in (12.0, -12.0, 16.0, -16.0)])
    columns, rows = np.rint(scene.camera.project(spots_mm)).astype(int).T
    lit, shaded, lit_far, clear_far = light[rows, columns]
    assert shaded < 0.3 * lit
    # At 45 degrees a 4 mm disc of radius 10 shades no further than 14 mm.
    assert clear_far == pytest.approx(lit_far, rel=0.2)


def test_same_scene_gives_the_same_bytes() -> None:
    scene = replace(_scene(_camera()), development=replace(PLAIN, noise=0.02), paper=Paper())
    first, second = synthesise(scene), synthesise(scene)
    assert first.jpeg == second.jpeg
    np.testing.assert_array_equal(first.rgb, second.rgb)


def test_an_empty_sheet_is_photographed_without_truth() -> None:
    photograph = synthesise(replace(_scene(_camera()), blanks=()))
    assert photograph.rgb.shape == (SIZE_PX[1], SIZE_PX[0], 3)
    assert photograph.truth is None


def test_the_focal_length_is_in_the_tag_where_it_is_known() -> None:
    photograph = synthesise(replace(_scene(_camera()), focal35_tag=26))
    with Image.open(io.BytesIO(photograph.jpeg)) as image:
        assert image.getexif().get_ifd(EXIF_IFD)[FOCAL_35_TAG] == 26


def test_wall_shows_towards_the_camera_foot_and_as_wide_as_it_is() -> None:
    pose = Pose(x_mm=22.0)
    scene = _scene(_camera(), thick_mm=5.0, diameter_mm=16.0, material="chalk on ink", pose=pose)
    dark = _coverage(scene)
    sides_mm = np.array([[14.0, 0.0, 0.0], [14.0, 0.0, 5.0]])
    foot_px, edge_px = scene.camera.project(sides_mm)
    row = round(foot_px[1])
    near = slice(round(foot_px[0]) - 3, round(edge_px[0]) + 3)
    assert edge_px[0] - foot_px[0] > 2
    # The paper at the foot sees less sky, so the wall's own darkness is what exceeds 0.7.
    width = np.sum(np.clip((dark[row, near] - 0.5) / 0.5, 0, 1))
    assert width == pytest.approx(edge_px[0] - foot_px[0], abs=0.6)
    far_px = scene.camera.project([[30.0, 0.0, 5.0]])[0]
    assert dark[row, round(far_px[0]) - 4 : round(far_px[0]) + 5].max() < 0.6


def test_a_face_is_drawn_at_its_own_height() -> None:
    pose = Pose(x_mm=14.0, y_mm=6.0)
    camera = _camera(tilt_deg=6.0, towards_deg=120.0)
    scene = _scene(camera, thick_mm=3.0, diameter_mm=16.0, material="chalk on ink", pose=pose)
    ring = truth(scene).boundary_px[0]
    light = radiance(scene, np.random.default_rng(0))[..., 1]
    # Just inside the projected rim lies face, wherever on the rim one looks.
    inside = np.rint(ring + 4 * (ring.mean(axis=0) - ring) / 40).astype(int)
    assert (light[inside[:, 1], inside[:, 0]] > 0.4).all()


@pytest.mark.parametrize("k1", [-0.03, 0.0, 0.02])
def test_camera_rays_undo_its_projection(k1: float) -> None:
    camera = _camera(tilt_deg=12.0, towards_deg=200.0, k1=k1)
    pixels = np.array([(0.0, 0.0), (239.0, 0.0), (120.3, 80.9), (3.0, 179.0)])
    for z_mm in (0.0, 4.0):
        spots = np.column_stack([camera.onto(pixels, z_mm=z_mm), np.full(len(pixels), z_mm)])
        np.testing.assert_allclose(camera.project(spots), pixels, atol=1e-6)


def test_scenes_are_many_named_and_varied() -> None:
    scenes = all_scenes()
    assert len({scene.name for scene in scenes}) == len(scenes) >= 72
    refused = [scene for scene in scenes if scene.expect == "refuse"]
    assert len(refused) >= 8
    assert all(scene.reason for scene in refused)
    assert sum(scene.paper.size_mm is not None for scene in scenes) >= 10
    assert {scene.focal35_tag is None for scene in scenes} == {True, False}


@pytest.mark.parametrize(
    "scene", [scene for scene in all_scenes() if scene.expect == "outline"], ids=lambda s: s.name
)
def test_the_blank_lies_whole_in_view_in_its_own_frame(scene: Scene) -> None:
    told = truth(scene)
    pixels = np.vstack(told.boundary_px)
    assert (pixels > 20).all()
    assert (pixels < np.array(scene.camera.size_px) - 20).all()
    if "disc" not in told.measured:
        np.testing.assert_allclose(told.outline.centroid.coords[0], (0, 0), atol=1e-6)
        x0, y0, x1, y1 = told.outline.bounds
        assert y1 - y0 == pytest.approx(told.measured["length"] - told.read_error_mm, abs=1e-6)
        assert y1 - y0 > x1 - x0
    if scene.sheet:
        half = np.array(scene.paper.size_mm) / 2
        middle = np.array(scene.paper.centre_mm)
        corners = middle + half * [(-1, -1), (1, -1), (1, 1), (-1, 1)]
        seen = scene.camera.project(np.column_stack([corners, np.zeros(4)]))
        assert (seen > 5).all()
        assert (seen < np.array(scene.camera.size_px) - 5).all()
