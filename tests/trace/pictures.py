"""Small photographs drawn exactly, for tests: linear light, blurred in closed form, sRGB."""

from __future__ import annotations

import cv2
import numpy as np
from scipy.special import ndtr

SHEET = np.array([0.72, 0.71, 0.69])
WOOD = np.array([0.30, 0.17, 0.09])

BAND_PX = 40.0
"""How far from a rim no locator looks."""


def encoded(linear):
    """Store linear light as 8-bit sRGB (IEC 61966-2-1)."""
    linear = np.clip(linear, 0, 1)
    curve = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return np.rint(255 * np.asarray(curve)).astype(np.uint8)


def disc_level(x, y, centre, radius, blur):
    """Share of a Gaussian about each place that lies on a disc, to order (blur/radius)².

    The blur includes the pixel's own, so a pixel is the level at its centre. The
    term s/2R is what pulls the half level inward by s²/2R.
    """
    inside = radius - np.hypot(x - centre[0], y - centre[1])
    return ndtr(inside / blur - blur / (2 * radius))


def disc_photograph(side, centre, radius, blur, *, noise, light_slope=0.0):
    """A disc on a sheet lit from one side, noise and light drawn about the rim only."""
    x, y = grid(side, side)
    x -= centre[0]
    y -= centre[1]
    inside = radius - np.hypot(x, y)
    rgb = np.where((inside > 0)[..., None], encoded(WOOD), encoded(SHEET))
    near = np.abs(inside) < BAND_PX
    level = ndtr(inside[near] / blur - blur / (2 * radius))
    light = 1 + light_slope * (x[near] - y[near] / 2)
    rgb[near] = photograph(level, light=light, noise=noise)
    return rgb


def box_level(x, y, low, high, blur):
    """The same for an upright rectangle, exactly."""
    across = ndtr((x - low[0]) / blur) - ndtr((x - high[0]) / blur)
    along = ndtr((y - low[1]) / blur) - ndtr((y - high[1]) / blur)
    return across * along


def photograph(level, *, noise=0.003, seed=0, light=1.0, blank=WOOD, sheet=SHEET):
    """Mix blank and sheet by level, light them, add noise, and store."""
    light = np.asarray(light, dtype=np.float32)[..., None]
    sheet, blank = np.asarray(sheet, np.float32), np.asarray(blank, np.float32)
    linear = (sheet + level[..., None].astype(np.float32) * (blank - sheet)) * light
    rng = np.random.default_rng(seed)
    linear = linear + np.float32(noise) * rng.standard_normal(linear.shape, dtype=np.float32)
    return encoded(linear)


def grid(width, height):
    """Pixel centres (x, y)."""
    y, x = np.mgrid[0:height, 0:width].astype(np.float64)
    return x, y


def tag_photograph(*, size=(640, 480), radius=110.0, blur=1.0, shadow=0.35, shift=(0.0, 0.0), **kw):
    """A wooden disc with a tab, on white, a soft shadow to its lower right."""
    x, y = grid(*size)
    centre = np.array([size[0] / 2, size[1] / 2 + 20]) + shift
    low = centre + (-0.3 * radius, -1.6 * radius)
    high = centre + (0.3 * radius, 0.0)

    def blank(offset, soft):
        disc = disc_level(x - offset, y - offset, centre, radius, soft)
        return np.maximum(disc, box_level(x - offset, y - offset, low, high, soft))

    light = 1 - shadow * blank(7.0, 5.0)
    level = blank(0.0, blur)
    # The blank itself lies in the light.
    return photograph(level, light=level + (1 - level) * light, **kw), centre


def jpeg(rgb, quality=92):
    done, data = cv2.imencode(".jpg", rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
    assert done
    return data.tobytes()
