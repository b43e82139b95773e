"""Part blanks that came out of the segmentation as one.

Blanks that only shared a shadow lie apart once it is gone. Two discs that touch come
out of the segmentation as one shape with a waist. Where shaving its edge leaves
several large round cores, each core is a blank of its own and takes what is nearest
to it.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.segmentation import watershed

from blanktrace.masks import dilated, filled, opened

MaskArray = NDArray[np.bool_]

SHAVE_SHARE = 0.16
"""Depth shaved off the edge, as a share of the root of the area: a waist goes, a strap stays."""

PIECE_SHARE = 0.1
"""Share of the largest piece's area below which a piece is a speck."""

CORE_SHARE = 0.15
"""Share of the area that a core must keep to be a blank."""

ROUND = 0.85
"""Area over that of the circle around it of equal perimeter, for a core to be a disc's."""

WAIST_OPENING, MOST_WAIST = 0.5, 0.02
"""Radius of the opening, over the depth of a disc, that takes off what was left of a waist; and how
much of the disc that may be: more is a strap that another blank touches."""


def separate_blanks(mask: MaskArray) -> tuple[MaskArray, ...]:
    """Split a mask into its pieces, and pieces that are touching discs into those.

    Parameters
    ----------
    mask : ndarray of bool, shape (h, w)

    Returns
    -------
    tuple of ndarray of bool, shape (h, w)
        Specks are left out.
    """
    count, labels, stats, _ = cv2.connectedComponentsWithStats(
        mask.astype(np.uint8), connectivity=4
    )
    areas = stats[:, cv2.CC_STAT_AREA]
    large = [k for k in range(1, count) if areas[k] > PIECE_SHARE * areas[1:].max()]
    return tuple(disc for k in large for disc in _touching_discs(labels == k))


def _touching_discs(mask: MaskArray) -> tuple[MaskArray, ...]:
    """Split a mask into its discs, if it is made of touching discs."""
    # A hole, real or where metal mirrors the sheet, is no waist.
    depth = cv2.distanceTransform(filled(mask).astype(np.uint8), cv2.DIST_L2, 5)
    shaved = depth > SHAVE_SHARE * np.sqrt(mask.sum())
    count, labels, stats, _ = cv2.connectedComponentsWithStats(shaved.astype(np.uint8))
    large = [k for k in range(1, count) if stats[k, cv2.CC_STAT_AREA] > CORE_SHARE * shaved.sum()]
    if len(large) < 2 or not all(_is_round(labels == k) for k in large):  # noqa: PLR2004
        return (mask,)
    markers = np.where(np.isin(labels, large), labels, 0)
    owner = watershed(-depth, markers.astype(np.int32), mask=mask)
    return tuple(_without_waist(owner == k, mask) for k in large)


def _without_waist(disc: MaskArray, all_discs: MaskArray) -> MaskArray:
    """Take off a disc what joined it to another: its share of their waist."""
    whole = filled(disc)
    depth = float(cv2.distanceTransform(whole.astype(np.uint8), cv2.DIST_L2, 5).max())
    beyond = whole & ~opened(whole, max(1, int(WAIST_OPENING * depth)))
    _, labels, stats, _ = cv2.connectedComponentsWithStats(beyond.astype(np.uint8))
    for label in np.unique(labels[beyond & dilated(all_discs & ~whole, 1)]):
        if stats[label, cv2.CC_STAT_AREA] < MOST_WAIST * whole.sum():
            disc = disc & (labels != label)
    return disc


def _is_round(core: MaskArray) -> bool:
    contours, _ = cv2.findContours(core.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    outline = max(contours, key=cv2.contourArea)
    perimeter = cv2.arcLength(cv2.convexHull(outline), True)
    return bool(4 * np.pi * cv2.contourArea(outline) / max(perimeter, 1.0) ** 2 > ROUND)
