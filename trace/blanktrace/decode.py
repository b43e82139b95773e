"""Decode a photograph's bytes into an upright sRGB array.

Each library does what it does best: Pillow reads headers, profiles and the rarer
modes, and notices missing data; cv2 is quick with plain JPEG and keeps 16 bits.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms

Pixels = NDArray[np.uint8] | NDArray[np.uint16]

PROFILE_STEPS = 2
"""A profile that moves no colour by more than this many steps of 255 is sRGB by another name."""
BAND_ROWS = 256

TAG_BITS_PER_SAMPLE, TAG_ORIENTATION, TAG_EXIF_IFD = 0x0102, 0x0112, 0x8769

_JPEG_MARKER = re.compile(rb"\xff[\x02-\xcf\xd9-\xfe]")
_JPEG_END = 0xD9
_PLAIN = cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION

_UPRIGHT: dict[object, Callable[[Any], Any]] = {
    2: lambda a: cv2.flip(a, 1),
    3: lambda a: cv2.rotate(a, cv2.ROTATE_180),
    4: lambda a: cv2.flip(a, 0),
    5: cv2.transpose,
    6: lambda a: cv2.rotate(a, cv2.ROTATE_90_CLOCKWISE),
    7: lambda a: cv2.transpose(cv2.rotate(a, cv2.ROTATE_180)),
    8: lambda a: cv2.rotate(a, cv2.ROTATE_90_COUNTERCLOCKWISE),
}
"""Exif orientation -> what sets it upright; any other tag (phones write 0) leaves it as stored."""
_QUARTER_TURNS = {6: 1, 3: 2, 8: 3}


def decode(image: Any, data: bytes) -> Pixels:
    """Decode a file into an upright array of three colours.

    Parameters
    ----------
    image : PIL.Image.Image
        The file's header, opened and not yet loaded.
    data : bytes
        The whole file.

    Returns
    -------
    ndarray of uint8 or uint16, shape (H, W, 3)
        sRGB-encoded values, alpha laid on white.

    Raises
    ------
    Exception
        Of whatever type the decoder chooses, if the file is damaged or cut short.
    """
    to_srgb = _to_srgb(image)
    jpeg = image.format in ("JPEG", "MPO")
    if jpeg and not _is_whole_jpeg(data):
        raise EOFError("the end marker is missing")
    if jpeg and image.mode in ("RGB", "L") and to_srgb is None:
        return _upright(_decode_cv2(data, _PLAIN), image)
    image.load()  # raises where data are missing, which cv2 would fill with grey
    deep = _bits(image, data) == 16  # noqa: PLR2004
    if deep and (to_srgb is None or image.mode.startswith("I;16")):
        return _upright(_decode_deep(data), image)
    return _upright(_by_bands(image, to_srgb), image)


def _is_whole_jpeg(data: bytes) -> bool:
    """Walk the segments and scans of a JPEG to its end marker.

    Notes
    -----
    Searching for the marker's two bytes would not do: thumbnails in the header
    bring their own, and phones append pictures and data after the end.
    """
    at = 2
    while marker := _JPEG_MARKER.search(data, at):
        if marker.group()[1] == _JPEG_END:
            return True
        at = marker.end()
        at += int.from_bytes(data[at : at + 2])
    return False


def _bits(image: Any, data: bytes) -> int:
    """Read the bits of each colour as stored; Pillow's mode hides them."""
    if image.format == "PNG":
        return data[24]  # in the IHDR chunk, which always comes first
    if image.format == "TIFF":
        return int(max(image.tag_v2.get(TAG_BITS_PER_SAMPLE, (1,))))
    return 8


def _decode_cv2(data: bytes, flags: int) -> Any:
    pixels = cv2.imdecode(np.frombuffer(data, np.uint8), flags)
    if pixels is None:
        raise ValueError("cv2 cannot decode what Pillow could")
    return pixels


def _decode_deep(data: bytes) -> Pixels:
    pixels = _decode_cv2(data, cv2.IMREAD_UNCHANGED)
    if pixels.ndim == 3:  # noqa: PLR2004
        swap = cv2.COLOR_BGR2RGB if pixels.shape[2] == 3 else cv2.COLOR_BGRA2RGBA  # noqa: PLR2004
        cv2.cvtColor(pixels, swap, dst=pixels)
    return three_colours(pixels)


def three_colours(pixels: NDArray[Any]) -> Pixels:
    """Repeat grey; lay alpha on white."""
    if pixels.ndim == 2 or pixels.shape[2] == 1:  # noqa: PLR2004
        return np.repeat(pixels.reshape(*pixels.shape[:2], 1), 3, axis=2)
    if pixels.shape[2] == 3:  # noqa: PLR2004
        return pixels
    white = np.iinfo(pixels.dtype).max
    rgb = np.empty((*pixels.shape[:2], 3), pixels.dtype)
    for row, (colours, alpha) in enumerate(zip(pixels[..., :3], pixels[..., 3:], strict=True)):
        # 65535 squared still fits; by rows, so that the wide numbers stay few.
        dark = (white - colours).astype(np.uint32) * alpha
        rgb[row] = white - (dark + white // 2) // white
    return rgb


def _by_bands(image: Image.Image, to_srgb: ImageCms.ImageCmsTransform | None) -> Pixels:
    """Convert a few rows at a time, so that a large picture is not held many times over."""
    width_px, height_px = image.size
    rgb = np.empty((height_px, width_px, 3), np.uint8)
    for top in range(0, height_px, BAND_ROWS):
        below = min(top + BAND_ROWS, height_px)
        rgb[top:below] = np.asarray(_flattened(image.crop((0, top, width_px, below)), to_srgb))
    return rgb


def _flattened(image: Image.Image, to_srgb: ImageCms.ImageCmsTransform | None) -> Image.Image:
    """Bring any of Pillow's modes to 8-bit sRGB without alpha."""
    if image.has_transparency_data:
        seen = image.convert("RGBA")
        image = Image.new("RGB", seen.size, "white")
        image.paste(seen, mask=seen.getchannel("A"))
    elif image.mode == "P":
        image = image.convert("RGB")
    if to_srgb is None or image.mode != to_srgb.input_mode:
        return image.convert("RGB")
    return ImageCms.applyTransform(image, to_srgb) or image


def _to_srgb(image: Image.Image) -> ImageCms.ImageCmsTransform | None:
    """Build the transform to sRGB, or None where the file's colours are sRGB already."""
    embedded = image.info.get("icc_profile")
    if not embedded:
        return None
    mode = image.mode if image.mode in ("L", "CMYK") else "RGB"
    try:
        transform = ImageCms.buildTransform(
            ImageCms.ImageCmsProfile(io.BytesIO(embedded)),
            ImageCms.createProfile("sRGB"),
            mode,
            "RGB",
            ImageCms.Intent.RELATIVE_COLORIMETRIC,
        )
    except (ImageCms.PyCMSError, OSError):
        return None  # a broken profile, or one for another kind of picture, tells nothing
    if mode == "RGB":
        # Many phones embed their own sRGB; knowing it saves them the slow road.
        ramp = np.linspace(0, 255, 9).astype(np.uint8)
        colours = np.stack(np.meshgrid(ramp, ramp, ramp), axis=-1).reshape(1, -1, 3)
        moved = ImageCms.applyTransform(Image.fromarray(colours), transform)
        if np.abs(np.asarray(moved, np.int16) - colours).max() <= PROFILE_STEPS:
            return None
    return transform


def _upright(pixels: Any, image: Image.Image) -> Pixels:
    """Apply the rotation that is still to be applied.

    Notes
    -----
    The HEIC and TIFF decoders turn the picture themselves and then take the tag
    away, so the tag is read only now.
    """
    turn = _UPRIGHT.get(exif_tags(image).get(TAG_ORIENTATION))
    upright: Pixels = pixels if turn is None else turn(pixels)
    return upright


def quarter_turns(image: Any) -> int:
    """Count the clockwise quarter turns that set a picture upright, before it is decoded.

    The HEIC reader turns the picture when it opens it, and keeps the tag under another name.
    """
    tag = image.info.get("original_orientation") or exif_tags(image).get(TAG_ORIENTATION)
    return _QUARTER_TURNS.get(tag or 1, 0)


def exif_tags(image: Image.Image) -> dict[int, Any]:
    """Read the tags of the picture and of the shot; damaged tags count as absent."""
    try:
        exif = image.getexif()
        return {**exif, **exif.get_ifd(TAG_EXIF_IFD)}
    except Exception:  # the parser may raise anything at all on damaged tags
        return {}
