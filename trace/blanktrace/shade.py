"""Tell dark blank from shade, where the cut and the network differ, by what borders on it.

Where a disc's shadow falls across its strap there is blank on either side, and the dark place
is blank whichever of the two misses it. Where a dark place lies open to the sheet and the
network sees no blank in it, the cut has followed the shadow of a blank that is as dark;
unless it is what makes a disc round, for metal mirrors what is dark, too.
"""

from __future__ import annotations

from collections.abc import Iterator

import cv2
import numpy as np

from blanktrace.background import MaskArray, Picture
from blanktrace.ellipse import FEWEST_POINTS, fit_ellipse
from blanktrace.errors import NoDiscError
from blanktrace.evidence import grey
from blanktrace.masks import closed, dilated, filled, opened

SEEN, SHADE_LOSS = 0.5, 0.2
"""Share of blank that the network sees in shade at most, and share of the sheet's light that is
missing there at least: what is lighter may be bright metal, which the network takes for sheet."""

AS_DARK, ROUND_ABOUT = 0.7, 0.5
"""Light that is missing in shade, over what is missing on the blank, at least; and the share of the
blank's outline that shade lies along at most: what is less dark or goes all round is blur."""

LEAST_SHADE = 0.0035
"""Share of the blank that shade has at least: on steel smaller dark places are the blank's own."""

OPEN, SLIVER_PX = 0.39, 3
"""Share of what borders on shade that is no blank, but for slivers such as a shadow's rim: across
most straps it is below 0.3."""

LEAST_SIDE, ALIKE = 0.2, 0.7
"""Across a narrow strap, though, shade has blank on two sides: each is so much of what borders on
it, and the shorter so much of the longer one."""

ROUND = 0.02
"""How far a disc's outline is off an ellipse at most (root mean square), in its radii."""

HALF_SEEN, DARK_LOSS, LEAST_SHADED = 0.25, 0.5, 0.001
"""Share of blank that the network sees in shaded blank at least, share of the sheet's light that is
missing there at least, and share of the blank that it has at least."""

SURE, ENCLOSED = 0.8, 0.5
"""Share of blank from which the network is sure, and share of what borders on shaded blank that is
sure to be blank. Beside a shadow's edge it is less."""

BORDER_PX, OUTLINE_PX, SEAM_PX = 3, 3, 2


def open_shade(mask: MaskArray, cover: Picture, loss: Picture) -> tuple[MaskArray, ...]:
    """Find the pieces of shade in what was taken for a blank, the largest first.

    Parameters
    ----------
    mask : ndarray of bool, shape (h, w)
        What was taken for a blank.
    cover : ndarray of float32, shape (h, w)
        How much of each pixel is blank, as the network says.
    loss : ndarray of float32, shape (h, w, 3)
        Share of the bare sheet's light that is missing, per channel.

    Returns
    -------
    tuple of ndarray of bool, shape (h, w)
        None where they go all round, or make a disc round.
    """
    lost = grey(loss)
    dark = lost > max(SHADE_LOSS, AS_DARK * float(np.median(lost[mask])))
    pieces = tuple(
        piece
        for piece in _pieces(dark & mask & (cover < SEEN), LEAST_SHADE * mask.sum())
        if _is_open(piece, mask)
    )
    if not pieces:
        return ()
    shade = np.any(pieces, axis=0)
    whole = filled(mask)
    outline = whole & dilated(~whole, 1)
    all_round = np.mean(dilated(shade, BORDER_PX)[outline]) > ROUND_ABOUT
    return () if all_round or _makes_round(shade, mask) else pieces


def with_shaded_blank(mask: MaskArray, cover: Picture, loss: Picture) -> MaskArray:
    """Add to a blank what lies in shade between parts of it, its holes left open.

    Parameters
    ----------
    mask, cover, loss : ndarray
        As for `open_shade`.

    Returns
    -------
    ndarray of bool, shape (h, w)
    """
    sure = mask & (cover > SURE)
    dark = ~filled(mask) & (grey(loss) > DARK_LOSS)
    shaded = [
        piece
        for piece in _pieces(dark & (cover > HALF_SEEN), LEAST_SHADED * mask.sum())
        if np.mean(sure[_border(piece, BORDER_PX)]) > ENCLOSED
    ]
    if not shaded:
        return mask
    whole = closed(mask | np.any(shaded, axis=0), SEAM_PX)
    return whole | (filled(whole) & dark)


def _is_open(piece: MaskArray, mask: MaskArray) -> bool:
    """Whether a dark place lies open to the sheet, and not between two sides of blank."""
    rest = opened(mask & ~piece, SLIVER_PX)
    border = _border(piece, SLIVER_PX + 2)
    if np.mean(rest[border]) > 1 - OPEN:
        return False
    sides = cv2.connectedComponentsWithStats((rest & border).astype(np.uint8))[2]
    longest, second = np.sort([0, 0, *sides[1:, cv2.CC_STAT_AREA]])[:-3:-1]
    return bool(second <= max(LEAST_SIDE * border.sum(), ALIKE * longest))


def _border(piece: MaskArray, width_px: int) -> MaskArray:
    return dilated(piece, width_px) & ~piece


def _makes_round(shade: MaskArray, mask: MaskArray) -> bool:
    """Whether a disc is rounder with what may be shade than without it."""
    off = _off_ellipse(mask)
    return off < ROUND and off < _off_ellipse(opened(mask & ~shade, 1))


def _off_ellipse(mask: MaskArray) -> float:
    """How far an outline is off the ellipse that fits it best, in its radii."""
    outlines, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    points = max((one[::OUTLINE_PX, 0] for one in outlines), key=len, default=())
    if len(points) < FEWEST_POINTS:
        return np.inf
    try:
        ellipse = fit_ellipse(points)
    except NoDiscError:
        return np.inf
    return ellipse.rms_px / ellipse.mean_radius_px


def _pieces(dark: MaskArray, least_px: float) -> Iterator[MaskArray]:
    """Give the pieces of a mask, the largest first."""
    count, labels, stats, _ = cv2.connectedComponentsWithStats(opened(dark, 1).astype(np.uint8))
    areas = stats[:, cv2.CC_STAT_AREA]
    for label in 1 + np.argsort(-areas[1:count], kind="stable"):
        if areas[label] < least_px:
            return
        yield labels == label
