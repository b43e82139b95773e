"""Photographs for tests, as files in every format."""

from __future__ import annotations

import io
import struct

import cv2
import numpy as np
import pillow_heif
from PIL import Image

from blanktrace.photo import Photo

ORIENTATION, EXIF_IFD = 0x0112, 0x8769

# The corners of the scene, read upright: red, green / blue, black; grey between.
CORNERS = {(0, 0): (230, 0, 0), (0, -1): (0, 180, 0), (-1, 0): (0, 0, 220), (-1, -1): (0, 0, 0)}


def scene(*, height: int = 96, width: int = 128) -> np.ndarray:
    rgb = np.full((height, width, 3), 200, np.uint8)
    block = 32
    rgb[:block, :block] = CORNERS[0, 0]
    rgb[:block, -block:] = CORNERS[0, -1]
    rgb[-block:, :block] = CORNERS[-1, 0]
    rgb[-block:, -block:] = CORNERS[-1, -1]
    return rgb


def as_stored(upright: np.ndarray, orientation: int) -> np.ndarray:
    """Turn a scene into the rows a camera with that tag stores (Exif 2.32, tag 274)."""
    # Row 0 and column 0 of the stored picture are these sides of the scene.
    flips = {
        1: upright,  # top, left
        2: upright[:, ::-1],  # top, right
        3: upright[::-1, ::-1],  # bottom, right
        4: upright[::-1],  # bottom, left
        5: upright.transpose(1, 0, 2),  # left, top
        6: upright[:, ::-1].transpose(1, 0, 2),  # right, top
        7: upright[::-1, ::-1].transpose(1, 0, 2),  # right, bottom
        8: upright[::-1].transpose(1, 0, 2),  # left, bottom
    }
    return np.ascontiguousarray(flips.get(orientation, upright))


def encoded(rgb: np.ndarray, fmt: str, *, tags: dict | None = None, **options) -> bytes:
    exif = Image.Exif()
    of_shot = dict(tags or {})
    if ORIENTATION in of_shot:
        exif[ORIENTATION] = of_shot.pop(ORIENTATION)
    if of_shot:
        exif[EXIF_IFD] = of_shot
    out = io.BytesIO()
    if fmt == "HEIF":
        heif = pillow_heif.from_pillow(Image.fromarray(rgb))
        heif.save(out, exif=exif.tobytes(), quality=-1, chroma=444, matrix_coefficients=0)
    else:
        Image.fromarray(rgb).save(out, fmt, exif=exif, **options)
    return out.getvalue()


def tiff16(rgb: np.ndarray, *, orientation: int = 1) -> bytes:
    """Write the plainest TIFF (TIFF 6.0, Adobe 1992, section 6) at 16 bits a colour."""
    height, width, colours = rgb.shape
    count = 10
    after = 8 + 2 + 12 * count + 4
    depths = struct.pack("<3H", 16, 16, 16)
    tags = [(256, 4, 1, width), (257, 4, 1, height), (258, 3, 3, after), (259, 3, 1, 1)]
    tags += [(262, 3, 1, 2), (273, 4, 1, after + len(depths)), (274, 3, 1, orientation)]
    tags += [(277, 3, 1, colours), (278, 4, 1, height), (279, 4, 1, rgb.nbytes)]
    folder = struct.pack("<H", count) + b"".join(struct.pack("<HHII", *t) for t in tags)
    return b"II*\0\x08\0\0\0" + folder + bytes(4) + depths + rgb.astype("<u2").tobytes()


def assert_scene(read: Photo, *, within: int = 0) -> None:
    full = 257 if read.bit_depth == 16 else 1
    assert read.rgb.shape == (96, 128, 3)
    assert np.abs(read.rgb.astype(int) - scene().astype(int) * full).max() <= within * full


LOSSLESS = {"PNG": {}, "TIFF": {}, "WEBP": {"lossless": True}, "HEIF": {}}
JPEG = {"quality": 100, "subsampling": 0}
FORMATS = [("JPEG", JPEG, 3), ("JPEG", JPEG | {"progressive": True}, 3)]
FORMATS += [(fmt, options, 0) for fmt, options in LOSSLESS.items()]
FORMATS += [("TIFF", {"compression": "tiff_lzw"}, 0)]
FORMAT_IDS = ["jpeg", "progressive", "png", "tiff", "webp", "heic", "tiff-lzw"]


def ramp16() -> np.ndarray:
    """Every value apart from its neighbours by less than one 8-bit step."""
    return np.arange(96 * 128 * 3, dtype=np.uint16).reshape(96, 128, 3)


def cv2_bytes(kind: str, pixels: np.ndarray) -> bytes:
    return cv2.imencode(kind, pixels)[1].tobytes()
