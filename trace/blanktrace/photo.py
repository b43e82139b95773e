"""Read a photograph: formats, rotation tag, colour profile, focal length, size limits.

What comes out is always the same thing, an upright sRGB array, so that no later
stage needs to know which phone or program wrote the file. A file that cannot be
trusted to its last row is refused: decoders fill what is missing with grey, and
a grey band looks like a sheet.
"""

from __future__ import annotations

import io
import os
import warnings
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO, Literal

import numpy as np
from numpy.typing import NDArray
from PIL import Image, UnidentifiedImageError

from blanktrace.decode import Pixels, decode, exif_tags, quarter_turns, three_colours
from blanktrace.errors import PhotoError

if TYPE_CHECKING:
    from collections.abc import Iterator

FocalSource = Literal[
    "the photo's 35 mm equivalent focal length",
    "the photo's focal length and sensor resolution",
    "nothing: the photo does not tell its focal length",
]

MAX_MEGAPIXELS = 120
"""Above every phone's usual picture (12 to 108), and still about 1 GB of working memory."""
MIN_SIDE_PX = 64
"""A blank in a smaller picture spans too few pixels to measure."""
FULL_FRAME_DIAGONAL_MM = 43.267
"""Diagonal of 36 x 24 mm film, to which "35 mm equivalent" refers."""
FOCAL_RANGE_MM = (10.0, 200.0)
"""Phones' 35 mm equivalents, ultra-wide to long; a tag outside it is a mistake."""
RESOLUTION_UNIT_MM = {2: 25.4, 3: 10.0, 4: 1.0}
"""Exif FocalPlaneResolutionUnit: inch, centimetre, and the common extension millimetre."""

PILLOW_FORMATS = ("JPEG", "PNG", "TIFF", "WEBP")
READABLE = "JPEG, PNG, TIFF, WebP or HEIC"
HEIF_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1")
SIGNATURES = (b"\xff\xd8\xff", b"\x89PNG", b"II*\0", b"MM\0*")
"""JPEG, PNG and TIFF: a file that starts so and still cannot be opened is damaged."""
HEAD_BYTES = 12

TAG_NEW_SUBFILE_TYPE, TAG_DNG_VERSION = 0x00FE, 0xC612
TAG_FOCAL_LENGTH, TAG_FOCAL_LENGTH_35MM = 0x920A, 0xA405
TAG_FOCAL_PLANE_X_RESOLUTION, TAG_FOCAL_PLANE_UNIT = 0xA20E, 0xA210


@dataclass(frozen=True, eq=False)
class Photo:
    """A photograph, upright.

    Parameters
    ----------
    rgb : ndarray of uint8 or uint16, shape (H, W, 3), read-only
        sRGB-encoded values.
    focal_px : float or None
        Focal length in pixels of this picture; None where the file does not tell.
    focal_source : str
        Where `focal_px` comes from, for the user.
    name : str
        What to call the photograph at the start of a message.
    quarter_turns : int
        Clockwise quarter turns that set it upright, from how the sensor lay.

    Raises
    ------
    ValueError
        If `rgb` has another shape or type, or `focal_px` is not above 0.
    """

    rgb: Pixels
    focal_px: float | None
    focal_source: FocalSource
    name: str
    quarter_turns: int = 0

    def __post_init__(self) -> None:
        if self.rgb.ndim != 3 or self.rgb.shape[2] != 3:  # noqa: PLR2004
            raise ValueError(f"rgb must be (H, W, 3), got {self.rgb.shape}")
        if self.rgb.dtype not in (np.uint8, np.uint16):
            raise ValueError(f"rgb must be uint8 or uint16, got {self.rgb.dtype}")
        if self.focal_px is not None and not self.focal_px > 0:
            raise ValueError(f"focal_px must be above 0 or None, got {self.focal_px}")
        rgb = self.rgb.view()
        rgb.flags.writeable = False
        object.__setattr__(self, "rgb", rgb)

    @property
    def bit_depth(self) -> int:
        """Bits of each colour: 8 or 16."""
        return 8 * self.rgb.itemsize


def read_photo(source: str | os.PathLike[str] | bytes | NDArray[Any]) -> Photo:
    """Read a photograph from a file, from a file's bytes, or from an array.

    Parameters
    ----------
    source : path, bytes or ndarray
        A JPEG, PNG, TIFF, WebP or HEIC file, or its bytes; or an upright picture
        of shape (H, W), (H, W, 1), (H, W, 3) or (H, W, 4), RGB order, uint8,
        uint16, or floats from 0 to 1.

    Returns
    -------
    Photo
        Upright, three colours, alpha laid on white, an embedded colour profile
        converted to sRGB.

    Raises
    ------
    PhotoError
        If the file is missing, empty, no photograph, of a format not read here,
        damaged or cut short; or if the picture is too large or too small.
    TypeError, ValueError
        If an array has another type, shape or range.

    Notes
    -----
    The focal length comes from the 35 mm equivalent, taken over the diagonal; a
    picture cropped after it was taken keeps the tag of the whole, which no
    reader can see. 16-bit pictures keep their depth unless they bring a colour
    profile other than sRGB, which is converted at 8 bits.

    References
    ----------
    CIPA DC-008 / JEITA CP-3451, Exchangeable image file format (Exif) 2.32.

    Examples
    --------
    >>> read_photo(np.full((100, 200), 255, np.uint8)).rgb.shape
    (100, 200, 3)
    """
    if isinstance(source, np.ndarray):
        return _from_array(source)
    if isinstance(source, bytes):
        return _from_stream(io.BytesIO(source), name="The photo")
    if not isinstance(source, str | os.PathLike):
        raise TypeError(f"source must be a path, bytes or an array, got {type(source).__name__}")
    path = Path(source)
    name = path.name or str(path)
    if path.is_dir():
        raise PhotoError(f"{name} is a folder. Give the photo file that is in it.")
    try:
        stream = path.open("rb")
    except FileNotFoundError:
        raise PhotoError(f"{path} does not exist. Check the name and the folder.") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise PhotoError(f"{path} cannot be opened ({reason}). Check who may read it.") from error
    with stream:
        return _from_stream(stream, name=name)


def _from_array(array: NDArray[Any]) -> Photo:
    if array.ndim not in (2, 3) or (array.ndim == 3 and array.shape[2] not in (1, 3, 4)):  # noqa: PLR2004
        raise ValueError(f"an array must be (H, W) or (H, W, 1, 3 or 4), got {array.shape}")
    if np.issubdtype(array.dtype, np.floating):
        # Written so that nan fails it too.
        if array.size and not (array.min() >= 0 and array.max() <= 1):
            raise ValueError("an array of floats must lie from 0 to 1")
        array = np.rint(array * np.iinfo(np.uint16).max).astype(np.uint16)
    elif array.dtype not in (np.uint8, np.uint16):
        raise TypeError(f"an array must be uint8, uint16 or float, got {array.dtype}")
    _check_size(array.shape[1], array.shape[0], name="The photo")
    rgb = three_colours(array).copy()
    return Photo(rgb, None, "nothing: the photo does not tell its focal length", "The photo")


def _from_stream(stream: BinaryIO, *, name: str) -> Photo:
    with _one_sentence(name), warnings.catch_warnings():
        # Pillow warns of large pictures and of odd tags; both are judged here.
        warnings.simplefilter("ignore")
        image = _open(stream, name=name)
        _check_size(*image.size, name=name)
        turns = quarter_turns(image)
        rgb = decode(image, _whole(stream))
        focal_px, focal_source = _focal(image, diagonal_px=float(np.hypot(*rgb.shape[:2])))
    return Photo(rgb, focal_px, focal_source, name, turns)


def _whole(stream: BinaryIO) -> bytes:
    """Read all of a stream and leave it where it stood, as the opened header expects."""
    at = stream.tell()
    stream.seek(0)
    data = stream.read()
    stream.seek(at)
    return data


@contextmanager
def _one_sentence(name: str) -> Iterator[None]:
    """Turn whatever a decoder makes of a broken file into one PhotoError."""
    try:
        yield
    except (PhotoError, MemoryError):
        raise
    except Exception as error:  # a decoder may raise anything at all on a broken file
        raise PhotoError(
            f"{name} is damaged or cut short and cannot be read to its end. "
            "Copy it from the phone again, or retake it."
        ) from error


def _open(stream: BinaryIO, *, name: str) -> Image.Image:
    """Read the header alone."""
    head = stream.read(HEAD_BYTES)
    stream.seek(0)
    if not head:
        raise PhotoError(f"{name} is empty (0 bytes). Copy it from the phone again.")
    if head[4:8] == b"ftyp" and head[8:12] in HEIF_BRANDS:
        from pi_heif import HeifImageFile  # noqa: PLC0415 -- only phones that write HEIC need it

        heif: Image.Image = HeifImageFile(stream)
        return heif
    try:
        image = Image.open(stream, formats=PILLOW_FORMATS)
    except UnidentifiedImageError:
        if head.startswith(SIGNATURES):
            raise
        raise PhotoError(
            f"{name} is not a photo that can be read; {READABLE} is needed. "
            "Export the picture as JPEG and give that file."
        ) from None
    except Image.DecompressionBombError:
        raise PhotoError(_too_large(name, f"far more than {MAX_MEGAPIXELS} megapixels")) from None
    if image.format == "TIFF":
        _check_tiff(image, name=name)
    return image


def _check_tiff(image: Any, *, name: str) -> None:
    """Refuse the TIFF files whose first picture is not the photograph."""
    tags = image.tag_v2
    if TAG_DNG_VERSION in tags or tags.get(TAG_NEW_SUBFILE_TYPE, 0) & 1:
        raise PhotoError(
            f"{name} is a camera's raw file, which holds only a preview as a picture. "
            "Export the picture as JPEG and give that file."
        )
    if image.mode in ("F", "I"):
        raise PhotoError(
            f"{name} stores 32 bits a colour; 8 or 16 are needed. Save it as 8 or 16 bit."
        )


def _check_size(width_px: int, height_px: int, *, name: str) -> None:
    found = f"{width_px} x {height_px} px"
    if min(width_px, height_px) < MIN_SIDE_PX:
        raise PhotoError(
            f"{name} is only {found}; at least {MIN_SIDE_PX} px a side are needed. "
            "Give the photo itself, not a thumbnail."
        )
    if width_px * height_px > MAX_MEGAPIXELS * 1e6:
        raise PhotoError(_too_large(name, found))


def _too_large(name: str, found: str) -> str:
    return (
        f"{name} is {found}; at most {MAX_MEGAPIXELS} megapixels can be read. "
        "Save a smaller copy, or set the camera to fewer megapixels."
    )


def _focal(image: Image.Image, *, diagonal_px: float) -> tuple[float | None, FocalSource]:
    tags = exif_tags(image)
    px_per_film_mm = diagonal_px / FULL_FRAME_DIAGONAL_MM
    focal_px = _number(tags.get(TAG_FOCAL_LENGTH_35MM)) * px_per_film_mm
    if _plausible(focal_px / px_per_film_mm):
        return focal_px, "the photo's 35 mm equivalent focal length"
    unit_mm = RESOLUTION_UNIT_MM.get(tags.get(TAG_FOCAL_PLANE_UNIT, 2), np.nan)
    px_per_mm = _number(tags.get(TAG_FOCAL_PLANE_X_RESOLUTION)) / unit_mm
    focal_px = _number(tags.get(TAG_FOCAL_LENGTH)) * px_per_mm
    if _plausible(focal_px / px_per_film_mm):
        return focal_px, "the photo's focal length and sensor resolution"
    return None, "nothing: the photo does not tell its focal length"


def _number(tag: Any) -> float:
    try:
        return float(tag)
    except (TypeError, ValueError, ZeroDivisionError):
        return float("nan")


def _plausible(equivalent_mm: float) -> bool:
    return FOCAL_RANGE_MM[0] <= equivalent_mm <= FOCAL_RANGE_MM[1]
