"""Path-trace a drawn scene: round wire that mirrors the sheet, and light between all surfaces.

The benchmark's own photographs are put together from formulae, which are quick and exact
but know only the light that was thought of. These know all of it, and have grain instead.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import Any

import cv2
import mitsuba as mi
import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from scipy import ndimage
from shapely import Point, Polygon
from shapely.affinity import scale, translate

from sample_photos.meshes import Mesh, cap, laid, torus, walls
from sample_photos.renderer import loaded, no_sparks, sensor
from tests.benchmarks.blanks import Part
from tests.benchmarks.camera import Camera
from tests.benchmarks.develop import develop, from_jpeg, to_jpeg
from tests.benchmarks.drawn_materials import material_named
from tests.benchmarks.materials import TEXEL_MM, Material, face_texture
from tests.benchmarks.records import Colour, Light, Pose, Scene
from tests.benchmarks.surfaces import Stage
from tests.training.plain import HALF, smooth_noise
from tests.training.strips import share_of_blank

mi.set_variant("scalar_rgb")  # its other engines need a certain LLVM

Floats = NDArray[np.float64]

AROUND_MM = 28.0
"""Sheet that is shown about the blank, long shadows cut off."""
SAMPLES = 8
MAX_DEPTH = 4
SPARK = 3.0
"""How far above its neighbours' median a pixel may stand."""
ROOM = (32, 64)
WIRE_SIDES = (512, 48)
ROUGHNESSES = (0.08, 0.5)
STRUCK_SHARE, RIMMED_SHARE = 0.5, 0.7
"""How many faces are struck, and how many of those with a raised rim."""
ROUNDED_MM, RIMS_MM, RELIEFS_MM = (0.2, 1.0), (0.8, 2.5), (0.05, 0.35)
DEVICES_MM, FLANKS_MM = (0.5, 5.0), (0.1, 0.25)
PHONE_MM = (75.0, 37.0)
"""Half sides of the dark phone about the lens."""


def photograph(scene: Scene, box: tuple[int, int, int, int]) -> NDArray[np.uint8]:
    """Path-trace a box (x0, y0, x1, y1) of a scene's frame, through a lens that bends nothing.

    Returns
    -------
    ndarray of uint8, shape (H, W, 3)
    """
    rng = np.random.default_rng([1720, scene.seed])
    things: dict[str, Any] = {"type": "scene", "ground": _ground(scene, rng)}
    for number, light in enumerate(scene.lights):
        things[f"light{number}"] = _lamp(light)
    things["room"] = _room(scene.ambient, rng)
    things["phone"] = _phone(scene.camera)
    for blank, pose in scene.blanks:
        for part in blank.parts:
            for number, thing in enumerate(_solid(part, pose, rng)):
                things[f"{part.name}{number}"] = thing
    traced = mi.render(
        mi.load_dict(things),
        sensor=sensor(scene.camera, box, SAMPLES),
        integrator=mi.load_dict({"type": "path", "max_depth": MAX_DEPTH}),
        seed=int(rng.integers(2**31)),
    )
    light = no_sparks(np.array(traced, np.float32), SPARK)
    rgb = develop(light, scene.development, rng)
    jpeg = to_jpeg(rgb, quality=scene.development.quality, focal35_tag=None)
    return from_jpeg(jpeg)


def box_about(scene: Scene) -> tuple[int, int, int, int]:
    """Bounds (x0, y0, x1, y1) of the first blank with some of its sheet, in px."""
    blank, pose = scene.blanks[0]
    around = pose.place(blank.outline).buffer(AROUND_MM).envelope
    corners = np.asarray(around.exterior.coords)
    seen = scene.camera.project(np.column_stack([corners, np.zeros(len(corners))]))
    (x0, y0), (x1, y1) = np.floor(seen.min(axis=0)), np.ceil(seen.max(axis=0))
    width, height = scene.camera.size_px
    return max(int(x0), 0), max(int(y0), 0), min(int(x1), width), min(int(y1), height)


def _ground(scene: Scene, rng: Generator) -> mi.Object:
    """The sheet, and the bench about it, as one level picture."""
    x0, y0 = scene.camera.position_mm[:2] - 320
    x1, y1 = scene.camera.position_mm[:2] + 320
    bare = replace(scene, blanks=(), lights=(), ambient=(1.0, 1.0, 1.0))
    view = (float(x0), float(y0), float(x1), float(y1))
    stage = Stage.set(bare, rng, view_mm=view)
    x, y = np.meshgrid(np.arange(x0, x1, TEXEL_MM), np.arange(y1, y0, -TEXEL_MM))
    flat = stage.ground(x.ravel().astype(np.float32), y.ravel().astype(np.float32))
    picture = flat.reshape(*x.shape, 3)
    plane = Polygon([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])
    corners = cap(plane, 0.0)
    uv = (corners.corners_mm[:, :2] - (x0, y1)) / (x1 - x0, y0 - y1)
    return loaded(corners, {"type": "diffuse", "reflectance": _bitmap(picture)}, uv)


def _lamp(light: Light) -> dict[str, Any]:
    """A rectangle that shines on the origin as strongly as the record says."""
    centre = np.array(light.centre_mm)
    first, second = (np.array(side) for side in light.half_sides_mm)
    away = float(np.linalg.norm(centre))
    area = 4 * float(np.linalg.norm(np.cross(first, second)))
    radiance = np.pi * light.strength * away**2 / (area * centre[2] / away)
    pose = np.eye(4)
    towards = -centre / away
    sides = (first, second) if np.cross(first, second) @ towards > 0 else (second, first)
    pose[:3, 0], pose[:3, 1], pose[:3, 2], pose[:3, 3] = *sides, towards, centre
    colour = [float(radiance * c) for c in light.colour]
    return {
        "type": "rectangle",
        "to_world": mi.ScalarTransform4f(pose.tolist()),
        "emitter": {"type": "area", "radiance": {"type": "rgb", "value": colour}},
    }


def _room(ambient: Colour, rng: Generator) -> dict[str, Any]:
    """Walls and ceiling of blots, dark below; as bright on the sheet as the record says."""
    noise = ndimage.gaussian_filter(
        rng.standard_normal(ROOM), rng.uniform(1, 4), mode=("nearest", "wrap")
    )
    glow = np.exp(rng.uniform(0.2, 1.2) * noise / noise.std())
    elevation = (0.5 - (np.arange(ROOM[0]) + 0.5) / ROOM[0]) * np.pi
    up = np.maximum(np.sin(elevation), 0)[:, None]
    glow = glow * (rng.uniform(0.2, 1) + up) * (up > 0)
    cosine = up * np.cos(elevation)[:, None]
    glow /= (glow * cosine).sum() / (np.ones(ROOM) * cosine).sum()
    picture = (glow[..., None] * np.array(ambient)).astype(np.float32)
    return {
        "type": "envmap",
        "bitmap": mi.Bitmap(picture),
        "to_world": mi.ScalarTransform4f().rotate([1, 0, 0], 90),
    }


def _phone(camera: Camera) -> dict[str, Any]:
    x, y, z = (float(v) for v in camera.position_mm)
    T = mi.ScalarTransform4f
    dark = {"type": "diffuse", "reflectance": {"type": "rgb", "value": 0.03}}
    return {
        "type": "rectangle",
        "to_world": T().translate([x + 0.7 * PHONE_MM[0], y, z + 4]) @ T().scale([*PHONE_MM, 1]),
        "bsdf": {"type": "twosided", "bsdf": dark},
    }


def _solid(part: Part, pose: Pose, rng: Generator) -> list[mi.Object]:
    """A prism's lid and sides, or a ring of wire."""
    material = material_named(part.material)
    lie = partial(laid, place_mm=(pose.x_mm, pose.y_mm), angle_rad=pose.angle_rad)
    if part.name == "loop":
        colour = {"type": "rgb", "value": [float(c) for c in material.colour]}
        return [loaded(lie(_wire(part)), _metal(colour, float(rng.uniform(0.04, 0.35))))]
    x0, y0, x1, y1 = part.plan.bounds
    picture = face_texture(material, size_mm=(x1 - x0 + 2, y1 - y0 + 2), rng=rng)
    lid = cap(part.plan, part.top_mm)
    # The picture's rows run towards +y.
    size = np.array(picture.shape[1::-1]) * TEXEL_MM
    uv = (lid.corners_mm[:, :2] - (x0 - 1, y0 - 1)) / size
    rough = float(np.exp(rng.uniform(*np.log(ROUGHNESSES))))
    plain = np.array(material.colour) * (1.0 if material.metal else material.wall)
    side: dict[str, Any] = {"type": "rgb", "value": [float(c) for c in plain]}
    skin = _skin(material, _bitmap(picture), rough, rng)
    if rng.random() < STRUCK_SHARE:
        skin = _struck(skin, _relief(part.plan, picture.shape[:2], rng))
    edge = (
        _metal(side, rough)
        if material.metal
        else {"type": "twosided", "bsdf": {"type": "diffuse", "reflectance": side}}
    )
    sides = walls(part.plan, part.bottom_mm, part.top_mm)
    return [loaded(lie(lid), skin, uv), loaded(lie(sides), edge)]


def _relief(plan: Polygon, shape: tuple[int, int], rng: Generator) -> NDArray[np.float32]:
    """Draw the heights of a struck or stamped face, in texels: rounded edge, rim and device.

    Parameters
    ----------
    plan : Polygon
        In mm; the picture starts 1 mm beside it.
    shape : (int, int)
        Rows and columns.

    Returns
    -------
    ndarray of float32, shape (H, W)
    """
    x0, y0, _, _ = plan.bounds
    flat = scale(translate(plan, 1 - x0, 1 - y0), 1 / TEXEL_MM, 1 / TEXEL_MM, origin=(0, 0))
    inside = (share_of_blank(shape, [flat]) > HALF).astype(np.uint8)
    depth = cv2.distanceTransform(inside, cv2.DIST_L2, 5)
    round_, rim = rng.uniform(*ROUNDED_MM) / TEXEL_MM, rng.uniform(*RIMS_MM) / TEXEL_MM
    heights = -round_ * (1 - np.sqrt(1 - np.clip(1 - depth / round_, 0, 0.98) ** 2))
    high = rng.uniform(*RELIEFS_MM) / TEXEL_MM
    if rng.random() < RIMMED_SHARE:
        heights -= high * (depth > rim)
    size = np.exp(rng.uniform(*np.log(DEVICES_MM))) / TEXEL_MM
    device = smooth_noise(shape, size, rng) > rng.uniform(0, 1.5)
    heights += rng.uniform(0.3, 1) * high * (device & (depth > 1.3 * rim))
    flank = rng.uniform(*FLANKS_MM) / TEXEL_MM
    return np.asarray(cv2.GaussianBlur(heights, (0, 0), flank), np.float32)


def _struck(skin: dict[str, Any], heights: NDArray[np.float32]) -> dict[str, Any]:
    """Tilt a face's normals as a relief of such heights would."""
    bumps = {"type": "bitmap", "bitmap": mi.Bitmap(heights[..., None]), "raw": True}
    return {"type": "bumpmap", "arbitrary": bumps, "scale": TEXEL_MM, "bsdf": skin}


def _skin(
    material: Material, picture: dict[str, Any], rough: float, rng: Generator
) -> dict[str, Any]:
    if material.metal:
        return _metal(picture, rough)
    return {
        "type": "principled",
        "base_color": picture,
        "roughness": float(rng.uniform(0.3, 0.9)),
        "specular": float(rng.uniform(0.0, 0.6)),
    }


def _metal(colour: dict[str, Any], rough: float) -> dict[str, Any]:
    return {
        "type": "twosided",
        "bsdf": {
            "type": "roughconductor",
            "material": "none",
            "specular_reflectance": colour,
            "alpha": rough,
        },
    }


def _wire(part: Part) -> Mesh:
    """A ring of wire that lies on the sheet, its equator at the part's top."""
    x0, _, x1, y1 = part.plan.bounds
    most = (x1 - x0) / 2
    centre = ((x0 + x1) / 2, y1 - most)
    least = part.plan.distance(Point(centre))
    half_mm = ((most - least) / 2, part.top_mm)
    middle_mm = (most + least) / 2
    return torus(centre, middle_mm=middle_mm, half_mm=half_mm, sides=WIRE_SIDES)


def _bitmap(picture: NDArray[np.float32]) -> dict[str, Any]:
    """Reflectances as they are, in linear light."""
    return {
        "type": "bitmap",
        "bitmap": mi.Bitmap(np.ascontiguousarray(np.clip(picture, 0.001, 0.98), np.float32)),
        "raw": True,
        "wrap_mode": "clamp",
    }
