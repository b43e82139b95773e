"""Turn solids into triangle meshes whose corners lie exactly on the plan-view outline."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from sample_photos.blanks import LOOP_MID_RADIUS_MM, QUAD_SEGMENTS, WIRE_MM, WIRE_SIDES, Ring

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Mesh:
    """Triangles: corners (N, 3) in mm, faces (M, 3), normals (N, 3) where smooth."""

    corners_mm: FloatArray
    faces: IntArray
    normals: FloatArray | None = None


def cap(plan: Polygon, z_mm: float) -> Mesh:
    """A flat lid over a polygon, facing up."""
    triangles = shapely.get_parts(shapely.constrained_delaunay_triangles(plan))
    rings = shapely.get_coordinates([shapely.normalize(t) for t in triangles]).reshape(-1, 4, 2)
    xy = rings[:, :3]
    area = np.cross(xy[:, 1] - xy[:, 0], xy[:, 2] - xy[:, 0])
    xy = np.where((area < 0)[:, None, None], xy[:, ::-1], xy).reshape(-1, 2)
    corners = np.column_stack([xy, np.full(len(xy), z_mm)])
    return Mesh(corners, np.arange(len(xy)).reshape(-1, 3))


def walls(plan: Polygon, bottom_mm: float, top_mm: float) -> Mesh:
    """The upright sides of a prism, facing out."""
    corners: list[FloatArray] = []
    faces: list[IntArray] = []
    oriented = shapely.orient_polygons(plan)
    for ring in (oriented.exterior, *oriented.interiors):
        a = shapely.get_coordinates(ring)
        b, a = a[1:], a[:-1]
        low, high = np.full(len(a), bottom_mm), np.full(len(a), top_mm)
        quads = np.stack(
            [np.column_stack(c) for c in ((a, low), (b, low), (b, high), (a, high))], axis=1
        )
        start = 4 * np.arange(len(a))[:, None] + sum(len(c) for c in corners)
        faces.extend(start + np.array(half) for half in ([0, 1, 2], [0, 2, 3]))
        corners.append(quads.reshape(-1, 3))
    return Mesh(np.vstack(corners), np.vstack(faces))


def torus(ring: Ring) -> Mesh:
    """A ring of round wire lying at z = 0, its rims on the plan's corners."""
    sides = 4 * QUAD_SEGMENTS
    around = np.linspace(0, 2 * np.pi, sides, endpoint=False)[:, None]
    wire = np.linspace(0, 2 * np.pi, WIRE_SIDES, endpoint=False)[None, :]
    normals = np.stack(
        [np.cos(around) * np.cos(wire), np.sin(around) * np.cos(wire), np.sin(wire) + 0 * around],
        axis=-1,
    )
    spine = np.stack([np.cos(around), np.sin(around), 0 * around], axis=-1) * LOOP_MID_RADIUS_MM
    corners = spine + normals * WIRE_MM / 2 + [*ring.centre_mm, WIRE_MM / 2]
    i, j = np.meshgrid(np.arange(sides), np.arange(WIRE_SIDES), indexing="ij")
    i1, j1 = (i + 1) % sides, (j + 1) % WIRE_SIDES
    a, b, c, d = (p * WIRE_SIDES + q for p, q in ((i, j), (i1, j), (i1, j1), (i, j1)))
    faces = np.concatenate([np.stack(t, axis=-1).reshape(-1, 3) for t in ((a, b, c), (a, c, d))])
    return Mesh(corners.reshape(-1, 3), faces, normals.reshape(-1, 3))
