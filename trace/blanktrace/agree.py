"""Say what is blank in a close-up: what the network and the cut agree on."""

from __future__ import annotations

import cv2
import numpy as np
from scipy.special import expit, logit

from blanktrace.background import MaskArray, Picture
from blanktrace.close_up import CloseUp
from blanktrace.drilled import find_doubted
from blanktrace.errors import ContrastError
from blanktrace.holes import round_gaps, unseen_holes
from blanktrace.masks import closed, dilated, filled, opened
from blanktrace.segment import cut_blank, deep_colours
from blanktrace.shade import open_shade, with_shaded_blank

HALF = 0.5

LEAST_GAP, SURE_GAP = 0.01, 0.8
"""Share of a blank that what a ring on it encloses has at least; and share of this in which the
network is sure that there is none."""

SEAM_PX = 2
"""Half the width of a seam between two parts of a blank, in pixels of the close-up."""

CUT_ODDS, LEAST_CHANCE = 2.0, 1e-4
"""What the cut says against the cover (logarithm of odds), and the least chance that it leaves."""

MOST_SHADE = 0.012
"""Shade at a blank's edge that the cut took for blank, in one place, as a share of the blank: where
it is more, more of the shadow was taken for blank by the network, too."""

SURELY_NOT = 0.2
"""Cover below which a place is no blank; gaps that show little of it are none."""


def blank_in(near: CloseUp, cover: Picture) -> MaskArray:
    """Say what is blank on a close-up's patch, by the network and the cut together.

    Parameters
    ----------
    near : CloseUp
    cover : ndarray of float32, shape (h, w)
        How much of each pixel is blank, as the network says.

    Returns
    -------
    ndarray of bool, shape (h, w)
        Holes left open; nothing, perhaps.

    Raises
    ------
    ContrastError
        If a shadow as dark as the blank passes for part of it.
    """
    mask = _pieces_of(near.patch, agreed_mask(cover, cut_blank(near)))
    if not mask.any():
        return mask
    loss = 1 - near.share
    mask = mask | unseen_holes(mask, cover, loss)
    mask = with_shaded_blank(_out_of_shade(mask, cover, loss), cover, loss)
    return mask & ~find_doubted(cover, mask, deep_colours(loss))


def agreed_mask(cover: Picture, cut: MaskArray) -> MaskArray:
    """Let the cut decide where the network is in doubt; close seams and spots, take hairlines off.

    The cut finds holes by rules of their own, and keeps those that the network takes for blank; the
    network keeps round ones that the cut takes for blank, as it does in pale wood and in slate.

    Parameters
    ----------
    cover : ndarray of float32, shape (h, w)
        How much of each pixel is blank, as the network says.
    cut : ndarray of bool, shape (h, w)
        What is blank, as the cut says.

    Returns
    -------
    ndarray of bool, shape (h, w)
        What is blank.
    """
    chance = np.clip(cover, LEAST_CHANCE, 1 - LEAST_CHANCE)
    agreed = expit(logit(chance) + np.where(cut, CUT_ODDS, -CUT_ODDS))
    in_cut = filled(cut) & ~cut
    _, gaps = cv2.connectedComponents(in_cut.astype(np.uint8), connectivity=4)
    seen = np.bincount(gaps.ravel(), weights=cover.ravel()) / np.bincount(gaps.ravel())
    seen[0] = 0  # label 0 is what is no hole
    likely = np.where(seen[gaps] > HALF, 0, agreed)
    mask = opened(closed(likely > HALF, SEAM_PX), 1)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(
        (~mask).astype(np.uint8), connectivity=4
    )
    # A gap is a hole if it shows some sheet for sure, and is one to the cut or to the network.
    sure, own, unlike = (
        np.bincount(labels[one], minlength=count) / stats[:, cv2.CC_STAT_AREA]
        for one in (likely < SURELY_NOT, in_cut, cover < HALF)
    )
    spots = (sure < HALF) | (np.maximum(own, unlike) < HALF)
    spots[0] = False  # label 0 is what is blank
    mask = _with_rings(np.asarray(mask | spots[labels]), cover)
    unseen = mask & ~opened(closed(cover > HALF, SEAM_PX), 1)
    return mask & ~round_gaps(unseen, cover < SURELY_NOT, blank_px=int(mask.sum()))


def _with_rings(mask: MaskArray, cover: Picture) -> MaskArray:
    """Add rings that the network sees on a blank and the cut does not: wire as light as the sheet.

    That it goes all round, and that sheet shows within for sure, is more than chance.
    """
    likely = _pieces_of(mask, closed(mask | (cover > HALF), SEAM_PX))
    enclosed = filled(likely) & ~likely & ~filled(mask)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(
        enclosed.astype(np.uint8), connectivity=4
    )
    areas = stats[:count, cv2.CC_STAT_AREA]
    rings = mask
    for label in 1 + np.flatnonzero(areas[1:] > LEAST_GAP * mask.sum()):
        gap = labels == label
        if np.mean(cover[gap] < SURELY_NOT) > SURE_GAP:
            # Wire is thinner than what it encloses is wide.
            rings = rings | (likely & dilated(gap, int(np.sqrt(areas[label]))))
    return rings


def _out_of_shade(mask: MaskArray, cover: Picture, loss: Picture) -> MaskArray:
    """Take shade off a blank; refuse where there is so much that more will pass for blank."""
    pieces = open_shade(mask, cover, loss)
    if not pieces:
        return mask
    share = pieces[0].sum() / mask.sum()
    if share > MOST_SHADE:
        raise ContrastError(
            f"The blank could not be told from its shadow, which is as dark: an area of "
            f"{share:.1%} of its size may be either ({MOST_SHADE:.1%} allowed). Use softer light, "
            "or light from straight above, and retake the photo."
        )
    return opened(mask & ~np.any(pieces, axis=0), 1)


def _pieces_of(patch: MaskArray, mask: MaskArray) -> MaskArray:
    """Keep the pieces of a mask that lie on a patch, or reach it."""
    _, labels = cv2.connectedComponents(mask.astype(np.uint8), connectivity=4)
    return mask & np.isin(labels, np.unique(labels[patch]))
