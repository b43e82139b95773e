"""Name what an outline is made of: disc, tabs, loops, holes.

What stands out beyond the disc's rim is a tab; where a tab carries a ring, the
round hole with a round rim about it is a loop. Every boundary point is given to
one part, so that it can be brought to that part's own height.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from shapely import MultiPolygon, Point, Polygon

from blanktrace.circle import dominant_circle

FloatArray = NDArray[np.float64]
Kind = Literal["disc", "tab", "loop", "hole"]

RIM_TOLERANCE = 0.012
"""Share of the radius by which a boundary point may leave the rim and still be disc."""

LEAST_RIM_TOLERANCE_MM = 0.3

LEAST_REACH = 0.1
"""Share of the radius by which something must stand out to be a part and no burr."""

LEAST_AREA = 0.015
"""Share of the disc's area that what stands out must have to be a part."""

LOOP_BINS = 72
"""Directions in which a loop's rim is looked for: every 5 degrees."""

LOOP_SHARE = 0.45
"""Share of directions in which a loop's outer rim must show at one radius."""

LOOP_ROUND = 0.06
"""Share of a loop's radius by which its rim may leave the circle."""


@dataclass(frozen=True)
class Part:
    """One part of a blank, in the frame of the outline it was found in.

    Attributes
    ----------
    kind : {"disc", "tab", "loop", "hole"}
    centre_mm : (float, float)
        Centre of a disc, loop or hole; middle of a tab.
    diameter_mm : float or None
        Outer diameter of a disc or loop, diameter of the circle of a hole's area.
    inner_mm : float or None
        Inner diameter of a loop.
    width_mm : float or None
        Width of a tab across its own axis.
    reach_mm : float or None
        How far a tab (with what hangs on it) stands out from the disc's centre.
    """

    kind: Kind
    centre_mm: tuple[float, float]
    diameter_mm: float | None = None
    inner_mm: float | None = None
    width_mm: float | None = None
    reach_mm: float | None = None


@dataclass(frozen=True, eq=False)
class Division:
    """An outline divided into parts.

    Attributes
    ----------
    parts : tuple of Part
        The disc first, then tabs by their share of the area, each followed by
        its loop, then holes.
    owners : tuple of ndarray of int
        For each ring, the part (index into ``parts``) that each point belongs to.
    axis_rad : float
        Direction from the disc's centre to the main tab; NaN where there is none.
    """

    parts: tuple[Part, ...]
    owners: tuple[NDArray[np.intp], ...]
    axis_rad: float

    @property
    def loops(self) -> int:
        """How many loops there are."""
        return sum(part.kind == "loop" for part in self.parts)

    def moved(self, by_mm: FloatArray) -> Division:
        """Give the same parts elsewhere in the plane."""
        parts = (replace(part, centre_mm=_pair(by_mm + part.centre_mm)) for part in self.parts)
        return replace(self, parts=tuple(parts))


def divide_disc_blank(
    rings_mm: tuple[FloatArray, ...], *, centre_mm: FloatArray, radius_mm: float
) -> Division:
    """Divide the outline of a blank that has a disc.

    Parameters
    ----------
    rings_mm : tuple of ndarray, shape (N, 2)
        Outer ring first, then holes.
    centre_mm : ndarray, shape (2,)
    radius_mm : float
        The disc.

    Returns
    -------
    Division
    """
    rings = tuple(ring - centre_mm for ring in rings_mm)
    slack = max(RIM_TOLERANCE * radius_mm, LEAST_RIM_TOLERANCE_MM)
    parts = [Part("disc", _pair(centre_mm), diameter_mm=2 * radius_mm)]
    owners = [np.zeros(len(ring), dtype=np.intp) for ring in rings]
    standing_out = _standing_out(rings, radius_mm, slack)
    for piece in standing_out:
        _add_tab(piece, rings, owners=owners, parts=parts, centre_mm=centre_mm, radius_mm=radius_mm)
    for index, hole in enumerate(rings[1:], start=1):
        if not owners[index].any():
            owners[index][:] = len(parts)
            parts.append(hole_of(hole + centre_mm))
    axis = np.nan
    if standing_out:
        main = standing_out[0].centroid
        axis = float(np.arctan2(main.y, main.x))
    return Division(parts=tuple(parts), owners=tuple(owners), axis_rad=axis)


def hole_of(ring_mm: FloatArray) -> Part:
    """Describe a hole by its centroid and the circle of its area."""
    polygon = Polygon(ring_mm)
    centroid = polygon.centroid
    return Part(
        "hole",
        (float(centroid.x), float(centroid.y)),
        diameter_mm=float(2 * np.sqrt(polygon.area / np.pi)),
    )


def _standing_out(
    rings: tuple[FloatArray, ...], radius_mm: float, slack_mm: float
) -> list[Polygon]:
    """Pieces that stand out beyond the rim, the largest first."""
    body = Polygon(rings[0], rings[1:]).buffer(0)
    beyond = body.difference(Point(0, 0).buffer(radius_mm + slack_mm, quad_segs=128))
    pieces = beyond.geoms if isinstance(beyond, MultiPolygon) else (beyond,)
    reach = radius_mm * (1 + LEAST_REACH)
    least = LEAST_AREA * np.pi * radius_mm**2
    far = [
        piece
        for piece in pieces
        if isinstance(piece, Polygon) and not piece.is_empty
        if _reach(piece) > reach and piece.area > least
    ]
    return sorted(far, key=lambda piece: -Polygon(piece.exterior).area)


def _reach(piece: Polygon) -> float:
    return float(np.hypot(*np.asarray(piece.exterior.coords).T).max())


def _add_tab(
    piece: Polygon,
    rings: tuple[FloatArray, ...],
    *,
    owners: list[NDArray[np.intp]],
    parts: list[Part],
    centre_mm: FloatArray,
    radius_mm: float,
) -> None:
    """Add a tab, and the loop it carries, and give them their boundary points."""
    tab, loop = len(parts), len(parts) + 1
    outline = Polygon(piece.exterior).buffer(LEAST_RIM_TOLERANCE_MM / 2)
    mine = [np.hypot(*ring.T) > radius_mm + LEAST_RIM_TOLERANCE_MM / 2 for ring in rings]
    for ring, owner, far in zip(rings, owners, mine, strict=True):
        near = far & np.array(
            [outline.covers(Point(p)) if f else False for p, f in zip(ring, far, strict=True)]
        )
        owner[near] = tab
    found = _find_loop(piece)
    middle = np.array([piece.centroid.x, piece.centroid.y])
    parts.append(
        Part(
            "tab",
            _pair(middle + centre_mm),
            width_mm=_tab_width(piece, radius_mm, found),
            reach_mm=_reach(piece),
        )
    )
    if found is None:
        return
    at, inner, outer = found
    parts.append(Part("loop", _pair(at + centre_mm), diameter_mm=2 * outer, inner_mm=2 * inner))
    for ring, owner in zip(rings, owners, strict=True):
        distance = np.hypot(*(ring - at).T)
        slack = LOOP_ROUND * outer
        on_loop = (np.abs(distance - outer) < slack) | (np.abs(distance - inner) < slack)
        owner[(owner == tab) & on_loop] = loop


def _find_loop(piece: Polygon) -> tuple[FloatArray, float, float] | None:
    """Find a ring in a piece: centre, inner radius, outer radius."""
    best = None
    rim = np.asarray(piece.exterior.segmentize(0.2).coords)
    for interior in piece.interiors:
        points = np.asarray(interior.segmentize(0.2).coords)[:-1]
        centre, inner = dominant_circle(points)
        off = np.abs(np.hypot(*(points - centre).T) - inner)
        if np.mean(off < LOOP_ROUND * inner) < LOOP_SHARE:
            continue
        offset = rim - centre
        bins = ((np.arctan2(offset[:, 1], offset[:, 0]) / (2 * np.pi) + 0.5) * LOOP_BINS).astype(
            int
        )
        distance = np.hypot(*offset.T)
        nearest = np.full(LOOP_BINS + 1, np.inf)
        np.minimum.at(nearest, bins, distance)
        nearest = nearest[:LOOP_BINS]
        outer = _mode(nearest[np.isfinite(nearest)], LOOP_ROUND / 2)
        share = np.mean(np.abs(nearest - outer) < LOOP_ROUND * outer)
        if outer > inner and share > LOOP_SHARE and (best is None or outer > best[2]):
            best = (centre, inner, outer)
    return best


def _mode(values: FloatArray, share: float) -> float:
    """Find the value that most others lie within a share of."""
    near = np.abs(values[:, None] - values[None, :]) < share * values[:, None]
    best = near[np.argmax(near.sum(axis=1))]
    return float(values[best].mean())


def _tab_width(
    piece: Polygon, radius_mm: float, loop: tuple[FloatArray, float, float] | None
) -> float:
    """Measure a tab across its axis, midway between the disc and its loop or end."""
    axis = np.array([piece.centroid.x, piece.centroid.y])
    axis /= np.linalg.norm(axis)
    across = np.array([-axis[1], axis[0]])
    points = np.asarray(piece.exterior.segmentize(0.1).coords)
    along, side = points @ axis, points @ across
    end = along.max() if loop is None else float(loop[0] @ axis) - loop[2]
    middle = (radius_mm + end) / 2 if end > radius_mm else (radius_mm + along.max()) / 2
    band = np.abs(along - middle) < max(0.25 * (end - radius_mm), 0.3)
    if not band.any():
        return float(side.max() - side.min())
    return float(np.median(side[band & (side > 0)]) - np.median(side[band & (side < 0)]))


def _pair(point: FloatArray) -> tuple[float, float]:
    return float(point[0]), float(point[1])
