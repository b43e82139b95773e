"""Photographs that cannot be read: what is refused, and what is said of it."""

from __future__ import annotations

import io
import struct
import zlib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from blanktrace import photo
from blanktrace.errors import PhotoError
from blanktrace.photo import Photo, read_photo
from tests.trace.photo_files import (
    FORMAT_IDS,
    FORMATS,
    JPEG,
    cv2_bytes,
    encoded,
    ramp16,
    scene,
)


@pytest.mark.parametrize(
    ("source", "error"),
    [
        (np.zeros((96, 128, 2), np.uint8), ValueError),
        (np.zeros((96, 128, 3), np.int32), TypeError),
        (np.full((96, 128), 1.5), ValueError),
        (np.full((96, 128), np.nan), ValueError),
        (12, TypeError),
    ],
    ids=["two-colours", "int32", "above-1", "nan", "number"],
)
def test_refuses_callers_mistake(source: object, error: type) -> None:
    with pytest.raises(error) as caught:
        read_photo(source)
    assert not isinstance(caught.value, PhotoError)


@pytest.mark.parametrize("part", [0.3, 0.6, 0.99])
@pytest.mark.parametrize(("fmt", "options", "_within"), FORMATS, ids=FORMAT_IDS)
def test_refuses_truncated(fmt: str, options: dict, _within: int, part: float) -> None:
    noisy = np.random.default_rng(3).integers(0, 32, (256, 256, 3), np.uint8)
    data = encoded(noisy, fmt, **options)
    with pytest.raises(PhotoError, match=r"cut short.*Copy it"):
        read_photo(data[: int(part * len(data))])


@pytest.mark.parametrize("part", [0.3, 0.6, 0.99])
@pytest.mark.parametrize("kind", [".png", ".tiff"])
def test_refuses_truncated_16_bit(kind: str, part: float) -> None:
    data = cv2_bytes(kind, ramp16())
    with pytest.raises(PhotoError, match="cut short"):
        read_photo(data[: int(part * len(data))])


def test_refuses_jpeg_whose_tail_was_never_copied() -> None:
    data = encoded(scene(), "JPEG", **JPEG)
    half = len(data) // 2
    with pytest.raises(PhotoError, match="cut short"):
        read_photo(data[:half] + bytes(len(data) - half))


def test_thumbnail_does_not_pass_for_the_end_of_a_jpeg() -> None:
    thumbnail = b"Exif\0\0" + encoded(scene(), "JPEG")
    segment = b"\xff\xe1" + struct.pack(">H", len(thumbnail) + 2) + thumbnail
    data = encoded(scene(), "JPEG", **JPEG)
    with pytest.raises(PhotoError, match="cut short"):
        read_photo(data[:2] + segment + data[2 : len(data) // 2])


def headed(width_px: int, height_px: int) -> bytes:
    """Write a PNG that claims a size and holds nothing."""
    data = bytearray(encoded(np.zeros((1, 1, 3), np.uint8), "PNG"))
    struct.pack_into(">II", data, 16, width_px, height_px)
    struct.pack_into(">I", data, 29, zlib.crc32(data[12:29]))
    return bytes(data)


@pytest.mark.parametrize(
    ("source", "expected"),
    [
        (headed(12001, 10000), r"12001 x 10000 px; at most 120 megapixels.*smaller copy"),
        (headed(60000, 60000), r"more than 120 megapixels.*smaller copy"),
        (headed(63, 4000), r"only 63 x 4000 px; at least 64 px.*not a thumbnail"),
        (np.zeros((63, 64), np.uint8), r"only 64 x 63 px"),
        (b"", r"is empty.*Copy it"),
        (b"%PDF-1.7 order form" * 9, r"JPEG, PNG, TIFF, WebP or HEIC is needed.*Export"),
        (b"\0\0\0\x18ftypisom" + bytes(99), r"HEIC is needed"),
        (b"\0\0\0\x18ftypheic" + bytes(99), r"damaged or cut short"),
    ],
    ids=["large", "huge", "small", "small-array", "empty", "pdf", "film", "heic-header-alone"],
)
def test_refuses(source: bytes | np.ndarray, expected: str) -> None:
    with pytest.raises(PhotoError, match=expected) as caught:
        read_photo(source)
    assert str(caught.value).startswith("The photo ")


def test_size_is_refused_before_decoding(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(photo, "decode", lambda *_: pytest.fail("decoded"))
    with pytest.raises(PhotoError, match="at most 120"):
        read_photo(headed(12001, 10000))


def test_large_picture_brings_no_warning() -> None:
    # Between Pillow's own warning (89 megapixels) and the limit: only the data are missing.
    with pytest.raises(PhotoError, match="cut short"):
        read_photo(headed(10000, 11000))


@pytest.mark.parametrize("tag", [(0xC612, b"\1\4\0\0"), (0x00FE, 1)], ids=["dng", "preview"])
def test_refuses_raw_file(tag: tuple) -> None:
    out = io.BytesIO()
    Image.fromarray(scene()).save(out, "TIFF", tiffinfo=dict([tag]))
    with pytest.raises(PhotoError, match=r"raw file.*Export"):
        read_photo(out.getvalue())


def test_refuses_32_bit_tiff() -> None:
    with pytest.raises(PhotoError, match="32 bits"):
        read_photo(cv2_bytes(".tiff", np.zeros((96, 128), np.float32)))


def test_refuses_missing_file(tmp_path: Path) -> None:
    with pytest.raises(PhotoError, match=r"tag\.jpg does not exist\. Check"):
        read_photo(tmp_path / "tag.jpg")


def test_refuses_folder(tmp_path: Path) -> None:
    with pytest.raises(PhotoError, match="is a folder"):
        read_photo(str(tmp_path))


def test_refuses_unreadable_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def locked(*_: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", locked)
    with pytest.raises(PhotoError, match=r"cannot be opened \(Permission denied\)"):
        read_photo(tmp_path / "tag.jpg")


def test_photo_is_checked() -> None:
    source = "nothing: the photo does not tell its focal length"
    with pytest.raises(ValueError, match="focal_px must be above 0"):
        Photo(scene(), 0.0, source, "tag")
    with pytest.raises(ValueError, match="must be uint8 or uint16"):
        Photo(scene().astype(float), None, source, "tag")
    with pytest.raises(ValueError, match=r"must be \(H, W, 3\)"):
        Photo(scene()[..., 0], None, source, "tag")
