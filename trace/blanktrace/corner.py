"""Give back the sharp corners that blur rounded off.

A blurred tip is short: its half-level line turns round before the tip, the more so
the sharper it is. The straight flanks on either side are hardly touched, and meet
where the corner was. A corner is restored where its rounding is no larger than blur
explains; where it is larger, only a slim tip that the photograph shows beyond it, so that
real radii stay.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from blanktrace.profiles import Pixels, loss_at
from blanktrace.turns import turns_rad

FloatArray = NDArray[np.float64]

FLANK_BLURS = 9.0
LEAST_FLANK_PX = 18.0
"""Length of flank that a corner's sides are taken from."""

ROUNDED_BLURS = 3.0
LEAST_ROUNDED_PX = 7.5
"""Length to either side of a corner that blur may have bent."""

LEAST_TURN_RAD = 0.7
"""Turn between the flanks below which blur moves a corner by too little to matter."""

STRAIGHT_PX = 0.5
"""Root mean square by which a flank may leave its line."""

RETREAT_BLURS, RETREAT_PX = 1.0, 0.9
"""How far blur draws back a tip, over the cosine of half its angle, and noise besides. Found by
locating wedges of 45 to 135 degrees, blurred by 0.8 to 3 px."""

FARTHEST_BLURS, FARTHEST_PX = 0.85, 2.2
"""How far a slim tip may be drawn back, over the sine of half its angle: a rough boundary leaves
such a tip out."""

SLIM_RAD = 1.33
"""Angle up to which a tip is slim."""

BEYOND_BLURS, BEYOND_PX = 2.0, 1.0
"""How far beyond a tip its other side is looked at."""


def restore_corners(
    rgb: Pixels, ring_px: FloatArray, *, light: FloatArray, spacing_px: float, blur_px: float
) -> tuple[FloatArray, tuple[int, ...]]:
    """Sharpen the corners of a located boundary.

    Parameters
    ----------
    rgb : ndarray of uint8 or uint16, shape (H, W, 3)
        The full photograph, sRGB.
    ring_px : ndarray, shape (N, 2)
        Evenly spaced boundary points in order.
    light : ndarray, shape (3,)
        Linear light of the bare sheet.
    spacing_px : float
        Their distance.
    blur_px : float
        Standard deviation of the blur.

    Returns
    -------
    ring_px : ndarray, shape (N, 2)
        The same ring, points near each sharp corner laid on its flanks.
    corners : tuple of int
        The points that are sharp corners, rising.
    """
    rounded = max(1, round(max(ROUNDED_BLURS * blur_px, LEAST_ROUNDED_PX) / spacing_px))
    flank = max(4, round(max(FLANK_BLURS * blur_px, LEAST_FLANK_PX) / spacing_px))
    ring = ring_px.copy()
    if len(ring) < 4 * (rounded + flank):
        return ring, ()
    sharp = []
    for corner in _corners(ring_px, rounded, flank):
        before = np.take(ring_px, range(corner - rounded - flank, corner - rounded), 0, mode="wrap")
        after = np.take(
            ring_px, range(corner + rounded + 1, corner + rounded + flank + 1), 0, mode="wrap"
        )
        tip = _meeting(before, after)
        if tip is None or not _is_sharp(
            rgb, tip, ring_px[corner], (before, after), light=light, blur_px=blur_px
        ):
            continue
        span = np.arange(1, rounded + 1)
        rise = (span / (rounded + 1))[:, None]
        ring[(corner - rounded - 1 + span) % len(ring)] = before[-1] * (1 - rise) + tip * rise
        ring[(corner + rounded + 1 - span) % len(ring)] = after[0] * (1 - rise) + tip * rise
        ring[corner] = tip
        sharp.append(corner)
    return ring, tuple(sharp)


def _corners(ring: FloatArray, rounded: int, flank: int) -> list[int]:
    """Find where the ring turns most: indices, each the sharpest of its surroundings."""
    half = rounded + flank // 2
    turn = np.abs(turns_rad(ring, half))
    sharpest = turn == ndimage.maximum_filter1d(turn, 2 * half + 1, mode="wrap")
    return [int(i) for i in np.flatnonzero(sharpest & (turn > LEAST_TURN_RAD))]


def _meeting(before: FloatArray, after: FloatArray) -> FloatArray | None:
    """Where the lines of two flanks cross; None where a flank is not straight."""
    lines = []
    for side in (before, after):
        centre = side.mean(axis=0)
        _, spread, axes = np.linalg.svd(side - centre, full_matrices=False)
        if spread[1] / np.sqrt(len(side)) > STRAIGHT_PX:
            return None
        lines.append((centre, axes[0]))
    (p, u), (q, v) = lines
    cross = u[0] * v[1] - u[1] * v[0]
    if abs(cross) < np.sin(LEAST_TURN_RAD) / 2:
        return None
    offset = q - p
    return np.asarray(p + u * (offset[0] * v[1] - offset[1] * v[0]) / cross)


def _is_sharp(
    rgb: Pixels,
    tip: FloatArray,
    found: FloatArray,
    flanks: tuple[FloatArray, FloatArray],
    *,
    light: FloatArray,
    blur_px: float,
) -> bool:
    """Say whether a corner lies ahead of both flanks, as far as blur explains or light shows."""
    before, after = flanks
    u, v = tip - before[-1], tip - after[0]
    if not (u @ (before[-1] - before[0]) > 0 and v @ (after[0] - after[-1]) > 0):
        return False
    cosine = float(u @ v / max(np.linalg.norm(u) * np.linalg.norm(v), 1e-9))
    half_cosine, half_sine = np.sqrt((1 + cosine) / 2), np.sqrt(max((1 - cosine) / 2, 1e-6))
    retreat = np.hypot(*(tip - found))
    if retreat < RETREAT_BLURS * blur_px * half_cosine + RETREAT_PX:
        return True
    if half_sine > np.sin(SLIM_RAD / 2):
        return False
    within = (before[-1] + after[0]) / 2
    farthest = (FARTHEST_BLURS * blur_px + FARTHEST_PX) / half_sine
    return bool(retreat < farthest) and _shows(
        rgb, tip, found, within, light=light, blur_px=blur_px
    )


def _shows(
    rgb: Pixels,
    tip: FloatArray,
    found: FloatArray,
    within: FloatArray,
    *,
    light: FloatArray,
    blur_px: float,
) -> bool:
    """Say whether short of a tip the photograph is like within the corner or like beyond it."""
    out = (tip - within) / max(float(np.hypot(*(tip - within))), 1e-9)
    beyond = tip + (BEYOND_BLURS * blur_px + BEYOND_PX) * out
    inner, here, outer = loss_at(rgb, np.stack([within, (tip + found) / 2, beyond])[None], light)[0]
    step = inner - outer
    return bool((here - outer) @ step > (step @ step) / 2)
