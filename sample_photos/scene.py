"""Build a shot's scene: sheet, bench and blanks with their materials, under the lights."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import mitsuba as mi
import numpy as np
import shapely
from numpy.typing import NDArray

from sample_photos import textures
from sample_photos.blanks import (
    LOOP_MID_RADIUS_MM,
    QUAD_SEGMENTS,
    WIRE_MM,
    WIRE_SIDES,
    Prism,
    Ring,
)
from sample_photos.lights import lights
from sample_photos.meshes import Mesh, cap, laid, torus, walls
from sample_photos.renderer import loaded
from sample_photos.shots import PAD_MM, Placed, Shot

FloatArray = NDArray[np.float64]

GROUND_TEXEL_MM = 0.14
BLANK_TEXEL_MM = 0.05
SHEET_MM = 0.12
BENCH_MM = (900.0, 700.0)
STITCH_INSET_MM = 2.4
STITCHED_MM = (33.2, 45.4)
BRASS_N, BRASS_K = (0.444, 0.527, 1.094), (3.695, 2.765, 1.829)
"""Refractive index and absorption of brass for red, green, blue light, from memory."""
BURNT = (74, 48, 30)
CLOTH_EDGE = (92, 76, 48)
"""sRGB of a rim left by a laser, and of waxed canvas cut across."""


@dataclass(frozen=True, eq=False)
class Textured:
    """A bitmap laid over a rectangle, itself turned in the frame of what it covers."""

    bitmap: textures.Bitmap
    bounds_mm: tuple[float, float, float, float]
    turn_rad: float = 0.0

    def uv(self, points_mm: FloatArray) -> FloatArray:
        """Texture coordinates of points (N, 2+): (0, 0) upper left, (1, 1) lower right."""
        x0, y0, x1, y1 = self.bounds_mm
        c, s = math.cos(self.turn_rad), math.sin(self.turn_rad)
        turned = points_mm[:, :2] @ np.array([[c, -s], [s, c]])
        return np.asarray((turned - (x0, y1)) / (x1 - x0, y0 - y1))


def build(shot: Shot, flat: Textured) -> mi.Scene:
    """Assemble lights, ground, sheet, blanks and the phone itself."""
    rng = np.random.default_rng(shot.seed)
    things: dict[str, Any] = {"type": "scene", **lights(shot.light, shot.camera.position_mm)}
    plane = shapely.box(*flat.bounds_mm)
    if shot.sheet == "a4":
        sheet = shot.sheet_outline
        sheet_texture = paper(sheet.bounds, rng)
        things["bench"] = mesh(cap(plane, -SHEET_MM), waxed(flat, 0.45), flat)
        things["sheet"] = mesh(cap(sheet, 0.0), matt(sheet_texture), sheet_texture)
        things["edge"] = mesh(walls(sheet, -SHEET_MM, 0.0), plain(textures.SHEET_EDGE))
    else:
        things["pad"] = mesh(cap(plane, 0.0), matt(flat), flat)
    for number, placed in enumerate(shot.placed):
        for part, thing in enumerate(solids(placed, rng)):
            things[f"blank{number}_{part}"] = thing
    scene: mi.Scene = mi.load_dict(things)
    return scene


def ground(shot: Shot) -> Textured:
    """What fills the frame where no blank lies: the pad's paper or the bench."""
    rng = np.random.default_rng(1000 + shot.seed)
    if shot.sheet == "pad":
        return paper(around(PAD_MM), rng)
    bitmap = textures.wood("bench", BENCH_MM, 2 * GROUND_TEXEL_MM, rng)
    return Textured(bitmap, around(BENCH_MM))


def around(size_mm: tuple[float, float]) -> tuple[float, float, float, float]:
    """Bounds of a rectangle about the origin."""
    w, h = size_mm
    return -w / 2, -h / 2, w / 2, h / 2


def paper(bounds_mm: tuple[float, float, float, float], rng: np.random.Generator) -> Textured:
    """Paper over a rectangle."""
    x0, y0, x1, y1 = bounds_mm
    return Textured(textures.paper((x1 - x0, y1 - y0), GROUND_TEXEL_MM, rng), bounds_mm)


def solids(placed: Placed, rng: np.random.Generator) -> Iterator[mi.Object]:
    """The meshes of one blank, in the world."""
    for solid in placed.blank.solids:
        if isinstance(solid, Ring):
            wire = torus(
                solid.centre_mm,
                middle_mm=LOOP_MID_RADIUS_MM,
                half_mm=(WIRE_MM / 2, WIRE_MM / 2),
                sides=(4 * QUAD_SEGMENTS, WIRE_SIDES),
            )
            yield mesh(wire, brass(), placed=placed)
            continue
        is_cloth = solid.material == "canvas"
        skin = cloth(solid, rng) if is_cloth else timber(solid, rng)
        yield mesh(cap(solid.plan, solid.top_mm), waxed(skin, 0.5), skin, placed)
        side = walls(solid.plan, solid.bottom_mm, solid.top_mm)
        yield mesh(side, plain(CLOTH_EDGE if is_cloth else BURNT), placed=placed)


def timber(solid: Prism, rng: np.random.Generator) -> Textured:
    """Wood over a prism, its grain in a random direction."""
    x0, y0, x1, y1 = solid.plan.bounds
    reach = 1.02 * max(math.hypot(x, y) for x in (x0, x1) for y in (y0, y1))
    bitmap = textures.wood(solid.material, (2 * reach, 2 * reach), BLANK_TEXEL_MM, rng)
    return Textured(bitmap, around((2 * reach, 2 * reach)), rng.uniform(0, math.pi))


def cloth(solid: Prism, rng: np.random.Generator) -> Textured:
    """Canvas over a strap, sewn where it is folded on itself."""
    x0, y0, x1, y1 = solid.plan.bounds
    left, right = x0 + STITCH_INSET_MM, x1 - STITCH_INSET_MM
    low, high = STITCHED_MM
    line = np.array([(left, low), (left, high), (right, high), (right, low)])
    texels = np.column_stack([line[:, 0] - x0, y1 - line[:, 1]])
    bitmap = textures.canvas((x1 - x0, y1 - y0), BLANK_TEXEL_MM, texels, rng)
    return Textured(bitmap, solid.plan.bounds)


def mesh(
    shape: Mesh, bsdf: dict[str, Any], skin: Textured | None = None, placed: Placed | None = None
) -> mi.Object:
    """Load a mesh with its material, moved to where its blank lies."""
    uv = None if skin is None else skin.uv(shape.corners_mm)
    if placed is not None:
        shape = laid(shape, (placed.x_mm, placed.y_mm), math.radians(placed.angle_deg))
    return loaded(shape, bsdf, uv)


def picture(skin: Textured) -> dict[str, Any]:
    """A bitmap of reflectances as they are, in linear light."""
    return {"type": "bitmap", "bitmap": mi.Bitmap(skin.bitmap), "raw": True, "wrap_mode": "clamp"}


def matt(skin: Textured) -> dict[str, Any]:
    """Paper: light leaves it evenly."""
    return {"type": "diffuse", "reflectance": picture(skin)}


def waxed(skin: Textured, roughness: float) -> dict[str, Any]:
    """Oiled wood and waxed cloth: a faint sheen over the colour."""
    return {
        "type": "principled",
        "base_color": picture(skin),
        "roughness": roughness,
        "specular": 0.35,
    }


def plain(srgb: tuple[int, int, int]) -> dict[str, Any]:
    """One matt colour, seen from both sides."""
    colour = {"type": "rgb", "value": [float(v) for v in textures.linear(srgb)]}
    return {"type": "twosided", "bsdf": {"type": "diffuse", "reflectance": colour}}


def brass() -> dict[str, Any]:
    """Brass wire, polished once and carried since."""
    eta, k = ({"type": "rgb", "value": list(index)} for index in (BRASS_N, BRASS_K))
    dull = {"type": "rgb", "value": [0.9, 0.84, 0.74]}
    return {
        "type": "roughconductor",
        "eta": eta,
        "k": k,
        "alpha": 0.18,
        "specular_reflectance": dull,
    }
