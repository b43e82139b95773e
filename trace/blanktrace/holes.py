"""Tell the holes in a blank from grain and shine that look like the sheet."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from blanktrace.background import MaskArray, Picture
from blanktrace.evidence import NOISES, Evidence, grey, spread
from blanktrace.masks import dilated, eroded, filled

LIGHTEST = -0.1
"""Least mean loss of what may be sheet: so much lighter than the model only shine is."""

ROUND_HOLE = 0.55
"""Share of the circle around it that a small hole fills; streaks of grain are ragged."""

DRILLED = 0.72
DRILLED_NOISES = 3.0
"""Share of that circle that a drilled hole fills; by so round a shape alone it is half told."""

LARGE_HOLE_SHARE = 0.03
LEAST_HOLE_SHARE = 0.0008
"""Share of the blank from which a hole may have any shape, and that of a nail's."""

COMPACT_HOLE_SHARE = 0.01
COMPACT, LONGEST = 0.55, 3.0
"""Share of the blank from which a hole may be any compact shape, such as a handle's: its share of
the rectangle about it, and that one's length over its width."""

LEAST_SEEN_SHARE, SEEN_ROUND, LEAST_SURE = 0.003, 0.6, 0.33
"""Share of the blank of a hole that only the network sees, share that it fills of the circle about
it, and share of it where the network is sure, at least: a glint on metal is ragged or doubtful."""

HALF, VISIBLE = 0.5, 2.0
"""A hole of which the network sees nothing, not half in any place, is as much lighter or darker
than what lies about it at least, in the standard deviations of that: grain and dirt by up to 1."""

LEAST_COLOUR_SPREAD = 4.0
"""Of the cut's colours (8 bits)."""

LEAST_LIGHT, LIGHTEST_SHARE = 0.12, 0.1
"""Light that comes back from the sheet in the darkest hole, as a share of the bare sheet's; and the
share of a hole that shows it: a fleck on a dark strap is darker."""

LIGHTER, ABOUT_PX = 2.0, 4
"""Or it is so many times lighter than the blank within so many pixels about it, which is black."""

LEAST_HOLE_PX = 12
HOLE_LIKENESS = 0.7
"""A hole shows at least so many clear pixels, of which this share looks like sheet."""


def find_holes(
    gaps: MaskArray, whole: MaskArray, clear: MaskArray, colours: NDArray[np.uint8]
) -> MaskArray:
    """Keep the gaps in a blank that are holes, not streaks of grain as light as the sheet."""
    count, labels, stats, _ = cv2.connectedComponentsWithStats(
        gaps.astype(np.uint8), connectivity=4
    )
    holes = np.zeros(gaps.shape, dtype=bool)
    least = max(LEAST_HOLE_PX, LEAST_HOLE_SHARE * whole.sum())
    for label in range(1, count):
        x, y, w, h, area = stats[label]
        if area < least:
            continue
        box = np.s_[max(y - 4, 0) : y + h + 4, max(x - 4, 0) : x + w + 4]
        hole = labels[box] == label
        outline = _outline(hole)
        round_px = _circle_area(outline)
        large = area > LARGE_HOLE_SHARE * whole.sum()
        round_enough = area > ROUND_HOLE * round_px
        compact = area > COMPACT_HOLE_SHARE * whole.sum() and _is_compact(outline)
        if not round_enough and not compact and not large:
            continue
        if large and clear[box][hole].mean() > HOLE_LIKENESS:
            holes[box] |= filled(hole)
            continue
        about = _about(hole, 2) & ~gaps[box]
        inside, outside = colours[box][hole], colours[box][about]
        if not len(outside):
            continue
        varies = [max(spread(values), LEAST_COLOUR_SPREAD) for values in outside.T.astype(float)]
        # Where a hue lies at the end of its 8 bits, its spread does not show.
        varies[1:] = [
            max(spread(values), own) for values, own in zip(inside.T[1:], varies[1:], strict=True)
        ]
        apart = (np.median(inside, axis=0) - np.median(outside, axis=0)) / varies
        drilled = area > DRILLED * round_px
        if np.abs(apart).max() > (DRILLED_NOISES if drilled else NOISES):
            holes[box] |= filled(hole)
    return holes


def round_gaps(gaps: MaskArray, sure: MaskArray, *, blank_px: int) -> MaskArray:
    """Keep the gaps that are as round as a drilled hole, and no blank for sure over much of them.

    Parameters
    ----------
    gaps : ndarray of bool, shape (h, w)
        What in a blank is none, as the network says.
    sure : ndarray of bool, shape (h, w)
        Where it is sure of that.
    blank_px : int
        The blank's area.
    """
    count, labels, stats, _ = cv2.connectedComponentsWithStats(
        gaps.astype(np.uint8), connectivity=4
    )
    kept = np.zeros_like(gaps)
    for label in range(1, count):
        if stats[label, cv2.CC_STAT_AREA] < LEAST_SEEN_SHARE * blank_px:
            continue
        gap = labels == label
        is_round = gap.sum() > SEEN_ROUND * _circle_area(_outline(gap))
        if is_round and sure[gap].mean() > LEAST_SURE:
            kept |= gap
    return kept


def unseen_holes(mask: MaskArray, cover: Picture, loss: Picture) -> MaskArray:
    """Find the holes in a blank that show neither to the network nor in the light.

    Parameters
    ----------
    mask, cover, loss : ndarray
        As for `shade.open_shade`.

    Returns
    -------
    ndarray of bool, shape (h, w)
    """
    holes = filled(mask) & ~mask
    count, labels = cv2.connectedComponents(holes.astype(np.uint8), connectivity=4)
    lost = grey(loss)
    unseen = np.zeros_like(mask)
    for label in range(1, count):
        hole = labels == label
        if cover[hole].min() < HALF:
            continue
        beside = lost[_about(hole, ABOUT_PX)]
        if abs(float(lost[hole].mean() - beside.mean())) < VISIBLE * float(beside.std()):
            unseen |= hole
    return unseen


def _about(hole: MaskArray, width_px: int) -> MaskArray:
    """Band so wide about a hole, clear of its blurred edge."""
    return np.asarray(dilated(hole, 2 + width_px) & ~dilated(hole, 2))


def _outline(hole: MaskArray) -> NDArray[np.int32]:
    """Pixels (N, 1, 2) along the outside of what is one piece."""
    outlines, _ = cv2.findContours(hole.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    return np.asarray(outlines[0], dtype=np.int32)


def _circle_area(outline: NDArray[np.int32]) -> float:
    """Area of the circle around an outline."""
    _, radius = cv2.minEnclosingCircle(outline)
    return float(np.pi * radius**2)


def _is_compact(outline: NDArray[np.int32]) -> bool:
    """Whether an outline nearly fills a rectangle about it, and none that is long and thin."""
    _, sides, _ = cv2.minAreaRect(outline)
    filling = cv2.contourArea(outline) / max(sides[0] * sides[1], 1.0)
    return bool(filling > COMPACT and max(sides) < LONGEST * min(sides))


def showing_sheet(holes: MaskArray, evidence: Evidence) -> MaskArray:
    """Keep the holes through which some sheet shows, be it in shadow."""
    light = 1 - grey(evidence.loss)
    count, labels = cv2.connectedComponents(holes.astype(np.uint8), connectivity=4)
    kept = np.zeros_like(holes)
    for label in range(1, count):
        hole = labels == label
        about = _about(hole, ABOUT_PX)
        black = LIGHTER * float(np.median(light[about])) if about.any() else LEAST_LIGHT
        if np.quantile(light[hole], 1 - LIGHTEST_SHARE) > min(LEAST_LIGHT, black):
            kept |= hole
    return kept


def fill_unlike_sheet(mask: MaskArray, evidence: Evidence) -> MaskArray:
    """Close holes that are not plainly a view of the sheet, lit or in shadow."""
    like_sheet = ~evidence.coloured & ~evidence.textured & (grey(evidence.loss) > LIGHTEST)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(
        (~mask).astype(np.uint8), connectivity=4
    )
    result = mask.copy()
    height, width = mask.shape
    for label in range(1, count):
        x, y, w, h, _ = stats[label]
        if x == 0 or y == 0 or x + w == width or y + h == height:
            continue
        box = np.s_[y : y + h, x : x + w]
        hole = labels[box] == label
        inner = eroded(np.pad(hole, 1), 2)[1:-1, 1:-1]
        if inner.sum() < LEAST_HOLE_PX or like_sheet[box][inner].mean() < HOLE_LIKENESS:
            result[box] |= hole
    return result
