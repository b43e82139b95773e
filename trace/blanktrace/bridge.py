"""Join a strap to its disc where the disc's shadow parts them.

A thick disc shades the end of its strap, so darkly that this end may pass for
shadow on the sheet. In line with the strap, what lies between it and the disc and
is not bare sheet is strap.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from blanktrace.background import MaskArray
from blanktrace.masks import dilated, opened

NEAR = 0.97
LONGEST = 0.25
"""Radii from the disc's centre from which a gap may begin, and its greatest length: how far the
shadow of a disc falls on its strap."""

WIDE = 0.1
"""Half the least width of a strap, over the disc's radius: a ring of wire is narrower."""

STRAP_SHARE = 0.03
ROUND = 0.85
"""Least area of a strap, over the disc's; and how much of it the largest circle within it may fill:
what is rounder is another disc."""


def bridged(blank: MaskArray, bare: MaskArray, disc_px: tuple[float, float, float]) -> MaskArray:
    """Fill the gaps between a disc and its straps.

    Parameters
    ----------
    blank, bare : ndarray of bool, shape (h, w)
        What was taken for the blank, and what is bare sheet.
    disc_px : (float, float, float)
        Centre (x, y) and radius of the disc.

    Returns
    -------
    ndarray of bool, shape (h, w)
    """
    x0, y0, radius = disc_px
    ys, xs = np.indices(blank.shape, dtype=np.float32)
    beyond = blank & (np.hypot(xs - x0, ys - y0) > radius)
    wide = max(1, round(WIDE * radius))
    straps = beyond & dilated(opened(beyond, wide), wide)
    count, labels, stats, middles = cv2.connectedComponentsWithStats(straps.astype(np.uint8))
    whole = blank.copy()
    for label in range(1, count):
        strap, area = labels == label, stats[label, cv2.CC_STAT_AREA]
        depth = float(cv2.distanceTransform(strap.astype(np.uint8), cv2.DIST_L2, 5).max())
        if area > STRAP_SHARE * np.pi * radius**2 and np.pi * depth**2 < ROUND * area:
            whole |= _gap(strap, bare & ~blank, disc_px, toward=middles[label])
    return whole


def _gap(
    strap: MaskArray,
    bare: MaskArray,
    disc_px: tuple[float, float, float],
    *,
    toward: NDArray[np.float64],
) -> MaskArray:
    """Find what lies between a disc and a strap, in line with it, if no sheet does."""
    x0, y0, radius = disc_px
    height, width = strap.shape
    # Turned so that the strap lies to the right of the disc, whose right half and as much more as
    # a gap is long is all that is looked at.
    angle = float(np.degrees(np.arctan2(toward[1] - y0, toward[0] - x0)))
    half = int(np.ceil(radius))
    size = int(np.ceil((NEAR + LONGEST) * radius)) + 1, 2 * half + 1
    turn = np.asarray(cv2.getRotationMatrix2D((x0, y0), angle, 1.0), dtype=np.float64)
    turn[:, 2] += (-x0, half - y0)
    strap, bare = (
        cv2.warpAffine(one.astype(np.uint8), turn, size, flags=cv2.INTER_NEAREST) > 0
        for one in (strap, bare)
    )
    rows, columns = np.indices(strap.shape)
    rows -= half
    rim = np.sqrt(np.maximum((NEAR * radius) ** 2 - rows**2, 0))
    strap &= (columns >= rim) & (columns <= rim + LONGEST * radius) & (np.abs(rows) < radius)
    first = np.argmax(strap, axis=1)[:, None]
    between = (columns >= rim) & (columns < first)
    between &= ~(between & bare).any(axis=1)[:, None]
    flags = cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP
    return cv2.warpAffine(between.astype(np.uint8), turn, (width, height), flags=flags) > 0
