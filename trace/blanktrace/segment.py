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
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from blanktrace.background import MaskArray, Picture, Sheet
from blanktrace.ring import find_ring

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

DARKEST = 0.03
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

COLOURED_HEART = 0.7
COLOURED_SHARE = 0.35
"""Share of a patch's heart that is coloured, for colour alone to tell the blank; and share of
both heart and patch: a thin blank's heart lies half in its shadow."""

BLANK_SHARE = 0.1
"""Share of the largest piece's area from which a piece may be a blank of its own."""

BRIDGE_SHARE = 0.12
"""Width of a disc's shadow on its strap, as a share of the root of the disc's area."""

PIECE_SHARE = 0.05
ROUND_PIECE = 0.6
"""A strap's least share of the disc's area; a piece that is rounder is a blank of its own."""

COLOUR_REACH_PX = 3
SURE_COLOUR = 0.6
FAINT_COLOUR = 0.2
"""Shares of the heart's colour that leave no doubt, and that bounced light may give a shadow."""

SWEEP_PX = 40
SWEEPS = 48
"""Side of a blank, in pixels of the picture in which its shadow is tried, and directions."""

CAST_SHARE = 0.9
CAST_ASTRAY = 0.05
"""A shadow explains what seems lost if it covers so much of it, and no more than this share
of the blank falls where the sheet is bare."""

ENOUGH = 20_000

CUT_ROUNDS = 2

MIXTURE_SHAPE = (1, 65)
"""How the cut keeps a mixture: 5 Gaussians of 1 weight, 3 means and 9 covariances each."""

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

LEAST_COLOUR_SPREAD = 4.0
"""Of the cut's colours (8 bits)."""

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
    colour : ndarray, shape (h, w)
        How far its colour is from any that a shadow has, over what shadows vary by.
    textured : ndarray of bool, shape (h, w)
        Has fine contrast that the sheet has not.
    stands_out : ndarray of bool, shape (h, w)
        Is not bare sheet.
    """

    loss: Picture
    colour: Picture
    textured: MaskArray
    stands_out: MaskArray

    @property
    def coloured(self) -> MaskArray:
        """Has a colour that no shadow has."""
        return self.colour > 1


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
    heart = _heart(patch)
    share = (evidence.coloured[heart].mean(), evidence.coloured[patch].mean())
    by_colour = share[0] > COLOURED_HEART or min(share) > COLOURED_SHARE
    if by_colour:
        guess = _coloured_guess(patch, heart, evidence, sheet)
    else:
        guess = _first_guess(patch, evidence, sheet)
    mask = _cut(guess, patch, evidence)
    lost = lost_parts(mask, patch)
    if not lost.any():
        return mask
    ringed = _with_ring(mask, patch, evidence, sheet)
    if ringed is None or lost_parts(ringed, patch).any():
        guess[lost] = cv2.GC_PR_FGD
        return _cut(guess, patch, evidence)
    return ringed


def _heart(patch: MaskArray) -> MaskArray:
    """Find what lies deepest in a patch: shadows are slivers beside it."""
    depth = cv2.distanceTransform(patch.astype(np.uint8), cv2.DIST_L2, 5)
    return np.asarray(depth > HEART_SHARE * depth.max())


def _coloured_guess(
    patch: MaskArray, heart: MaskArray, evidence: Evidence, sheet: Sheet
) -> NDArray[np.uint8]:
    """Label a patch whose heart has a colour that no shadow has: by colour alone."""
    own = float(np.median(evidence.colour[heart & evidence.coloured]))
    side = 2 * COLOUR_REACH_PX + 1
    most = cv2.dilate(evidence.colour, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side)))
    labels = np.full(patch.shape, cv2.GC_BGD, dtype=np.uint8)
    labels[_dilated(patch, 3) & ~_eroded(sheet.bare, 3)] = cv2.GC_PR_BGD
    some = evidence.colour > np.maximum(max(1, FAINT_COLOUR * own), most / 4)
    labels[_dilated(patch, 3) & some] = cv2.GC_PR_FGD
    # Dark grain is as dark as a shadow, but keeps its colour.
    sure = _dilated(patch, 3) & (evidence.colour > max(SURE_COLOUR * own, 2))
    labels[_opened(sure, 1) | (heart & evidence.coloured)] = cv2.GC_FGD
    return labels


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


def _large_pieces(mask: MaskArray) -> MaskArray:
    """Leave out what is too small to be a blank of its own."""
    _, labels, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8))
    areas = stats[1:, cv2.CC_STAT_AREA]
    return np.isin(labels, 1 + np.flatnonzero(areas > BLANK_SHARE * areas.max()))


def _cast(mask: MaskArray, patch: MaskArray, lost: MaskArray) -> bool:
    """Whether the blank's shadow, in some one direction, explains what seems lost.

    A shadow is the blank swept along the floor away from the light; if it fell there,
    it fell all the way.
    """
    step = max(1, round(float(np.sqrt(mask.sum())) / SWEEP_PX))
    mask, patch, lost = (_padded(one[::step, ::step]) for one in (mask, patch, lost))
    unlike = ~(_dilated(patch, 1) | mask)
    longest = int(2 * np.sqrt(mask.sum() / np.pi))
    for angle in np.arange(SWEEPS) * 2 * np.pi / SWEEPS:
        swept = mask.copy()
        for length in range(1, longest):
            dx, dy = round(length * np.cos(angle)), round(length * np.sin(angle))
            swept |= np.roll(mask, (dy, dx), (0, 1))
            if (swept & unlike).sum() > CAST_ASTRAY * mask.sum():
                break
            if (swept & lost).sum() > CAST_SHARE * lost.sum():
                return True
    return False


def _padded(mask: MaskArray) -> MaskArray:
    return np.pad(mask, max(mask.shape))


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
    blank = _bridged(_opened(np.isin(labels, (cv2.GC_FGD, cv2.GC_PR_FGD)), 1), evidence)
    whole = _filled(blank)
    unlike = ~np.isin(guess, (cv2.GC_FGD, cv2.GC_PR_FGD))
    gaps = whole & ~_dilated(~whole, 2) & (~blank | unlike)
    colours = _cut_colours(evidence.loss)
    coloured_blank = evidence.coloured[blank].mean() > COLOURED_HEART
    clear = ~evidence.coloured & (coloured_blank | ~evidence.stands_out)
    return whole & ~_holes(gaps, whole, clear, colours)


def gather_evidence(linear: Picture, sheet: Sheet) -> Evidence:
    """Measure colour, darkness and texture against the bare sheet."""
    share = np.asarray(linear / np.exp(sheet.log_light), dtype=np.float32)
    loss = np.asarray(1 - cv2.GaussianBlur(share, (0, 0), 1.0), dtype=np.float32)
    grey = _grey(loss)
    departure = _off_shadow_line(loss)
    noise = max(float(np.percentile(_some(departure[sheet.bare]), 99)) / 2.6, 0.004)
    limit = np.maximum(NOISES * noise, COLOUR_STANDS_OUT + SHADOW_TINT * np.clip(grey, 0, 1))
    colour = np.maximum(departure / limit, _deep_colour(loss, sheet.bare))
    light = _grey(share)
    fine = light - cv2.GaussianBlur(light, (0, 0), 2.0)
    contrast = np.sqrt(cv2.GaussianBlur(fine * fine, (0, 0), 2.0))
    paper = float(np.median(_some(contrast[sheet.bare])))
    grey_noise = _spread(grey[sheet.bare])
    textured = contrast > TEXTURE_NOISES * paper
    stands_out = np.abs(grey) > max(STANDS_OUT, NOISES * grey_noise)
    inside = sheet.extent
    return Evidence(
        loss=loss,
        colour=np.asarray(np.where(inside, _morph(colour, cv2.MORPH_OPEN, 1), 0), np.float32),
        textured=textured & inside,
        stands_out=stands_out & inside,
    )


def _grey(picture: Picture) -> Picture:
    """Average the channels."""
    return np.asarray(cv2.transform(picture, np.full((1, 3), 1 / 3)), dtype=np.float32)


def _off_shadow_line(loss: Picture) -> Picture:
    """Distance of a pixel's loss from what some shadow could cause."""
    red, green, blue = np.moveaxis(loss, 2, 0)
    base = np.maximum(green, 0)
    u, v = red - green, blue - green
    reach_u, reach_v = BLUER_SHADOW[0] * base, BLUER_SHADOW[1] * base
    length = np.maximum(reach_u**2 + reach_v**2, 1e-9)
    along = np.clip((u * reach_u + v * reach_v) / length, 0, 1)
    return np.asarray(np.hypot(u - along * reach_u, v - along * reach_v))


def _deep_colour(loss: Picture, bare: MaskArray) -> Picture:
    """Find dark places with a hue of their own, which losses near 1 hide: by ratios.

    A shadow may turn bluer (less red, more blue than green) but not otherwise.
    """
    noise = [_spread(side) for side in _hues(_some(loss[bare]))[:2]]
    dark = np.maximum(np.maximum(loss[..., 0], loss[..., 1]), loss[..., 2]) > DEEP_HUE / 2
    red, blue, light = _hues(loss[dark])
    # Noise in a ratio grows as the light falls.
    growth = np.exp(np.clip(-light, 0, 3) / 2)
    limit = [max(NOISES * one, 0.03) * growth + DEEP_HUE for one in noise]
    bluer = (red < limit[0]) & (blue > -limit[1])
    hue = np.maximum(np.abs(red) / limit[0], np.abs(blue) / limit[1])
    result = np.zeros(loss.shape[:2], dtype=np.float32)
    result[dark] = np.where(bluer, 0, hue)
    return result


def _hues(loss: Picture) -> tuple[Picture, Picture, Picture]:
    """Logarithms of red over green, blue over green, and of all light, of pixels (N, 3)."""
    ratio = np.log(np.maximum(1 - loss, DARKEST))
    red, green, blue = ratio.T
    return red - green, blue - green, (red + green + blue) / 3


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
    labels = np.full(mine.shape, cv2.GC_BGD, dtype=np.uint8)
    labels[_dilated(mine, 3) & ~_eroded(sheet.bare, 3)] = cv2.GC_PR_BGD
    labels[mine & (like_heart | evidence.coloured)] = cv2.GC_PR_FGD
    labels[heart & like_heart] = cv2.GC_FGD
    return labels


def _bridged(blank: MaskArray, evidence: Evidence) -> MaskArray:
    """Join a disc to the strap that its shadow parts from it: across what is not bare sheet."""
    count, labels, stats, _ = cv2.connectedComponentsWithStats(blank.astype(np.uint8))
    areas = stats[1:, cv2.CC_STAT_AREA]
    if count < 3 or areas.size < 2:  # noqa: PLR2004 - sheet, disc and strap
        return blank
    first, second = (labels == 1 + k for k in np.argsort(-areas)[:2])
    reach = BRIDGE_SHARE * float(np.sqrt(first.sum()))
    near_first, near_second = (
        cv2.distanceTransform((~one).astype(np.uint8), cv2.DIST_L2, 5) for one in (first, second)
    )
    thick = float(cv2.distanceTransform(second.astype(np.uint8), cv2.DIST_L2, 5).max())
    if second.sum() < PIECE_SHARE * first.sum() or thick**2 * np.pi > ROUND_PIECE * second.sum():
        return blank
    between = (near_first + near_second < 1.2 * near_first[second].min() + 1) & (
        evidence.stands_out | evidence.coloured
    )
    if near_first[second].min() > reach:
        return blank
    return np.asarray(blank | _opened(between, 1))


def _filled(mask: MaskArray) -> MaskArray:
    """Close all holes."""
    outlines, _ = cv2.findContours(
        mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE
    )
    filled = np.zeros(mask.shape, dtype=np.uint8)
    cv2.drawContours(filled, outlines, -1, 1, cv2.FILLED)
    return filled.astype(bool)


def _holes(
    gaps: MaskArray, whole: MaskArray, clear: MaskArray, colours: NDArray[np.uint8]
) -> MaskArray:
    """Keep the gaps in a blank that are holes, not streaks of grain as light as the sheet."""
    gaps = _opened(gaps, 1)
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
        outlines, _ = cv2.findContours(
            hole.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE
        )
        _, radius = cv2.minEnclosingCircle(outlines[0])
        large = area > LARGE_HOLE_SHARE * whole.sum()
        round_enough = area > ROUND_HOLE * np.pi * radius**2
        if not round_enough and not large:
            continue
        if large and clear[box][hole].mean() > HOLE_LIKENESS:
            holes[box] |= _filled(hole)
            continue
        about = _dilated(hole, 4) & ~_dilated(hole, 2) & ~gaps[box]
        inside, outside = colours[box][hole], colours[box][about]
        if not len(outside):
            continue
        spread = [max(_spread(values), LEAST_COLOUR_SPREAD) for values in outside.T.astype(float)]
        apart = (np.median(inside, axis=0) - np.median(outside, axis=0)) / spread
        drilled = area > DRILLED * np.pi * radius**2
        if np.abs(apart).max() > (DRILLED_NOISES if drilled else NOISES):
            holes[box] |= _filled(hole)
    return holes


def _with_ring(
    mask: MaskArray, patch: MaskArray, evidence: Evidence, sheet: Sheet
) -> MaskArray | None:
    """Put the ring that hangs on a disc into its place; None if there is none."""
    disc_px = _disc_of(mask)
    if disc_px is None:
        return None
    x0, y0, radius = disc_px
    ys, xs = np.indices(mask.shape, dtype=np.float32)
    beyond = (patch | mask) & (np.hypot(xs - x0, ys - y0) > RING_REACH * radius)
    if beyond.sum() < LOST_SHARE * mask.sum():
        return None
    ring = find_ring(
        evidence.loss, _dilated(beyond, 3), sheet.bare & ~_dilated(patch, 3), disc_px=disc_px
    )
    if ring is None:
        return None
    away = np.hypot(xs - ring.x_px, ys - ring.y_px)
    span = np.hypot(ring.x_px - x0, ring.y_px - y0)
    onward = ((xs - ring.x_px) * (ring.x_px - x0) + (ys - ring.y_px) * (ring.y_px - y0)) / span
    hole = away < ring.inner_px
    if mask[hole & (onward > 0)].mean() > 1 - HOLE_LIKENESS and mask[hole].mean() > HOLE_LIKENESS:
        return None
    wire = (away <= ring.outer_px) & ~hole
    return np.asarray((mask & ((onward < 0) | wire)) | wire)


def _disc_of(mask: MaskArray) -> tuple[float, float, float] | None:
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


def _beyond_disc(mask: MaskArray, patch: MaskArray) -> MaskArray:
    """Find what a disc's shadow cannot reach: straps and rings, whatever their colour.

    Empty where the blank's body is no disc.
    """
    disc_px = _disc_of(mask)
    if disc_px is None:
        return np.zeros_like(mask)
    x0, y0, radius = disc_px
    ys, xs = np.indices(mask.shape, dtype=np.float32)
    return np.asarray(patch & (np.hypot(xs - x0, ys - y0) > SHADOW_REACH * radius))


def _cut_colours(loss: Picture) -> NDArray[np.uint8]:
    """Spread darkness and colour over 8 bits, colour the wider."""
    depth = np.log(np.maximum(1 - loss, 0) + DARKEST)
    green = depth[..., 1]
    channels = np.stack(
        [
            230 - 150 * loss.mean(axis=2),
            128 + 250 * (depth[..., 0] - green),
            128 + 250 * (depth[..., 2] - green),
        ],
        axis=-1,
    )
    return np.asarray(np.clip(channels, 0, 255), dtype=np.uint8)


def _fill_unlike_sheet(mask: MaskArray, evidence: Evidence) -> MaskArray:
    """Close holes that are not plainly a view of the sheet, lit or in shadow."""
    like_sheet = ~evidence.coloured & ~evidence.textured & (_grey(evidence.loss) > LIGHTEST)
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


def _some(values: NDArray[np.float32]) -> NDArray[np.float32]:
    """Take enough of many values for their spread to be known to a percent."""
    return values[:: 1 + len(values) // ENOUGH]


def _spread(values: NDArray[np.float32]) -> float:
    """Robust standard deviation: 1.4826 times the median absolute deviation."""
    values = _some(values)
    return float(1.4826 * np.median(np.abs(values - np.median(values))))


def _morph(values: MaskArray | Picture, operation: int, radius_px: int) -> Any:
    side = 2 * radius_px + 1
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))
    if values.dtype == np.bool_:
        return cv2.morphologyEx(values.astype(np.uint8), operation, kernel).astype(bool)
    return cv2.morphologyEx(values.astype(np.float32), operation, kernel)


def _opened(mask: MaskArray, radius_px: int) -> MaskArray:
    return np.asarray(_morph(mask, cv2.MORPH_OPEN, radius_px))


def _closed(mask: MaskArray, radius_px: int) -> MaskArray:
    return np.asarray(_morph(mask, cv2.MORPH_CLOSE, radius_px))


def _eroded(mask: MaskArray, radius_px: int) -> MaskArray:
    return np.asarray(_morph(mask, cv2.MORPH_ERODE, radius_px))


def _dilated(mask: MaskArray, radius_px: int) -> MaskArray:
    return np.asarray(_morph(mask, cv2.MORPH_DILATE, radius_px))
