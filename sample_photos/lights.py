"""Light the room: a window, an overcast sky through it, or a small lamp low at one side."""

from __future__ import annotations

from typing import Any

import mitsuba as mi
import numpy as np
from numpy.typing import NDArray

from sample_photos.shots import Light

FloatArray = NDArray[np.float64]

DAYLIGHT = np.array([0.90, 0.98, 1.10])
LAMPLIGHT = np.array([1.35, 1.0, 0.62])
WALLS = np.array([1.06, 1.0, 0.90])
PHONE_MM = (152.0, 74.0)
PHONE_ABOVE_MM = 6.0
"""The phone's back lies just above the pinhole, so that it shades the sheet but not the view."""


def lights(kind: Light, camera_mm: FloatArray) -> dict[str, Any]:
    """Scene entries for the emitters, the room they fill, and the phone that shades it."""
    things: dict[str, Any] = {}
    if kind == "window":
        things["window"] = panel((-1000, 420, 800), (420, 520), 6.0 * DAYLIGHT)
        things["room"] = room(0.62)
    elif kind == "overcast":
        things["window"] = panel((-700, 900, 1250), (520, 520), 5.0 * DAYLIGHT)
        things["room"] = room(0.5)
    else:
        # A bare lamp a metre and a half away stands about 15 degrees above the bench.
        things["room"] = room(0.10)
        things["lamp"] = panel((-1400, 560, 400), (26, 26), 2600.0 * LAMPLIGHT)
    things["phone"] = phone(camera_mm)
    return things


def panel(
    centre_mm: tuple[float, float, float], half_mm: tuple[float, float], radiance: FloatArray
) -> dict[str, Any]:
    """A glowing rectangle that faces the middle of the sheet."""
    T = mi.ScalarTransform4f
    pose = T().look_at(origin=centre_mm, target=[0, 0, 0], up=[0, 0, 1])
    return {
        "type": "rectangle",
        "to_world": pose @ T().scale([*half_mm, 1]),
        "emitter": {
            "type": "area",
            "radiance": {"type": "rgb", "value": [float(v) for v in radiance]},
            "sampling_weight": 2.0,
        },
    }


def room(level: float) -> dict[str, Any]:
    """Walls and ceiling far away, lit by what the window sends in; dark below the bench.

    The panorama has its pole along +z; the viewer stands at -y and blocks some light.
    """
    rows, columns = 48, 96
    elevation = (0.5 - (np.arange(rows) + 0.5) / rows) * np.pi
    azimuth = (np.arange(columns) + 0.5) / columns * 2 * np.pi
    up = np.clip(np.sin(elevation), 0, 1)[:, None]
    side = 0.75 + 0.25 * np.cos(azimuth)[None, :]
    glow = level * np.where(elevation[:, None] > 0, (0.45 + 0.75 * up) * (side + up * 0.3), 0.0)
    viewer = (np.abs(azimuth - 1.5 * np.pi) < 0.5)[None, :] & (elevation[:, None] < 1.15)
    glow = np.where(viewer, 0.12 * glow, glow)
    # Shelves and door frames give a polished wire something to mirror.
    shelf = (np.sin(azimuth * 9) > 0.55)[None, :] & (np.abs(elevation - 0.35) < 0.22)[:, None]
    glow = np.where(shelf, 0.35 * glow, glow)
    picture = (glow[..., None] * WALLS).astype(np.float32)
    T = mi.ScalarTransform4f
    return {
        "type": "envmap",
        "bitmap": mi.Bitmap(picture),
        "to_world": T().rotate([1, 0, 0], 90),
        "sampling_weight": 1.0,
    }


def phone(camera_mm: FloatArray) -> dict[str, Any]:
    """The phone's dark back, its lens near one end."""
    T = mi.ScalarTransform4f
    x, y, z = (float(v) for v in camera_mm)
    at = T().translate([x + 0.36 * PHONE_MM[0], y - 12, z + PHONE_ABOVE_MM])
    return {
        "type": "rectangle",
        "to_world": at @ T().scale([PHONE_MM[0] / 2, PHONE_MM[1] / 2, 1]),
        "bsdf": {
            "type": "twosided",
            "bsdf": {"type": "diffuse", "reflectance": {"type": "rgb", "value": 0.03}},
        },
    }
