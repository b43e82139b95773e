from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
import shapely
from numpy.typing import NDArray
from PIL import Image, ImageOps
from scipy import ndimage
from shapely import Polygon
from shapely.geometry import shape

from sample_photos.camera import Camera

FloatArray = NDArray[np.float64]

PHOTOS = Path(__file__).parent.parent / "sample_photos"
TRUTH = json.loads((PHOTOS / "truth.json").read_text())["photos"]
BLANKS = [(photo, blank) for photo in TRUTH for blank in photo["blanks"]]
FULL_FRAME_DIAGONAL_MM = math.hypot(36, 24)

each_photo = pytest.mark.parametrize("photo", TRUTH, ids=[p["file"] for p in TRUTH])
each_blank = pytest.mark.parametrize(
    ("photo", "blank"), BLANKS, ids=[f"{p['file']}-{b['name']}" for p, b in BLANKS]
)


def in_photo(photo: dict[str, Any], blank: dict[str, Any], rings_mm: FloatArray) -> FloatArray:
    """Points of a blank's plan view, on top of its thickest part, in upright pixels."""
    pose = blank["pose"]
    c, s = math.cos(pose["angle_rad"]), math.sin(pose["angle_rad"])
    moved = rings_mm @ np.array([[c, s], [-s, c]]) + (pose["x_mm"], pose["y_mm"])
    top = np.full(len(moved), blank["heights"]["disc"])
    return Camera.from_truth(photo).project(np.column_stack([moved, top]))


def light(photo: dict[str, Any]) -> NDArray[np.float32]:
    """The upright photograph in linear light (the sRGB curve of IEC 61966-2-1 undone)."""
    with Image.open(PHOTOS / photo["file"]) as picture:
        v = np.arange(256) / 255
        table = np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)
        pixels = np.asarray(ImageOps.exif_transpose(picture))
    return np.asarray(table[pixels], dtype=np.float32)


def test_there_are_at_least_six_and_they_are_light_enough_to_ship() -> None:
    files = [PHOTOS / photo["file"] for photo in TRUTH]
    assert len(files) >= 6
    assert sum(file.stat().st_size for file in files) < 25e6


@each_photo
def test_size_and_tags_agree_with_truth(photo: dict[str, Any]) -> None:
    # Tags of CIPA DC-008 (Exif): 0xA405 FocalLengthIn35mmFilm, 0x920A FocalLength.
    with Image.open(PHOTOS / photo["file"]) as picture:
        tags = picture.getexif().get_ifd(0x8769)
        assert list(ImageOps.exif_transpose(picture).size) == photo["size_px"]
    focal_px = tags[0xA405] * math.hypot(*photo["size_px"]) / FULL_FRAME_DIAGONAL_MM
    assert focal_px == pytest.approx(photo["camera"]["focal_px"], rel=1e-4)
    assert float(tags[0x920A]) > 0


def test_one_photo_is_stored_turned() -> None:
    with Image.open(PHOTOS / "leaf.jpg") as picture:
        assert picture.size == (4000, 3000)
        assert picture.getexif()[0x0112] == 6


@each_photo
def test_projection_agrees_with_opencv(photo: dict[str, Any]) -> None:
    camera = Camera.from_truth(photo)
    points = np.random.default_rng(1).uniform((-150, -100, 0), (150, 100, 5), (50, 3))
    K = np.eye(3)
    K[0, 0] = K[1, 1] = camera.focal_px
    K[:2, 2] = camera.centre_px
    turn, _ = cv2.Rodrigues(camera.rotation)
    shift = -camera.rotation @ camera.position_mm
    reference, _ = cv2.projectPoints(points, turn, shift, K, np.zeros(5))
    np.testing.assert_allclose(camera.project(points), reference.reshape(-1, 2), atol=1e-6)


@each_photo
def test_camera_stands_over_the_sheet(photo: dict[str, Any]) -> None:
    camera = Camera.from_truth(photo)
    np.testing.assert_allclose(camera.rotation @ camera.rotation.T, np.eye(3), atol=1e-9)
    assert np.linalg.det(camera.rotation) == pytest.approx(1)
    tilt = math.degrees(math.acos(min(1.0, -camera.rotation[2, 2])))
    assert tilt == pytest.approx(photo["tilt_deg"], abs=1e-4)
    assert 380 <= camera.position_mm[2] <= 450


@each_blank
def test_outline_is_valid_and_measures_what_the_caliper_read(
    photo: dict[str, Any], blank: dict[str, Any]
) -> None:
    outline = shape(blank["outline"])
    assert isinstance(outline, Polygon)
    assert outline.is_valid
    assert outline.exterior.is_ccw
    measured = blank["measured"]
    if "disc_mm" in measured:
        # Opposite the tab the outline is the disc alone: its lowest point is one radius down.
        assert outline.bounds[1] == pytest.approx(-measured["disc_mm"] / 2, abs=1e-4)
        assert outline.bounds[3] > measured["disc_mm"] / 2
        return
    box = shapely.get_coordinates(shapely.minimum_rotated_rectangle(outline))
    sides = sorted(np.hypot(*np.diff(box[:3], axis=0).T))
    assert sides == pytest.approx([measured["width_mm"], measured["length_mm"]], abs=1e-3)
    assert outline.centroid.coords[0] == pytest.approx((0, 0), abs=1e-3)


@each_photo
def test_blanks_differ_from_the_paper_around_them(photo: dict[str, Any]) -> None:
    pixels = light(photo)
    for blank in photo["blanks"]:
        outline = shape(blank["outline"])
        means = []
        for region in (outline.buffer(-1.5), outline.buffer(9) - outline.buffer(4)):
            mask = np.zeros(pixels.shape[:2], dtype=np.uint8)
            rings = [ring for p in shapely.get_parts(region) for ring in (p.exterior, *p.interiors)]
            points = [in_photo(photo, blank, np.array(ring.coords)) for ring in rings]
            cv2.fillPoly(mask, [np.round(p).astype(np.int32) for p in points], 1)
            means.append(pixels[mask > 0].mean(axis=0))
        inside, outside = means
        assert np.abs(inside - outside).max() > 0.04


@pytest.mark.parametrize("name", ["square_on.jpg", "tilted.jpg"])
def test_the_disc_lies_where_truth_says(name: str) -> None:
    photo = next(p for p in TRUTH if p["file"] == name)
    (blank,) = photo["blanks"]
    turn = np.radians(np.arange(120, 421, 0.5))
    rim = np.column_stack([np.cos(turn), np.sin(turn)]) * blank["measured"]["disc_mm"] / 2
    edge = in_photo(photo, blank, rim)
    out = in_photo(photo, blank, rim * 1.01) - edge
    out /= np.hypot(*out.T)[:, None]
    steps = np.arange(-4, 4.01, 0.05)
    x, y = (edge[:, k, None] + steps * out[:, k, None] for k in (0, 1))
    profile = ndimage.map_coordinates(light(photo).mean(axis=2), [y, x], order=3)
    slope = ndimage.gaussian_filter1d(profile, 0.5 / 0.05, axis=1, order=1)
    found = steps[np.argmax(slope, axis=1)]
    # Grain and the contact shadow mislead single profiles; a pixel off the median is astray.
    good = np.abs(found - np.median(found)) < 1
    unknowns = np.column_stack([out, np.ones(len(out))])[good]
    fit, *_ = np.linalg.lstsq(unknowns, found[good], rcond=None)
    assert good.mean() > 0.6
    assert np.abs(fit).max() < 0.25
