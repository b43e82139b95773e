"""List the demo's photographs: which blanks lie where, in what light, seen how."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import shapely
from shapely import Polygon, affinity

from sample_photos.blanks import Blank, as_polygon, leaf, oval, tag, watering_can
from sample_photos.camera import Camera, look_down

EQUIVALENT_MM = 26.0
LANDSCAPE, PORTRAIT = (4000, 3000), (3000, 4000)
A4_MM = (297.0, 210.0)
PAD_MM = (680.0, 560.0)
"""A leaf of a large drawing pad, wider than the frame."""

Light = Literal["window", "overcast", "lamp"]


@dataclass(frozen=True)
class Placed:
    """A blank and its pose on the sheet."""

    blank: Blank
    x_mm: float
    y_mm: float
    angle_deg: float

    def in_world(self, shape: Polygon) -> Polygon:
        """A plan-view polygon of the blank, moved to where it lies."""
        turned = affinity.rotate(shape, self.angle_deg, origin=(0, 0))
        return affinity.translate(turned, self.x_mm, self.y_mm)


@dataclass(frozen=True)
class Shot:
    """One photograph to be taken."""

    name: str
    placed: tuple[Placed, ...]
    light: Light
    seed: int
    size_px: tuple[int, int] = LANDSCAPE
    height_mm: float = 400.0
    target_mm: tuple[float, float] = (0.0, 0.0)
    tilt_deg: float = 0.0
    tilt_towards_deg: float = 0.0
    sheet: Literal["a4", "pad"] = "pad"
    sheet_turn_deg: float = 0.0
    around_mm: float = 16.0
    """Margin about the blanks that is path-traced at full resolution."""

    @property
    def camera(self) -> Camera:
        """The camera of this shot."""
        return look_down(
            self.size_px,
            equivalent_mm=EQUIVALENT_MM,
            height_mm=self.height_mm,
            target_mm=self.target_mm,
            tilt_deg=self.tilt_deg,
            tilt_towards_deg=self.tilt_towards_deg,
        )

    @property
    def sheet_outline(self) -> Polygon:
        """The sheet's edge in the world, mm."""
        w, h = A4_MM if self.sheet == "a4" else PAD_MM
        return affinity.rotate(shapely.box(-w / 2, -h / 2, w / 2, h / 2), self.sheet_turn_deg)

    @property
    def focus_mm(self) -> Polygon:
        """The region whose every pixel matters: blanks, shadows, a sheet's edges."""
        if self.sheet == "a4":
            return self.sheet_outline.buffer(6.0)
        shapes = [placed.in_world(placed.blank.outline) for placed in self.placed]
        x0, y0, x1, y1 = shapely.total_bounds(shapes)
        m = self.around_mm
        return as_polygon(shapely.box(x0 - m, y0 - m, x1 + m, y1 + m))

    @property
    def orientation(self) -> int:
        """The EXIF rotation tag: 6 for a phone held upright, whose sensor lies across."""
        return 6 if self.size_px == PORTRAIT else 1


CHERRY_TAG = tag("plot tag", wood="cherry")

SHOTS = (
    Shot("square_on", (Placed(CHERRY_TAG, -6, -24, -14),), "window", 11, height_mm=390),
    Shot(
        "tilted",
        (Placed(CHERRY_TAG, 8, -20, 27),),
        "overcast",
        12,
        height_mm=415,
        target_mm=(4, 2),
        tilt_deg=5.0,
        tilt_towards_deg=68.0,
        sheet="a4",
        sheet_turn_deg=3.2,
    ),
    Shot(
        "side_light",
        (Placed(tag("plot tag", wood="cherry", swing_deg=-7), 10, -18, 38),),
        "lamp",
        13,
        height_mm=400,
        tilt_deg=0.3,
        tilt_towards_deg=-150,
        around_mm=45,
    ),
    Shot(
        "pale_wood",
        (Placed(tag("pale plot tag", wood="birch", swing_deg=9), 4, -30, 4),),
        "overcast",
        14,
        height_mm=385,
        tilt_deg=0.4,
        tilt_towards_deg=40,
    ),
    Shot(
        "leaf",
        (Placed(leaf("leaf-shaped bed marker", wood="walnut"), 3, 6, 21),),
        "window",
        15,
        size_px=PORTRAIT,
        height_mm=420,
        tilt_deg=0.3,
        tilt_towards_deg=-80,
    ),
    Shot(
        "several",
        (
            Placed(tag("plot tag 1", wood="cherry", disc_mm=64.0), -12, -22, 11),
            Placed(
                tag("plot tag 2", wood="cherry", disc_mm=63.7, tab_mm=19.7, swing_deg=-8),
                -112,
                34,
                -64,
            ),
            Placed(
                tag("plot tag 3", wood="cherry", disc_mm=64.3, tab_mm=20.2, swing_deg=3),
                82,
                58,
                142,
            ),
            Placed(
                tag("plot tag 4", wood="cherry", disc_mm=63.8, tab_mm=20.0, swing_deg=-3),
                112,
                -62,
                83,
            ),
        ),
        "window",
        16,
        height_mm=430,
        tilt_deg=0.4,
        tilt_towards_deg=110,
    ),
    Shot(
        "watering_can",
        (Placed(watering_can("watering-can ornament", wood="beech"), -8, 4, 76),),
        "overcast",
        17,
        height_mm=380,
        tilt_deg=0.3,
        tilt_towards_deg=10,
    ),
    Shot(
        "oval",
        (Placed(oval("drilled oval", wood="walnut"), 6, -5, -58),),
        "window",
        18,
        size_px=PORTRAIT,
        height_mm=395,
    ),
)
