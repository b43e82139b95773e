"""Turn a dense ring of points into few lines and circular arcs, within a tolerance."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from blanktrace.chain import chain_ring
from blanktrace.curve import fit_arc
from blanktrace.deviation import distances_to_path, path_deviation_mm
from blanktrace.join import join_pieces
from blanktrace.path import Path
from blanktrace.residuals import robust_sd
from blanktrace.segmentation import Segmentation, segment_ring

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

FEWEST_POINTS = 3

FIT_SHARES = (0.95,)
"""Shares of the tolerance that pieces may use, tried in turn: joining them costs the rest."""

MOST_JOINED = 12
"""Pieces up to which they are fitted together; more are chained one after another."""

MOST_TRIED = 60
"""Pieces up to which that is tried once all the same, if most are straight."""

CHAIN_SHARES = (0.95, 0.7)
"""The same shares for a chain, whose ends lie on points of the ring."""

STIFFNESSES_MM = (10.0, 0.0)
"""A kink of one degree counts as 0.17 mm, many times any residual; if that fails, as nothing."""

MOST_HALVINGS = 1
"""Rounds of cutting in two those pieces that strain at the tolerance."""

STRAINED_SCATTERS = 4.0
EASY_SCATTERS = 5.0
"""Standard deviations of single points. A tolerance below four of them cannot be kept by few
pieces, as some points of any ring are farther off; five of them take its place."""

TIP_SHARE = 0.9
"""Of the tolerance, that a vertex may lie off the ring."""

WIDEST_STEP_MM = 0.25
"""Longer edges of the ring get further points, and all edges of a ring with few."""

FEWEST_DENSE = 200

VALID_STEP_SHARE = 0.2
"""Chords this fine, in tolerances, stand for arcs where crossings are looked for."""

POLYGON_SHARE = 0.9
"""Of the tolerance, for a polygon in place of lines and arcs."""


def reduce_ring(points_mm: ArrayLike, *, tolerance_mm: float = 0.05) -> Path:
    """Turn a closed ring of points into few lines and true arcs.

    Parameters
    ----------
    points_mm : array_like, shape (N, 2)
        The ring's points in order, the first not repeated; three or more.
    tolerance_mm : float
        Largest distance between path and ring, from either to the other.

    Returns
    -------
    Path
        Closed, not crossing itself, running round the way the ring does. A
        circle comes back as one circle.

    Raises
    ------
    ValueError
        If the points are no ring: too few, not finite, enclosing nothing, or
        crossing each other's edges by more than the tolerance.

    Notes
    -----
    Where single points scatter so much that four standard deviations exceed the
    tolerance, no few pieces can follow them all, and five take its place;
    `path_deviation_mm` says what came of it. Corners stay sharp; curves that
    meet within 12 degrees are drawn together to one tangent where the tolerance
    allows. Where lines and arcs cannot do it at all, the ring comes back as a
    simplified polygon, which always can.

    Examples
    --------
    >>> path = reduce_ring([(0, 0), (40, 0), (40, 30), (0, 30)])
    >>> len(path.points_mm), round(path.signed_area_mm2, 6)
    (4, 1200.0)
    """
    ring = _checked(points_mm, tolerance_mm)
    dense = _dense(ring)
    scatter = _scatter(dense)
    strained = STRAINED_SCATTERS * scatter > tolerance_mm
    allowed = EASY_SCATTERS * scatter if strained else tolerance_mm
    circle = _whole_circle(ring, dense, allowed)
    if circle is not None:
        return circle
    for share in FIT_SHARES:
        split = segment_ring(dense, tolerance_mm=share * allowed)
        if len(split.joints) > MOST_JOINED:
            break
        for stiffness in STIFFNESSES_MM:
            path = _strained(split, allowed, stiffness_mm=stiffness)
            if path is not None and _sound(path, ring, allowed):
                return path
    if MOST_JOINED < len(split.joints) <= MOST_TRIED and _mostly_straight(split):
        path = join_pieces(split, stiffness_mm=0.0)
        if _sound(path, ring, allowed):
            return path
    for share in CHAIN_SHARES:
        chain = chain_ring(dense, tolerance_mm=share * allowed)
        if _sound(chain, ring, allowed):
            return chain
    return _polygon(ring, allowed)


def _mostly_straight(split: Segmentation) -> bool:
    """Tell whether most pieces are straight lines, which settle at once when fitted together."""
    return sum(curve.centre is None for curve in split.curves) * 2 > len(split.curves)


def _checked(points_mm: ArrayLike, tolerance_mm: float) -> FloatArray:
    points = np.asarray(points_mm, dtype=np.float64)
    if not tolerance_mm > 0:
        raise ValueError(f"tolerance_mm must be above 0, got {tolerance_mm}")
    if points.ndim != 2 or points.shape[1] != 2 or len(points) < FEWEST_POINTS:  # noqa: PLR2004
        raise ValueError(f"points_mm must be (N, 2) with N of 3 or more, got {points.shape}")
    if not np.isfinite(points).all():
        raise ValueError("points_mm must be finite")
    distinct = points[np.any(points != np.roll(points, 1, axis=0), axis=1)]
    if len(distinct) < FEWEST_POINTS or shapely.Polygon(distinct).area == 0:
        raise ValueError("points_mm enclose no area")
    return distinct


def _dense(ring: FloatArray) -> FloatArray:
    """Put further points on long edges, so that straight ones weigh as much as curved ones."""
    ends = np.roll(ring, -1, axis=0)
    steps = np.hypot(*(ends - ring).T)
    widest = min(WIDEST_STEP_MM, float(steps.sum()) / FEWEST_DENSE)
    counts = np.maximum(np.ceil(steps / widest).astype(int), 1)
    first = np.repeat(np.cumsum(counts) - counts, counts)
    shares = (np.arange(counts.sum()) - first) / np.repeat(counts, counts)
    dense: FloatArray = np.repeat(ring, counts, axis=0)
    dense += shares[:, None] * np.repeat(ends - ring, counts, axis=0)
    return dense


def _scatter(dense: FloatArray) -> float:
    """Estimate how far single points stray from between their neighbours, in mm."""
    before, after = np.roll(dense, 1, axis=0), np.roll(dense, -1, axis=0)
    chord, off = after - before, dense - (before + after) / 2
    length = np.maximum(np.hypot(*chord.T), np.finfo(float).tiny)
    across = (chord[:, 0] * off[:, 1] - chord[:, 1] * off[:, 0]) / length
    # The point's own noise, and half of each neighbour's.
    return robust_sd(across) / float(np.sqrt(1.5))


def _strained(split: Segmentation, allowed: float, *, stiffness_mm: float) -> Path | None:
    """Join pieces, cutting in two those that then leave the tolerance, or give None."""
    owner = split.owner()
    for _ in range(MOST_HALVINGS):
        if len(split.joints) > MOST_JOINED:
            return None
        path = _with_tips_kept(join_pieces(split, stiffness_mm=stiffness_mm), split.ring, allowed)
        off = distances_to_path(path, split.ring) > allowed
        if not off.any():
            return path
        split = split.halved(np.unique(owner[off]))
        owner = split.owner()
    return None


def _with_tips_kept(path: Path, ring: FloatArray, allowed: float) -> Path:
    """Draw in those vertices that stick out of the ring by nearly the tolerance.

    Notes
    -----
    The sides of a slim tip meet well beyond the last point that was seen of it.
    Drawn in along the tip, its vertex hardly moves across them.
    """
    bridges = shapely.shortest_line(shapely.LinearRing(ring), shapely.points(path.points_mm))
    feet = shapely.get_coordinates(bridges)[::2]
    out = path.points_mm - feet
    lengths = np.maximum(np.hypot(*out.T), np.finfo(float).tiny)
    kept = np.minimum(1.0, TIP_SHARE * allowed / lengths)
    return Path(feet + kept[:, None] * out, path.bulges)


def _whole_circle(ring: FloatArray, dense: FloatArray, tolerance_mm: float) -> Path | None:
    curve = fit_arc(dense)
    if curve is None or curve.centre is None or np.abs(curve.distances(dense)).max() > tolerance_mm:
        return None
    circle = Path.circle(curve.centre, radius_mm=1 / (2 * curve.a))
    path = circle if _winds_left(ring) else circle.reversed()
    return path if _sound(path, ring, tolerance_mm) else None


def _sound(path: Path, ring: FloatArray, tolerance_mm: float) -> bool:
    """Tell whether a path keeps to the ring, goes round its way and never meets itself."""
    if (path.signed_area_mm2 > 0) != _winds_left(ring) or len(path.flattened(1.0)) < FEWEST_POINTS:
        return False
    if path_deviation_mm(path, ring) > tolerance_mm:
        return False
    return bool(shapely.Polygon(path.flattened(VALID_STEP_SHARE * tolerance_mm)).is_valid)


def _winds_left(ring: FloatArray) -> bool:
    x, y = ring.T
    return float(x @ np.roll(y, -1) - np.roll(x, -1) @ y) > 0


def _polygon(ring: FloatArray, tolerance_mm: float) -> Path:
    """Simplify the ring to a polygon within the tolerance."""
    polygon = shapely.Polygon(ring)
    if not polygon.is_valid:
        # Neighbouring noisy points may step over each other; the small loops go.
        parts = shapely.get_parts(shapely.make_valid(polygon))
        polygon = shapely.Polygon(max(parts, key=lambda part: float(part.area)).exterior)
    for share in (POLYGON_SHARE, POLYGON_SHARE / 2, 0.0):
        simple = shapely.simplify(polygon, share * tolerance_mm, preserve_topology=True)
        points = shapely.get_coordinates(simple.exterior)[:-1]
        if _winds_left(points) != _winds_left(ring):
            points = points[::-1]
        path = Path(points)
        if _sound(path, ring, tolerance_mm):
            return path
    raise ValueError("points_mm cross each other's edges: the ring is not a simple one")
