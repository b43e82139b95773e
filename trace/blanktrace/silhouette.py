"""Find the rough boundaries of the blanks in a photograph, and pick the one that is meant."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from shapely import Point, Polygon

from blanktrace.background import MaskArray, Sheet, linear_light, model_sheet
from blanktrace.errors import CutOffError, NoBlankError, SeveralBlanksError
from blanktrace.segment import find_blanks

FloatArray = NDArray[np.float64]

REDUCED_PX = 1280
"""Long side of the reduced photograph that blanks are found in."""

ROUGH_PX = 2.5
"""How far a rough boundary may be off, in pixels of the reduced photograph."""

CLEAR_SHARE = 0.004
"""Gap to the edge of photo or sheet that a blank needs, as a share of the long side."""

LEAST_HOLE_SHARE = 4e-4
"""Holes smaller than this share of the blank are specks."""


@dataclass(frozen=True, eq=False)
class Silhouette:
    """One blank's rough boundary in the full photograph.

    Attributes
    ----------
    rings_px : tuple of ndarray, shape (N, 2)
        Outer ring first, then holes; the outer one turns from x towards y, the
        holes the other way.
    reach_px : float
        How far the rings may be off.
    light : ndarray, shape (3,)
        Linear light of the bare sheet about the blank.
    """

    rings_px: tuple[FloatArray, ...]
    reach_px: float
    light: FloatArray

    @property
    def area_px2(self) -> float:
        """Area inside the outer ring."""
        return float(Polygon(self.rings_px[0]).area)


def find_silhouettes(rgb: NDArray[np.uint8] | NDArray[np.uint16]) -> tuple[Silhouette, ...]:
    """Find every blank that lies whole on the sheet.

    Parameters
    ----------
    rgb : ndarray of uint8 or uint16, shape (H, W, 3)
        The photograph.

    Returns
    -------
    tuple of Silhouette
        The largest first; at least one.

    Raises
    ------
    NoBlankError
        If there is no sheet, or nothing stands out from it.
    CutOffError
        If the largest thing on the sheet runs into its edge or the photo's.
    """
    height, width = rgb.shape[:2]
    factor = min(1.0, REDUCED_PX / max(height, width))
    size = (round(width * factor), round(height * factor))
    reduced = cv2.resize(rgb, size, interpolation=cv2.INTER_AREA) if factor < 1 else rgb
    linear = linear_light(reduced)
    sheet = model_sheet(linear)
    masks = find_blanks(linear, sheet)
    if not masks:
        raise NoBlankError(
            "Nothing stands out from the sheet. Check that the blank is in view; if it is as "
            "light as the paper, lay it on paper of another tint and retake the photo."
        )
    gaps = [_gap_px(mask, sheet) for mask in masks]
    needed = CLEAR_SHARE * max(reduced.shape)
    whole = [mask for mask, gap in zip(masks, gaps, strict=True) if min(gap) >= needed]
    if not whole or masks[0].sum() > 2 * whole[0].sum():
        _refuse_cut_off(gaps[0], needed, factor)
    return tuple(_silhouette(mask, factor, sheet) for mask in whole)


def choose(silhouettes: tuple[Silhouette, ...], *, at: tuple[float, float] | None) -> int:
    """Pick the blank that is meant.

    Parameters
    ----------
    silhouettes : tuple of Silhouette
    at : (float, float) or None
        A place on the blank in photo pixels, where several are in view.

    Returns
    -------
    int
        Index of the silhouette.

    Raises
    ------
    SeveralBlanksError
        If several are in view and no place is given.
    NoBlankError
        If no blank lies at the place given.
    """
    if at is None:
        if len(silhouettes) > 1:
            places = "; ".join(f"{x:.0f},{y:.0f}" for x, y in map(_middle, silhouettes))
            raise SeveralBlanksError(
                f"{len(silhouettes)} blanks are in view, at {places} (photo pixels), and one is "
                "expected. Name one with --at X,Y, or trace them all with --every."
            )
        return 0
    point = Point(at)
    hulls = [Polygon(one.rings_px[0]).buffer(one.reach_px) for one in silhouettes]
    for index, hull in enumerate(hulls):
        if hull.covers(point):
            return index
    nearest = min(range(len(hulls)), key=lambda index: hulls[index].distance(point))
    x, y = _middle(silhouettes[nearest])
    raise NoBlankError(
        f"No blank lies at {at[0]:.0f},{at[1]:.0f}; the nearest is at {x:.0f},{y:.0f}. "
        "Give a place on the blank in photo pixels."
    )


def _gap_px(mask: MaskArray, sheet: Sheet) -> tuple[float, float, float, float, float]:
    """Gaps to the photo's left, right, top and bottom edge, and to the sheet's edge."""
    ys, xs = np.nonzero(mask)
    height, width = mask.shape
    off_sheet = cv2.distanceTransform(sheet.extent.astype(np.uint8), cv2.DIST_L2, 5)
    frame = (xs.min(), width - 1 - xs.max(), ys.min(), height - 1 - ys.max())
    return (*map(float, frame), float(off_sheet[mask].min()))


def _refuse_cut_off(gap: tuple[float, ...], needed: float, factor: float) -> None:
    sides = (
        "left edge of the photo",
        "right edge of the photo",
        "top edge of the photo",
        "bottom edge of the photo",
        "edge of the sheet",
    )
    worst = int(np.argmin(gap[:4])) if min(gap[:4]) < needed else 4
    raise CutOffError(
        f"The blank touches the {sides[worst]} ({gap[worst] / factor:.0f} px gap, "
        f"{needed / factor:.0f} needed). Retake it with more plain sheet around the blank."
    )


def _silhouette(mask: MaskArray, factor: float, sheet: Sheet) -> Silhouette:
    contours, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    rings = [(contour[:, 0, :].astype(np.float64) + 0.5) / factor - 0.5 for contour in contours]
    areas = [abs(_signed_area(ring)) for ring in rings]
    outer = int(np.argmax(areas))
    least = LEAST_HOLE_SHARE * areas[outer]
    kept = [rings[outer]] + [
        ring for index, ring in enumerate(rings) if index != outer and areas[index] >= least
    ]
    turned = tuple(
        ring if (_signed_area(ring) > 0) == (index == 0) else ring[::-1]
        for index, ring in enumerate(kept)
    )
    light = np.exp(np.median(sheet.log_light[mask], axis=0)).astype(np.float64)
    return Silhouette(rings_px=turned, reach_px=max(ROUGH_PX / factor, 4.0), light=light)


def _signed_area(ring: FloatArray) -> float:
    x, y = ring.T
    return float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y)) / 2


def _middle(one: Silhouette) -> tuple[float, float]:
    point = Polygon(one.rings_px[0]).representative_point()
    return float(point.x), float(point.y)
