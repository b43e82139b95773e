"""Paint wood, canvas, paper and bench as linear-light bitmaps.

Rows run from +y to -y as in any picture; values are reflectances of red, green, blue.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

Bitmap = NDArray[np.float32]

WOODS: dict[str, tuple[tuple[int, int, int], tuple[int, int, int]]] = {
    "cherry": ((186, 124, 82), (142, 84, 50)),
    "birch": ((232, 214, 184), (214, 188, 150)),
    "walnut": ((112, 78, 54), (66, 44, 31)),
    "beech": ((206, 164, 118), (178, 132, 88)),
    "bench": ((128, 94, 62), (104, 74, 48)),
}
"""sRGB colours of early and late wood, chosen by eye."""

RING_MM = {"cherry": 3.4, "birch": 4.5, "walnut": 4.2, "beech": 3.0, "bench": 4.4}
CANVAS = (116, 98, 62)
THREAD = (206, 192, 160)
PAPER = (0.855, 0.85, 0.83)
SHEET_EDGE = (222, 221, 216)
STITCH_MM = 3.0


def linear(srgb: tuple[int, int, int]) -> Bitmap:
    """SRGB bytes to linear light."""
    s = np.array(srgb, dtype=np.float32) / 255
    return np.where(s <= 0.04045, s / 12.92, ((s + 0.055) / 1.055) ** 2.4).astype(np.float32)


def noise(rng: np.random.Generator, shape: tuple[int, int], sigma: tuple[float, float]) -> Bitmap:
    """Smooth noise of zero mean and unit deviation; sigma by row and column, texels."""
    # Coarse noise is drawn small and enlarged, which costs a fraction of filtering it.
    step = [max(1, int(s / 4)) for s in sigma]
    small = (shape[0] // step[0] + 8, shape[1] // step[1] + 8)
    field = rng.standard_normal(small).astype(np.float32)
    field = ndimage.gaussian_filter(field, [s / k for s, k in zip(sigma, step, strict=True)])
    large = (small[1] * step[1], small[0] * step[0])
    wide = cv2.resize(field, large, interpolation=cv2.INTER_CUBIC)[: shape[0], : shape[1]]
    return np.asarray((wide - wide.mean()) / wide.std(), dtype=np.float32)


def wood(
    kind: str, size_mm: tuple[float, float], texel_mm: float, rng: np.random.Generator
) -> Bitmap:
    """Flat-sawn wood, its grain along x: growth rings cut by a plane, fibres and pores."""
    columns, rows = (math.ceil(side / texel_mm) for side in size_mm)
    shape = (rows, columns)

    def field(along_mm: float, across_mm: float) -> Bitmap:
        return noise(rng, shape, (across_mm / texel_mm, along_mm / texel_mm))

    x, y = np.meshgrid(
        np.arange(columns, dtype=np.float32) * texel_mm,
        np.arange(rows, dtype=np.float32) * texel_mm,
    )
    # The plane passes near the pith, which runs off at a slight slope: cathedral figure.
    heart_mm = rng.uniform(0.3, 0.7) * size_mm[1]
    across = y - heart_mm + 0.02 * x + 1.0 * field(60, 14)
    depth = 9 + 0.11 * x + 0.8 * field(60, 20)
    radius = np.hypot(across, depth) + 0.12 * field(7, 0.6)
    phase = radius / RING_MM[kind] + 0.35 * field(400, 9)
    fraction = phase - np.floor(phase)
    late = fraction**3 * (1 - np.clip((fraction - 0.9) / 0.1, 0, 1))
    late = np.clip(0.9 * late + 0.10 * field(6, 0.12) + 0.08 * field(30, 6) + 0.18, 0, 1)[..., None]
    early_rgb, late_rgb = (linear(colour) for colour in WOODS[kind])
    colour = early_rgb * (1 - late) + late_rgb * late
    fibre = 0.045 * field(3, 0.09) + 0.035 * field(14, 0.25) + 0.035 * field(25, 12)
    pores = field(1.1, 0.07)
    shade = 1 + fibre - 0.20 * np.clip(pores - 1.7, 0, 1) + 0.02 * field(0.8, 1.6)
    warm = 1 + 0.02 * field(30, 8)[..., None] * np.array([1, 0, -1], dtype=np.float32)
    return np.asarray(np.clip(colour * shade[..., None] * warm, 0.005, 0.95), dtype=np.float32)


def canvas(
    size_mm: tuple[float, float],
    texel_mm: float,
    stitches_mm: NDArray[np.float64],
    rng: np.random.Generator,
) -> Bitmap:
    """Waxed plain weave with rubbed patches, and a row of stitches along a line."""
    columns, rows = (math.ceil(side / texel_mm) for side in size_mm)
    shape = (rows, columns)
    pitch = 0.62
    wobble = 0.06 * noise(rng, shape, (1.5 / texel_mm, 4 / texel_mm))
    u = (np.arange(columns, dtype=np.float32) * texel_mm / pitch)[None, :] + wobble
    v = (np.arange(rows, dtype=np.float32) * texel_mm / pitch)[:, None] + wobble.T.mean()
    over = (np.floor(u) + np.floor(v)) % 2
    warp, weft = np.sin(np.pi * (u % 1)), np.sin(np.pi * (v % 1))
    relief = np.where(over > 0, warp * (0.55 + 0.45 * weft), weft * (0.55 + 0.45 * warp))
    threads = 1 + 0.05 * noise(rng, shape, (8 / texel_mm, 0.3 / texel_mm))
    threads = threads + 0.05 * noise(rng, shape, (0.3 / texel_mm, 8 / texel_mm))
    rubbed = np.clip(noise(rng, shape, (2.5 / texel_mm, 2 / texel_mm)) - 0.6, 0, 2)
    shade = (0.62 + 0.5 * relief) * threads * (1 + 0.16 * rubbed)
    shade = shade * (1 + 0.07 * noise(rng, shape, (7 / texel_mm, 5 / texel_mm)))
    cloth = (linear(CANVAS) * shade[..., None]).astype(np.float32)
    return sewn(cloth, stitches_mm / texel_mm, texel_mm)


def sewn(cloth: Bitmap, line_px: NDArray[np.float64], texel_mm: float) -> Bitmap:
    """Draw stitches along a polyline given in texels."""
    steps = np.hypot(*np.diff(line_px, axis=0).T)
    along = np.concatenate([[0], np.cumsum(steps)]) * texel_mm
    cover = np.zeros(cloth.shape[:2], dtype=np.float32)
    hole = np.zeros_like(cover)
    for start in np.arange(0.4, along[-1] - STITCH_MM, STITCH_MM):
        ends = [
            np.array([np.interp(s, along, line_px[:, 0]), np.interp(s, along, line_px[:, 1])])
            for s in (start, start + 0.78 * STITCH_MM)
        ]
        a, b = [tuple(int(c) for c in np.round(end * 16)) for end in ends]
        width = max(1, round(0.55 / texel_mm))
        cv2.line(cover, a, b, 1.0, width, cv2.LINE_8, 4)
        for end in (a, b):
            cv2.circle(hole, end, round(0.42 * 16 / texel_mm), 1.0, -1, cv2.LINE_8, 4)
    thread = cv2.GaussianBlur(cover, (0, 0), 0.09 / texel_mm)[..., None]
    dent = cv2.GaussianBlur(hole, (0, 0), 0.17 / texel_mm)[..., None]
    mixed = cloth * (1 - 0.55 * dent) * (1 - thread) + linear(THREAD) * 0.8 * thread
    return np.asarray(mixed, dtype=np.float32)


def paper(size_mm: tuple[float, float], texel_mm: float, rng: np.random.Generator) -> Bitmap:
    """Drawing paper: tooth, cloudiness, a hint of cockling, a few specks of saw dust."""
    columns, rows = (math.ceil(side / texel_mm) for side in size_mm)
    shape = (rows, columns)

    def field(scale_mm: float) -> Bitmap:
        return noise(rng, shape, (scale_mm / texel_mm, scale_mm / texel_mm))

    shade = 1 + 0.012 * field(0.16) + 0.008 * field(0.5) + 0.005 * field(2.5)
    shade += 0.006 * field(14) + 0.010 * field(70)
    sheet = shade[..., None] * np.array(PAPER, dtype=np.float32)
    speck = np.zeros(shape, dtype=np.float32)
    for _ in range(int(size_mm[0] * size_mm[1] / 2500)):
        at = (int(rng.uniform(0, columns) * 16), int(rng.uniform(0, rows) * 16))
        long_mm = rng.uniform(0.08, 0.35)
        axes = (int(long_mm * 16 / texel_mm), int(rng.uniform(0.06, 0.14) * 16 / texel_mm))
        turn = rng.uniform(0, 180)
        weight = rng.uniform(0.25, 0.8)
        cv2.ellipse(speck, at, axes, turn, 0, 360, weight, -1, cv2.LINE_8, 4)
    soft = cv2.GaussianBlur(speck, (0, 0), 0.8)[..., None]
    dust = linear((150, 120, 86))
    return np.asarray(np.clip(sheet * (1 - soft) + dust * soft, 0, 0.95), dtype=np.float32)
