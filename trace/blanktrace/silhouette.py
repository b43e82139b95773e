"""Find the rough boundaries of the blanks in a photograph, and pick the one that is meant."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from shapely import Point, Polygon
from skimage.measure import find_contours

from blanktrace.background import MaskArray, Picture, Sheet, linear_light, model_sheet
from blanktrace.errors import ContrastError, CutOffError, NoBlankError, SeveralBlanksError
from blanktrace.lost import lost_parts
from blanktrace.matte import blank_share
from blanktrace.segment import cut_blank, find_patches
from blanktrace.separate import separate_blanks

FloatArray = NDArray[np.float64]
Pixels = NDArray[np.uint8] | NDArray[np.uint16]

REDUCED_PX = 1280
"""Long side of the reduced photograph that blanks are found in."""

CUT_PIXELS = 140_000
"""Pixels to which the surroundings of each patch are reduced for a closer look."""

MARGIN_PX = 14
"""Sheet shown around a patch, in pixels of the reduced photograph."""

ROUGH_PX = 2.5
"""How far a rough boundary may be off, in pixels of the closer look."""

CLEAR_SHARE = 0.004
"""Gap to the edge of photo or sheet that a blank needs, as a share of the long side."""

LEAST_REACH_PX = 4.0

SMALL_SHARE = 0.04
"""Share of the largest blank's area below which a find is a speck."""

FEWEST = 12
"""Points of a contour around a speck."""

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


@dataclass(frozen=True, eq=False)
class Finds:
    """What lies on a sheet.

    Attributes
    ----------
    silhouettes : tuple of Silhouette
        The largest first; at least one.
    extent : ndarray of bool, shape (h, w)
        Where the sheet is, in the reduced photograph.
    """

    silhouettes: tuple[Silhouette, ...]
    extent: MaskArray


def find_silhouettes(rgb: Pixels) -> Finds:
    """Find every blank that lies whole on the sheet.

    Parameters
    ----------
    rgb : ndarray of uint8 or uint16, shape (H, W, 3)
        The photograph.

    Returns
    -------
    Finds

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
    linear = linear_light(_shrunk(rgb, size) if factor < 1 else rgb)
    sheet = model_sheet(linear)
    patches = find_patches(linear, sheet)
    if not patches:
        raise NoBlankError(
            "Nothing stands out from the sheet. Check that the blank is in view; if it is as "
            "light as the paper, lay it on paper of another tint and retake the photo."
        )
    needed = CLEAR_SHARE * max(linear.shape)
    gaps = [_gap_px(patch, sheet) for patch in patches]
    whole = [patch for patch, gap in zip(patches, gaps, strict=True) if min(gap) >= needed]
    if not whole or patches[0].sum() > 2 * whole[0].sum():
        _refuse_cut_off(gaps[0], needed, factor)
    sized: list[Silhouette] = []
    for patch in whole:
        try:
            sized.extend(_look_closer(rgb, patch, sheet, factor))
        except ContrastError:
            if patch is whole[0]:
                raise
    if not sized:
        raise ContrastError(
            "Something stands out from the sheet, but no blank can be told from its shadow. "
            "Use softer light or paper of another tint, and retake the photo."
        )
    largest = max(one.area_px2 for one in sized)
    kept = [one for one in sized if one.area_px2 >= SMALL_SHARE * largest]
    return Finds(tuple(sorted(kept, key=lambda one: -one.area_px2)), sheet.extent)


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


def nearest_to(silhouettes: tuple[Silhouette, ...], place_px: FloatArray) -> int:
    """Index of the silhouette whose middle is nearest to a place in the photo."""
    return min(
        range(len(silhouettes)),
        key=lambda index: float(np.hypot(*(np.array(_middle(silhouettes[index])) - place_px))),
    )


def _gap_px(mask: MaskArray, sheet: Sheet) -> tuple[float, float, float, float, float]:
    """Gaps to the photo's left, right, top and bottom edge, and to the sheet's edge."""
    ys, xs = np.nonzero(mask)
    height, width = mask.shape
    off_sheet = cv2.distanceTransform(sheet.extent.astype(np.uint8), cv2.DIST_L2, 5)
    return (
        float(xs.min()),
        float(width - 1 - xs.max()),
        float(ys.min()),
        float(height - 1 - ys.max()),
        float(off_sheet[mask].min()),
    )


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


def _look_closer(rgb: Pixels, patch: MaskArray, sheet: Sheet, factor: float) -> list[Silhouette]:
    """Cut one patch out of the photograph at a finer scale: one blank, or touching discs."""
    ys, xs = np.nonzero(patch)
    top, left = max(0, ys.min() - MARGIN_PX), max(0, xs.min() - MARGIN_PX)
    bottom, right = ys.max() + 1 + MARGIN_PX, xs.max() + 1 + MARGIN_PX
    coarse = np.s_[top:bottom, left:right]
    x0, y0 = round(left / factor), round(top / factor)
    crop = rgb[y0 : round(bottom / factor), x0 : round(right / factor)]
    closer = min(1.0, float(np.sqrt(CUT_PIXELS / (crop.shape[0] * crop.shape[1]))))
    size = (round(crop.shape[1] * closer), round(crop.shape[0] * closer))
    linear = linear_light(_shrunk(crop, size))
    near = Sheet(
        log_light=_enlarged(sheet.log_light[coarse], size),
        bare=_enlarged(sheet.bare[coarse], size),
        extent=_enlarged(sheet.extent[coarse], size),
        noise=sheet.noise,
    )
    if not near.bare.any():
        # Without bare sheet about it, nothing tells the blank from what else is there.
        return []
    near_patch = _enlarged(patch[coarse], size)
    mask = cut_blank(linear, near, near_patch)
    if not mask.any():
        return []
    _refuse_lost_parts(mask, near_patch)
    light = np.exp(np.median(near.log_light[mask], axis=0)).astype(np.float64)
    loss = np.asarray(1 - linear / np.exp(near.log_light), dtype=np.float32)
    return [
        Silhouette(
            rings_px=tuple(
                ring + (x0, y0) for ring in _rings(blank_share(loss, one, clear=~mask), closer)
            ),
            reach_px=max(ROUGH_PX / closer, LEAST_REACH_PX),
            light=light,
        )
        for one in separate_blanks(mask)
    ]


def _shrunk(rgb: Pixels, size: tuple[int, int]) -> Pixels:
    """Average a photograph down to a size (width, height), its values stored as they were."""
    smaller = cv2.resize(rgb, size, interpolation=cv2.INTER_AREA)
    if rgb.dtype == np.uint8:
        return np.asarray(smaller, dtype=np.uint8)
    return np.asarray(smaller, dtype=np.uint16)


def _refuse_lost_parts(mask: MaskArray, patch: MaskArray) -> None:
    """Refuse where something beyond the disc is neither blank nor its shadow."""
    lost = lost_parts(mask, patch)
    if lost.any():
        raise ContrastError(
            f"Something beyond the disc, {lost.sum() / mask.sum():.0%} of its size, could not be "
            "told from the sheet: perhaps a ring or a strap as light as the paper. Use paper of "
            "another tint, or softer light, and retake the photo."
        )


def _enlarged(picture: NDArray[Any], size: tuple[int, int]) -> NDArray[Any]:
    if picture.dtype == np.bool_:
        return cv2.resize(picture.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_LINEAR))


def _rings(share: Picture, factor: float) -> tuple[FloatArray, ...]:
    """Trace a blank's outer ring and holes, in pixels of the picture it was reduced from."""
    lines = find_contours(share, 0.5)
    rings = [(line[:-1, ::-1] + 0.5) / factor - 0.5 for line in lines if len(line) > FEWEST]
    areas = [abs(_signed_area(ring)) for ring in rings]
    outer = int(np.argmax(areas))
    least = LEAST_HOLE_SHARE * areas[outer]
    inside = Polygon(rings[outer])
    holes = [
        ring
        for i, ring in enumerate(rings)
        if i != outer and areas[i] >= least and inside.covers(Point(ring[0]))
    ]
    return tuple(
        ring if (_signed_area(ring) > 0) == (index == 0) else ring[::-1]
        for index, ring in enumerate([rings[outer], *holes])
    )


def _signed_area(ring: FloatArray) -> float:
    x, y = ring.T
    return float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y)) / 2


def _middle(one: Silhouette) -> tuple[float, float]:
    point = Polygon(one.rings_px[0]).representative_point()
    return float(point.x), float(point.y)
