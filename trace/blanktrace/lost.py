"""Find what hangs on a disc and was not kept, and put a ring back.

Beyond a disc its shadow reaches only so far, and only one way. What stands out
from the sheet there and is no part of the blank, is a strap or a ring that looks
like the sheet or its shadow. A ring may be found by its shape all the same.
"""

from __future__ import annotations

import cv2
import numpy as np

from blanktrace.background import MaskArray, Sheet
from blanktrace.evidence import Evidence
from blanktrace.masks import dilated, opened
from blanktrace.ring import find_ring

BODY_SHARE = 0.6
ROUND_BODY = 0.2
"""Depth that shaves straps off, as a share of the greatest; and how far the area of what is
left, its rim put back, may be from that of a disc."""

RING_REACH = 1.08
"""Radii from a disc's centre beyond which the edges of a ring may lie."""

SHADOW_REACH = 1.5
"""Radii from a disc's centre beyond which its shadow does not fall."""

LOST_REACH = 0.2
LOST_SHARE = 0.008
"""What lies there farther off the blank than this, in radii, is no shadow of a strap; and the
share of the blank's area that is too much to be dirt."""

BLANK_SHARE = 0.1
"""Share of the largest piece's area from which a piece may be a blank of its own."""

SWEEP_PX = 40
SWEEPS = 48
"""Side of a blank, in pixels of the picture in which its shadow is tried, and directions."""

CAST_SHARE = 0.9
CAST_ASTRAY = 0.05
"""A shadow explains what seems lost if it covers so much of it, and no more than this share
of the blank falls where the sheet is bare."""

FILLED_SHARE = 0.7
"""Share of a would-be ring's hole that the blank fills, beyond which it is none."""


def lost_parts(mask: MaskArray, patch: MaskArray) -> MaskArray:
    """Find what hangs beyond a disc, too far off to be its shadow, and was not kept.

    Parameters
    ----------
    mask : ndarray of bool, shape (h, w)
        The blank that was cut out.
    patch : ndarray of bool, shape (h, w)
        What stood out from the sheet there.

    Returns
    -------
    ndarray of bool, shape (h, w)
        Empty where there is too little to matter, or no disc.
    """
    nothing = np.zeros_like(mask)
    if not mask.any():
        return nothing
    main = _large_pieces(mask)
    away = cv2.distanceTransform((~main).astype(np.uint8), cv2.DIST_L2, 5)
    reach = LOST_REACH * np.sqrt(main.sum() / np.pi)
    lost = _beyond_disc(main, patch) & (away > reach)
    if lost.sum() <= LOST_SHARE * main.sum() or _cast(main, patch, lost):
        return nothing
    return np.asarray(lost)


def with_ring(
    mask: MaskArray, patch: MaskArray, evidence: Evidence, sheet: Sheet
) -> MaskArray | None:
    """Put the ring that hangs on a disc into its place; None if there is none."""
    disc_px = disc_of(mask)
    if disc_px is None:
        return None
    x0, y0, radius = disc_px
    ys, xs = np.indices(mask.shape, dtype=np.float32)
    beyond = (patch | mask) & (np.hypot(xs - x0, ys - y0) > RING_REACH * radius)
    if beyond.sum() < LOST_SHARE * mask.sum():
        return None
    ring = find_ring(
        evidence.loss, dilated(beyond, 3), sheet.bare & ~dilated(patch, 3), disc_px=disc_px
    )
    if ring is None:
        return None
    away = np.hypot(xs - ring.x_px, ys - ring.y_px)
    span = np.hypot(ring.x_px - x0, ring.y_px - y0)
    onward = ((xs - ring.x_px) * (ring.x_px - x0) + (ys - ring.y_px) * (ring.y_px - y0)) / span
    hole = away < ring.inner_px
    if mask[hole & (onward > 0)].mean() > 1 - FILLED_SHARE and mask[hole].mean() > FILLED_SHARE:
        return None
    wire = (away <= ring.outer_px) & ~hole
    return np.asarray((mask & ((onward < 0) | wire)) | wire)


def _large_pieces(mask: MaskArray) -> MaskArray:
    """Leave out what is too small to be a blank of its own."""
    _, labels, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8), connectivity=4)
    areas = stats[1:, cv2.CC_STAT_AREA]
    return np.isin(labels, 1 + np.flatnonzero(areas > BLANK_SHARE * areas.max()))


def _beyond_disc(mask: MaskArray, patch: MaskArray) -> MaskArray:
    """Find what a disc's shadow cannot reach: straps and rings, whatever their colour.

    Empty where the blank's body is no disc.
    """
    disc_px = disc_of(mask)
    if disc_px is None:
        return np.zeros_like(mask)
    x0, y0, radius = disc_px
    ys, xs = np.indices(mask.shape, dtype=np.float32)
    return np.asarray(patch & (np.hypot(xs - x0, ys - y0) > SHADOW_REACH * radius))


def disc_of(mask: MaskArray) -> tuple[float, float, float] | None:
    """Centre and radius of the disc that a mask's body is; None if it is none."""
    depth = cv2.distanceTransform(mask.astype(np.uint8), cv2.DIST_L2, 5)
    radius = float(depth.max())
    # What is left of the blank after straps were shaved off, with its rim put back.
    core = depth > BODY_SHARE * radius
    away = cv2.distanceTransform((~core).astype(np.uint8), cv2.DIST_L2, 5)
    area = float((away <= BODY_SHARE * radius).sum())
    if not mask.any() or abs(area / (np.pi * radius**2) - 1) > ROUND_BODY:
        return None
    y0, x0 = (float(values.mean()) for values in np.nonzero(core))
    return x0, y0, radius


def _cast(mask: MaskArray, patch: MaskArray, lost: MaskArray) -> bool:
    """Whether the blank's shadow, in some one direction, explains what seems lost.

    A shadow is the blank swept along the floor away from the light; if it fell there,
    it fell all the way. The disc, which stands higher than what hangs on it, casts a longer one.
    """
    step = max(1, round(float(np.sqrt(mask.sum())) / SWEEP_PX))
    body = opened(mask, round(BODY_SHARE * float(np.sqrt(mask.sum() / np.pi))))
    mask, body, patch, lost = (_padded(one[::step, ::step]) for one in (mask, body, patch, lost))
    unlike = ~(dilated(patch, 1) | mask)
    longest = int(2 * np.sqrt(mask.sum() / np.pi))
    for angle in np.arange(SWEEPS) * 2 * np.pi / SWEEPS:
        swept, reached = mask, 0
        for casting in (mask, body):
            for length in range(reached + 1, longest):
                dx, dy = round(length * np.cos(angle)), round(length * np.sin(angle))
                farther = swept | np.roll(casting, (dy, dx), (0, 1))
                if (farther & unlike).sum() > CAST_ASTRAY * mask.sum():
                    break
                swept, reached = farther, length
                if (swept & lost).sum() > CAST_SHARE * lost.sum():
                    return True
    return False


def _padded(mask: MaskArray) -> MaskArray:
    return np.pad(mask, max(mask.shape))
