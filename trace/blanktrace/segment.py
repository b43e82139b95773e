"""Tell blank from shadow from background.

What stands out from the sheet is gathered into patches, each a blank with its
shadow. The heart of a patch, farthest from its edge, is blank: shadows are
slivers beside it. If it has a colour that no shadow has, or an engraved one has a
frame of such a colour, colour alone tells the blank; if not, what is like the heart
speaks for blank too. The rest speaks for shadow, and a graph cut over colour mixtures
(grabCut) draws the line between them along sharp edges.

References
----------
C. Rother, V. Kolmogorov, A. Blake, GrabCut: interactive foreground extraction
using iterated graph cuts, ACM Transactions on Graphics 23, 2004.
"""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from blanktrace.background import MaskArray, Picture, Sheet
from blanktrace.bridge import bridged
from blanktrace.cast import shed_cast
from blanktrace.close_up import CloseUp
from blanktrace.drilled import find_drilled
from blanktrace.evidence import DARKEST, Evidence, gather_evidence
from blanktrace.holes import fill_unlike_sheet, find_holes, showing_sheet
from blanktrace.hues import log_hues
from blanktrace.lost import disc_of, lost_parts, with_ring
from blanktrace.masks import closed, dilated, disc_kernel, eroded, filled, opened

HEART_SHARE = 0.55
"""Share of a patch's greatest depth beyond which a place is its heart."""

SMALL_SHARE = 0.04
"""Share of the largest patch below which a patch is a speck."""

LEAST_PATCH_PX = 150

HEART_REACH = 3.0
LEAST_HEART_SPREAD = 0.02
"""Colours within so many standard deviations (at least so large) of the heart's are like it."""

COLOURED_HEART = 0.7
COLOURED_SHARE = 0.35
"""Share of a patch's heart that is coloured, for colour alone to tell the blank; and share of
both heart and patch: a thin blank's heart lies half in its shadow."""

ENCLOSED, ENGRAVED = 0.8, 0.4
"""Shares of a grey heart that lie within a coloured frame, and that have a texture, for it to be
blank by that: a piece of two metals."""

COLOUR_REACH_PX = 3
SURE_COLOUR = 0.6
FAINT_COLOUR = 0.2
"""Shares of the heart's colour that leave no doubt, and that bounced light may give a shadow."""

PALE = 2.0
PALE_SMOOTH_PX = 1.5
PALE_SHARE = 0.5
"""Colour of a heart, in what shadows vary by, that noise can hide; over how many pixels it is
then averaged; and its share that still is blank."""

DIM_NOISES = 6.0
"""Light in the sheet's noises below which noise takes more and more of the hue."""

DEEPEST = 0.01
"""Share of light at which edges within a dark blank are lost."""

CUT_ROUNDS = 2

MIXTURE_SHAPE = (1, 65)
"""How the cut keeps a mixture: 5 Gaussians of 1 weight, 3 means and 9 covariances each."""

ALIKE_SHARE = 0.7
"""Share of the heart that has grain, for smooth places to be no part of the blank."""


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
    share = np.asarray(linear / np.exp(sheet.log_light), dtype=np.float32)
    evidence = gather_evidence(share, sheet)
    body = evidence.stands_out | evidence.coloured
    body = fill_unlike_sheet(opened(closed(body, 2), 2), evidence)
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


def cut_blank(near: CloseUp) -> MaskArray:
    """Separate a patch into blank and shadow.

    Returns
    -------
    ndarray of bool, shape (h, w)
        The blank, its holes open, perhaps with others that share its shadow; empty
        if nothing is left.
    """
    sheet, patch = near.sheet, near.patch
    evidence = gather_evidence(near.share, sheet)
    heart = _heart(patch)
    by_colour = _is_coloured(patch, heart, evidence)
    if not by_colour:
        evidence = _framed(patch, heart, evidence)
        by_colour = _is_coloured(patch, heart, evidence)
    guess_blank = _guess_by_colour if by_colour else _guess_by_likeness
    guess = guess_blank(patch, heart, evidence, sheet)
    mask = _cut(guess, patch, evidence)
    if not by_colour:
        mask = shed_cast(mask, evidence)
    lost = lost_parts(mask, patch)
    if not lost.any():
        return mask
    ringed = with_ring(mask, patch, evidence, sheet)
    if ringed is None or lost_parts(ringed, patch).any():
        guess[lost] = cv2.GC_PR_FGD
        return _cut(guess, patch, evidence)
    return ringed


def _heart(patch: MaskArray) -> MaskArray:
    """Find what lies deepest in a patch: shadows are slivers beside it."""
    depth = cv2.distanceTransform(patch.astype(np.uint8), cv2.DIST_L2, 5)
    return np.asarray(depth > HEART_SHARE * depth.max())


def _is_coloured(patch: MaskArray, heart: MaskArray, evidence: Evidence) -> bool:
    """Say whether colour alone tells a patch's blank."""
    share = (evidence.coloured[heart].mean(), evidence.coloured[patch].mean())
    return bool(share[0] > COLOURED_HEART or min(share) > COLOURED_SHARE)


def _framed(patch: MaskArray, heart: MaskArray, evidence: Evidence) -> Evidence:
    """Count a grey heart as coloured where a coloured frame goes all round it.

    It is blank if it has a texture of its own; if not, it may be sheet in shadow,
    seen through a ring.
    """
    frame = opened(evidence.coloured & patch, 1)
    within = filled(frame)
    if within[heart].mean() < ENCLOSED or evidence.textured[heart].mean() < ENGRAVED:
        return evidence
    # Taken for the frame's metal, or the cut would learn from it that blank looks like shadow.
    grey = within & ~evidence.coloured
    loss, colour = evidence.loss.copy(), evidence.colour.copy()
    loss[grey] = np.median(loss[frame], axis=0)
    colour[grey] = np.median(colour[frame])
    return replace(evidence, loss=loss, colour=colour)


def _guess_by_colour(
    patch: MaskArray, heart: MaskArray, evidence: Evidence, sheet: Sheet
) -> NDArray[np.uint8]:
    """Label a patch whose heart has a colour that no shadow has: by colour alone."""
    colour, near = evidence.colour, dilated(patch, 3)
    own = float(np.median(colour[heart & evidence.coloured]))
    most = cv2.dilate(colour, disc_kernel(COLOUR_REACH_PX))
    labels = _background(near, sheet)
    if own < PALE:
        # A pale colour comes and goes with the noise: its mean tells, over a few pixels.
        colour = np.asarray(cv2.GaussianBlur(colour, (0, 0), PALE_SMOOTH_PX), dtype=np.float32)
        own = float(np.median(colour[heart]))
    least = max(min(1.0, PALE_SHARE * own), FAINT_COLOUR * own)
    labels[near & (colour > np.maximum(least, most / 4))] = cv2.GC_PR_FGD
    # Dark grain is as dark as a shadow, but keeps its colour.
    sure = opened(near & (colour > max(SURE_COLOUR * own, 2)), 1)
    labels[sure | (heart & evidence.coloured)] = cv2.GC_FGD
    return labels


def _guess_by_likeness(
    patch: MaskArray, heart: MaskArray, evidence: Evidence, sheet: Sheet
) -> NDArray[np.uint8]:
    """Label a patch by what is like its heart or has a colour that no shadow has."""
    loss = evidence.loss
    centre = np.median(loss[heart], axis=0)
    covariance = np.cov((loss[heart] - centre).T) + LEAST_HEART_SPREAD**2 * np.eye(3)
    away = loss - centre
    distance = np.einsum("hwi,ij,hwj->hw", away, np.linalg.inv(covariance), away)
    like_heart = distance < HEART_REACH**2
    if evidence.textured[heart].mean() > ALIKE_SHARE:
        # A blank with grain of its own is not like a smooth shadow of the same shade.
        like_heart &= dilated(opened(evidence.textured, 2), 2)
    labels = _background(dilated(patch, 3), sheet)
    labels[patch & (like_heart | evidence.coloured)] = cv2.GC_PR_FGD
    labels[heart & like_heart] = cv2.GC_FGD
    return labels


def _background(near: MaskArray, sheet: Sheet) -> NDArray[np.uint8]:
    """Label a patch and its surroundings probably, and all else surely, as background."""
    labels = np.full(near.shape, cv2.GC_BGD, dtype=np.uint8)
    labels[near & ~eroded(sheet.bare, 3)] = cv2.GC_PR_BGD
    return labels


def _cut(guess: NDArray[np.uint8], patch: MaskArray, evidence: Evidence) -> MaskArray:
    """Cut along sharp edges between what is like the guess's blank and its background."""
    labels = guess.copy()
    if np.isin(labels, (cv2.GC_FGD, cv2.GC_PR_FGD)).any():
        cv2.setRNGSeed(1)  # grabCut starts its mixtures from the shared generator
        background, foreground = np.zeros(MIXTURE_SHAPE), np.zeros(MIXTURE_SHAPE)
        # Neighbours count as bare sheet, or their colours would be called background.
        alone = np.where(dilated(patch, 3)[..., None], evidence.loss, 0)
        cv2.grabCut(
            _cut_colours(alone, evidence.noise),
            labels,
            (0, 0, 1, 1),
            background,
            foreground,
            CUT_ROUNDS,
            cv2.GC_INIT_WITH_MASK,
        )
    blank = opened(np.isin(labels, (cv2.GC_FGD, cv2.GC_PR_FGD)), 1)
    if not blank.any():
        return blank
    disc_px = disc_of(filled(blank))
    if disc_px is not None:
        blank = bridged(blank, ~(evidence.stands_out | evidence.coloured), disc_px)
    return _with_holes(blank, guess, evidence)


def _with_holes(blank: MaskArray, guess: NDArray[np.uint8], evidence: Evidence) -> MaskArray:
    """Fill a blank but for its holes, which its gaps may be."""
    whole = filled(blank)
    unlike = ~np.isin(guess, (cv2.GC_FGD, cv2.GC_PR_FGD))
    gaps = whole & ~dilated(~whole, 2) & (~blank | unlike)
    colours = _cut_colours(evidence.loss, evidence.noise)
    coloured_blank = evidence.coloured[blank].mean() > COLOURED_HEART
    clear = ~evidence.coloured & (coloured_blank | ~evidence.stands_out)
    gaps = opened(gaps, 1)
    holes = find_holes(gaps, whole, clear, colours)
    holes |= find_drilled(gaps, whole, deep_colours(evidence.loss), unseen=not coloured_blank)
    return whole & ~showing_sheet(holes, evidence)


def _cut_colours(loss: Picture, noise: float) -> NDArray[np.uint8]:
    """Spread darkness and colour over 8 bits, colour the wider."""
    dark = loss.mean(axis=2)
    # What little light a black blank sends back has no hue but the noise's.
    told = np.clip((1 - dark) / (DIM_NOISES * noise), 0, 1)
    return _eight_bits(230 - 150 * dark, told * _hues(loss, DARKEST))


def deep_colours(loss: Picture) -> NDArray[np.uint8]:
    """Spread them so that steps within a dark blank show as well as within a light one."""
    light = np.maximum(1 - loss.mean(axis=2), 0)
    return _eight_bits(230 + 45 * np.log(light + DEEPEST), _hues(loss, DEEPEST))


def _hues(loss: Picture, darkest: float) -> Picture:
    """Logarithms of red over green and of blue over green, shape (2, h, w)."""
    return np.stack(log_hues(np.maximum(1 - loss, 0) + darkest)[:2])


def _eight_bits(darkness: Picture, hues: Picture) -> NDArray[np.uint8]:
    channels = np.stack([darkness, *(128 + 250 * hues)], axis=-1)
    return np.asarray(np.clip(channels, 0, 255), dtype=np.uint8)
