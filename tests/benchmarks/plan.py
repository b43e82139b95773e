"""Signed distances in plan, and rays that meet upright prisms exactly.

A ray's plan position moves evenly with height, so a prism is met either on its
top or where the ray crosses the plan's edge. Steps as long as the distance to
the edge allows find that crossing without slicing the prism (sphere tracing:
J. C. Hart, The Visual Computer 12, 1996, doi:10.1007/s003710050084).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from shapely import Polygon

FloatArray = NDArray[np.float64]
Floats = NDArray[np.float32]

CELL_MM = 0.1
"""Grid of the distances: linear look-up errs by cell²/8R, 0.0001 mm at R = 10 mm."""
BAND_MM = 0.8
"""Distances are exact this near the edge, and never too long beyond it."""
PAD_MM = 12.0
"""Free grid around the plan; beyond it the border's distance is a lower bound."""
TOUCH_MM = 0.002
"""A ray this near the edge has met it."""
STEPS = 40
"""Steps before a grazing ray counts as a miss."""
ROW = 4096
"""Points are looked up in rows of this length, because images have a size limit."""


def look_up(grid: NDArray[np.float32], columns: Floats, rows: Floats) -> Floats:
    """Read a grid (H, W) or (H, W, C) at fractional columns and rows, linearly, border held."""
    count = columns.size
    if not count:
        return np.zeros((0, *grid.shape[2:]), np.float32)
    height = -(-count // ROW)
    padded = np.zeros((2, height * ROW), dtype=np.float32)
    padded[0, :count], padded[1, :count] = columns, rows
    maps = padded.reshape(2, height, ROW)
    values = cv2.remap(grid, maps[0], maps[1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(values.reshape(height * ROW, *grid.shape[2:])[:count])


@dataclass(frozen=True, eq=False)
class PlanMap:
    """Distances to a polygon's edge on a grid, negative inside."""

    grid: Floats
    corner_mm: tuple[float, float]

    @classmethod
    def of(cls, plan: Polygon) -> PlanMap:
        """Measure distances around a polygon."""
        left, low, right, high = plan.bounds
        x0, y0 = left - PAD_MM, low - PAD_MM
        width = int((right - left + 2 * PAD_MM) / CELL_MM) + 2
        height = int((high - low + 2 * PAD_MM) / CELL_MM) + 2
        rings = [np.array(ring.coords) for ring in (plan.exterior, *plan.interiors)]
        mask = np.zeros((height, width), dtype=np.uint8)
        cells = [np.round((ring - (x0, y0)) / CELL_MM * 256).astype(np.int32) for ring in rings]
        cv2.fillPoly(mask, cells, 1, shift=8)
        inside = cv2.distanceTransform(mask, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
        outside = cv2.distanceTransform(1 - mask, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
        rough = (outside - inside) * CELL_MM
        grid = np.sign(rough) * np.maximum(np.abs(rough) - 2 * CELL_MM, 0)
        near_y, near_x = np.nonzero(np.abs(rough) < BAND_MM)
        points = np.column_stack([x0 + near_x * CELL_MM, y0 + near_y * CELL_MM])
        exact = _edge_distance(rings, points)
        signs = np.sign(rough[near_y, near_x])
        doubtful = np.abs(exact) < 2 * CELL_MM
        shapely.prepare(plan)
        within = shapely.contains_xy(plan, *points[doubtful].T)
        signs[doubtful] = np.where(within, -1, 1)
        grid[near_y, near_x] = exact * signs
        return cls(grid.astype(np.float32), (x0, y0))

    def distance_mm(self, x_mm: Floats, y_mm: Floats) -> Floats:
        """Look up signed distances at plan positions."""
        x0, y0 = self.corner_mm
        return look_up(
            self.grid,
            ((x_mm - x0) / CELL_MM).astype(np.float32),
            ((y_mm - y0) / CELL_MM).astype(np.float32),
        )

    def normal(self, x_mm: Floats, y_mm: Floats) -> Floats:
        """Outward unit normals (N, 2) of the edge nearest to plan positions."""
        step = np.float32(0.5 * CELL_MM)
        dx = self.distance_mm(x_mm + step, y_mm) - self.distance_mm(x_mm - step, y_mm)
        dy = self.distance_mm(x_mm, y_mm + step) - self.distance_mm(x_mm, y_mm - step)
        length = np.maximum(np.hypot(dx, dy), 1e-6)
        return np.column_stack([dx / length, dy / length]).astype(np.float32)

    def crossing_mm(
        self, x_mm: Floats, y_mm: Floats, slope_x: Floats, slope_y: Floats, *, rise_mm: float
    ) -> Floats:
        """Find how far each ray travels in height before it meets the plan.

        Parameters
        ----------
        x_mm, y_mm : ndarray, shape (N,)
            Plan positions where the rays start.
        slope_x, slope_y : ndarray, shape (N,)
            Plan step per mm of height in the direction of travel.
        rise_mm : float
            Height over which the prism stands.

        Returns
        -------
        ndarray, shape (N,)
            0 where the start is inside, the height travelled where the edge is
            met, and infinity for a miss.
        """
        result = np.full(x_mm.size, np.inf, dtype=np.float32)
        live = np.arange(x_mm.size)
        x, y = x_mm, y_mm
        speed = np.maximum(np.hypot(slope_x, slope_y), 1e-6).astype(np.float32)
        travelled = np.zeros(x_mm.size, dtype=np.float32)
        for step in range(STEPS):
            gap = self.distance_mm(x, y)
            met = gap <= (0.0 if step == 0 else TOUCH_MM)
            result[live[met]] = travelled[met]
            travelled = (travelled + np.maximum(gap, TOUCH_MM) / speed).astype(np.float32)
            on = np.nonzero(~met & (travelled <= rise_mm))[0]
            if on.size == 0:
                break
            live, travelled, speed = live[on], travelled[on], speed[on]
            x = x_mm[live] + slope_x[live] * travelled
            y = y_mm[live] + slope_y[live] * travelled
        return result


def _edge_distance(rings: list[FloatArray], points: FloatArray) -> FloatArray:
    """Distances to the nearest edge, by way of its nearest sample."""
    starts, ends = [], []
    for ring in rings:
        a, b = ring[:-1], ring[1:]
        pieces = np.maximum(np.ceil(np.hypot(*(b - a).T) / CELL_MM).astype(int), 1)
        which = np.repeat(np.arange(len(a)), pieces)
        first = np.arange(len(which)) - np.repeat(np.cumsum(pieces) - pieces, pieces)
        knots = a[which] + (b - a)[which] * (first / pieces[which])[:, None]
        starts.append(knots)
        ends.append(np.roll(knots, -1, axis=0))
    start, end = np.vstack(starts), np.vstack(ends)
    before = np.concatenate(
        [
            np.roll(np.arange(len(s)), 1) + offset
            for s, offset in zip(starts, np.cumsum([0, *map(len, starts[:-1])]), strict=True)
        ]
    )
    _, nearest = cKDTree(start).query(points)
    return np.minimum(
        _segment_distance(points, start[nearest], end[nearest]),
        _segment_distance(points, start[before[nearest]], start[nearest]),
    )


def _segment_distance(points: FloatArray, a: FloatArray, b: FloatArray) -> FloatArray:
    along = b - a
    length2 = np.maximum(np.sum(along**2, axis=1), 1e-18)
    t = np.clip(np.sum((points - a) * along, axis=1) / length2, 0, 1)
    return np.asarray(np.hypot(*(points - a - along * t[:, None]).T))
