"""Tell blank from shadow from background.

Dividing the photograph by the modelled light of the bare sheet leaves, for each
channel, the share of light that comes back. What blocks part of the light takes
the same share from every channel if there is one light; with a lamp and a window
the shadow leans towards the colour of the light that still reaches it. Either
way shadows lie on (or, towards blue, beside) the straight line from full light to
black, and most blanks do not.

What stands out from the sheet is gathered into patches, each a blank with its
shadow. The heart of a patch, farthest from its edge, is blank: shadows are
slivers beside it. Colours like the heart's, colours no shadow has, and texture no
paper has speak for blank; the rest for shadow; and a graph cut over colour
mixtures (grabCut) draws the line between them along sharp edges.

References
----------
C. Rother, V. Kolmogorov, A. Blake, GrabCut: interactive foreground extraction
using iterated graph cuts, ACM Transactions on Graphics 23, 2004.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from blanktrace.background import MaskArray, Picture, Sheet

BLUER_SHADOW = (0.35, -0.40)
"""How far the red and blue loss of a shadow may exceed that of green: lamp off, window on."""

STANDS_OUT = 0.06
"""Least share of light lost or gained that is no paper mottle."""

COLOUR_STANDS_OUT = 0.03
"""Least departure of a channel from the shadow line that is a colour of its own."""

SHADOW_TINT = 0.15
"""Departure that bounced light may give a shadow, as a share of the light lost."""

DEEP_HUE = 0.15
"""The same for the ratio of two channels (natural logarithm)."""

DARKEST = 0.02
"""Share of light below which a hue cannot be told."""

NOISES = 5.0
"""How many standard deviations make a difference."""

TEXTURE_NOISES = 6.0

HEART_SHARE = 0.55
"""Share of a patch's greatest depth beyond which a place is its heart."""

SMALL_SHARE = 0.04
"""Share of the largest patch below which a patch is a speck."""

LEAST_PATCH_PX = 150

HEART_REACH = 3.0
LEAST_HEART_SPREAD = 0.02
"""Colours within so many standard deviations (at least so large) of the heart's are like it."""

DIRECTIONS = 180
ROUND_REACH = 1.4
MOST_BEYOND = 0.3
"""A patch is a disc with its shadow if, at this many radii, most directions are bare sheet."""

SHADOW_REACH = 1.5
"""Radii from a disc's centre beyond which its shadow does not fall."""

LOST_REACH = 0.2
LOST_SHARE = 0.008
"""What lies there farther off the blank than this, in radii, is no shadow of a strap; and the
share of the blank's area that is too much to be dirt."""

CUT_ROUNDS = 2

MIXTURE_SHAPE = (1, 65)
"""How the cut keeps a mixture: 5 Gaussians of 1 weight, 3 means and 9 covariances each."""

LIGHTEST = -0.1
"""Least mean loss of what may be sheet: so much lighter than the model only shine is."""

COMPACT = 0.6
"""Share of its upright box that a drilled hole fills; a disc fills 0.79."""

LEAST_HOLE_PX = 12
HOLE_LIKENESS = 0.7
"""A hole shows at least so many clear pixels, of which this share looks like sheet."""


@dataclass(frozen=True, eq=False)
class Evidence:
    """What each pixel of the reduced picture says.

    Attributes
    ----------
    loss : ndarray, shape (h, w, 3)
        Share of the bare sheet's light that is missing, per channel.
    coloured : ndarray of bool, shape (h, w)
        Has a colour that no shadow has.
    textured : ndarray of bool, shape (h, w)
        Has fine contrast that the sheet has not.
    stands_out : ndarray of bool, shape (h, w)
        Is not bare sheet.
    """

    loss: Picture
    coloured: MaskArray
    textured: MaskArray
    stands_out: MaskArray


def find_patches(linear: Picture, sheet: Sheet) -> tuple[MaskArray, ...]:
    """Find what stands out from a sheet: blanks with their shadows.

    Parameters
    ----------
    linear : ndarray of float32, shape (h, w, 3)
        Linear light of the reduced photograph.
    sheet : Sheet
        Its background, at the same size.

    Returns
    -------
    tuple of ndarray of bool, shape (h, w)
        One mask a patch, the largest first.
    """
    evidence = gather_evidence(linear, sheet)
    body = evidence.stands_out | evidence.coloured
    body = _fill_unlike_sheet(_opened(_closed(body, 2), 2), evidence)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(body.astype(np.uint8))
    if count == 1:
        return ()
    areas = stats[1:, cv2.CC_STAT_AREA]
    least = max(SMALL_SHARE * areas.max(), LEAST_PATCH_PX)
    return tuple(
        labels == label
        for label in 1 + np.argsort(-areas, kind="stable")
        if areas[label - 1] >= least
    )


def cut_blank(linear: Picture, sheet: Sheet, patch: MaskArray) -> MaskArray:
    """Separate a patch into blank and shadow.

    Parameters
    ----------
    linear : ndarray of float32, shape (h, w, 3)
        Linear light about the patch; a finer picture gives a finer boundary.
    sheet : Sheet
        The background, at the same size.
    patch : ndarray of bool, shape (h, w)

    Returns
    -------
    ndarray of bool, shape (h, w)
        The blank, its holes open, perhaps with others that share its shadow; empty
        if nothing is left.
    """
    evidence = gather_evidence(linear, sheet)
    guess = _first_guess(patch, evidence, sheet)
    mask = _cut(guess, patch, evidence)
    lost = lost_parts(mask, patch)
    if lost.any():
        guess[lost] = cv2.GC_PR_FGD
        mask = _cut(guess, patch, evidence)
    return mask


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
    depth = np.asarray(
        cv2.distanceTransform(patch.astype(np.uint8), cv2.DIST_L2, 5), dtype=np.float32
    )
    away = cv2.distanceTransform((~mask).astype(np.uint8), cv2.DIST_L2, 5)
    lost = _beyond_disc(patch, depth) & (away > LOST_REACH * depth.max())
    return lost if lost.sum() > LOST_SHARE * mask.sum() else nothing


def _cut(guess: NDArray[np.uint8], patch: MaskArray, evidence: Evidence) -> MaskArray:
    """Cut along sharp edges between what is like the guess's blank and its background."""
    labels = guess.copy()
    if np.isin(labels, (cv2.GC_FGD, cv2.GC_PR_FGD)).any():
        cv2.setRNGSeed(1)  # grabCut starts its mixtures from the shared generator
        background, foreground = np.zeros(MIXTURE_SHAPE), np.zeros(MIXTURE_SHAPE)
        # Neighbours count as bare sheet, or their colours would be called background.
        alone = np.where(_dilated(patch, 3)[..., None], evidence.loss, 0)
        cv2.grabCut(
            _cut_colours(alone),
            labels,
            (0, 0, 1, 1),
            background,
            foreground,
            CUT_ROUNDS,
            cv2.GC_INIT_WITH_MASK,
        )
    blank = np.isin(labels, (cv2.GC_FGD, cv2.GC_PR_FGD)) & ~_drilled(guess)
    return _fill_unlike_sheet(_opened(blank, 1), evidence)


def gather_evidence(linear: Picture, sheet: Sheet) -> Evidence:
    """Measure colour, darkness and texture against the bare sheet."""
    share = np.asarray(linear / np.exp(sheet.log_light), dtype=np.float32)
    loss = np.asarray(1 - cv2.GaussianBlur(share, (0, 0), 1.0), dtype=np.float32)
    grey = loss.mean(axis=2)
    departure = _off_shadow_line(loss)
    bare_departure = departure[sheet.bare]
    noise = max(float(np.percentile(bare_departure, 99)) / 2.6, 0.004)
    coloured = departure > np.maximum(
        NOISES * noise, COLOUR_STANDS_OUT + SHADOW_TINT * np.clip(grey, 0, 1)
    )
    coloured |= _deep_colour(loss, sheet.bare)
    fine = share.mean(axis=2) - cv2.GaussianBlur(share.mean(axis=2), (0, 0), 2.0)
    contrast = np.sqrt(cv2.GaussianBlur(fine * fine, (0, 0), 2.0))
    paper = float(np.median(contrast[sheet.bare]))
    grey_noise = _spread(grey[sheet.bare])
    textured = contrast > TEXTURE_NOISES * paper
    stands_out = np.abs(grey) > max(STANDS_OUT, NOISES * grey_noise)
    inside = sheet.extent
    return Evidence(
        loss=loss,
        coloured=_opened(coloured, 1) & inside,
        textured=textured & inside,
        stands_out=stands_out & inside,
    )


def _off_shadow_line(loss: Picture) -> Picture:
    """Distance of a pixel's loss from what some shadow could cause."""
    red, green, blue = np.moveaxis(loss, 2, 0)
    base = np.maximum(green, 0)
    u, v = red - green, blue - green
    reach_u, reach_v = BLUER_SHADOW[0] * base, BLUER_SHADOW[1] * base
    length = np.maximum(reach_u**2 + reach_v**2, 1e-9)
    along = np.clip((u * reach_u + v * reach_v) / length, 0, 1)
    return np.asarray(np.hypot(u - along * reach_u, v - along * reach_v))


def _deep_colour(loss: Picture, bare: MaskArray) -> MaskArray:
    """Find dark places with a hue of their own, which losses near 1 hide: by ratios.

    A shadow may turn bluer (less red, more blue than green) but not otherwise.
    """
    ratio = np.log(np.maximum(1 - loss, DARKEST))
    red, blue = ratio[..., 0] - ratio[..., 1], ratio[..., 2] - ratio[..., 1]
    # Noise in a ratio grows as the light falls.
    growth = np.exp(np.clip(-ratio.mean(axis=2), 0, 3) / 2)
    limit = [max(NOISES * _spread(side[bare]), 0.03) * growth + DEEP_HUE for side in (red, blue)]
    bluer = (red < limit[0]) & (blue > -limit[1])
    return np.asarray(((np.abs(red) > limit[0]) | (np.abs(blue) > limit[1])) & ~bluer)


def _first_guess(mine: MaskArray, evidence: Evidence, sheet: Sheet) -> NDArray[np.uint8]:
    """Label a patch for the cut: surely or probably blank or background."""
    depth = cv2.distanceTransform(mine.astype(np.uint8), cv2.DIST_L2, 5)
    heart = depth > HEART_SHARE * depth.max()
    loss = evidence.loss
    centre = np.median(loss[heart], axis=0)
    covariance = np.cov((loss[heart] - centre).T) + LEAST_HEART_SPREAD**2 * np.eye(3)
    away = loss - centre
    distance = np.einsum("hwi,ij,hwj->hw", away, np.linalg.inv(covariance), away)
    like_heart = distance < HEART_REACH**2
    if evidence.textured[heart].mean() > HOLE_LIKENESS:
        # A blank with grain of its own is not like a smooth shadow of the same shade.
        like_heart &= _dilated(_opened(evidence.textured, 2), 2)
    textured = _eroded(_opened(evidence.textured & mine, 5), 4)
    labels = np.full(mine.shape, cv2.GC_BGD, dtype=np.uint8)
    labels[_dilated(mine, 3) & ~_eroded(sheet.bare, 3)] = cv2.GC_PR_BGD
    labels[mine & (like_heart | evidence.coloured | textured)] = cv2.GC_PR_FGD
    labels[heart & like_heart] = cv2.GC_FGD
    return labels


def _drilled(guess: NDArray[np.uint8]) -> MaskArray:
    """Find small round holes, which the cut's love of short boundaries closes.

    Grain as light as the sheet runs in streaks; a drilled hole is compact.
    """
    opened = _opened(guess == cv2.GC_PR_BGD, 1)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(
        opened.astype(np.uint8), connectivity=4
    )
    holes = np.zeros(guess.shape, dtype=bool)
    for label in range(1, count):
        x, y, w, h, area = stats[label]
        box = np.s_[max(y - 1, 0) : y + h + 1, max(x - 1, 0) : x + w + 1]
        if area < LEAST_HOLE_PX or area < COMPACT * w * h or max(w, h) > 2 * min(w, h):
            continue
        rim = _dilated(labels[box] == label, 1) & (labels[box] != label)
        if not np.isin(guess[box][rim], (cv2.GC_BGD,)).any() and rim.sum() > 0:
            around = _dilated(np.pad(labels == label, 0), 3)[box] & ~opened[box]
            if np.isin(guess[box][around], (cv2.GC_FGD, cv2.GC_PR_FGD)).mean() > HOLE_LIKENESS:
                holes[box] |= labels[box] == label
    return holes


def _beyond_disc(mine: MaskArray, depth: NDArray[np.float32]) -> MaskArray:
    """Find what a disc's shadow cannot reach: straps and rings, whatever their colour.

    Empty where the patch is not round about its heart in most directions.
    """
    radius = float(depth.max())
    y0, x0 = np.unravel_index(int(np.argmax(depth)), depth.shape)
    ys, xs = np.indices(mine.shape, dtype=np.float32)
    away = np.hypot(xs - x0, ys - y0)
    angles = np.linspace(0, 2 * np.pi, DIRECTIONS, endpoint=False)
    ring_x = np.rint(x0 + ROUND_REACH * radius * np.cos(angles)).astype(int)
    ring_y = np.rint(y0 + ROUND_REACH * radius * np.sin(angles)).astype(int)
    height, width = mine.shape
    in_view = (ring_x >= 0) & (ring_x < width) & (ring_y >= 0) & (ring_y < height)
    still_patch = np.zeros(DIRECTIONS, dtype=bool)
    still_patch[in_view] = mine[ring_y[in_view], ring_x[in_view]]
    if still_patch.mean() > MOST_BEYOND:
        return np.zeros_like(mine)
    return np.asarray(mine & (away > SHADOW_REACH * radius))


def _cut_colours(loss: Picture) -> NDArray[np.uint8]:
    """Spread darkness and colour over 8 bits, colour the wider."""
    green = loss[..., 1]
    channels = np.stack(
        [
            230 - 150 * loss.mean(axis=2),
            128 + 300 * (loss[..., 0] - green),
            128 + 300 * (loss[..., 2] - green),
        ],
        axis=-1,
    )
    return np.asarray(np.clip(channels, 0, 255), dtype=np.uint8)


def _fill_unlike_sheet(mask: MaskArray, evidence: Evidence) -> MaskArray:
    """Close holes that are not plainly a view of the sheet, lit or in shadow."""
    like_sheet = ~evidence.coloured & ~evidence.textured & (evidence.loss.mean(axis=2) > LIGHTEST)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(
        (~mask).astype(np.uint8), connectivity=4
    )
    filled = mask.copy()
    height, width = mask.shape
    for label in range(1, count):
        x, y, w, h, _ = stats[label]
        if x == 0 or y == 0 or x + w == width or y + h == height:
            continue
        box = np.s_[y : y + h, x : x + w]
        hole = labels[box] == label
        inner = _eroded(np.pad(hole, 1), 2)[1:-1, 1:-1]
        if inner.sum() < LEAST_HOLE_PX or like_sheet[box][inner].mean() < HOLE_LIKENESS:
            filled[box] |= hole
    return filled


def _spread(values: NDArray[np.float32]) -> float:
    """Robust standard deviation: 1.4826 times the median absolute deviation."""
    return float(1.4826 * np.median(np.abs(values - np.median(values))))


def _morph(mask: MaskArray, operation: int, radius_px: int) -> MaskArray:
    side = 2 * radius_px + 1
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))
    return cv2.morphologyEx(mask.astype(np.uint8), operation, kernel).astype(bool)


def _opened(mask: MaskArray, radius_px: int) -> MaskArray:
    return _morph(mask, cv2.MORPH_OPEN, radius_px)


def _closed(mask: MaskArray, radius_px: int) -> MaskArray:
    return _morph(mask, cv2.MORPH_CLOSE, radius_px)


def _eroded(mask: MaskArray, radius_px: int) -> MaskArray:
    return _morph(mask, cv2.MORPH_ERODE, radius_px)


def _dilated(mask: MaskArray, radius_px: int) -> MaskArray:
    return _morph(mask, cv2.MORPH_DILATE, radius_px)
