"""The blanks of the benchmark: plan shapes with heights and materials.

Every blank is in its own frame: origin at the disc's centre and the main tab to
+y; a blank with no disc has its centroid at the origin and the long side of its
rectangle along +y. A part is a prism from bottom to top.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from shapely import Point, Polygon, box
from shapely.affinity import rotate, scale, translate
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union

from blanktrace.rectangle import rectangle_about

QUARTER = 256
"""Chords in a quarter turn: 0.0002 mm of sagitta on a 90 mm disc."""


@dataclass(frozen=True)
class Part:
    """One prism of a blank.

    Parameters
    ----------
    name : str
        ``"disc"``, ``"tab"``, ``"loop"`` or ``"all"``.
    plan : Polygon
        Seen from above, in the blank's frame, in mm.
    bottom_mm, top_mm : float
        Heights above the sheet.
    material : str
        A key of ``materials.MATERIALS``, or the name of a drawn one (`drawn_materials`).
    measured_mm : float, optional
        What calipers give for its height, where that is not the prism's top.
    """

    name: str
    plan: Polygon
    bottom_mm: float
    top_mm: float
    material: str
    measured_mm: float | None = None

    @property
    def height_mm(self) -> float:
        """Height above the sheet, as calipers give it."""
        return self.top_mm if self.measured_mm is None else self.measured_mm


@dataclass(frozen=True)
class Blank:
    """A blank: its parts, what it is called, and the size that calipers give."""

    form: str
    parts: tuple[Part, ...]
    measured: str
    measured_mm: float

    @property
    def outline(self) -> Polygon:
        """The plan silhouette with its holes."""
        # Parts that share a border leave hairline gaps in a plain union.
        return _one(unary_union([part.plan.buffer(1e-6) for part in self.parts]).buffer(-1e-6))

    @property
    def top_mm(self) -> float:
        """Height of the face whose scale the calipers give."""
        return self.parts[0].top_mm


def disc_tab_loop(
    material: str,
    *,
    disc_mm: float,
    thick_mm: float,
    tab_mm: tuple[float, float],
    ring_mm: tuple[float, float],
    low_mm: tuple[float, float] = (2.4, 2.2),
    tab: str = "canvas green",
    loop: str = "brass",
) -> Blank:
    """Make a disc with a strap (width, length) and a ring (outer, inner diameter).

    The ring is bent from round wire. Its outline is the wire's equator, so it is
    a slab about half its height.
    """
    radius, (width, length), (outer, inner) = disc_mm / 2, tab_mm, ring_mm
    disc = _circle(radius)
    strap = rounded(box(-width / 2, 0, width / 2, radius + length), 0.8).difference(disc)
    strap = max(getattr(strap, "geoms", [strap]), key=lambda piece: piece.centroid.y)
    centre_y = radius + length + inner / 2 - 2.0
    ring = translate(_circle(outer / 2).difference(_circle(inner / 2)), 0, centre_y)
    ring = ring.difference(unary_union([strap, disc]))
    ring = max(getattr(ring, "geoms", [ring]), key=lambda piece: piece.area)
    parts = (
        Part("disc", disc, 0.0, thick_mm, material),
        Part("tab", _one(strap), 0.0, low_mm[0], tab),
        Part("loop", _one(ring), 0.3 * low_mm[1], 0.7 * low_mm[1], f"{loop} wire", low_mm[1]),
    )
    return Blank("disc+tab+loop", parts, "disc", disc_mm)


def disc(material: str, *, disc_mm: float, thick_mm: float, hole_mm: float = 0.0) -> Blank:
    """Make a plain disc, or one with a hole drilled near its rim."""
    plan: BaseGeometry = _circle(disc_mm / 2)
    if hole_mm:
        plan = plan.difference(translate(_circle(hole_mm / 2), 0, disc_mm / 2 - hole_mm / 2 - 3))
    part = Part("disc", _one(plan), 0.0, thick_mm, material)
    return Blank("disc+hole" if hole_mm else "disc", (part,), "disc", disc_mm)


def ring(material: str, *, outer_mm: float, inner_mm: float, thick_mm: float) -> Blank:
    """Make a flat thin ring."""
    plan = _circle(outer_mm / 2).difference(_circle(inner_mm / 2))
    return Blank("ring", (Part("disc", _one(plan), 0.0, thick_mm, material),), "disc", outer_mm)


def tag(material: str, *, size_mm: tuple[float, float], corner_mm: float, thick_mm: float) -> Blank:
    """Make a rounded rectangle with a hole for a tie."""
    width, length = size_mm
    plate = rounded(box(-width / 2, -length / 2, width / 2, length / 2), corner_mm)
    hole = translate(_circle(2.5), 0, length / 2 - 6.5)
    return _free("tag", plate.difference(hole), material, thick_mm)


def oval(material: str, *, size_mm: tuple[float, float], thick_mm: float) -> Blank:
    """Make a long oval drilled at both ends."""
    width, length = size_mm
    plate = scale(_circle(1.0), width / 2, length / 2)
    holes = [translate(_circle(2.0), 0, end * (length / 2 - 7)) for end in (-1, 1)]
    return _free("oval", plate.difference(unary_union(holes)), material, thick_mm)


def leaf(material: str, *, length_mm: float, thick_mm: float) -> Blank:
    """Make a leaf with a lobed edge and a stem."""
    along = np.linspace(0, 1, 400)
    half = 0.30 * np.sin(np.pi * along**0.8) * (1 + 0.06 * np.sin(2 * np.pi * 6 * along))
    ridge = 0.04 * np.sin(np.pi * along)
    edge = [
        *zip(ridge + half, along, strict=True),
        *zip((ridge - half)[::-1], along[::-1], strict=True),
    ]
    blade = Polygon(edge).buffer(0).union(box(-0.022, -0.22, 0.022, 0.06))
    plan = rounded(scale(blade, length_mm / 1.22, length_mm / 1.22), 0.5)
    return _free("leaf", plan, material, thick_mm)


def heart(material: str, *, length_mm: float, thick_mm: float) -> Blank:
    """Make a heart: the curve x = 16 sin³t, y = 13 cos t - 5 cos 2t - 2 cos 3t - cos 4t."""
    t = np.linspace(0, 2 * np.pi, 800, endpoint=False)
    y = 13 * np.cos(t) - 5 * np.cos(2 * t) - 2 * np.cos(3 * t) - np.cos(4 * t)
    curve = Polygon(np.column_stack([16 * np.sin(t) ** 3, y])).buffer(0)
    return _free(
        "heart", rounded(scale(curve, length_mm / 32, length_mm / 32), 0.6), material, thick_mm
    )


def watering_can(material: str, *, length_mm: float, thick_mm: float) -> Blank:
    """Make a can with a spout, a rose and a handle that leaves a hole."""
    body = Polygon([(-20, -18), (18, -18), (15, 16), (-17, 16)])
    spout = Polygon([(14, -12), (14, -2), (38, 18), (42, 14)])
    rose = rotate(box(38.5, 8, 42.5, 25), 41, origin=(40.5, 16.5))
    grip = translate(_circle(15).difference(_circle(10.5)), -22, 2)
    top = translate(scale(_circle(12).difference(_circle(8.5)), 1, 0.8), -1, 16)
    plan = rounded(unary_union([body, spout, rose, grip, top]), 0.8)
    plan = scale(plan, length_mm / 83, length_mm / 83, origin=(0, 0))
    return _free("watering can", plan, material, thick_mm)


def ell(material: str, *, length_mm: float, thick_mm: float) -> Blank:
    """Make an L with unequal legs."""
    plan = unary_union([box(0, 0, 0.26, 1.0), box(0, 0, 0.62, 0.22)])
    return _free("L", rounded(scale(plan, length_mm, length_mm), 1.2), material, thick_mm)


def polygon(material: str, plan: BaseGeometry, *, thick_mm: float) -> Blank:
    """Make a blank of any shape."""
    return _free("polygon", plan, material, thick_mm)


def _free(form: str, plan: BaseGeometry, material: str, thick_mm: float) -> Blank:
    """Bring a shape with no disc into its own frame and measure its long side."""
    rectangle = rectangle_about(np.array(_one(plan).exterior.coords))
    angle = 90 - np.rad2deg(rectangle.axis_rad)
    turned = rotate(plan, (angle + 90) % 180 - 90, origin=(0, 0))
    centred = translate(turned, -turned.centroid.x, -turned.centroid.y)
    part = Part("all", _one(centred), 0.0, thick_mm, material)
    return Blank(form, (part,), "length", rectangle.long)


def _circle(radius_mm: float) -> Polygon:
    return Point(0, 0).buffer(radius_mm, quad_segs=QUARTER)


def rounded(plan: BaseGeometry, radius_mm: float, *, inner_mm: float | None = None) -> BaseGeometry:
    """Round every corner, inner ones too, those by a radius of their own if one is given."""
    inner_mm = radius_mm if inner_mm is None else inner_mm
    outward = plan.buffer(-radius_mm, quad_segs=32).buffer(radius_mm + inner_mm, quad_segs=32)
    return outward.buffer(-inner_mm, quad_segs=32)


def _one(plan: BaseGeometry) -> Polygon:
    if not isinstance(plan, Polygon):
        raise TypeError(f"a part must be one polygon, got {plan.geom_type}")
    return plan
