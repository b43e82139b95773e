"""What surfaces look like: linear colours and grain, made from noise.

Textures are maps of a few hundred mm on a side in the surface's own frame, with
the grain along +y. Colours are linear reflectances, chosen by eye.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

Floats = NDArray[np.float32]
Colour = tuple[float, float, float]

TEXEL_MM = 0.2
"""Fineness of every texture: about a pixel."""


@dataclass(frozen=True)
class Material:
    """How a part is coloured and how it shines."""

    colour: Colour
    pattern: Literal["wood", "weave", "brushed", "stone", "even"]
    depth: float
    """How far the pattern moves the colour, as a share of it."""
    wall: float
    """Brightness of cut walls against the face."""
    metal: float = 0.0
    """Share of mirror-like light."""
    grain: Colour = (0.0, 0.0, 0.0)
    """Colour towards which the pattern pulls."""
    rim_mm: float = 0.25
    """Width of the rounded rim of a face."""
    rim_loss: float = 0.25
    """Light lost at the very rim, singed or worn."""
    rim_lean: float = 0.6
    """Slope of the rim at the wall: its normal leans outward by this much."""


MATERIALS = {
    "cherry": Material((0.46, 0.22, 0.11), "wood", 0.45, 0.30, grain=(0.27, 0.10, 0.045)),
    "walnut": Material((0.17, 0.095, 0.055), "wood", 0.6, 0.30, grain=(0.06, 0.032, 0.02)),
    "birch": Material((0.80, 0.74, 0.61), "wood", 0.9, 0.40, grain=(0.66, 0.53, 0.36)),
    "basswood": Material((0.83, 0.78, 0.68), "wood", 0.7, 0.45, grain=(0.72, 0.62, 0.47)),
    "slate": Material((0.060, 0.066, 0.072), "stone", 0.5, 0.8, grain=(0.12, 0.125, 0.13)),
    "steel": Material((0.72, 0.73, 0.74), "brushed", 0.2, 0.8, metal=0.85, rim_mm=0.6),
    "brass": Material((0.80, 0.58, 0.25), "brushed", 0.12, 0.8, metal=0.8, rim_mm=0.6),
    "steel wire": Material(
        (0.72, 0.73, 0.74),
        "even",
        0.02,
        0.8,
        metal=0.95,
        grain=(0.7, 0.71, 0.72),
        rim_mm=1.25,
        rim_loss=0.0,
        rim_lean=1.6,
    ),
    "brass wire": Material(
        (0.80, 0.58, 0.25),
        "even",
        0.02,
        0.8,
        metal=0.95,
        grain=(0.78, 0.56, 0.24),
        rim_mm=1.25,
        rim_loss=0.0,
        rim_lean=1.6,
    ),
    "canvas green": Material((0.075, 0.11, 0.060), "weave", 0.55, 0.7, grain=(0.03, 0.045, 0.025)),
    "canvas tan": Material((0.42, 0.31, 0.18), "weave", 0.45, 0.7, grain=(0.22, 0.15, 0.08)),
    "acrylic": Material(
        (0.80, 0.765, 0.67), "even", 0.01, 0.85, grain=(0.7, 0.65, 0.55), rim_loss=0.1
    ),
    "card": Material((0.83, 0.83, 0.83), "even", 0.02, 1.0, grain=(0.82, 0.82, 0.82), rim_loss=0.0),
    "black": Material((0.018, 0.018, 0.019), "even", 0.05, 0.8, grain=(0.03, 0.03, 0.03)),
}


def face_texture(material: Material, *, size_mm: tuple[float, float], rng: Generator) -> Floats:
    """Make the reflectance (H, W, 3) of a face, rows along the grain."""
    shape = (int(size_mm[1] / TEXEL_MM) + 2, int(size_mm[0] / TEXEL_MM) + 2)
    pattern = {
        "wood": _wood,
        "weave": _weave,
        "brushed": _brushed,
        "stone": _stone,
        "even": _even,
    }[material.pattern](shape, rng)
    if material.pattern == "brushed":
        return np.asarray(
            np.array(material.colour, np.float32) * (1 + material.depth * pattern[..., None])
        )
    share = np.clip(material.depth * pattern, 0, 1)[..., None]
    base, grain = np.array(material.colour, np.float32), np.array(material.grain, np.float32)
    return np.asarray(base + (grain - base) * share)


def smooth_noise(
    shape: tuple[int, int], rng: Generator, *, scale_mm: tuple[float, float]
) -> Floats:
    """Make noise of unit spread whose blots measure ``scale_mm`` (x, y)."""
    rows = max(int(shape[0] * TEXEL_MM / scale_mm[1]), 1) + 3
    columns = max(int(shape[1] * TEXEL_MM / scale_mm[0]), 1) + 3
    coarse = rng.standard_normal((rows, columns), dtype=np.float32)
    fine = cv2.resize(coarse, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)
    return np.asarray(fine * 1.3)


def paper_texture(shape: tuple[int, int], rng: Generator) -> Floats:
    """Make the faint cloud, fibres and specks of paper as factors near 1."""
    cloud = smooth_noise(shape, rng, scale_mm=(9, 9))
    fibres = smooth_noise(shape, rng, scale_mm=(0.4, 1.4)) + smooth_noise(
        shape, rng, scale_mm=(1.4, 0.4)
    )
    tooth = smooth_noise(shape, rng, scale_mm=(0.25, 0.25))
    factor = 1 + 0.004 * cloud + 0.005 * fibres + 0.005 * tooth
    for _ in range(int(rng.integers(4, 22))):
        centre = (int(rng.integers(shape[1])), int(rng.integers(shape[0])))
        speck = np.zeros((9, 9), np.float32)
        axes = (int(rng.integers(1, 3)), int(rng.integers(1, 2)))
        cv2.ellipse(speck, (4, 4), axes, float(rng.uniform(0, 180)), 0, 360, 1.0, -1, cv2.LINE_AA)
        spot = factor[centre[1] : centre[1] + 9, centre[0] : centre[0] + 9]
        spot *= 1 - float(rng.uniform(0.15, 0.6)) * speck[: spot.shape[0], : spot.shape[1]]
    return np.asarray(factor, np.float32)


def bench_texture(kind: str, shape: tuple[int, int], rng: Generator) -> Floats:
    """Make the bench under the sheet: planks, a dark top, or a wooden one with things on it."""
    if kind == "dark":
        base = np.array((0.035, 0.037, 0.042), np.float32)
        mottle = smooth_noise(shape, rng, scale_mm=(3, 3)) + smooth_noise(
            shape, rng, scale_mm=(0.5, 0.5)
        )
        return np.asarray(base * (1 + 0.08 * mottle[..., None]))
    planks = np.zeros((*shape, 3), np.float32)
    step = int(95 / TEXEL_MM)
    for first in range(0, shape[1], step):
        width = min(step, shape[1] - first)
        tone = float(rng.uniform(0.75, 1.15))
        share = np.clip(0.6 * _wood((shape[0], width), rng), 0, 1)[..., None]
        light, dark = np.array((0.34, 0.20, 0.10)), np.array((0.17, 0.09, 0.045))
        planks[:, first : first + width] = tone * (light + (dark - light) * share)
        planks[:, first : first + 4] *= 0.25
    if kind == "clutter":
        _strew(planks, rng)
    return planks


def _strew(image: Floats, rng: Generator) -> None:
    """Lay things about, each with its soft shadow: offcuts, pencils, coins."""
    rows, columns = image.shape[:2]
    for _ in range(45):
        middle = (float(rng.uniform(0, columns)), float(rng.uniform(0, rows)))
        colour = np.array(rng.uniform(0.05, 0.6) * rng.uniform(0.6, 1.0, 3), np.float32)
        angle, kind = float(rng.uniform(0, 180)), int(rng.integers(3))
        sides = rng.uniform(10, 60, 2) if kind == 1 else np.array([7.0, rng.uniform(90, 170)])
        reach = int((20.0 if kind == 0 else float(np.hypot(*sides)) / 2 + 8) / TEXEL_MM)
        left, top = max(int(middle[0]) - reach, 0), max(int(middle[1]) - reach, 0)
        patch = image[top : int(middle[1]) + reach, left : int(middle[0]) + reach]
        cover = np.zeros(patch.shape[:2], np.uint8)
        if kind == 0:
            spot = (int(middle[0]) - left, int(middle[1]) - top)
            cv2.circle(cover, spot, int(rng.uniform(8, 14) / TEXEL_MM), 255, -1, cv2.LINE_AA)
            colour = float(rng.uniform(0.2, 0.5)) * np.array((1, 0.9, 0.7), np.float32)
        else:
            box = ((middle[0] - left, middle[1] - top), tuple(sides / TEXEL_MM), angle)
            cv2.fillConvexPoly(cover, cv2.boxPoints(box).astype(np.int32), 255, cv2.LINE_AA)
        _lay(patch, cover.astype(np.float32) / 255, colour, rng)


def _lay(patch: Floats, cover: Floats, colour: Floats, rng: Generator) -> None:
    """Lay one thing on a patch of the bench: its shadow, its mottled face, its worn rim."""
    shadow = np.zeros_like(cover)
    shadow[8:, 6:] = cover[:-8, :-6]
    shadow = np.asarray(cv2.GaussianBlur(shadow, (0, 0), 6.0), np.float32)
    patch *= 1 - 0.6 * shadow[..., None]
    rim = np.clip(cv2.distanceTransform((cover > 0.5).astype(np.uint8), cv2.DIST_L2, 3) / 6, 0, 1)
    mottle = smooth_noise(cover.shape, rng, scale_mm=(0.6, 4)) + smooth_noise(
        cover.shape, rng, scale_mm=(15, 15)
    )
    face = colour * ((0.75 + 0.25 * rim) * (1 + 0.08 * mottle))[..., None]
    patch += cover[..., None] * (face - patch)


def _wood(shape: tuple[int, int], rng: Generator) -> Floats:
    """Growth rings cut lengthwise, fine fibres and short pores, from 0 to about 1."""
    rows, columns = shape
    y, x = np.mgrid[0:rows, 0:columns].astype(np.float32) * TEXEL_MM
    bend = 2.2 * smooth_noise(shape, rng, scale_mm=(30, 60))
    bow = float(rng.uniform(-0.25, 0.25)) * (y / 30) ** 2
    pitch = float(rng.uniform(2.2, 5.0))
    across = (x + bend + bow + 0.25 * smooth_noise(shape, rng, scale_mm=(3, 25))) / pitch
    ring = across - np.floor(across)
    late = np.where(ring < 0.8, (ring / 0.8) ** 2.5, (1 - ring) / 0.2)
    fibres = smooth_noise(shape, rng, scale_mm=(0.35, 14))
    pores = np.clip(smooth_noise(shape, rng, scale_mm=(0.25, 2.5)) - 1.3, 0, 1)
    broad = smooth_noise(shape, rng, scale_mm=(14, 80))
    return np.asarray(0.30 + 0.40 * late + 0.16 * fibres + 0.5 * pores + 0.12 * broad, np.float32)


def _weave(shape: tuple[int, int], rng: Generator) -> Floats:
    """Warp over weft at a pitch near 0.8 mm, some threads thicker."""
    rows, columns = shape
    y, x = np.mgrid[0:rows, 0:columns].astype(np.float32) * TEXEL_MM
    x = x + 0.12 * smooth_noise(shape, rng, scale_mm=(4, 4))
    y = y + 0.12 * smooth_noise(shape, rng, scale_mm=(4, 4))
    u, v = np.pi * x / 0.8, np.pi * y / 0.8
    over = 0.5 + 0.5 * np.sin(u) * np.sin(v) + 0.25 * (np.cos(2 * u) + np.cos(2 * v))
    threads = smooth_noise(shape, rng, scale_mm=(0.8, 30)) + smooth_noise(
        shape, rng, scale_mm=(30, 0.8)
    )
    return np.asarray(
        over + 0.18 * threads + 0.2 * smooth_noise(shape, rng, scale_mm=(8, 8)), np.float32
    )


def _brushed(shape: tuple[int, int], rng: Generator) -> Floats:
    """Long scratches, about zero."""
    return np.asarray(
        0.5 * smooth_noise(shape, rng, scale_mm=(0.2, 30))
        + 0.4 * smooth_noise(shape, rng, scale_mm=(0.7, 60)),
        np.float32,
    )


def _stone(shape: tuple[int, int], rng: Generator) -> Floats:
    """Cloudy layers with chips."""
    cloud = smooth_noise(shape, rng, scale_mm=(12, 18)) + smooth_noise(shape, rng, scale_mm=(2, 3))
    chips = np.clip(smooth_noise(shape, rng, scale_mm=(0.6, 0.6)) - 1.2, 0, 2)
    return np.asarray(0.35 + 0.22 * cloud + 0.5 * chips, np.float32)


def _even(shape: tuple[int, int], rng: Generator) -> Floats:
    """Nearly nothing: a cloud."""
    return np.asarray(0.5 + 0.5 * smooth_noise(shape, rng, scale_mm=(20, 20)), np.float32)
