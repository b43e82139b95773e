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
G. Taubin, Estimation of planar curves, surfaces and nonplanar space curves defined
by implicit equations, IEEE Trans. PAMI 13(11), 1991: the arcs' fit.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from shapely import LinearRing, get_coordinates, points

from blanktrace.curve import Curve
from blanktrace.join import join_pieces
from blanktrace.segmentation import Segmentation, settled_joints

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

NEWTON_STEPS = 12
"""Taubin's least root converges from below, by quadratic steps."""

STIFFNESS = 50.0
"""Doubts that a kink of one radian counts as, where pieces should run on smoothly."""

FLAT = 1e-5
"""Chords that stand for arcs while points are brought to them, as a share of the ring's extent."""


@dataclass(frozen=True, eq=False)
class _Fits:
    """A curve for each of K spans of a ring, and its weighted sum of squared distances.

    Parameters
    ----------
    coefficients : ndarray, shape (K, 4)
        A, B, C and D of `Curve`.
    squares : ndarray, shape (K,)
    """

    coefficients: FloatArray
    squares: FloatArray


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


def fair_ring(points_px: FloatArray, doubt_px: FloatArray, *, spacing_px: float) -> Fairing:
    """Lay boundary points on the fewest lines and arcs that explain them.

    Parameters
    ----------
    points_px : ndarray, shape (N, 2)
        Closed ring in order, evenly spaced, the first not repeated.
    doubt_px : ndarray, shape (N,)
        Standard uncertainty of each point across the ring.
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
    split = _split(ring, weight, price)
    # Again from a joint, so that no piece is cut where the ring happened to start.
    start = split.joints[len(split.joints) // 2]
    if start:
        ring, weight = np.roll(ring, -start, axis=0), np.roll(weight, -start)
        split = _split(ring, weight, price)
    apart, joined = _laid(replace(split, joints=settled_joints(split)), 1 / np.sqrt(weight))
    return Fairing(*(np.roll(laid, start, axis=0) * size_px + middle for laid in (apart, joined)))


def _laid(split: Segmentation, doubt: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Bring a ring's points to their own pieces, and to the pieces joined end to end."""
    apart = np.empty_like(split.ring)
    owner = split.owner()
    for piece, curve in enumerate(split.curves):
        apart[owner == piece] = _on(curve, split.ring[owner == piece])
    if len(split.curves) == 1:
        return apart, apart
    path = join_pieces(split, stiffness_mm=STIFFNESS, doubt_mm=doubt)
    line = LinearRing(path.flattened(FLAT))
    if not line.is_simple:
        # Two sides of a crack, laid across each other: there the points stay where they are.
        return apart, split.ring
    along = np.unwrap(line.project(points(split.ring)), period=line.length)
    # Round a corner the nearest places may run backwards.
    along = np.maximum.accumulate(along) % line.length
    joined = get_coordinates(line.interpolate(along))
    # A sharp tip keeps its vertex.
    gap, nearest = map(np.asarray, cKDTree(joined).query(path.points_mm))
    near = gap < doubt[nearest]
    joined[nearest[near]] = path.points_mm[near]
    return apart, joined


def _split(ring: FloatArray, weight: FloatArray, price: float) -> Segmentation:
    """Split a ring, opened at its first point, into the pieces that describe it most briefly."""
    step = -(-len(ring) // MOST_NODES)
    nodes = np.append(np.arange(0, len(ring), step), len(ring))
    first, last = np.triu_indices(len(nodes), 1)
    sums = _moment_sums(ring, weight)[nodes]
    moments = sums[last] - sums[first]
    line, arc = _fit_lines(moments), _fit_arcs(moments)
    line_cost = line.squares + LINE_NUMBERS * price
    arc_cost = arc.squares + ARC_NUMBERS * price
    arc_cost[nodes[last] - nodes[first] < FEWEST_ON_ARC] = np.inf
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


def _moment_sums(ring: FloatArray, weight: FloatArray) -> FloatArray:
    """Sum weighted products of x, y and z = x² + y² up to each point: shape (N + 1, 10)."""
    x, y = ring.T
    z = x * x + y * y
    products = [np.ones_like(x), x, y, z, x * x, x * y, y * y, x * z, y * z, z * z]
    sums = np.cumsum(weight[:, None] * np.column_stack(products), axis=0)
    return np.vstack([np.zeros(len(products)), sums])


def _fit_lines(moments: FloatArray) -> _Fits:
    """Fit lines by least squares to moments (K, 10)."""
    total, x, y, xx, xy, yy = _about_middle(moments)[:6]
    angle = np.arctan2(2 * xy, xx - yy) / 2
    b, c = -np.sin(angle), np.cos(angle)
    least = (xx + yy - np.hypot(xx - yy, 2 * xy)) / 2
    flat = np.zeros_like(b)
    return _Fits(np.column_stack([flat, b, c, -(b * x + c * y)]), total * np.maximum(least, 0.0))


def _fit_arcs(moments: FloatArray) -> _Fits:
    """Fit circles by Taubin's method to moments (K, 10)."""
    total, x, y, xx, xy, yy, xz, yz, zz = _about_middle(moments)
    z = xx + yy
    area, spread = xx * yy - xy * xy, zz - z * z
    cubic = 4 * z
    square = -3 * z * z - zz
    linear = spread * z + 4 * area * z - xz * xz - yz * yz
    constant = xz * (xz * yy - yz * xy) + yz * (yz * xx - xz * xy) - spread * area
    root = np.zeros_like(z)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        for _ in range(NEWTON_STEPS):
            value = constant + root * (linear + root * (square + root * cubic))
            slope = linear + root * (2 * square + 3 * root * cubic)
            root = np.nan_to_num(root - value / slope, posinf=0.0, neginf=0.0)
        root = np.maximum(root, 0.0)
        divisor = 2 * (root * root - root * z + area)
        u = (xz * (yy - root) - yz * xy) / divisor
        v = (yz * (xx - root) - xz * xy) / divisor
        radius = np.sqrt(u * u + v * v + z)
        a, b, c, d = 1 / (2 * radius), -u / radius, -v / radius, -z / (2 * radius)
        mean = zz * a**2 + xx * b**2 + yy * c**2 + d**2
        mean = mean + 2 * (a * (b * xz + c * yz + d * z) + b * c * xy)
        squares = np.where(np.isfinite(mean), total * np.maximum(mean, 0.0), np.inf)
    shifted = [a, b - 2 * a * x, c - 2 * a * y, a * (x * x + y * y) - b * x - c * y + d]
    return _Fits(np.nan_to_num(np.column_stack(shifted)), squares)


def _about_middle(moments: FloatArray) -> tuple[FloatArray, ...]:
    """Give total weight, middle x and y, and xx, xy, yy, xz, yz, zz about the middle."""
    total = moments[:, 0]
    x, y, z, xx, xy, yy, xz, yz, zz = (moments[:, 1:] / total[:, None]).T
    m = x * x + y * y
    own_xx, own_xy, own_yy = xx - x * x, xy - x * y, yy - y * y
    own_z = own_xx + own_yy
    own_xz = xz - 2 * x * xx - 2 * y * xy + m * x - x * own_z
    own_yz = yz - 2 * x * xy - 2 * y * yy + m * y - y * own_z
    own_zz = zz - 4 * (x * xz + y * yz) + 4 * (x * x * xx + 2 * x * y * xy + y * y * yy)
    own_zz += 2 * m * z - 3 * m * m
    return total, x, y, own_xx, own_xy, own_yy, own_xz, own_yz, own_zz


def _on(curve: Curve, points: FloatArray) -> FloatArray:
    """Bring points to a curve."""
    slope = 2 * curve.a * points + (curve.b, curve.c)
    slope /= np.maximum(np.hypot(*slope.T), np.finfo(float).tiny)[:, None]
    return points - curve.distances(points)[:, None] * slope
