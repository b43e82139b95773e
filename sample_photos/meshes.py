"""Turn solids into triangle meshes whose corners lie exactly on the plan-view outline."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

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


def torus(
    centre_mm: tuple[float, float],
    *,
    middle_mm: float,
    half_mm: tuple[float, float],
    sides: tuple[int, int],
) -> Mesh:
    """A ring of wire lying at z = 0.

    ``middle_mm`` is the radius of the wire's middle, ``half_mm`` half its width and height,
    ``sides`` how many it has along the ring and about the wire.
    """
    around = np.linspace(0, 2 * np.pi, sides[0], endpoint=False)[:, None]
    wire = np.linspace(0, 2 * np.pi, sides[1], endpoint=False)[None, :]
    out, up = np.cos(wire), np.sin(wire)
    radius = middle_mm + half_mm[0] * out
    corners = np.stack(
        [
            centre_mm[0] + radius * np.cos(around),
            centre_mm[1] + radius * np.sin(around),
            half_mm[1] * (1 + up) + 0 * around,
        ],
        axis=-1,
    )
    lean = np.hypot(out / half_mm[0], up / half_mm[1])
    level, upright = out / half_mm[0] / lean, up / half_mm[1] / lean
    normals = np.stack(
        [level * np.cos(around), level * np.sin(around), upright + 0 * around], axis=-1
    )
    i, j = np.meshgrid(np.arange(sides[0]), np.arange(sides[1]), indexing="ij")
    i1, j1 = (i + 1) % sides[0], (j + 1) % sides[1]
    a, b, c, d = (p * sides[1] + q for p, q in ((i, j), (i1, j), (i1, j1), (i, j1)))
    faces = np.concatenate([np.stack(t, axis=-1).reshape(-1, 3) for t in ((a, b, c), (a, c, d))])
    return Mesh(corners.reshape(-1, 3), faces, normals.reshape(-1, 3))


def laid(shape: Mesh, place_mm: tuple[float, float], angle_rad: float) -> Mesh:
    """Turn a mesh about its origin, counter-clockwise, and move it to a place on the sheet."""
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    turn = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])
    normals = None if shape.normals is None else shape.normals @ turn.T
    return Mesh(shape.corners_mm @ turn.T + (*place_mm, 0), shape.faces, normals)
