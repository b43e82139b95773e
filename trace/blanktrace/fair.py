"""Fair a boundary: lay it on the fewest lines and arcs that its evidence asks for.

A located boundary point is off by as much as the photograph left open there, and
neighbours are off together, along a grain line or a block of the JPEG. Cut and
stamped blanks, though, are made of straight sides and arcs. Of all splits of the
ring into such pieces the one is taken that describes it most briefly: the squared
distances from the pieces, counted in the points' own doubts, and a price for every
number that a piece needs. Where the edge is sharp the doubt is small and detail
stays; where wood is as bright as the paper, a straight side runs straight through.

References
----------
R. Bellman, On the approximation of curves by line segments using dynamic
programming, Communications of the ACM 4(6), 1961: the split.
J. Rissanen, Modeling by shortest data description, Automatica 14, 1978: the price.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from shapely import LinearRing, LineString, Point, get_coordinates, points

from blanktrace.curve import Curve
from blanktrace.join import join_pieces
from blanktrace.path import Path
from blanktrace.segmentation import Segmentation, settled_joints
from blanktrace.spans import fit_arcs, fit_lines, moment_sums

FloatArray = NDArray[np.float64]

MOST_NODES = 240
"""Places where a piece may start: close enough for a tab, few enough to try all pairs."""

TOGETHER_PX = 12.0
"""Length over which neighbours err together: grain lines, and one and a half JPEG blocks."""

LINE_NUMBERS = 3
ARC_NUMBERS = 4
"""What a piece is described by: place and direction, for an arc the curvature; and its start."""

PRICE_SHARE = 0.8
"""Of Rissanen's price for a number: leaves and hearts have lobes that are worth keeping."""

FEWEST_ON_ARC = 5

MOST_RUN = 1.5
"""A stretch longer than its line or arc by more than this is no noise: it turns back on itself,
as the two sides of a crack or of a thin stem do."""

FLATTEST, TIGHTEST = 1e-9, 1e9
"""Least and greatest half curvature, over the ring's extent, that an arc is given."""

STIFFNESSES = (50.0, 0.0)
"""Doubts that a kink of one radian counts as, where pieces should run on smoothly; nothing, if a
ring so stiff crosses itself."""

FEWEST_CORNERS = 3
"""Of a ring that has not closed up to a line."""

NEIGHBOURHOOD = 3
"""Segments near which a point's place is looked for: its own, and one to either side."""

MOST_ASTRAY = 12.0
"""Points are brought no farther than this many doubts."""

FLAT = 1e-5
"""Chords that stand for arcs while points are brought to them, as a share of the ring's extent."""


@dataclass(frozen=True, eq=False)
class Fairing:
    """A ring's points moved across the ring, each onto a line or an arc.

    Attributes
    ----------
    apart_px : ndarray, shape (N, 2)
        On the piece that fits each stretch best, whether or not pieces meet.
    joined_px : ndarray, shape (N, 2)
        On the pieces joined end to end.
    """

    apart_px: FloatArray
    joined_px: FloatArray


def fair_ring(
    points_px: FloatArray,
    doubt_px: FloatArray,
    *,
    corners: tuple[int, ...] = (),
    spacing_px: float,
) -> Fairing:
    """Lay boundary points on the fewest lines and arcs that explain them.

    Parameters
    ----------
    points_px : ndarray, shape (N, 2)
        Closed ring in order, evenly spaced, the first not repeated.
    doubt_px : ndarray, shape (N,)
        Standard uncertainty of each point across the ring.
    corners : tuple of int, optional
        Points that are known as sharp corners: there a piece ends, and a tip that pieces meet in
        within its uncertainty stays.
    spacing_px : float
        Distance between neighbours.

    Returns
    -------
    Fairing
    """
    count, middle = len(points_px), points_px.mean(axis=0)
    size_px = float(np.ptp(points_px, axis=0).max())
    independent = min(1.0, spacing_px / TOGETHER_PX)
    ring, weight = (points_px - middle) / size_px, independent * (size_px / doubt_px) ** 2
    price = PRICE_SHARE * float(np.log(max(count * independent, np.e)))
    sharp = np.array(corners, dtype=np.intp)
    split = _split(ring, weight, price, sharp)
    # Again from a joint, so that no piece is cut where the ring happened to start.
    start = split.joints[len(split.joints) // 2]
    if start:
        ring, weight = np.roll(ring, -start, axis=0), np.roll(weight, -start)
        split = _split(ring, weight, price, (sharp - start) % count)
    apart, joined = _laid(replace(split, joints=settled_joints(split)), 1 / np.sqrt(weight))
    apart, joined = (np.roll(laid, start, axis=0) * size_px + middle for laid in (apart, joined))
    met = sharp[np.hypot(*(joined[sharp] - points_px[sharp]).T) < doubt_px[sharp]]
    joined[met] = points_px[met]
    return Fairing(apart, joined)


def _laid(split: Segmentation, doubt: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Bring a ring's points to their own pieces, and to the pieces joined end to end."""
    count = len(split.ring)
    owned = [np.arange(*split.span(piece)) % count for piece in range(len(split.curves))]
    apart = np.empty_like(split.ring)
    for own, curve in zip(owned, split.curves, strict=True):
        apart[own] = curve.nearest(split.ring[own])
    if len(split.curves) == 1:
        return apart, apart
    for stiffness in STIFFNESSES:
        path = join_pieces(split, stiffness_mm=stiffness, doubt_mm=doubt)
        joined = _brought(split, owned, path, doubt)
        if joined is None:
            continue
        if np.all(np.hypot(*(joined - split.ring).T) < MOST_ASTRAY * doubt):
            return apart, joined
    # Two sides of a crack, laid on or across each other, or pieces so nearly in line that they meet
    # far away: there the points stay where they are.
    return apart, split.ring


def _brought(
    split: Segmentation, owned: list[NDArray[np.intp]], path: Path, doubt: FloatArray
) -> FloatArray | None:
    """Bring a ring's points to the path of its pieces; None if that crosses itself."""
    vertices = path.flattened(FLAT)
    if len(vertices) < FEWEST_CORNERS or not (laid := LinearRing(vertices)).is_simple:
        return None
    places = []
    for piece, own in enumerate(owned):
        line = _about(path, piece)
        start = laid.project(Point(line.coords[0]))
        places.append(start + line.project(points(split.ring[own])))
    along = np.unwrap(np.concatenate(places), period=laid.length)
    # Round a corner the nearest places may run backwards.
    along = np.minimum(np.maximum.accumulate(along), along[0] + laid.length)
    order = np.concatenate(owned)
    # A sharp tip keeps its vertex.
    for vertex in np.atleast_1d(laid.project(points(path.points_mm))):
        off = (vertex - along + laid.length / 2) % laid.length - laid.length / 2
        nearest = int(np.argmin(np.abs(off)))
        if abs(off[nearest]) < doubt[order[nearest]]:
            along[nearest] += off[nearest]
    joined = np.empty_like(split.ring)
    joined[order] = get_coordinates(laid.interpolate(along % laid.length))
    return joined


def _about(path: Path, piece: int) -> LineString:
    """Give a segment with its neighbours, as smooth joints may have slid along.

    A path of so few that these meet comes whole.
    """
    count = len(path.points_mm)
    if count <= NEIGHBOURHOOD:
        return LinearRing(path.flattened(FLAT))
    about = np.arange(piece - 1, piece + NEIGHBOURHOOD) % count
    return LineString(
        Path(path.points_mm[about], [*path.bulges[about[:-1]], 0.0], closed=False).flattened(FLAT)
    )


def _split(
    ring: FloatArray, weight: FloatArray, price: float, corners: NDArray[np.intp]
) -> Segmentation:
    """Split a ring, opened at its first point, into the pieces that describe it most briefly."""
    step = -(-len(ring) // MOST_NODES)
    nodes = np.union1d(np.append(np.arange(0, len(ring), step), len(ring)), corners)
    first, last = np.triu_indices(len(nodes), 1)
    sums = moment_sums(ring, weight)[nodes]
    moments = sums[last] - sums[first]
    line, arc = fit_lines(moments), fit_arcs(moments)
    line_cost = line.squares + LINE_NUMBERS * price
    arc_cost = arc.squares + ARC_NUMBERS * price
    arc_cost[nodes[last] - nodes[first] < FEWEST_ON_ARC] = np.inf
    steps = np.hypot(*np.diff(ring, axis=0, append=ring[:1]).T)
    length = np.concatenate([[0.0], np.cumsum(steps)])[nodes]
    run = length[last] - length[first]
    ends = np.vstack([ring, ring[:1]])[nodes]
    chord = np.hypot(*(ends[last] - ends[first]).T)
    line_cost[run > MOST_RUN * chord] = np.inf
    arc_cost[_turns_back(run, chord, arc.coefficients[:, 0])] = np.inf
    corners = np.sort(corners)
    up_to = np.searchsorted(corners, nodes[last])
    round_corner = up_to > np.searchsorted(corners, nodes[first], side="right")
    line_cost[round_corner] = arc_cost[round_corner] = np.inf
    cost = np.full((len(nodes), len(nodes)), np.inf)
    cost[first, last] = np.minimum(line_cost, arc_cost)
    span = np.zeros(cost.shape, dtype=np.intp)
    span[first, last] = np.arange(len(first))
    least, before = np.zeros(len(nodes)), np.zeros(len(nodes), dtype=np.intp)
    for node in range(1, len(nodes)):
        total = least[:node] + cost[:node, node]
        before[node] = np.argmin(total)
        least[node] = total[before[node]]
    joints: list[int] = []
    curves: list[Curve] = []
    node = len(nodes) - 1
    while node > 0:
        here = span[before[node], node]
        chosen = arc if arc_cost[here] < line_cost[here] else line
        curves.insert(0, Curve(*chosen.coefficients[here].tolist()))
        joints.insert(0, int(nodes[before[node]]))
        node = int(before[node])
    return Segmentation(ring, tuple(joints), tuple(curves))


def _turns_back(run: FloatArray, chord: FloatArray, a: FloatArray) -> NDArray[np.bool_]:
    """Tell whether a stretch is longer than either way round its circle from end to end."""
    radius = 1 / (2 * np.clip(np.abs(a), FLATTEST, TIGHTEST))
    short = 2 * radius * np.arcsin(np.minimum(chord / (2 * radius), 1.0))
    long = 2 * np.pi * radius - short
    return np.asarray(
        (run > MOST_RUN * short) & ((run > MOST_RUN * long) | (run * MOST_RUN < long))
    )
