"""Read the camera's lean from the four corners of the sheet.

Opposite edges of a sheet are parallel, so their images meet in two vanishing
points; with the focal length these are two directions in the sheet, and their
cross product is its normal. The sheet's size is not used for scale, as paper
varies by a percent; its proportions only show whether this is the sheet named.
"""

from __future__ import annotations

from dataclasses import dataclass
from operator import itemgetter

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from blanktrace.background import MaskArray
from blanktrace.errors import ViewError
from blanktrace.lens import Lens

FloatArray = NDArray[np.float64]

SIDES = 4
STRAIGHT_SHARE = 0.005
"""How far the sheet's rough edge may be off a straight line, as a share of its whole length."""
MOST_ADDED = 0.03
"""Area that corners which do not show may have, as a share of the sheet's."""
REACH_SHARE = 0.012
"""How far the rough edge of the sheet may be off, as a share of the photo's long side."""

PROBES = 160
"""Places along each edge where it is looked for."""

END_SHARE = 0.06
"""Share of each edge next to a corner that is left out: corners curl."""

PROPORTION = 0.03
"""How far the proportions found may be off those named: paper, and a rough focal length."""

FRAME_PX = 2.0


@dataclass(frozen=True, eq=False)
class SheetLean:
    """A sheet's normal, from its corners.

    Attributes
    ----------
    normal : ndarray, shape (3,)
        In camera axes, pointing away from the camera.
    corners_px : ndarray, shape (4, 2)
    off_square_deg : float
        How far from a right angle the two directions came out: a check of the
        focal length, and of the sheet.
    """

    normal: FloatArray
    corners_px: FloatArray
    off_square_deg: float


def read_lean(
    rgb: NDArray[np.uint8] | NDArray[np.uint16],
    extent: MaskArray,
    *,
    sheet_mm: tuple[float, float],
    lens: Lens,
) -> SheetLean:
    """Find the sheet's corners and the lean that they show.

    Parameters
    ----------
    rgb : ndarray of uint8 or uint16, shape (H, W, 3)
        The photograph.
    extent : ndarray of bool, shape (h, w)
        Where the sheet is, in the reduced photograph.
    sheet_mm : (float, float)
        Its size; only the proportions are used.
    lens : Lens
        The camera's.

    Returns
    -------
    SheetLean

    Raises
    ------
    ViewError
        If the four corners do not show, or are not those of such a sheet.
    """
    factor = extent.shape[1] / rgb.shape[1]
    rough = (_quadrilateral(extent) + 0.5) / factor - 0.5
    height, width = rgb.shape[:2]
    inside = (rough > FRAME_PX).all() and (rough < np.array([width, height]) - FRAME_PX).all()
    if not inside:
        raise ViewError(
            "A sheet size is given, but the sheet's four corners do not all show. Retake the "
            "photo with the whole sheet in view, or leave the sheet size out."
        )
    grey = rgb.mean(axis=2, dtype=np.float32)
    lines = [
        _edge_line(grey, rough[k], rough[(k + 1) % SIDES], REACH_SHARE * max(height, width), lens)
        for k in range(SIDES)
    ]
    corners = np.array([_cross(lines[k - 1], lines[k]) for k in range(SIDES)])
    rays = np.column_stack([(corners - lens.centre_px) / lens.focal_px, np.ones(SIDES)])
    sides = [np.cross(rays[k], rays[(k + 1) % SIDES]) for k in range(SIDES)]
    first, second = (_unit(np.cross(sides[k], sides[k + 2])) for k in (0, 1))
    normal = _unit(np.cross(first, second))
    normal = normal if normal[2] > 0 else -normal
    _check_proportions(rays, normal, sheet_mm)
    off_square = abs(90.0 - float(np.degrees(np.arccos(np.clip(first @ second, -1, 1)))))
    return SheetLean(normal=normal, corners_px=corners, off_square_deg=off_square)


def _quadrilateral(extent: MaskArray) -> FloatArray:
    """Draw the sheet's hull out to four corners.

    A corner that the sheet's model does not explain, in a lamp's brightest light, is cut
    off the hull; its neighbours are drawn on until they meet again.
    """
    contours, _ = cv2.findContours(
        extent.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE
    )
    hull = cv2.convexHull(max(contours, key=cv2.contourArea))
    rough = cv2.approxPolyDP(hull, STRAIGHT_SHARE * cv2.arcLength(hull, True), True)
    corners = rough[:, 0, :].astype(np.float64)
    left = MOST_ADDED * cv2.contourArea(hull)
    while len(corners) > SIDES:
        tried = [_drawn_on(corners, number) for number in range(len(corners))]
        added, corners = min(tried, key=itemgetter(0))
        left -= added
    if len(corners) < SIDES or left < 0:
        raise ViewError(
            "A sheet size is given, but the light sheet does not show four corners. Retake the "
            "photo with the whole sheet in view, or leave the sheet size out."
        )
    return corners


def _drawn_on(corners: FloatArray, number: int) -> tuple[float, FloatArray]:
    """Leave out a side, and draw its neighbours on to where they meet; say what area that adds."""
    before, start, end, after = np.roll(corners, 1 - number, axis=0)[:SIDES]
    first, second = start - before, end - after
    turn = first[0] * second[1] - first[1] * second[0]
    ahead = ((end - start)[0] * second[1] - (end - start)[1] * second[0]) / turn if turn else -1.0
    if ahead < 0:  # they part
        return np.inf, corners[1:]
    meet = start + ahead * first
    triangle = np.array([start, meet, end], np.float32)
    others = np.roll(corners, -number, axis=0)[2:]
    return cv2.contourArea(triangle), np.vstack([meet, others])


def _edge_line(
    grey: NDArray[np.float32], start: FloatArray, end: FloatArray, reach_px: float, lens: Lens
) -> FloatArray:
    """Fit a line (a, b, c), a x + b y + c = 0, to the steepest places along a rough edge.

    The line is straight where the lens's bend is undone.
    """
    along = _unit(end - start)
    across_there = np.array([-along[1], along[0]])
    shares = np.linspace(END_SHARE, 1 - END_SHARE, PROBES)
    offsets = np.arange(-reach_px, reach_px + 1)
    places = start + shares[:, None] * (end - start)
    xy = places[:, None, :] + offsets[None, :, None] * across_there
    profiles = ndimage.map_coordinates(grey, [xy[..., 1], xy[..., 0]], order=1, mode="nearest")
    slope = np.abs(ndimage.gaussian_filter1d(profiles, 1.5, axis=1, order=1))
    peak = np.clip(np.argmax(slope, axis=1), 1, len(offsets) - 2)
    rows = np.arange(PROBES)
    left, top, right = (slope[rows, peak + k] for k in (-1, 0, 1))
    shift = offsets[peak] + (right - left) / (2 * np.maximum(2 * top - left - right, 1e-6))
    start, end = lens.straighten(np.array([start, end]))
    along = _unit(end - start)
    across = np.array([-along[1], along[0]])
    straight = lens.straighten(places + shift[:, None] * across_there) - start
    shares, shift = straight @ along / np.linalg.norm(end - start), straight @ across
    # A line through offset against share, outliers (a stack's second sheet) voted down.
    weights = top / top.max()
    for _ in range(12):
        slope_, level = np.polyfit(shares, shift, 1, w=np.sqrt(weights))
        off = np.abs(shift - slope_ * shares - level)
        weights = 1 / (1 + (off / max(1.5 * float(np.median(off)), 0.2)) ** 2) ** 2
    a = start + level * across
    b = end + (level + slope_) * across
    direction = _unit(b - a)
    normal = np.array([-direction[1], direction[0]])
    return np.array([*normal, -float(normal @ a)])


def _cross(first: FloatArray, second: FloatArray) -> FloatArray:
    point = np.cross(first, second)
    return np.asarray(point[:2] / point[2])


def _check_proportions(rays: FloatArray, normal: FloatArray, sheet_mm: tuple[float, float]) -> None:
    """Compare the sheet's proportions, seen square on, with those named."""
    plane = rays / (rays @ normal)[:, None]
    lengths = np.linalg.norm(np.roll(plane, -1, axis=0) - plane, axis=1)
    found = (lengths[0] + lengths[2]) / (lengths[1] + lengths[3])
    found = max(found, 1 / found)
    named = max(sheet_mm) / min(sheet_mm)
    if abs(found / named - 1) > PROPORTION:
        raise ViewError(
            f"The sheet's sides are as {found:.3f} to 1, but the size given makes them "
            f"{named:.3f} to 1. Check the sheet size, and that its corners lie flat."
        )


def _unit(vector: FloatArray) -> FloatArray:
    return np.asarray(vector / np.linalg.norm(vector))
