"""Hand meshes and a camera to the path tracer, and take the sparks off what it gives back."""

from __future__ import annotations

import math
from typing import Any, Protocol

import cv2
import mitsuba as mi
import numpy as np
from numpy.typing import NDArray

from sample_photos.meshes import Mesh

FloatArray = NDArray[np.float64]
Image = NDArray[np.float32]


class Pinhole(Protocol):
    """What a camera must tell: x right, y down, z forward; the first pixel's middle is (0, 0)."""

    focal_px: float
    rotation: FloatArray
    position_mm: FloatArray
    size_px: tuple[int, int]


def loaded(shape: Mesh, bsdf: dict[str, Any], uv: FloatArray | None = None) -> mi.Object:
    """Load a mesh with its material, and texture coordinates (N, 2) where it has a picture."""
    properties = mi.Properties()
    properties["bsdf"] = mi.load_dict(bsdf)
    mesh = mi.Mesh(
        "shape",
        vertex_count=len(shape.corners_mm),
        face_count=len(shape.faces),
        has_vertex_normals=shape.normals is not None,
        has_vertex_texcoords=uv is not None,
        props=properties,
    )
    values = mi.traverse(mesh)
    values["vertex_positions"] = shape.corners_mm.astype(np.float32).ravel()
    values["faces"] = shape.faces.astype(np.uint32).ravel()
    if shape.normals is not None:
        values["vertex_normals"] = shape.normals.astype(np.float32).ravel()
    if uv is not None:
        values["vertex_texcoords"] = uv.astype(np.float32).ravel()
    values.update()
    return mesh


def sensor(camera: Pinhole, box: tuple[int, int, int, int], samples: int) -> mi.Sensor:
    """Look at a box (x0, y0, x1, y1) of a camera's pixels, by so many paths each."""
    x0, y0, x1, y1 = box
    width, height = camera.size_px
    pose = np.eye(4)
    # The renderer's camera has x to the left, y up and z forward.
    pose[:3, :3] = (camera.rotation * [[-1], [-1], [1]]).T
    pose[:3, 3] = camera.position_mm
    return mi.load_dict(
        {
            "type": "perspective",
            "fov": 2 * math.degrees(math.atan(width / 2 / camera.focal_px)),
            "fov_axis": "x",
            "near_clip": 1.0,
            "far_clip": 10000.0,
            "to_world": mi.ScalarTransform4f(pose.tolist()),
            "sampler": {"type": "multijitter", "sample_count": samples},
            "film": {
                "type": "hdrfilm",
                "width": width,
                "height": height,
                "crop_offset_x": x0,
                "crop_offset_y": y0,
                "crop_width": x1 - x0,
                "crop_height": y1 - y0,
                "pixel_format": "rgb",
                "rfilter": {"type": "box"},
            },
        }
    )


def no_sparks(light: NDArray[np.floating], limit: float) -> Image:
    """Hold lone bright pixels, a path tracer's artefact, near their neighbours' median."""
    median = cv2.medianBlur(light.astype(np.float32), 5)
    return np.asarray(np.minimum(light, limit * median), dtype=np.float32)
