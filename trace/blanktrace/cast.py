"""Find the cast shadow in what was taken for a blank, by the copy of its edge.

In hard light a grey blank and its shadow can be of one shade. The shadow of a flat
blank, though, is the blank itself moved along the sheet, so that the outline of
both together, moved back, lies on the blank's true edge on the side of the shadow.
All moves are tried; on the right one the picture's slope across the moved outline
adds up along its whole length, and nowhere else does it come near.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from blanktrace.background import MaskArray, Picture
from blanktrace.evidence import Evidence
from blanktrace.masks import closed, dilated, filled, opened
from blanktrace.slopes import Slopes, slopes_of

FloatArray = NDArray[np.float64]

SMOOTH_PX = 1.0
LEAST_LIGHT = 0.01
"""Blur before slopes are taken, and least share of the sheet's light whose logarithm is."""

LEAST_SLOPE = 0.01
"""Least spread of slopes within a blank."""

OUTLINE_PX = 3
"""Distance of outline points, and the Gaussian that smooths the stairs of its pixels."""

CLEAR_PX = 4.0
"""The outline's own edge is felt so far inward."""

COARSE_PX = 2
LEAST_MOVE_PX = 7
MOST_MOVE_SHARE = 0.25
"""Moves are tried so far apart first, from well clear of the outline's own edge to this share of
the blank's size."""

FEWEST = 30
"""Outline points that a moved edge must be seen at."""

LEAST_SCORE = 15.0
"""Summed slope, in its own noises, that makes an edge: streaks of grain reach half of it."""

PIECES = 10
PIECE_SCORE = 1.5
LEAST_PIECES = 0.8
"""Pieces of the moved outline, and how many of them must show the edge for themselves."""

DRILLED_SHARE = 0.02
"""Share of the blank below which a hole is drilled, and no ring's."""

BODY_SHARE = 0.3
"""What is narrower than this share of the blank's depth is a strap or a ring."""


def shed_cast(mask: MaskArray, evidence: Evidence) -> MaskArray:
    """Take a cast shadow off what was taken for a blank.

    Parameters
    ----------
    mask : ndarray of bool, shape (h, w)
        A blank of no colour of its own, perhaps with its shadow.
    evidence : Evidence

    Returns
    -------
    ndarray of bool, shape (h, w)
        The mask as it is where no copy of its edge shows within.
    """
    move = _find_move(mask, evidence)
    if move is None:
        return mask
    whole = _drill_holes_filled(mask)
    length = int(np.abs(move).max())
    moves = np.rint(np.arange(1, 1 + length)[:, None] * move / length).astype(int).tolist()
    own = whole.copy()
    for dx, dy in moves:
        own &= np.roll(whole, (-dy, -dx), (0, 1))
    depth = cv2.distanceTransform(own.astype(np.uint8), cv2.DIST_L2, 5)
    narrow = max(1, round(BODY_SHARE * float(depth.max())))
    body = own & dilated(opened(own, narrow), narrow)
    swept = body.copy()
    for dx, dy in moves:
        swept |= np.roll(body, (dy, dx), (0, 1))
    shadow = swept & ~own & ~closed(evidence.coloured, 2)
    return opened(mask & ~shadow, 2) | (mask & ~dilated(swept, 2))


def _drill_holes_filled(mask: MaskArray) -> MaskArray:
    """Fill holes that are too small to be a ring's."""
    holes = filled(mask) & ~mask
    _, labels, stats, _ = cv2.connectedComponentsWithStats(holes.astype(np.uint8))
    small = np.flatnonzero(stats[:, cv2.CC_STAT_AREA] < DRILLED_SHARE * mask.sum())
    return np.asarray(mask | (holes & np.isin(labels, small)))


def _find_move(mask: MaskArray, evidence: Evidence) -> FloatArray | None:
    """Find the move (x, y) in px that takes a blank's edge to its shadow's; None for none."""
    light = cv2.GaussianBlur(1 - evidence.loss, (0, 0), SMOOTH_PX)
    depth = np.log(np.maximum(light, LEAST_LIGHT))
    inward = np.asarray(
        cv2.distanceTransform(mask.astype(np.uint8), cv2.DIST_L2, 5), dtype=np.float32
    )
    inner = inward > CLEAR_PX
    if not inner.any():
        return None
    points, normals = _outline(mask)
    slopes = slopes_of(np.asarray(depth, dtype=np.float32), inner, least=LEAST_SLOPE)
    look = _Look(points, normals[..., None] / slopes.noise(normals)[:, None], inward, slopes)
    reach = MOST_MOVE_SHARE * float(np.sqrt(mask.sum()))
    steps = np.arange(-int(reach), int(reach) + 1, COARSE_PX)
    dx, dy = (one.ravel() for one in np.meshgrid(steps, steps))
    length = np.hypot(dx, dy)
    tried = (length >= LEAST_MOVE_PX) & (length <= reach)
    near = look.best(dx[tried], dy[tried])
    if near is None:
        return None
    dx, dy = (
        one.ravel() for one in np.mgrid[-COARSE_PX : COARSE_PX + 1, -COARSE_PX : COARSE_PX + 1]
    )
    move = look.best(near[0] + dx, near[1] + dy)
    assert move is not None, "the near one is among them"
    slope = look.seen(*move)
    channel = int(np.argmax(np.abs(slope.mean(axis=0))))
    one_way = slope[:, channel] * np.sign(slope[:, channel].mean())
    pieces = [_score(piece) for piece in np.array_split(one_way, PIECES)]
    if _score(one_way) < LEAST_SCORE or np.mean(np.array(pieces) > PIECE_SCORE) < LEAST_PIECES:
        return None
    return np.array(move, dtype=np.float64)


def _score(slopes: FloatArray) -> float:
    """Mean of slopes in noises of the mean: one point in two is independent."""
    return float(slopes.mean() * np.sqrt(len(slopes) / 2))


@dataclass(frozen=True, eq=False)
class _Look:
    """What is seen across a blank's outline, moved to within it.

    Attributes
    ----------
    points : ndarray of int, shape (N, 2)
        Pixels of the outline.
    across : ndarray, shape (N, 2, 3)
        Unit normals over the noise of the slope along them, channel by channel.
    inward : ndarray, shape (h, w)
        Distance from the outline.
    slopes : Slopes
    """

    points: NDArray[np.intp]
    across: FloatArray
    inward: Picture
    slopes: Slopes

    def best(self, dx: NDArray[np.intp], dy: NDArray[np.intp]) -> tuple[int, int] | None:
        """Find the move whose slopes add up to most; None if no edge would be seen."""
        scores = np.zeros(len(dx))
        for k, move in enumerate(zip(dx.tolist(), dy.tolist(), strict=True)):
            seen = self.seen(*move)
            if len(seen) >= FEWEST:
                scores[k] = np.abs(seen.mean(axis=0)).max() * np.sqrt(len(seen))
        if not scores.any():
            return None
        k = int(np.argmax(scores))
        return int(dx[k]), int(dy[k])

    def seen(self, dx: int, dy: int) -> FloatArray:
        """Slopes (n, 3), in their noises, across the moved outline where it lies within."""
        height, width = self.inward.shape
        x = np.clip(self.points[:, 0] - dx, 0, width - 1)
        y = np.clip(self.points[:, 1] - dy, 0, height - 1)
        within = self.inward[y, x] > CLEAR_PX
        x, y, across = x[within], y[within], self.across[within]
        return np.asarray(self.slopes.x[y, x] * across[:, 0] + self.slopes.y[y, x] * across[:, 1])


def _outline(mask: MaskArray) -> tuple[NDArray[np.intp], FloatArray]:
    """Pixels along the outer edge of a mask, and unit normals, each shape (N, 2)."""
    lines, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    ring = max(lines, key=len)[:, 0].astype(np.float64)
    ring = ndimage.gaussian_filter1d(ring, OUTLINE_PX, axis=0, mode="wrap")
    ahead = np.roll(ring, -1, axis=0) - np.roll(ring, 1, axis=0)
    ahead /= np.maximum(np.hypot(*ahead.T)[:, None], 1e-9)
    normals = np.column_stack([ahead[:, 1], -ahead[:, 0]])
    return np.rint(ring[::OUTLINE_PX]).astype(np.intp), normals[::OUTLINE_PX]
