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
FloatArray = NDArray[np.float64]

CELL_MM = 0.2
"""Grid of the light maps: about a pixel."""
LONGEST_SHADOW_MM = 70.0
"""Light from lower than this reach allows is taken as unshadowed further out."""
BLANK_REACH_MM = 100.0
"""No spot that matters lies further than this from the world's origin."""
SKY_REACH_MM = 15.0
"""Beyond this distance a blank hides no sky worth counting."""


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


def light_points(light: Light) -> tuple[FloatArray, FloatArray]:
    """Points (K, 3) spread evenly over a light, and the share (K,) of its light each sends."""
    first, second = np.hsplit(2 * _spread(light.samples, skip=0), 2)
    u, v = (np.array(side) for side in light.half_sides_mm)
    points = np.array(light.centre_mm) + first * u + second * v
    # Low points send little to a level sheet: cosine over distance squared.
    weights = points[:, 2] / np.sum(points**2, axis=1) ** 1.5
    return points, weights / weights.sum()


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
    margin = max([_reaches(light, above, z_mm).max() for light in lights] + [SKY_REACH_MM]) + 2
    bounds = np.array([solid.plan.bounds for solid in above])
    low, high = bounds[:, :2].min(axis=0) - margin, bounds[:, 2:].max(axis=0) + margin
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def _reaches(light: Light, above: Sequence[Solid], z_mm: float) -> FloatArray:
    """Length of the longest shadow that each point of a light casts."""
    points, _ = light_points(light)
    rise = max(solid.top_mm for solid in above) - z_mm
    run = np.hypot(points[:, 0], points[:, 1]) + BLANK_REACH_MM
    return np.minimum(run / (points[:, 2] - z_mm) * rise, LONGEST_SHADOW_MM)


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
    light: Light, above: Sequence[Solid], standing: Sequence[Solid], plane: Plane
) -> Floats:
    """Share of a light that reaches each cell, counted over the free part of the cell."""
    far = _distance(standing or above, plane)
    reaches = _reaches(light, above, plane.z_mm)
    # A cell that a solid covers wholly is filled in afterwards, from its free neighbours.
    deep = cv2.erode((far == 0).astype(np.uint8), np.ones((5, 5), np.uint8)) == 1
    rows, columns = np.nonzero((far <= reaches.max() + 1.0) & ~deep)
    # Nearest cells first, so that a point of the light looks only as far as its shadow goes.
    order = np.argsort(far[rows, columns], kind="stable")
    rows, columns = rows[order], columns[order]
    counts = np.searchsorted(far[rows, columns], reaches + 2 * CELL_MM)
    touching = int(np.searchsorted(far[rows, columns], 2 * CELL_MM))
    shaded = np.zeros(len(rows), np.float32)
    covered = np.zeros(len(rows), np.float32)
    points, weights = light_points(light)
    # Places within the cell come from further along, so that they do not follow the light's.
    places = _spread(len(points), skip=1000) * CELL_MM
    for point, weight, (dx, dy), count in zip(points, weights, places, counts, strict=True):
        x = plane.xs[columns[:count]] + np.float32(dx)
        y = plane.ys[rows[:count]] + np.float32(dy)
        under = np.zeros(count, bool)
        for solid in standing:
            under[:touching] |= solid.distances.distance_mm(x[:touching], y[:touching]) <= 0
        shaded[:count] += np.float32(weight) * (_blocked(point, above, x, y, plane.z_mm) & ~under)
        covered[:count] += np.float32(weight) * under
    share = np.ones(far.shape, np.float32)
    free = np.where(deep, 0, 1).astype(np.float32)
    share[deep] = 0
    share[rows, columns], free[rows, columns] = 1 - covered - shaded, 1 - covered
    return _filled(share, free)


def _blocked(
    point_mm: FloatArray, above: Sequence[Solid], x: Floats, y: Floats, z_mm: float
) -> NDArray[np.bool_]:
    """Say which spots of a level plane cannot see a point."""
    px, py, pz = point_mm
    blocked = np.zeros(len(x), bool)
    slope_x = ((px - x) / (pz - z_mm)).astype(np.float32)
    slope_y = ((py - y) / (pz - z_mm)).astype(np.float32)
    for solid in above:
        left = np.nonzero(~blocked)[0]
        start = np.float32(max(solid.bottom_mm - z_mm, 0.0))
        crossing = solid.distances.crossing_mm(
            x[left] + slope_x[left] * start,
            y[left] + slope_y[left] * start,
            slope_x[left],
            slope_y[left],
            rise_mm=solid.top_mm - z_mm - float(start),
        )
        blocked[left] = np.isfinite(crossing)
    return blocked


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
