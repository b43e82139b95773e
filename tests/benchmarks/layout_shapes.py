"""Ten shapes that a workshop might be asked to hold, in millimetres."""

from __future__ import annotations

import numpy as np
from shapely import affinity
from shapely.geometry import Point, Polygon, box

QUARTER = 32
"""Chords in a quarter of a circle."""


def _round(x: float, y: float, radius: float) -> Polygon:
    return Point(x, y).buffer(radius, quad_segs=QUARTER)


def _polar(radius_of_angle, count: int = 160) -> Polygon:
    angles = np.arange(count) * 2 * np.pi / count
    radii = radius_of_angle(angles)
    return Polygon(np.column_stack([radii * np.cos(angles), radii * np.sin(angles)]))


def _heart(count: int = 140) -> Polygon:
    t = np.arange(count) * 2 * np.pi / count
    x = 16 * np.sin(t) ** 3
    y = 13 * np.cos(t) - 5 * np.cos(2 * t) - 2 * np.cos(3 * t) - np.cos(4 * t)
    return Polygon(np.column_stack([x, y]) * 1.7)


def _teardrop() -> Polygon:
    tip, body = (0.0, 44.0), _round(0, 0, 20)
    return body.union(Polygon([tip, *body.exterior.coords])).convex_hull


def regular(sides: int, radius: float) -> Polygon:
    """Return a regular polygon with one corner at the top."""
    angles = np.pi / 2 + np.arange(sides) * 2 * np.pi / sides
    return Polygon(radius * np.column_stack([np.cos(angles), np.sin(angles)]))


SHAPES: dict[str, Polygon] = {
    "disc": _round(0, 0, 20),
    "disc, tab and loop": _round(0, 0, 24.75)
    .union(box(-11, 0, 11, 60))
    .union(_round(0, 67.25, 15)),
    "long oval": affinity.scale(_round(0, 0, 1), 35, 11),
    "L": Polygon([(0, 0), (45, 0), (45, 16), (16, 16), (16, 60), (0, 60)]),
    "triangle": Polygon([(0, 0), (60, 0), (20, 45)]),
    "heart": _heart(),
    "teardrop": _teardrop(),
    "crescent": _round(0, 0, 30).difference(_round(14, 0, 25)),
    "pentagon": regular(5, 26),
    "ornament": _polar(
        lambda a: 22 + 5 * np.cos(3 * a + 0.4) + 3 * np.sin(5 * a) + 2 * np.cos(2 * a)
    ),
}

SHEETS_MM = ((300.0, 200.0), (457.2, 254.0), (600.0, 400.0))
GAP_MM = 6.096
MARGIN_MM = 6.35
