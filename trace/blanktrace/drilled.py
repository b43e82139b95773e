"""Find drilled holes by their round edge.

Through a small hole one sees sheet that is half in the shadow of the hole's wall, so
that part of it may look like a grey blank. Its edge shows all the same, all the way
round, be it light against dark or dark against light. About every place that is
unlike the blank circles are tried, and the one whose edge shows best is held against
the slopes that the blank itself is full of. In a dark blank nothing may have been seen
of a hole; the places of the plainest circles are looked at too. Where shadow makes the
sheet as dark as the blank, the network is in doubt all over a round place, and sure of
the blank about it.
"""

from __future__ import annotations

from itertools import product

import cv2
import numpy as np
from numpy.typing import NDArray

from blanktrace.background import MaskArray, Picture
from blanktrace.evidence import spread
from blanktrace.masks import filled
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

PLAINEST, PLAINEST_TRIED = 4, 40
WIDEN = 1.3
EVERY_PX = 2
"""How many circles of plainest edge are looked at, of so many of each radius; each radius that is
tried over the last; and the distance of the places."""

CONTRAST, CONTRAST_SHARE = 9.0, 0.8
LARGER = 1.1
"""Darkness (8 bits) by which a hole that only its edge told must differ from the blank about it,
the share of it that does, and its radius over the least: light that falls across a flat face makes
faint circles, a dark gap beside a strap small ones."""

HALF_OPEN, HALF_SHOWN = 0.45, 0.75
"""Share of a hole that is still taken for blank, from which it was not found; and of its arcs that
must show the edge where the network doubts it."""

SURE, NEARLY_ALL, DOUBTED = 0.9, 0.9, 0.8
"""Share of blank from which the network is sure, how much of what is about a hole is so, and the
mean of the share within it at most."""

MOST_DRILLED = 6
"""Holes that a blank is drilled with at most (common practice: one or two); more round edges than
these are the relief of a coin, or a pattern."""


def find_drilled(
    gaps: MaskArray, whole: MaskArray, colours: NDArray[np.uint8], *, unseen: bool
) -> MaskArray:
    """Find drilled holes about places that are unlike the blank, or anywhere in it.

    Parameters
    ----------
    gaps : ndarray of bool, shape (h, w)
        Places within the blank that are unlike it.
    whole : ndarray of bool, shape (h, w)
        The blank, its holes filled.
    colours : ndarray of uint8, shape (h, w, 3)
        Darkness and colour, spread over 8 bits; darkness as a logarithm.
    unseen : bool
        Whether there may be holes of which no gap was seen: in a blank of the sheet's hue.

    Returns
    -------
    ndarray of bool, shape (h, w)
        Round holes, whole, as true as a rough boundary need be.
    """
    holes = np.zeros_like(whole)
    inward, least, largest = _room_in(whole)
    if float(inward.max()) <= CLEAR_PX + LEAST_RADIUS_PX or not (unseen or gaps.any()):
        return holes
    look = _Look(colours, inward > CLEAR_PX)
    starts = [(one, True) for one in _about(gaps)]
    if unseen:
        radii = least * WIDEN ** np.arange(np.log(largest / least) / np.log(WIDEN))
        starts += [(one, False) for one in look.plainest(inward, radii)]
    surface = colours[whole][:, :1].astype(np.float32)
    usual, own = float(np.median(surface)), max(CONTRAST, 2 * float(_spreads(surface)[0]))
    rows, columns = np.indices(whole.shape)
    drilled = 0
    for start, seen in starts:
        if start[2] > largest or holes[round(start[1]), round(start[0])]:
            continue
        circle = _drilled_about(look, start, least)
        if circle is None or not _has_room(circle, inward, least, largest):
            continue
        away = np.hypot(columns - circle[0], rows - circle[1])
        beyond = away - OUTSIDE * circle[2]
        inside = colours[away < INSIDE * circle[2]].astype(np.float32)
        about = colours[(beyond > 0) & (beyond < ABOUT_PX)].astype(np.float32)
        # What lies about it is as dark as the blank mostly is: no strap, no ring.
        if abs(usual - float(np.median(about[:, 0]))) > own:
            continue
        if (
            _is_unlike(inside, about)
            if seen
            else circle[2] > LARGER * least and _is_darker_or_lighter(inside, about)
        ):
            holes |= away <= circle[2]
            drilled += 1
    return holes & whole if drilled <= MOST_DRILLED else np.zeros_like(whole)


def find_doubted(cover: Picture, mask: MaskArray, colours: NDArray[np.uint8]) -> MaskArray:
    """Find drilled holes where the network is in doubt over a round place, and not about it.

    Parameters
    ----------
    cover : ndarray of float32, shape (h, w)
        How much of each pixel is blank, as the network says.
    mask : ndarray of bool, shape (h, w)
        The blank, holes that were found in it left open.
    colours : ndarray of uint8, shape (h, w, 3)
        As for `find_drilled`.

    Returns
    -------
    ndarray of bool, shape (h, w)
        Round holes of which half or so is not open yet, as true as a rough boundary need be.
    """
    holes = np.zeros_like(mask)
    inward, least, largest = _room_in(filled(mask))
    inner = inward > CLEAR_PX
    starts = [one for one in _about(inner & (cover < SURE)) if least <= one[2] <= largest]
    if not starts:
        return holes
    look = _Look(colours, inner)
    rows, columns = np.indices(mask.shape)
    for start in starts:
        circle = look.settled(start, LAST_STEPS_PX, least, most=PLAIN_NOISES)
        if not _has_room(circle, inward, least, largest):
            continue
        away = np.hypot(columns - circle[0], rows - circle[1])
        within, beyond = away < circle[2], away - OUTSIDE * circle[2]
        about = cover[(beyond > 0) & (beyond < ABOUT_PX)]
        if (
            look.shown(circle) >= HALF_SHOWN
            and mask[within].mean() > HALF_OPEN
            and cover[within].mean() < DOUBTED
            and np.mean(about > SURE) > NEARLY_ALL
        ):
            holes |= within
    return holes


def _room_in(whole: MaskArray) -> tuple[Picture, float, float]:
    """Measure how far inward each place is, and the least and largest radius of a drilled hole."""
    inward = np.asarray(cv2.distanceTransform(whole.astype(np.uint8), cv2.DIST_L2, 5), np.float32)
    size = float(np.sqrt(whole.sum()))
    return inward, max(LEAST_RADIUS_PX, LEAST_RADIUS_SHARE * size), LARGEST_SHARE * size


def _has_room(circle: Circle, inward: Picture, least: float, largest: float) -> bool:
    """Whether a circle is as large as a hole is, and lies well within the blank."""
    x, y, radius = circle
    height, width = inward.shape
    near = inward[int(np.clip(y, 0, height - 1)), int(np.clip(x, 0, width - 1))]
    return bool(least <= radius <= largest and near >= radius + CLEAR_PX)


def _about(gaps: MaskArray) -> list[Circle]:
    """Circles around what was seen."""
    count, labels = cv2.connectedComponents(gaps.astype(np.uint8), connectivity=4)
    circles = []
    for label in range(1, count):
        seen = np.argwhere(labels == label)[:, ::-1].astype(np.float32)
        (x, y), radius = cv2.minEnclosingCircle(seen)
        circles.append((x, y, radius))
    return circles


def _drilled_about(look: _Look, about: Circle, least: float) -> Circle | None:
    """Find the hole whose edge shows all the way round, about a circle."""
    x, y, radius = about
    starts = [(x, y, max(least, wider * radius)) for wider in WIDER]
    found = [look.settled(start, STEPS_PX, least, most=PLAIN_NOISES) for start in starts]
    shown = [one for one in found if look.shown(one) >= SHOWN]
    if not shown:
        return None
    # Within the hole the end of the shadow shows too; beyond it nothing does.
    widest = max(shown, key=lambda one: one[2])
    return look.settled(widest, LAST_STEPS_PX, least, most=np.inf)


class _Look:
    """Slopes of a picture, in those that a blank is full of."""

    def __init__(self, colours: NDArray[np.uint8], inner: MaskArray) -> None:
        smooth = cv2.GaussianBlur(colours.astype(np.float32), (0, 0), SMOOTH_PX)
        slopes = slopes_of(np.asarray(smooth, dtype=np.float32), inner, least=LEAST_SLOPE)
        self._slopes = (slopes.x, slopes.y)
        angles = np.arange(ARCS * PER_ARC) * 2 * np.pi / (ARCS * PER_ARC)
        self._out = np.column_stack([np.cos(angles), np.sin(angles)])
        self._noise = slopes.noise(self._out)

    def plainest(self, inward: Picture, radii: FloatArray) -> list[Circle]:
        """Find the circles within a blank whose edge shows best, by darkness alone."""
        out = self._out[::2]
        slopes = [
            (self._slopes[0][..., 0] * x + self._slopes[1][..., 0] * y) / noise
            for (x, y), noise in zip(out, self._noise[::2, 0], strict=True)
        ]
        shown: list[tuple[float, Circle]] = []
        for radius in radii:
            places = np.argwhere(inward[::EVERY_PX, ::EVERY_PX] > radius + CLEAR_PX) * EVERY_PX
            arcs = np.zeros((len(out), len(places)))
            for k, (x, y) in enumerate(np.rint(radius * out).astype(int)):
                arcs[k] = slopes[k][places[:, 0] + y, places[:, 1] + x]
            arcs = np.abs(arcs.reshape(ARCS, PER_ARC // 2, -1).mean(axis=1)) * np.sqrt(PER_ARC // 2)
            rims = np.log1p(np.minimum(arcs, PLAIN_NOISES)).mean(axis=0)
            best = np.argsort(-rims)[:PLAINEST_TRIED]
            shown += [
                (float(rims[k]), (float(places[k, 1]), float(places[k, 0]), float(radius)))
                for k in best
            ]
        apart: list[Circle] = []
        for _, one in sorted(shown, reverse=True):
            if all(np.hypot(one[0] - x, one[1] - y) > max(one[2], r) for x, y, r in apart):
                apart.append(one)
        return apart[:PLAINEST]

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


def _is_unlike(inside: Picture, about: Picture) -> bool:
    """Whether colours (N, 3) within a circle are unlike those about it."""
    off = (np.abs(inside - np.median(about, axis=0)) / _spreads(about)).max(axis=1)
    return all(
        float(np.mean(off > noises)) >= share
        for noises, share in zip(UNLIKE_NOISES, UNLIKE_SHARES, strict=True)
    )


def _is_darker_or_lighter(inside: Picture, about: Picture) -> bool:
    """Whether what lies within a circle is plainly darker or lighter than what lies about it."""
    inside, about = inside[:, :1], about[:, :1]
    least = max(CONTRAST, UNLIKE_NOISES[0] * float(_spreads(about)[0]))
    return float(np.mean(np.abs(inside - np.median(about)) > least)) >= CONTRAST_SHARE


def _spreads(values: Picture) -> FloatArray:
    """Spread of each of the colours (N, K)."""
    return np.array([max(spread(one), LEAST_SPREAD) for one in values.T])
