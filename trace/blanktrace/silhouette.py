"""Find the rough boundaries of the blanks in a photograph, and pick the one that is meant."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from shapely import Point, Polygon
from skimage.measure import find_contours

from blanktrace.agree import HALF, SEAM_PX, blank_in
from blanktrace.background import MaskArray, Picture, Sheet, linear_light, model_sheet
from blanktrace.close_up import Pixels, close_up, shrunk
from blanktrace.cover import Cover, blank_cover
from blanktrace.errors import ContrastError, CutOffError, NoBlankError, SeveralBlanksError
from blanktrace.lost import lost_parts
from blanktrace.masks import opened
from blanktrace.matte import blank_share
from blanktrace.segment import find_patches
from blanktrace.separate import separate_blanks

FloatArray = NDArray[np.float64]

REDUCED_PX = 1280
"""Long side of the reduced photograph that blanks are found in."""

MARGINS_PX = (14, 56)
"""Sheet shown around a patch, in pixels of the reduced photograph; more where part of the blank is
as light as the sheet, and so no part of the patch."""

ROUGH_PX = 2.5
"""How far a rough boundary may be off, in pixels of the closer look."""

CLEAR_SHARE = 0.004
"""Gap to the edge of photo or sheet that a blank needs, as a share of the long side."""

LEAST_REACH_PX = 4.0

SMALL_SHARE = 0.04
"""Share of the largest blank's area below which a find is a speck."""

FEWEST = 12
"""Points of a contour around a speck."""

DOUBTFUL, MOST_DOUBTFUL = 0.15, 0.5
"""Cover, and what is missing to 1, from which a place may be blank or not; and how much of that
there may be, as a share of the blank."""

MOST_LOST = 0.004
"""How much of what may be blank there may be beyond a disc, as a share of the blank: shadow and
dirt have a third of it, straps and rings that were lost twice as much or more."""

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
    cover : Cover
        How much of each place about it is blank, as the network says.
    """

    rings_px: tuple[FloatArray, ...]
    reach_px: float
    light: FloatArray
    cover: Cover

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


@dataclass(frozen=True, eq=False)
class Reduced:
    """The sheet and the patches (h, w) that stand out from it, in the reduced photograph."""

    sheet: Sheet
    patches: tuple[MaskArray, ...]


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
    reduced = stands_out(rgb)
    sheet, patches = reduced.sheet, reduced.patches
    if not patches:
        raise NoBlankError(
            "Nothing stands out from the sheet. Check that the blank is in view; if it is as "
            "light as the paper, lay it on paper of another tint and retake the photo."
        )
    needed = CLEAR_SHARE * max(sheet.bare.shape)
    gaps = [_gap_px(patch, sheet) for patch in patches]
    whole = [patch for patch, gap in zip(patches, gaps, strict=True) if min(gap) >= needed]
    if not whole or patches[0].sum() > 2 * whole[0].sum():
        _refuse_cut_off(gaps[0], needed, sheet.bare.shape[1] / rgb.shape[1])
    sized: list[Silhouette] = []
    for patch in whole:
        try:
            sized.extend(_cut_out(rgb, patch, sheet))
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


def stands_out(rgb: Pixels) -> Reduced:
    """Reduce a photograph, and find the sheet and what stands out from it.

    Raises
    ------
    NoBlankError
        If there is no sheet.
    """
    height, width = rgb.shape[:2]
    factor = min(1.0, REDUCED_PX / max(height, width))
    size = (round(width * factor), round(height * factor))
    linear = linear_light(shrunk(rgb, size) if factor < 1 else rgb)
    sheet = model_sheet(linear)
    return Reduced(sheet, find_patches(linear, sheet))


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


def _cut_out(rgb: Pixels, patch: MaskArray, sheet: Sheet) -> list[Silhouette]:
    """Cut one patch out of the photograph at a finer scale: one blank, or touching discs."""
    for margin_px in MARGINS_PX:
        near = close_up(rgb, patch, sheet, margin_px=margin_px)
        if not near.sheet.bare.any():
            # Without bare sheet about it, nothing tells the blank from what else is there.
            return []
        cover = blank_cover(near)
        mask = blank_in(near, cover.share)
        if not (mask[[0, -1]].any() or mask[:, [0, -1]].any()):
            break
    else:
        raise ContrastError(
            "The blank could not be told from the sheet: part of what looks like it goes on far "
            "beyond what stands out. Use paper of another tint, or softer light, and retake the "
            "photo."
        )
    if not mask.any():
        return []
    _refuse_doubt(cover.share, mask)
    _refuse_lost_parts(mask, near.patch, cover.share)
    light = np.exp(np.median(near.sheet.log_light[mask], axis=0)).astype(np.float64)
    shares = [blank_share(1 - near.share, one, clear=~mask) for one in separate_blanks(mask)]
    return [
        Silhouette(
            rings_px=tuple(map(near.onto_photo, _rings(share))),
            reach_px=max(ROUGH_PX / near.factor, LEAST_REACH_PX),
            light=light,
            cover=cover,
        )
        for share in shares
    ]


def _refuse_doubt(cover: Picture, mask: MaskArray) -> None:
    """Refuse where the network tells too little."""
    doubtful = opened((cover > DOUBTFUL) & (cover < 1 - DOUBTFUL), SEAM_PX)
    share = doubtful.sum() / mask.sum()
    if share > MOST_DOUBTFUL:
        raise ContrastError(
            f"The blank could not be told from the sheet and from its shadow: an area of "
            f"{share:.0%} of its size may be either ({MOST_DOUBTFUL:.0%} allowed). Use paper of "
            "another tint, or softer light, and retake the photo."
        )


def _refuse_lost_parts(mask: MaskArray, patch: MaskArray, cover: Picture) -> None:
    """Refuse where something beyond the disc is neither blank nor, for sure, its shadow."""
    lost = lost_parts(mask, patch) & (cover > DOUBTFUL)
    if lost.sum() > MOST_LOST * mask.sum():
        raise ContrastError(
            f"Something beyond the disc, {lost.sum() / mask.sum():.0%} of its size, could not be "
            "told from the sheet: perhaps a ring or a strap as light as the paper. Use paper of "
            "another tint, or softer light, and retake the photo."
        )


def _rings(share: Picture) -> tuple[FloatArray, ...]:
    """Trace a blank's outer ring and holes."""
    rings = [line[:-1, ::-1] for line in find_contours(share, HALF) if len(line) > FEWEST]
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
