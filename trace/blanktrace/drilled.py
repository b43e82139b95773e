"""Find drilled holes by their round edge.

Through a small hole one sees sheet that is half in the shadow of the hole's wall, so
that part of it may look like a grey blank. Its edge shows all the same, all the way
round, be it light against dark or dark against light. About every place that is
unlike the blank circles are tried, and the one whose edge shows best is held against
the slopes that the blank itself is full of.
"""

from __future__ import annotations

from itertools import product

import cv2
import numpy as np
from numpy.typing import NDArray

from blanktrace.background import MaskArray
from blanktrace.evidence import spread
from blanktrace.slopes import slopes_of

FloatArray = NDArray[np.float64]
Circle = tuple[float, float, float]
"""Centre (x, y) and radius in px."""

LEAST_RADIUS_PX = 5.0
LEAST_RADIUS_SHARE = 0.015
LARGEST_SHARE = 0.12
"""Radii of drilled holes, as shares of the blank's size (root of its area): smaller specks are
round by chance, larger holes show as sheet."""

CLEAR_PX = 2.0
"""Width of blank that a hole has about it at least."""

WIDER = (1.0, 1.6, 2.4)
"""Circles to start from, over the one around what was seen: a hole may show a crescent only."""

STEPS_PX = (3.0, 1.5, 0.75)
LAST_STEPS_PX = (1.0, 0.5)

ARCS = 12
PER_ARC = 4
"""Arcs that a circle is divided into, and places at which each is looked at."""

SMOOTH_PX = 1.0
LEAST_SLOPE = 0.3
"""Blur before slopes are taken, and least spread of them (8 bits a pixel)."""

EDGE_NOISES = 4.0
PLAIN_NOISES = 11.0
"""Slope across an arc, in the blank's own, that makes an edge, and a plain one."""

SHOWN = 0.9
"""Share of the arcs that must show the edge."""

INSIDE, OUTSIDE = 0.8, 1.25
"""Of a hole's radius: within is sheet only, beyond blank only."""

ABOUT_PX = 4.0
UNLIKE_NOISES = (3.0, 5.0)
UNLIKE_SHARES = (0.8, 0.5)
"""Shares of a hole's inside that must be unlike the blank about it by so much: where light goes
over into shadow it passes through the blank's own shade."""

LEAST_SPREAD = 4.0
"""Least spread of the blank's colours (8 bits)."""

MOST_DRILLED = 6
"""Holes that a blank is drilled with at most (common practice: one or two); more round edges than
these are the relief of a coin, or a pattern."""


def find_drilled(gaps: MaskArray, whole: MaskArray, colours: NDArray[np.uint8]) -> MaskArray:
    """Find drilled holes about places that are unlike the blank.

    Parameters
    ----------
    gaps : ndarray of bool, shape (h, w)
        Places within the blank that are unlike it.
    whole : ndarray of bool, shape (h, w)
        The blank, its holes filled.
    colours : ndarray of uint8, shape (h, w, 3)
        Darkness and colour, spread over 8 bits.

    Returns
    -------
    ndarray of bool, shape (h, w)
        Round holes, whole, as true as a rough boundary need be.
    """
    holes = np.zeros_like(whole)
    size = float(np.sqrt(whole.sum()))
    inward = cv2.distanceTransform(whole.astype(np.uint8), cv2.DIST_L2, 5)
    if float(inward.max()) <= CLEAR_PX + LEAST_RADIUS_PX:
        return holes
    look = _Look(colours, inward > CLEAR_PX)
    least = max(LEAST_RADIUS_PX, LEAST_RADIUS_SHARE * size)
    count, labels = cv2.connectedComponents(gaps.astype(np.uint8), connectivity=4)
    rows, columns = np.indices(whole.shape)
    drilled = 0
    for label in range(1, count):
        seen = np.argwhere(labels == label)[:, ::-1].astype(np.float32)
        (x, y), radius = cv2.minEnclosingCircle(seen)
        if radius > LARGEST_SHARE * size:
            continue
        starts = [(x, y, max(least, wider * radius)) for wider in WIDER]
        found = [look.settled(start, STEPS_PX, least, most=PLAIN_NOISES) for start in starts]
        shown = [one for one in found if look.shown(one) >= SHOWN]
        if not shown:
            continue
        # Within the hole the end of the shadow shows too; beyond it nothing does.
        widest = max(shown, key=lambda one: one[2])
        x, y, radius = look.settled(widest, LAST_STEPS_PX, least, most=np.inf)
        near = inward[int(np.clip(y, 0, len(whole) - 1)), int(np.clip(x, 0, whole.shape[1] - 1))]
        if not least <= radius <= LARGEST_SHARE * size or near < radius + CLEAR_PX:
            continue
        away = np.hypot(columns - x, rows - y)
        if _is_unlike(colours, away, radius):
            holes |= away <= radius
            drilled += 1
    return holes & whole if drilled <= MOST_DRILLED else np.zeros_like(whole)


class _Look:
    """Slopes of a picture, in those that a blank is full of."""

    def __init__(self, colours: NDArray[np.uint8], inner: MaskArray) -> None:
        smooth = cv2.GaussianBlur(colours.astype(np.float32), (0, 0), SMOOTH_PX)
        slopes = slopes_of(np.asarray(smooth, dtype=np.float32), inner, least=LEAST_SLOPE)
        self._slopes = (slopes.x, slopes.y)
        angles = np.arange(ARCS * PER_ARC) * 2 * np.pi / (ARCS * PER_ARC)
        self._out = np.column_stack([np.cos(angles), np.sin(angles)])
        self._noise = slopes.noise(self._out)

    def shown(self, circle: Circle) -> float:
        """Share of a circle's arcs that show an edge."""
        return float(np.mean(self._arcs(circle) > EDGE_NOISES))

    def settled(
        self, circle: Circle, steps_px: tuple[float, ...], least: float, *, most: float
    ) -> Circle:
        """Move and widen a circle until its edge shows best near by, each arc up to a limit."""

        def rim(one: Circle) -> float:
            return float(np.log1p(np.minimum(self._arcs(one), most)).mean())

        for step in steps_px:
            for _ in range(2):
                moves = product((0.0, -step, step), repeat=3)
                near = [(circle[0] + x, circle[1] + y, circle[2] + r) for x, y, r in moves]
                circle = max((one for one in near if one[2] >= least), key=rim)
        return circle

    def _arcs(self, circle: Circle) -> FloatArray:
        """Slope across each arc, in its noises, of the channel that shows it best."""
        x, y, radius = circle
        place = np.asarray((x, y) + radius * self._out, dtype=np.float32)[None]
        across = np.zeros_like(self._noise)
        for slope, out in zip(self._slopes, self._out.T, strict=True):
            across += (
                cv2.remap(slope, place[..., 0], place[..., 1], cv2.INTER_LINEAR)[0] * out[:, None]
            )
        arcs = np.abs((across / self._noise).reshape(ARCS, PER_ARC, 3).mean(axis=1))
        return np.asarray(arcs.max(axis=1) * np.sqrt(PER_ARC))


def _is_unlike(colours: NDArray[np.uint8], away: FloatArray, radius: float) -> bool:
    """Whether what lies within a circle is unlike what lies about it."""
    beyond = away - OUTSIDE * radius
    inside = colours[away < INSIDE * radius].astype(np.float32)
    about = colours[(beyond > 0) & (beyond < ABOUT_PX)].astype(np.float32)
    if not len(inside) or not len(about):
        return False
    varies = [max(spread(values), LEAST_SPREAD) for values in about.T]
    off = (np.abs(inside - np.median(about, axis=0)) / varies).max(axis=1)
    return all(
        float(np.mean(off > noises)) >= share
        for noises, share in zip(UNLIKE_NOISES, UNLIKE_SHARES, strict=True)
    )
