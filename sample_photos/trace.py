"""Path-trace a shot: the blanks' surroundings pixel by pixel, the empty sheet coarsely.

Light on bare paper changes slowly, so over the whole frame only the illumination is
traced, at an eighth of the resolution, and multiplied by the sheet's own texture. The
region that holds the blanks, their shadows and a sheet's edges is traced in full.
"""

from __future__ import annotations

import math

import cv2
import mitsuba as mi
import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage

from sample_photos.camera import Camera
from sample_photos.renderer import no_sparks, sensor
from sample_photos.scene import SHEET_MM, Textured, build, ground
from sample_photos.shots import Shot

Image = NDArray[np.float32]

COARSE = 8
COARSE_SAMPLES = 49
COARSE_SIGMA_PX = 2.5
MAX_DEPTH = 3
PATHS = 28e6
SAMPLES = (16, 64)
"""Paths to spend on the part traced in full, and the samples a pixel that this may come to."""
FEATHER = 0.006
"""Share of the frame's width over which traced and modelled ground are blended."""
FLAT_MM = 1e-3
SHADE_SIGMA_PX = 1.6
SPARK_ON_GROUND, SPARK = 1.2, 3.0
"""How far above its neighbours' median a pixel may stand."""


def trace(shot: Shot, camera: Camera) -> Image:
    """Render a shot to linear light, shape (H, W, 3)."""
    flat = ground(shot)
    scene = build(shot, flat)
    coarse = camera.scaled((camera.size_px[0] // COARSE, camera.size_px[1] // COARSE))
    everything = render(scene, coarse, (0, 0, *coarse.size_px), COARSE_SAMPLES)
    z_mm = 0.0 if shot.sheet == "pad" else -SHEET_MM
    shade, _ = smooth_light(everything, z_mm, COARSE_SIGMA_PX)
    full = cv2.resize(shade.astype(np.float32), camera.size_px, interpolation=cv2.INTER_CUBIC)
    full = np.asarray(full * seen_flat(flat, camera, z_mm), dtype=np.float32)
    x0, y0, x1, y1 = focus_px(shot, camera)
    # The sampler wants a square number.
    side = round(math.sqrt(PATHS / ((x1 - x0) * (y1 - y0))))
    samples = int(np.clip(side**2, *SAMPLES))
    crop = smooth_ground(render(scene, camera, (x0, y0, x1, y1), samples))
    weight = feather((y1 - y0, x1 - x0), FEATHER * camera.size_px[0])[..., None]
    window = full[y0:y1, x0:x1]
    window[:] = window * (1 - weight) + crop * weight
    return np.asarray(full, dtype=np.float32)


def focus_px(shot: Shot, camera: Camera) -> tuple[int, int, int, int]:
    """The pixel box that holds the shot's focus region."""
    corners = shapely.get_coordinates(shot.focus_mm.envelope)
    points = camera.project(np.column_stack([corners, np.zeros(len(corners))]))
    width, height = camera.size_px
    x0, y0 = np.floor(points.min(axis=0)).astype(int)
    x1, y1 = np.ceil(points.max(axis=0)).astype(int)
    return max(0, int(x0)), max(0, int(y0)), min(width, int(x1)), min(height, int(y1))


def render(scene: mi.Scene, camera: Camera, box: tuple[int, int, int, int], samples: int) -> Image:
    """Trace a box of pixels: (H, W, 7) of light, reflectance and height."""
    integrator = mi.load_dict(
        {
            "type": "aov",
            "aovs": "own:albedo,at:position",
            "light": {"type": "path", "max_depth": MAX_DEPTH},
        }
    )
    pixels = np.array(
        mi.render(
            scene, sensor=sensor(camera, box, samples), integrator=integrator, seed=mi.UInt32(1)
        )
    )
    return np.asarray(pixels[..., [0, 1, 2, 3, 4, 5, 8]], dtype=np.float32)


def smooth_light(pixels: Image, z_mm: float, sigma_px: float) -> tuple[Image, Image]:
    """Light on bare ground at one height without its texture, free of grain, and where."""
    bare = (np.abs(pixels[..., 6] - z_mm) < FLAT_MM).astype(np.float32)[..., None]
    light = no_sparks(pixels[..., :3] / np.maximum(pixels[..., 3:6], 1e-3), SPARK_ON_GROUND)
    sigmas = (sigma_px, sigma_px, 0)
    share = ndimage.gaussian_filter(bare, sigmas)
    spread = ndimage.gaussian_filter(light * bare, sigmas)
    mean = (light * bare).sum(axis=(0, 1)) / max(float(bare.sum()), 1.0)
    return np.where(share > 1e-3, spread / np.maximum(share, 1e-3), mean), bare


def smooth_ground(pixels: Image) -> Image:
    """Take the tracer's grain off bare ground and leave everything else as it is."""
    result = no_sparks(pixels[..., :3], SPARK)
    for z_mm in (0.0, -SHEET_MM):
        light, bare = smooth_light(pixels, z_mm, SHADE_SIGMA_PX)
        result = np.where(bare > 0, light * pixels[..., 3:6], result)
    return result


def feather(shape: tuple[int, int], over_px: float) -> Image:
    """Weight 1 inside a box, falling to 0 at its border."""
    rows, columns = (np.minimum(np.arange(n), np.arange(n)[::-1]) for n in shape)
    return np.clip(np.minimum.outer(rows, columns) / over_px, 0, 1).astype(np.float32)


def seen_flat(flat: Textured, camera: Camera, z_mm: float) -> Image:
    """The ground's texture as the camera sees it, four looks a pixel."""
    x0, y0, x1, y1 = flat.bounds_mm
    rows, columns = flat.bitmap.shape[:2]
    to_mm = np.array(
        [[(x1 - x0) / columns, 0, x0], [0, -(y1 - y0) / rows, y1], [0, 0, 1.0]]
    ) @ np.array([[1, 0, 0.5], [0, 1, 0.5], [0, 0, 1]])
    total = np.zeros((camera.size_px[1], camera.size_px[0], 3), dtype=np.float32)
    for dx, dy in ((-0.25, -0.25), (0.25, -0.25), (-0.25, 0.25), (0.25, 0.25)):
        shift = np.array([[1, 0, dx], [0, 1, dy], [0, 0, 1.0]])
        look = shift @ camera.plane_homography(z_mm) @ to_mm
        total += cv2.warpPerspective(
            flat.bitmap, look, camera.size_px, borderMode=cv2.BORDER_REPLICATE
        )
    return np.asarray(total / 4, dtype=np.float32)
