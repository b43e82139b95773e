"""What a scene is: blanks on paper under lights, a camera, and how its picture is developed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon
from shapely.affinity import affine_transform

from tests.benchmarks.blanks import Blank, Part
from tests.benchmarks.camera import Camera

FloatArray = NDArray[np.float64]
Colour = tuple[float, float, float]
"""Linear red, green and blue."""


@dataclass(frozen=True)
class Pose:
    """Where a blank lies: turned counter-clockwise about its origin, then moved."""

    x_mm: float = 0.0
    y_mm: float = 0.0
    angle_rad: float = 0.0

    def place(self, plan: Polygon) -> Polygon:
        """Take a polygon from the blank's frame to the world."""
        cos, sin = np.cos(self.angle_rad), np.sin(self.angle_rad)
        placed = affine_transform(plan, [cos, -sin, sin, cos, self.x_mm, self.y_mm])
        assert isinstance(placed, Polygon)
        return placed

    def unplace(self, points_mm: FloatArray) -> FloatArray:
        """Take world plan positions (N, 2) to the blank's frame."""
        cos, sin = np.cos(self.angle_rad), np.sin(self.angle_rad)
        offsets = points_mm - (self.x_mm, self.y_mm)
        return np.asarray(offsets @ np.array([[cos, -sin], [sin, cos]]))


@dataclass(frozen=True)
class Light:
    """A rectangle that shines: centre and two half sides in mm.

    ``strength`` is its irradiance on the sheet at the world's origin.
    """

    centre_mm: tuple[float, float, float]
    half_sides_mm: tuple[tuple[float, float, float], tuple[float, float, float]]
    colour: Colour
    strength: float
    samples: int = 36
    """Points that a shadow is cast from."""


@dataclass(frozen=True)
class Paper:
    """The light sheet, and the bench beyond it where it ends in view."""

    colour: Colour = (0.82, 0.82, 0.81)
    lines: str = "none"
    """``"none"``, ``"ruled"`` or ``"grid"``."""
    size_mm: tuple[float, float] | None = None
    centre_mm: tuple[float, float] = (0.0, 0.0)
    angle_rad: float = 0.0
    bench: str = "none"
    """``"none"``, ``"wood"``, ``"dark"`` or ``"clutter"``."""
    grain: float = 1.0
    """Strength of the fibre texture; 0 gives an even sheet."""


@dataclass(frozen=True)
class Development:
    """From light on the sensor to a JPEG."""

    blur_px: float = 0.8
    vignette: float = 0.15
    """Share of light lost in the corners."""
    white: Colour = (1.0, 1.0, 1.0)
    """Gains that the camera's white balance leaves."""
    exposure: float = 0.7
    """Linear level of the brightest paper, 1 saturates."""
    noise: float = 0.01
    """Noise (sd) of a fully lit pixel; 0 gives none."""
    contrast: float = 0.0
    """Depth of the S-curve."""
    sharpen: float = 0.0
    """Amount of the unsharp mask."""
    quality: int = 90


@dataclass(frozen=True, eq=False)
class Scene:
    """One photograph to be made, and what a tracer is to make of it."""

    name: str
    seed: int
    blanks: tuple[tuple[Blank, Pose], ...]
    lights: tuple[Light, ...]
    ambient: Colour
    paper: Paper
    camera: Camera
    development: Development
    focal35_tag: int | None = None
    sheet: str | None = None
    """``"a4"`` or ``"letter"`` where the sheet's four corners are in view."""
    read_error_mm: float = 0.0
    expect: Literal["outline", "refuse"] = "outline"
    reason: str = ""
    conditions: Mapping[str, object] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Truth:
    """What is known of the first blank in view.

    Parameters
    ----------
    outline : Polygon
        Plan silhouette in the blank's own frame, holes included.
    parts : tuple of Part
        Its prisms, in the same frame.
    heights_mm : dict
        Tops above the sheet by part name; ``{"all": ...}`` for one part with no disc.
    measured : dict
        What the calipers read: ``{"disc": mm}`` or ``{"length": mm}``, with their error.
    read_error_mm : float
        How much of that reading is error.
    mm_per_px : float
        Scale in the plane of the first part's top, above the outline's origin.
    boundary_px : tuple of ndarray
        Each part's rings, projected at the part's own top.
    """

    outline: Polygon
    parts: tuple[Part, ...]
    heights_mm: dict[str, float]
    measured: dict[str, float]
    read_error_mm: float
    camera: Camera
    pose: Pose
    tilt_deg: float
    mm_per_px: float
    sheet: str | None
    boundary_px: tuple[FloatArray, ...]


@dataclass(frozen=True, eq=False)
class Photograph:
    """A synthetic photograph; ``truth`` is None where no blank is in view."""

    rgb: NDArray[np.uint8]
    jpeg: bytes
    truth: Truth | None
