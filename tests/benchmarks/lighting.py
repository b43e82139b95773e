"""How much of each light reaches a level plane: cast shadows and hidden sky.

A shadow is the average over the light's sample points, each with its own place
within the cell, so that even a hard shadow's edge is area-averaged.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from shapely import Polygon

from tests.benchmarks.plan import PlanMap, look_up
from tests.benchmarks.records import Light

Floats = NDArray[np.float32]

CELL_MM = 0.2
"""Grid of the light maps: about a pixel."""
LONGEST_SHADOW_MM = 70.0
"""Light from lower than this reach allows is taken as unshadowed further out."""


@dataclass(frozen=True, eq=False)
class Solid:
    """A part where it lies: its plan in the world, and its heights."""

    plan: Polygon
    distances: PlanMap
    bottom_mm: float
    top_mm: float


@dataclass(frozen=True, eq=False)
class Plane:
    """Cell centres of a light map, and the height of its plane."""

    xs: Floats
    ys: Floats
    z_mm: float


@dataclass(frozen=True, eq=False)
class LightMap:
    """Shares of light on a level plane: one layer a light, the last for the sky."""

    grid: Floats
    corner_mm: tuple[float, float]

    def at(self, x_mm: Floats, y_mm: Floats) -> Floats:
        """Look up shares (N, lights + 1) at plan positions; 1 far from every solid."""
        x0, y0 = self.corner_mm
        return look_up(self.grid, (x_mm - x0) / CELL_MM, (y_mm - y0) / CELL_MM)


def irradiance(light: Light, x_mm: Floats, y_mm: Floats, z_mm: Floats | float) -> Floats:
    """Light on a level spot with nothing in the way: inverse square and cosine."""
    lx, ly, lz = light.centre_mm
    at_origin = lz / (lx**2 + ly**2 + lz**2) ** 1.5
    rise = lz - z_mm
    square = (lx - x_mm) ** 2 + (ly - y_mm) ** 2 + rise**2
    return np.asarray(light.strength / at_origin * rise / (square * np.sqrt(square)), np.float32)


def light_points(light: Light) -> NDArray[np.float64]:
    """Points (K, 3) spread evenly over a light."""
    first, second = np.hsplit(2 * _spread(light.samples, skip=0), 2)
    u, v = (np.array(side) for side in light.half_sides_mm)
    return np.asarray(np.array(light.centre_mm) + first * u + second * v)


def cast(
    lights: Sequence[Light], solids: Sequence[Solid], *, z_mm: float, within: Polygon | None = None
) -> LightMap:
    """Work out what reaches the level plane at ``z_mm``, or the part of it within a polygon."""
    above = [solid for solid in solids if solid.top_mm > z_mm]
    if not above:
        return LightMap(np.ones((2, 2, len(lights) + 1), np.float32), (0.0, 0.0))
    x0, y0, x1, y1 = _region(lights, above, z_mm, within)
    xs = np.arange(x0, x1, CELL_MM, dtype=np.float32)
    ys = np.arange(y0, y1, CELL_MM, dtype=np.float32)
    plane = Plane(xs, ys, z_mm)
    standing = [solid for solid in above if solid.bottom_mm <= z_mm]
    layers = [_shares(light, above, standing, plane) for light in lights]
    grid = np.dstack([*layers, _sky(above, plane)]).astype(np.float32)
    return LightMap(np.ascontiguousarray(grid), (float(xs[0]), float(ys[0])))


def _region(
    lights: Sequence[Light], above: Sequence[Solid], z_mm: float, within: Polygon | None
) -> tuple[float, float, float, float]:
    if within is not None:
        x0, y0, x1, y1 = within.bounds
        return x0 - 1, y0 - 1, x1 + 1, y1 + 1
    margin = max([_reach(light, above, z_mm) for light in lights] + [15.0]) + 2.0
    bounds = np.array([solid.plan.bounds for solid in above])
    low, high = bounds[:, :2].min(axis=0) - margin, bounds[:, 2:].max(axis=0) + margin
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def _reach(light: Light, above: Sequence[Solid], z_mm: float) -> float:
    """Length of the longest shadow that a light's lowest point casts."""
    points = light_points(light)
    rise = max(solid.top_mm for solid in above) - z_mm
    run = np.hypot(points[:, 0], points[:, 1]) + 150
    return float(min((run / points[:, 2]).max() * rise, LONGEST_SHADOW_MM))


def _distance(solids: Sequence[Solid], plane: Plane) -> Floats:
    """Rough distance from each cell to the nearest solid, 0 inside."""
    free = np.ones((len(plane.ys), len(plane.xs)), np.uint8)
    for solid in solids:
        rings = [
            np.round((np.array(ring.coords) - (plane.xs[0], plane.ys[0])) / CELL_MM * 256).astype(
                np.int32
            )
            for ring in (solid.plan.exterior, *solid.plan.interiors)
        ]
        mask = np.zeros_like(free)
        cv2.fillPoly(mask, rings, 1, shift=8)
        free[mask == 1] = 0
    return np.asarray(
        cv2.distanceTransform(free, cv2.DIST_L2, cv2.DIST_MASK_PRECISE) * CELL_MM, np.float32
    )


def _shares(
    light: Light,
    above: Sequence[Solid],
    standing: Sequence[Solid],
    plane: Plane,
) -> Floats:
    """Share of a light that reaches each cell, counted over the free part of the cell."""
    xs, ys, z_mm = plane.xs, plane.ys, plane.z_mm
    far = _distance(standing or above, plane)
    # A cell that a solid covers wholly is filled in afterwards, from its free neighbours.
    deep = cv2.erode((far == 0).astype(np.uint8), np.ones((5, 5), np.uint8)) == 1
    rows, columns = np.nonzero((far <= _reach(light, above, z_mm) + 1.0) & ~deep)
    lit = np.zeros(len(rows), np.float32)
    free = np.zeros(len(rows), np.float32)
    points = light_points(light)
    # Places within the cell come from further along, so that they do not follow the light's.
    places = _spread(len(points), skip=1000)
    for (lx, ly, lz), (dx, dy) in zip(points, places, strict=True):
        x = xs[columns] + np.float32(dx * CELL_MM)
        y = ys[rows] + np.float32(dy * CELL_MM)
        open_here = np.ones(len(rows), bool)
        for solid in standing:
            open_here &= solid.distances.distance_mm(x, y) > 0
        clear = open_here.copy()
        slope_x = ((lx - x) / (lz - z_mm)).astype(np.float32)
        slope_y = ((ly - y) / (lz - z_mm)).astype(np.float32)
        for solid in above:
            left = np.nonzero(clear)[0]
            start = max(solid.bottom_mm - z_mm, 0.0)
            crossing = solid.distances.crossing_mm(
                x[left] + slope_x[left] * np.float32(start),
                y[left] + slope_y[left] * np.float32(start),
                slope_x[left],
                slope_y[left],
                rise_mm=solid.top_mm - z_mm - start,
            )
            clear[left] = ~np.isfinite(crossing)
        lit += clear
        free += open_here
    share = np.ones(far.shape, np.float32)
    weight = np.ones(far.shape, np.float32)
    share[deep], weight[deep] = 0, 0
    share[rows, columns], weight[rows, columns] = lit / len(points), free / len(points)
    return _filled(share, weight)


def _spread(count: int, *, skip: int) -> NDArray[np.float64]:
    """Spread points over the unit square about 0, no two in one row or column."""
    # Multiples of these powers of the plastic number fill a square evenly (the R2 sequence).
    steps = np.array([0.7548776662466927, 0.5698402909980532])
    return np.asarray((0.5 + np.arange(skip + 1, skip + count + 1)[:, None] * steps) % 1 - 0.5)


def _filled(share: Floats, weight: Floats) -> Floats:
    """Divide by the weight, and carry values into cells that have none."""
    known = np.where(weight > 0, share / np.maximum(weight, 1e-6), 0).astype(np.float32)
    have = (weight > 0).astype(np.float32)
    for _ in range(2):
        total, count = cv2.blur(known, (3, 3)), cv2.blur(have, (3, 3))
        spread = total / np.maximum(count, 1e-6)
        new = (have == 0) & (count > 1e-3)
        known[new], have[new] = spread[new], 1
    return known


def _sky(above: Sequence[Solid], plane: Plane) -> Floats:
    """Share of an even sky that long walls of the solids' heights leave: (1 + cos of rise) / 2."""
    share = np.ones((len(plane.ys), len(plane.xs)), np.float32)
    for solid in above:
        far = np.maximum(_distance([solid], plane), 0.5 * CELL_MM)
        rise = solid.top_mm - plane.z_mm
        share *= 0.5 + 0.5 * far / np.sqrt(far**2 + rise**2)
    return share
