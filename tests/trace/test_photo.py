"""Photographs in: every format, depth, colour profile and rotation tag."""

from __future__ import annotations

import io
import json
import struct
import zlib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageCms

from blanktrace.photo import read_photo
from tests.trace.photo_files import (
    EXIF_IFD,
    FORMAT_IDS,
    FORMATS,
    JPEG,
    ORIENTATION,
    as_stored,
    assert_scene,
    cv2_bytes,
    encoded,
    ramp16,
    scene,
    tiff16,
)

PHOTOS = Path(__file__).parents[2].parent / "shared" / "photos"
F35, FOCAL, PLANE_X, PLANE_UNIT = 0xA405, 0x920A, 0xA20E, 0xA210

# How often a stored picture is turned clockwise to be upright: rot90 turns the other way.
TURNS = {
    orientation: turns
    for orientation in (1, 3, 6, 8)
    for turns in range(4)
    if np.array_equal(np.rot90(as_stored(scene(), orientation), -turns), scene())
}


@pytest.mark.parametrize(("fmt", "options", "within"), FORMATS, ids=FORMAT_IDS)
def test_reads_format(fmt: str, options: dict, within: int, tmp_path: Path) -> None:
    path = tmp_path / "tag.bin"
    path.write_bytes(encoded(scene(), fmt, **options))
    read = read_photo(path)
    assert_scene(read, within=within)
    assert (read.bit_depth, read.name, read.focal_px) == (8, "tag.bin", None)
    assert not read.rgb.flags.writeable


@pytest.mark.parametrize("orientation", [0, 1, 2, 3, 4, 5, 6, 7, 8, 9])
@pytest.mark.parametrize("fmt", ["JPEG", "PNG", "TIFF", "WEBP"])
def test_sets_upright(fmt: str, orientation: int) -> None:
    stored = as_stored(scene(), orientation)
    options = {"JPEG": JPEG, "WEBP": {"lossless": True}}.get(fmt, {})
    read = read_photo(encoded(stored, fmt, tags={ORIENTATION: orientation}, **options))
    assert_scene(read, within=3 if fmt == "JPEG" else 0)
    assert read.quarter_turns == TURNS.get(orientation, 0)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_sets_16_bit_tiff_upright(orientation: int) -> None:
    stored = as_stored(scene(), orientation).astype(np.uint16) * 257
    assert_scene(read_photo(tiff16(stored, orientation=orientation)))


@pytest.mark.parametrize("orientation", range(1, 9))
def test_turns_heic_only_once(orientation: int) -> None:
    # The encoder writes the tag both as Exif and as the container's own rotation.
    stored = as_stored(scene(), orientation)
    read = read_photo(encoded(stored, "HEIF", tags={ORIENTATION: orientation}))
    assert_scene(read)
    assert read.quarter_turns == TURNS.get(orientation, 0)


# An 800 x 600 picture has a diagonal of 1000 px: 26 mm is 26 * 1000 / 43.267 = 600.9 px.
EQUIVALENT = (600.92, "35 mm equivalent")
# 3810 px/inch is 150 px/mm: 4.2 mm is 630 px.
PLANE = (630.0, "sensor resolution")
UNKNOWN = (None, "nothing")
FOCAL_CASES = {
    "equivalent": ({F35: 26, FOCAL: 4.2}, EQUIVALENT),
    "zero-is-unknown": ({F35: 0, FOCAL: 4.745}, UNKNOWN),
    "too-short": ({F35: 3}, UNKNOWN),
    "too-long": ({F35: 900}, UNKNOWN),
    "plane-inch": ({FOCAL: 4.2, PLANE_X: 3810.0, PLANE_UNIT: 2}, PLANE),
    "plane-inch-by-default": ({F35: 0, FOCAL: 4.2, PLANE_X: 3810.0}, PLANE),
    "plane-cm": ({FOCAL: 4.2, PLANE_X: 1500.0, PLANE_UNIT: 3}, PLANE),
    "plane-absurd": ({FOCAL: 4.2, PLANE_X: 72.0, PLANE_UNIT: 2}, UNKNOWN),
    "plane-unit-unknown": ({FOCAL: 4.2, PLANE_X: 3810.0, PLANE_UNIT: 9}, UNKNOWN),
    "none": ({}, UNKNOWN),
}


@pytest.mark.parametrize(("tags", "expected"), FOCAL_CASES.values(), ids=FOCAL_CASES)
@pytest.mark.parametrize("orientation", [1, 6])
def test_focal_length(tags: dict, expected: tuple, orientation: int) -> None:
    picture = np.full((600, 800, 3), 255, np.uint8)
    read = read_photo(encoded(picture, "JPEG", tags=tags | {ORIENTATION: orientation}))
    focal_px, source = expected
    assert read.focal_px == (focal_px and pytest.approx(focal_px, abs=0.01))
    assert source in read.focal_source


def test_damaged_tags_count_as_absent() -> None:
    # The tags' folder points beyond the file.
    data = encoded(scene(), "JPEG", **JPEG)
    broken = b"Exif\0\0II*\0\xff\xff\xff\x7f"
    data = data[:2] + b"\xff\xe1" + struct.pack(">H", len(broken) + 2) + broken + data[2:]
    assert_scene(read_photo(data), within=3)


@pytest.mark.parametrize("kind", [".png", ".tiff"])
def test_keeps_16_bits(kind: str) -> None:
    read = read_photo(cv2_bytes(kind, ramp16()[..., ::-1]))
    assert read.bit_depth == 16
    np.testing.assert_array_equal(read.rgb, ramp16())


@pytest.mark.parametrize("kind", [".png", ".tiff"])
@pytest.mark.parametrize("depth", [np.uint8, np.uint16])
def test_repeats_grey(kind: str, depth: type) -> None:
    grey = ramp16()[..., 0].astype(depth)
    read = read_photo(cv2_bytes(kind, grey))
    assert read.rgb.dtype == depth
    np.testing.assert_array_equal(read.rgb, np.dstack([grey] * 3))


@pytest.mark.parametrize("kind", [".png", ".tiff"])
@pytest.mark.parametrize(("depth", "full"), [(np.uint8, 255), (np.uint16, 65535)])
def test_lays_alpha_on_white(kind: str, depth: type, full: int) -> None:
    bgra = np.zeros((96, 128, 4), depth)
    bgra[..., 2] = full  # red, seen in full on the left and by a fifth on the right
    bgra[:, :64, 3], bgra[:, 64:, 3] = full, full // 5
    read = read_photo(cv2_bytes(kind, bgra))
    assert read.rgb.dtype == depth
    np.testing.assert_array_equal(read.rgb[0, 0], (full, 0, 0))
    np.testing.assert_array_equal(read.rgb[0, -1], (full, full - full // 5, full - full // 5))


@pytest.mark.parametrize("alpha", ["LA", "PA"])
def test_lays_grey_and_palette_alpha_on_white(alpha: str) -> None:
    image = Image.new("LA", (128, 96), (0, 0)) if alpha == "LA" else Image.new("P", (128, 96), 0)
    options = {} if alpha == "LA" else {"transparency": 0}
    out = io.BytesIO()
    image.save(out, "PNG", **options)
    assert (read_photo(out.getvalue()).rgb == 255).all()


def test_reads_palette() -> None:
    out = io.BytesIO()
    Image.fromarray(scene()).quantize(8).save(out, "PNG")
    assert_scene(read_photo(out.getvalue()), within=1)


def test_reads_black_and_white() -> None:
    out = io.BytesIO()
    Image.new("1", (128, 96), 1).save(out, "PNG")
    assert (read_photo(out.getvalue()).rgb == 255).all()


def test_reads_cmyk_jpeg() -> None:
    out = io.BytesIO()
    Image.fromarray(scene()).convert("CMYK").save(out, "JPEG", quality=100)
    assert_scene(read_photo(out.getvalue()), within=6)


def display_p3() -> bytes:
    """Make a Display P3 profile.

    Notes
    -----
    An sRGB profile with its three primaries replaced by those of Display P3
    adapted to D50 (columns of the matrix in SMPTE EG 432-1 with the D65 white,
    Bradford-adapted; figures from memory, checked by their sum: the D50 white).
    """
    profile = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    columns = {
        b"rXYZ": (0.51512, 0.24120, -0.00105),
        b"gXYZ": (0.29198, 0.69225, 0.04189),
        b"bXYZ": (0.15710, 0.06657, 0.78407),
    }
    for index in range(struct.unpack_from(">I", profile, 128)[0]):
        tag, offset = struct.unpack_from(">4sI", profile, 132 + 12 * index)
        if tag in columns:
            fixed = [round(value * 65536) for value in columns[tag]]
            struct.pack_into(">3i", profile, offset + 8, *fixed)
    return bytes(profile)


def p3_to_srgb(colour: tuple) -> np.ndarray:
    """Convert by the closed form: one matrix between the two's linear values.

    References
    ----------
    CSS Color Module Level 4, section 18 (sample code): lin_P3 -> XYZ -> lin_sRGB.
    """
    matrix = np.array(
        [[1.22494, -0.22494, 0.0], [-0.04206, 1.04206, 0.0], [-0.01964, -0.07864, 1.09827]]
    )
    value = np.array(colour) / 255
    linear = np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)
    linear = np.clip(matrix @ linear, 0, 1)
    srgb = np.where(linear <= 0.0031308, linear * 12.92, 1.055 * linear ** (1 / 2.4) - 0.055)
    return srgb * 255


@pytest.mark.parametrize("colour", [(180, 140, 90), (90, 160, 110), (128, 128, 128)])
@pytest.mark.parametrize("fmt", ["JPEG", "PNG"])
def test_converts_display_p3(fmt: str, colour: tuple) -> None:
    picture = np.full((96, 128, 3), colour, np.uint8)
    read = read_photo(encoded(picture, fmt, icc_profile=display_p3()))
    assert np.abs(read.rgb[48, 64] - p3_to_srgb(colour)).max() <= 2


def test_converts_16_bits_at_8() -> None:
    bgr = np.full((96, 128, 3), (90 * 257, 140 * 257, 180 * 257), np.uint16)
    data = cv2_bytes(".png", bgr)
    body = b"iCCPwide\0\0" + zlib.compress(display_p3())
    chunk = struct.pack(">I", len(body) - 4) + body + struct.pack(">I", zlib.crc32(body))
    header = 33  # signature and IHDR
    read = read_photo(data[:header] + chunk + data[header:])
    assert read.bit_depth == 8
    assert np.abs(read.rgb[48, 64] - p3_to_srgb((180, 140, 90))).max() <= 2


def test_srgb_profile_changes_nothing() -> None:
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    with_profile = read_photo(encoded(scene(), "JPEG", icc_profile=profile))
    np.testing.assert_array_equal(with_profile.rgb, read_photo(encoded(scene(), "JPEG")).rgb)


def test_broken_profile_counts_as_absent() -> None:
    assert_scene(read_photo(encoded(scene(), "PNG", icc_profile=b"no profile" * 20)))


ARRAYS = {
    "rgb": (scene(), scene()),
    "grey": (scene()[..., 0], np.dstack([scene()[..., 0]] * 3)),
    "one-colour": (scene()[..., :1], np.dstack([scene()[..., 0]] * 3)),
    "clear": (np.zeros((96, 128, 4), np.uint8), np.full((96, 128, 3), 255)),
    "16-bit": (ramp16(), ramp16()),
    "float": (np.full((96, 128, 3), 0.5), np.full((96, 128, 3), 32768)),
}


@pytest.mark.parametrize(("array", "expected"), ARRAYS.values(), ids=ARRAYS)
def test_reads_array(array: np.ndarray, expected: np.ndarray) -> None:
    read = read_photo(array)
    np.testing.assert_array_equal(read.rgb, expected)
    assert read.focal_px is None
    assert not np.shares_memory(read.rgb, array)


def test_what_follows_the_end_of_a_jpeg_is_ignored() -> None:
    assert_scene(read_photo(encoded(scene(), "JPEG", **JPEG) + b"trailer" * 99), within=3)


def test_reads_first_of_several_pictures() -> None:
    out = io.BytesIO()
    other = Image.fromarray(255 - scene())
    Image.fromarray(scene()).save(out, "MPO", save_all=True, append_images=[other], **JPEG)
    assert Image.open(out).format == "MPO"
    assert_scene(read_photo(out.getvalue()), within=3)


def test_plain_jpeg_agrees_with_pillow() -> None:
    noisy = np.random.default_rng(5).integers(0, 256, (128, 128, 3), np.uint8)
    data = encoded(noisy, "JPEG", quality=90)
    expected = np.asarray(Image.open(io.BytesIO(data)))
    np.testing.assert_array_equal(read_photo(data).rgb, expected)


def phone_photos() -> list:
    if not (PHOTOS / "truth.json").exists():
        return [pytest.param({}, marks=pytest.mark.skip(reason="no phone photographs here"))]
    truth = json.loads((PHOTOS / "truth.json").read_text())
    return [pytest.param(entry, id=entry["file"]) for entry in truth["photos"]]


@pytest.mark.parametrize("entry", phone_photos())
def test_reads_phones_file(entry: dict) -> None:
    read = read_photo(PHOTOS / entry["file"])
    assert [read.rgb.shape[1], read.rgb.shape[0]] == entry["size_px"]
    with Image.open(PHOTOS / entry["file"]) as image:
        tag = image.getexif().get_ifd(EXIF_IFD).get(F35)
    assert (read.focal_px is not None) == bool(tag)
