"""Trace a blank the plain way: grey, blur, threshold, largest contour clear of the frame.

What anyone can write in an afternoon, and what the project's accuracy and time are
held against. It starts from the file's bytes, as `trace_photo` does.
"""

from __future__ import annotations

import io

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image, ImageOps
from shapely import Polygon, make_valid
from shapely.affinity import affine_transform

FloatArray = NDArray[np.float64]
Mask = NDArray[np.uint8]

BLUR_PX = 1.5
LEAST_HOLE_SHARE = 4e-4
"""Holes below this share of the blank are specks."""


class PlainError(ValueError):
    """Nothing of the kind measured stands in the thresholded photograph."""


def trace_plain(
    photo: bytes,
    *,
    disc: float | None = None,
    length: float | None = None,
    at: tuple[float, float] | None = None,
) -> Polygon:
    """Trace the largest dark thing, scaled by one measured size.

    Parameters
    ----------
    photo : bytes
        The file.
    disc : float, optional
        Diameter in mm of the largest circle that fits inside.
    length : float, optional
        Long side in mm of the smallest rectangle around it, where no disc is given.
    at : (float, float), optional
        A place on the blank in photo pixels, where several are in view.

    Returns
    -------
    Polygon
        In mm, y up, the disc's centre (or the centroid) at the origin; what hangs on
        the disc, or the long side, points to +y.

    Raises
    ------
    PlainError
        If no contour is found.
    """
    rings = _contour(_thresholded(photo), at)
    outer = rings[0].astype(np.float32)
    centroid = np.array(Polygon(rings[0]).centroid.coords[0])
    if disc is not None:
        origin, diameter_px = _inscribed_circle(rings[0])
        mm_per_px, up = disc / diameter_px, centroid - origin
    elif length is not None:
        corners = cv2.boxPoints(cv2.minAreaRect(outer))
        sides = np.diff(corners[:3], axis=0).astype(np.float64)
        longer = sides[int(np.argmax(np.hypot(*sides.T)))]
        origin, mm_per_px, up = centroid, length / float(np.hypot(*longer)), longer
    else:
        raise TypeError("disc or length sets the scale, got neither")
    body = _valid(Polygon(rings[0], rings[1:]))
    cos, sin = -up[1] / np.hypot(*up), up[0] / np.hypot(*up)
    # Turns `up`, which has y down, to +y, and flips the picture's y.
    matrix = mm_per_px * np.array([[cos, sin], [sin, -cos]])
    shift = -matrix @ origin
    placed = affine_transform(body, [*matrix.ravel(), *shift])
    assert isinstance(placed, Polygon)
    return placed


def _thresholded(photo: bytes) -> Mask:
    """White where it is dark: Otsu's threshold of the blurred grey picture."""
    with Image.open(io.BytesIO(photo)) as image:
        grey = np.asarray(ImageOps.exif_transpose(image).convert("L"))
    soft = cv2.GaussianBlur(grey, (0, 0), BLUR_PX)
    _, mask = cv2.threshold(soft, 0, 255, cv2.THRESH_BINARY_INV | cv2.THRESH_OTSU)
    return np.asarray(mask, dtype=np.uint8)


def _contour(mask: Mask, at: tuple[float, float] | None) -> list[FloatArray]:
    """The largest contour that does not touch the frame, and its holes, in pixels."""
    contours, tree = cv2.findContours(mask, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    last = np.array(mask.shape[::-1]) - 1
    areas = [
        cv2.contourArea(contour) if (contour > 0).all() and (contour < last).all() else 0.0
        for contour in contours
    ]
    tops = [i for i in range(len(contours)) if tree[0][i][3] < 0 and areas[i] > 0]
    if at is not None:
        tops = [i for i in tops if cv2.pointPolygonTest(contours[i], at, False) >= 0]
    if not tops:
        raise PlainError("the threshold leaves no contour clear of the frame")
    best = max(tops, key=lambda i: areas[i])
    holes = [
        i
        for i in range(len(contours))
        if tree[0][i][3] == best and areas[i] > LEAST_HOLE_SHARE * areas[best]
    ]
    return [contours[i][:, 0, :].astype(np.float64) for i in (best, *holes)]


def _inscribed_circle(ring: FloatArray) -> tuple[FloatArray, float]:
    """Centre and diameter of the largest circle inside a contour, its holes filled."""
    low = ring.min(axis=0) - 2
    width, height = (ring.max(axis=0) - low + 3).astype(int)
    filled = np.zeros((height, width), dtype=np.uint8)
    cv2.fillPoly(filled, [(ring - low).astype(np.int32)], 255)
    depth = cv2.distanceTransform(filled, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    row, column = np.unravel_index(int(np.argmax(depth)), depth.shape)
    # The contour runs through the centres of pixels that still belong to the blank, while
    # the depth counts to the nearest pixel that does not.
    return np.array([column, row]) + low, 2 * float(depth[row, column]) - 1


def _valid(body: Polygon) -> Polygon:
    pieces = shapely.get_parts(make_valid(body))
    flat = [piece for part in pieces for piece in shapely.get_parts(part)]
    return max((p for p in flat if isinstance(p, Polygon)), key=lambda piece: piece.area)
