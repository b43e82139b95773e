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

from blanktrace.masks import filled

MaskArray = NDArray[np.bool_]

SHAVE_SHARE = 0.16
"""Depth shaved off the edge, as a share of the root of the area: a waist goes, a strap stays."""

PIECE_SHARE = 0.1
"""Share of the largest piece's area below which a piece is a speck."""

CORE_SHARE = 0.15
"""Share of the area that a core must keep to be a blank."""

ROUND = 0.85
"""Area over that of the circle around it of equal perimeter, for a core to be a disc's."""


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
    return tuple(owner == k for k in large)


def _is_round(core: MaskArray) -> bool:
    contours, _ = cv2.findContours(core.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    outline = max(contours, key=cv2.contourArea)
    perimeter = cv2.arcLength(cv2.convexHull(outline), True)
    return bool(4 * np.pi * cv2.contourArea(outline) / max(perimeter, 1.0) ** 2 > ROUND)
