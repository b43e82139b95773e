"""Build the blanks: exact solids for the renderer and the plan view that is their truth.

Every solid is either a prism over a plan-view polygon or a ring of round wire, so the
silhouette seen straight down is the union of polygons that the meshes themselves use.
A blank's own frame: origin at the disc's centre with the tab to +y; without a disc, the
centroid of the outline with the long axis along +y.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Point, Polygon, affinity
from shapely.geometry.base import BaseGeometry

FloatArray = NDArray[np.float64]

QUAD_SEGMENTS = 192
"""Chords in a quarter circle: 768 sides, 0.0003 mm off at the disc's radius."""
WIRE_SIDES = 48

DISC_MM = 5.0
CANVAS_MM = 1.6
TAB_TOP_MM = 3.2
"""The canvas sits in a slot sawn into the rim, and rests folded on the wire."""
LOOP_MID_RADIUS_MM = 11.8
WIRE_MM = 2.4
TAB_END_MM = 56.0
WIRE_FROM_END_MM = 6.0
FOLD_MM = 13.0


@dataclass(frozen=True)
class Prism:
    """A solid over a polygon, from one height to another, of one material."""

    plan: Polygon
    bottom_mm: float
    top_mm: float
    material: str


@dataclass(frozen=True)
class Ring:
    """A ring of round wire lying on the sheet."""

    centre_mm: tuple[float, float]
    material: str

    @property
    def plan(self) -> Polygon:
        """The ring seen straight down."""
        outer = circle(self.centre_mm, LOOP_MID_RADIUS_MM + WIRE_MM / 2)
        return as_polygon(outer - circle(self.centre_mm, LOOP_MID_RADIUS_MM - WIRE_MM / 2))


@dataclass(frozen=True)
class Blank:
    """A blank in its own frame, with what a caliper reads from it."""

    name: str
    solids: tuple[Prism | Ring, ...]
    measured: dict[str, float]
    heights_mm: dict[str, float]
    parts: tuple[dict[str, Any], ...]

    @property
    def outline(self) -> Polygon:
        """The silhouette seen straight down, holes included."""
        return as_polygon(shapely.union_all([solid.plan for solid in self.solids]))


def as_polygon(shape: BaseGeometry) -> Polygon:
    """Insist that a shape is one polygon."""
    if not isinstance(shape, Polygon) or shape.is_empty:
        raise ValueError(f"expected one polygon, got {shape.geom_type}; let the parts overlap")
    return shape


def circle(centre_mm: tuple[float, float], radius_mm: float) -> Polygon:
    """A circle as a fine polygon whose corners lie on it."""
    return Point(centre_mm).buffer(radius_mm, quad_segs=QUAD_SEGMENTS)


def tag(
    name: str, *, wood: str, disc_mm: float = 64.0, tab_mm: float = 20.0, swing_deg: float = 5.0
) -> Blank:
    """The plot tag: a wooden disc, a folded canvas tab in its rim, a brass loop."""
    half = tab_mm / 2
    neck = shapely.box(-half, disc_mm / 2 - 12, half, TAB_END_MM - half)
    plan = as_polygon(neck | circle((0, TAB_END_MM - half), half))
    fold = as_polygon(plan & shapely.box(-half, TAB_END_MM - FOLD_MM, half, TAB_END_MM))
    swing = math.radians(swing_deg)
    held_y = TAB_END_MM - WIRE_FROM_END_MM
    loop = (LOOP_MID_RADIUS_MM * math.sin(swing), held_y + LOOP_MID_RADIUS_MM * math.cos(swing))
    return Blank(
        name,
        (
            Prism(circle((0, 0), disc_mm / 2), 0.0, DISC_MM, wood),
            Prism(plan, TAB_TOP_MM - CANVAS_MM, TAB_TOP_MM, "canvas"),
            Prism(fold, 0.0, TAB_TOP_MM - CANVAS_MM, "canvas"),
            Ring(loop, "brass"),
        ),
        {"disc_mm": disc_mm},
        {"disc": DISC_MM, "tab": TAB_TOP_MM, "loop": WIRE_MM},
        (
            {"kind": "disc", "centre_mm": [0.0, 0.0], "diameter_mm": disc_mm},
            {"kind": "tab", "angle_rad": math.pi / 2, "width_mm": tab_mm, "end_mm": TAB_END_MM},
            {
                "kind": "loop",
                "centre_mm": [round(v, 6) for v in loop],
                "outer_diameter_mm": 2 * LOOP_MID_RADIUS_MM + WIRE_MM,
                "inner_diameter_mm": 2 * LOOP_MID_RADIUS_MM - WIRE_MM,
                "wire_mm": WIRE_MM,
            },
        ),
    )


def leaf(name: str, *, wood: str, thick_mm: float = 3.0) -> Blank:
    """The bed marker: a pointed leaf on a stalk, with a drilled hole."""
    right = np.vstack(
        [
            bezier([(3.2, -64), (3.4, -52), (3.0, -44), (5.5, -40)]),
            bezier([(5.5, -40), (19, -36), (27, -14), (22, 9)])[1:],
            bezier([(22, 9), (18, 27), (6, 37), (0, 58)])[1:],
        ]
    )
    left = right[::-1][1:] * (-1, 1)
    return flat(name, Polygon(np.vstack([right, left])), [((0, -30), 5.0)], wood, thick_mm)


def watering_can(name: str, *, wood: str, thick_mm: float = 4.0) -> Blank:
    """The ornament: a watering can with an open handle."""
    body = rounded(Polygon([(-24, -26), (24, -26), (20, 20), (-20, 20)]), 4.0)
    spout = rounded(Polygon([(16, -20), (23, -20), (58, 22), (51, 27)]), 1.0)
    rose = rounded(Polygon([(46, 29), (60, 17), (66, 22), (50, 36)]), 1.5)
    grip = affinity.scale(circle((0, 0), 1.0), 19.0, 22.0)
    inner = affinity.scale(circle((0, 0), 1.0), 13.5, 16.5)
    handle = affinity.translate(as_polygon(grip - inner), -25, 8)
    shape = as_polygon(body | spout | rose | handle)
    return flat(name, shape, [((0, 13), 4.0)], wood, thick_mm)


def oval(name: str, *, wood: str, thick_mm: float = 4.0) -> Blank:
    """A drilled oval: 48 x 76 mm with a 5 mm hole."""
    shape = affinity.scale(circle((0, 0), 1.0), 24.0, 38.0)
    return flat(name, shape, [((0, 30), 5.0)], wood, thick_mm)


def flat(
    name: str,
    shape: Polygon,
    holes: Sequence[tuple[tuple[float, float], float]],
    wood: str,
    thick_mm: float,
) -> Blank:
    """Drill a flat shape and bring it into its own frame."""
    drilled = as_polygon(shape - shapely.union_all([circle(at, d / 2) for at, d in holes]))
    turn = math.pi / 2 - long_axis_rad(drilled)
    moved = affinity.translate(drilled, -drilled.centroid.x, -drilled.centroid.y)
    plan = as_polygon(affinity.rotate(moved, turn, origin=(0, 0), use_radians=True))
    length_mm, width_mm = box_sides(plan)
    parts = tuple(
        {
            "kind": "hole",
            "centre_mm": [round(float(v), 6) for v in Polygon(ring).centroid.coords[0]],
            "diameter_mm": diameter,
        }
        for ring in plan.interiors
        for _, diameter in holes
        # Only drilled holes are round; an open handle is part of the outline alone.
        if math.isclose(Polygon(ring).area, math.pi * diameter**2 / 4, rel_tol=1e-3)
    )
    measured = {"length_mm": round(length_mm, 6), "width_mm": round(width_mm, 6)}
    return Blank(name, (Prism(plan, 0.0, thick_mm, wood),), measured, {"disc": thick_mm}, parts)


def box_sides(shape: Polygon) -> tuple[float, float]:
    """Long and short side of the smallest enclosing rectangle, mm."""
    corners = shapely.get_coordinates(shape.minimum_rotated_rectangle)
    a, b = np.hypot(*np.diff(corners[:3], axis=0).T)
    return float(max(a, b)), float(min(a, b))


def long_axis_rad(shape: Polygon) -> float:
    """Direction of the smallest enclosing rectangle's long side, in (-pi/2, pi/2]."""
    sides = np.diff(shapely.get_coordinates(shape.minimum_rotated_rectangle)[:3], axis=0)
    x, y = max(sides, key=lambda side: float(np.hypot(*side)))
    angle = math.atan2(y, x)
    return angle - math.pi * math.ceil(angle / math.pi - 0.5)


def rounded(shape: Polygon, radius_mm: float) -> Polygon:
    """Round the corners of a convex shape."""
    return as_polygon(shape.buffer(-radius_mm).buffer(radius_mm, quad_segs=QUAD_SEGMENTS))


def bezier(control: Sequence[tuple[float, float]], *, steps: int = 256) -> FloatArray:
    """Points of a cubic curve."""
    t = np.linspace(0, 1, steps)
    weights = np.stack([(1 - t) ** 3, 3 * (1 - t) ** 2 * t, 3 * (1 - t) * t**2, t**3], axis=1)
    return np.asarray(weights @ np.array(control, dtype=np.float64))
