"""Close the slits that shade seems to cut between a strap and its disc.

A disc is thicker than the strap that comes out from under it, and where light comes
from that side it shades the strap beside its rim. Dark stuff in dark shade looks like
the shaded sheet around it, so that the boundary follows the rim inward, as if a slit
were cut there, and comes out again some way along the strap. A strap is cut straight:
its side is drawn on to the rim, as long as nothing lit shows in the slit.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from blanktrace.consensus import followed_disc, tolerance_px
from blanktrace.edge import NORMAL_POINTS, Edge
from blanktrace.profiles import Pixels, loss_at
from blanktrace.strip import outward

FloatArray = NDArray[np.float64]
IndexArray = NDArray[np.intp]

LEAST_STRAP = 0.1
"""How far a strap stands out from the disc, in its radii, at least."""

SIDE = 0.8
"""Length of boundary, in the disc's radii, in which a strap's side is looked for."""

STRAIGHT_PX, LEAST_STRAIGHT = 1.0, 0.5
"""How near to a straight side its points lie, and the share of them that does."""

NEAR_PX = 0.25
"""A point so near to the side is on it, and the slit ends there."""

FEWEST, PROBES, LEAST_APART = 8, 40, 4
"""Points that a side has at least; those of them through which lines are laid, and how many of
these lie between two."""

STEEPEST = 0.5
"""Cosine between a side and the way out from the disc at least: a side that runs along the rim
has no certain end there."""

WIDEST, LEAST_DEEP_PX = 0.35, 2.0
"""How much of a strap's side a slit takes at most, in the disc's radii; how deep it is at least."""

DARK_LOSS = 0.75
"""Share of the sheet's light that is missing in a slit: with more left, the sheet may be seen."""

ACROSS = (0.25, 0.5, 0.75)
"""Where between a slit's walls and its mouth its light is looked at."""

DOUBT_PX = 1.0
"""Standard uncertainty of a side that was drawn on."""


@dataclass(frozen=True, eq=False)
class _Slit:
    """What looks like a slit: the boundary's points in it, and these drawn across its mouth."""

    points: IndexArray
    drawn_px: FloatArray
    deep_px: FloatArray


def close_slits(rgb: Pixels, edge: Edge, *, light: FloatArray) -> Edge:
    """Draw a strap's sides on to its disc, across slits in which all is dark.

    Parameters
    ----------
    rgb : ndarray of uint8 or uint16, shape (H, W, 3)
        The full photograph, sRGB.
    edge : Edge
        A blank's outer boundary as it was located.
    light : ndarray, shape (3,)
        Linear light of the bare sheet about the blank.

    Returns
    -------
    Edge
        As it was, where there is no disc with a strap, or no slit.
    """
    followed = followed_disc(edge.points_px)
    if followed is None:
        return edge
    (x, y, radius, *_), off = followed
    centre = np.array([x, y])
    for strap in _straps(off, radius):
        for onward, walk in ((1, strap), (-1, strap[::-1])):
            slit = _slit(edge, walk, onward, centre=centre, radius=radius)
            if slit is not None and _is_dark(rgb, edge, slit, light):
                edge = _closed(edge, slit)
    return edge


def _straps(off: FloatArray, radius: float) -> list[IndexArray]:
    """List the stretches of boundary that stand out from the disc, by their points."""
    beyond = off > tolerance_px(radius)
    first = int(np.argmin(beyond))
    steps = np.diff(np.roll(beyond, -first).astype(np.int8), prepend=0, append=0)
    ends = zip(np.flatnonzero(steps == 1), np.flatnonzero(steps == -1), strict=True)
    stretches = [(np.arange(begin, end) + first) % len(off) for begin, end in ends]
    return [one for one in stretches if off[one].max() > LEAST_STRAP * radius]


def _slit(
    edge: Edge, walk: IndexArray, onward: int, *, centre: FloatArray, radius: float
) -> _Slit | None:
    """Find the slit at the beginning of a walk from the disc out along a strap."""
    ring = edge.points_px
    half = walk[: len(walk) // 2]
    length = np.cumsum(np.hypot(*np.diff(ring[half], axis=0, prepend=ring[half[:1]]).T))
    beside = half[length < SIDE * radius]
    side = _side(ring[beside])
    if side is None:
        return None
    start, along, mouth = side
    away = start - centre
    if along @ away < STEEPEST * np.hypot(*away):
        return None
    beyond = np.array([along[1], -along[0]])
    beyond *= np.sign(np.sum(edge.outward[beside[mouth:]] @ beyond))
    # Back along the rim to where it comes out from behind the side.
    behind = (walk[0] - onward * np.arange(1, int(WIDEST * len(ring)))) % len(ring)
    shown = np.flatnonzero((ring[behind] - start) @ beyond > 0)
    if not len(shown):
        return None
    points = np.concatenate([behind[: shown[0]][::-1], beside[:mouth]])
    corner = start + along * ((ring[behind[shown[0]]] - start) @ along)
    end = ring[beside[mouth]]
    drawn = np.linspace(corner, end, len(points) + 2)[1:-1]
    deep = (drawn - ring[points]) @ beyond
    is_slit = np.hypot(*(end - corner)) < WIDEST * radius and deep.max(initial=0) > LEAST_DEEP_PX
    return _Slit(points, drawn, deep) if is_slit else None


def _side(points: FloatArray) -> tuple[FloatArray, FloatArray, int] | None:
    """Find the straight side that most of a strap's points are on.

    Returns
    -------
    start, along : ndarray, shape (2,)
        A place on it, and its direction, in the points' order.
    first : int
        The first of the points that is on it.
    """
    if len(points) < FEWEST:
        return None
    probes = points[np.linspace(0, len(points) - 1, min(len(points), PROBES)).astype(np.intp)]
    first, second = np.triu_indices(len(probes), LEAST_APART)
    start, along = probes[first], probes[second] - probes[first]
    along /= np.maximum(np.hypot(*along.T), np.finfo(float).tiny)[:, None]
    on = np.abs(_off(points, start[:, None], along[:, None])) < STRAIGHT_PX
    best = int(np.argmax(on.sum(axis=1)))
    on_side = points[on[best]]
    if len(on_side) < LEAST_STRAIGHT * len(points):
        return None
    middle = on_side.mean(axis=0)
    axis = np.linalg.svd(on_side - middle, full_matrices=False)[2][0]
    off = np.abs(_off(points, middle, axis))
    near = off <= max(float(np.median(off[on[best]])), NEAR_PX)
    return middle, axis * np.sign(axis @ along[best]), int(np.argmax(near))


def _off(points: FloatArray, start: FloatArray, along: FloatArray) -> FloatArray:
    """Distance of points from lines, positive to one side."""
    away = points - start
    return np.asarray(away[..., 0] * along[..., 1] - away[..., 1] * along[..., 0])


def _is_dark(rgb: Pixels, edge: Edge, slit: _Slit, light: FloatArray) -> bool:
    """Say whether no sheet shows in a slit."""
    deep = slit.deep_px > LEAST_DEEP_PX
    walls = edge.points_px[slit.points[deep]]
    within = np.stack([walls + share * (slit.drawn_px[deep] - walls) for share in ACROSS])
    return float(np.mean(loss_at(rgb, within, light))) > DARK_LOSS


def _closed(edge: Edge, slit: _Slit) -> Edge:
    whole = edge.brought(slit.points, slit.drawn_px, doubt_px=DOUBT_PX)
    return replace(whole, outward=outward(whole.points_px, NORMAL_POINTS))
