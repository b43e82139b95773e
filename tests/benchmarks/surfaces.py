"""The light that leaves each spot which the camera sees: paper, bench, faces and walls."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from tests.benchmarks.drawn_materials import material_named
from tests.benchmarks.lighting import LightMap, Solid, cast, irradiance
from tests.benchmarks.materials import (
    TEXEL_MM,
    Material,
    bench_texture,
    face_texture,
    paper_texture,
)
from tests.benchmarks.plan import PlanMap, look_up
from tests.benchmarks.records import Pose, Scene

Floats = NDArray[np.float32]

BOUNCE = 0.4
"""Share of the paper's light that a wall at its foot receives."""
PHONE_MM = 60.0
"""Half size of the dark phone that polished metal mirrors."""


@dataclass(frozen=True, eq=False)
class Surface:
    """A part as it lies, with its texture and the light on its top."""

    solid: Solid
    pose: Pose
    material: Material
    texture: Floats
    corner_mm: tuple[float, float]
    light: LightMap


@dataclass(frozen=True, eq=False)
class Stage:
    """Everything in view, ready to be looked at."""

    scene: Scene
    surfaces: tuple[Surface, ...]
    sheet_light: LightMap
    paper: Floats
    bench: Floats
    corner_mm: tuple[float, float]

    @classmethod
    def set(
        cls, scene: Scene, rng: Generator, *, view_mm: tuple[float, float, float, float]
    ) -> Stage:
        """Make the textures and cast the shadows of a scene over the view (x0, y0, x1, y1)."""
        placed = [(part, pose) for blank, pose in scene.blanks for part in blank.parts]
        plans = [pose.place(part.plan) for part, pose in placed]
        solids = [
            Solid(plan, PlanMap.of(plan), part.bottom_mm, part.top_mm)
            for (part, _), plan in zip(placed, plans, strict=True)
        ]
        surfaces = []
        for (part, pose), solid in zip(placed, solids, strict=True):
            x0, y0, x1, y1 = part.plan.bounds
            material = material_named(part.material)
            texture = face_texture(material, size_mm=(x1 - x0 + 2, y1 - y0 + 2), rng=rng)
            light = cast(scene.lights, solids, z_mm=solid.top_mm, within=solid.plan)
            surfaces.append(Surface(solid, pose, material, texture, (x0 - 1, y0 - 1), light))
        x0, y0, x1, y1 = view_mm
        shape = (int((y1 - y0) / TEXEL_MM) + 2, int((x1 - x0) / TEXEL_MM) + 2)
        paper = paper_texture(shape, rng) if scene.paper.grain else np.ones((2, 2), np.float32)
        bare = scene.paper.bench == "none"
        bench = (
            np.zeros((1, 1, 3), np.float32)
            if bare
            else bench_texture(scene.paper.bench, shape, rng)
        )
        return cls(
            scene, tuple(surfaces), cast(scene.lights, solids, z_mm=0.0), paper, bench, (x0, y0)
        )

    def on_sheet(self, x: Floats, y: Floats) -> NDArray[np.bool_]:
        """Say which plan positions lie on the paper."""
        paper = self.scene.paper
        if paper.size_mm is None:
            return np.ones(x.shape, bool)
        u, v = self._sheet_frame(x, y)
        return (np.abs(u) <= paper.size_mm[0] / 2) & (np.abs(v) <= paper.size_mm[1] / 2)

    def ground(self, x: Floats, y: Floats) -> Floats:
        """Light (N, 3) from the paper or the bench."""
        columns = (x - self.corner_mm[0]) / TEXEL_MM
        rows = (y - self.corner_mm[1]) / TEXEL_MM
        colour = self._paper_colour(x, y) * look_up(self.paper, columns, rows)[:, None]
        off = ~self.on_sheet(x, y)
        if off.any():
            colour[off] = look_up(self.bench, columns[off], rows[off])
        return colour * self._level_light(self.sheet_light, x, y, 0.0)

    def face(self, which: int, x: Floats, y: Floats) -> Floats:
        """Light (N, 3) from the top of a part."""
        surface = self.surfaces[which]
        z = surface.solid.top_mm
        u, v = surface.pose.unplace(np.column_stack([x, y]).astype(np.float64)).T
        texture = look_up(
            surface.texture,
            ((u - surface.corner_mm[0]) / TEXEL_MM).astype(np.float32),
            ((v - surface.corner_mm[1]) / TEXEL_MM).astype(np.float32),
        )
        rim, lean = _rim(surface, x, y)
        light = self._level_light(surface.light, x, y, z, lean)
        matt = texture * light * (1 - surface.material.rim_loss * rim)
        if not surface.material.metal:
            return matt
        streak = texture[:, 1] / surface.material.colour[1]
        # The rounded rim of bright metal turns away from the room, and at last to the sheet.
        shine = texture * (1 - rim) * self._mirrored(surface, x, y, streak, lean)
        shine += texture * rim * np.array(self.scene.paper.colour, np.float32) * light
        return matt * (1 - surface.material.metal) + surface.material.metal * shine

    def wall(self, which: int, x: Floats, y: Floats, z: Floats) -> Floats:
        """Light (N, 3) from the side of a part."""
        surface, scene = self.surfaces[which], self.scene
        normal = surface.solid.distances.normal(x, y)
        foot_x, foot_y = x + 0.6 * normal[:, 0], y + 0.6 * normal[:, 1]
        share = self.sheet_light.at(foot_x, foot_y)
        ambient = np.array(scene.ambient, np.float32)
        light = 0.5 * ambient * np.ones((len(x), 1), np.float32)
        for index, lamp in enumerate(scene.lights):
            lx, ly, lz = lamp.centre_mm
            facing = (normal[:, 0] * (lx - x) + normal[:, 1] * (ly - y)) / (lz - z)
            direct = irradiance(lamp, x, y, z) * np.maximum(facing, 0) * share[:, index]
            light += direct[:, None] * np.array(lamp.colour, np.float32)
        bounce = self.ground(foot_x.astype(np.float32), foot_y.astype(np.float32))
        colour = np.array(surface.material.colour, np.float32) * surface.material.wall
        metal = surface.material.metal
        return colour * ((1 - metal) * (light + BOUNCE * bounce) + metal * bounce)

    def _level_light(
        self, shares: LightMap, x: Floats, y: Floats, z: float, lean: Floats | None = None
    ) -> Floats:
        """Light on a level plane, or on spots whose normals lean by (N, 2) from upright."""
        share = shares.at(x, y)
        total = share[:, -1:] * np.array(self.scene.ambient, np.float32)
        for index, light in enumerate(self.scene.lights):
            direct = irradiance(light, x, y, z) * share[:, index]
            if lean is not None:
                lx, ly, lz = light.centre_mm
                facing = (lean[:, 0] * (lx - x) + lean[:, 1] * (ly - y)) / (lz - z)
                direct *= np.maximum(1 + facing, 0)
            total += direct[:, None] * np.array(light.colour, np.float32)
        return np.asarray(total, np.float32)

    def _mirrored(
        self, surface: Surface, x: Floats, y: Floats, streak: Floats, lean: Floats
    ) -> Floats:
        """What brushed metal shows: the room, the lights drawn out across the brush, the phone."""
        eye = self.scene.camera.position_mm - np.array([0, 0, surface.solid.top_mm])
        # A mirror that leans turns what it shows by twice its lean.
        seen_x = (x - eye[0]) / eye[2] + 2 * lean[:, 0]
        seen_y = (y - eye[1]) / eye[2] + 2 * lean[:, 1]
        angle = surface.pose.angle_rad
        along, across = (
            np.array([-np.sin(angle), np.cos(angle)]),
            np.array([np.cos(angle), np.sin(angle)]),
        )
        rough = 0.5 * (streak - 1)
        ambient = np.array(self.scene.ambient, np.float32)
        room = np.clip(0.75 + 0.5 * (seen_x * along[0] + seen_y * along[1]), 0.3, 1.2) + rough
        gap_x, gap_y = 2 * seen_x * eye[2] / PHONE_MM, 2 * seen_y * eye[2] / PHONE_MM
        phone = 1 - 0.45 * np.exp(-(gap_x**2 + gap_y**2) / 2)
        total = (room * phone)[:, None] * ambient
        for light in self.scene.lights:
            lx, ly, lz = light.centre_mm
            to_x, to_y = (lx - x) / lz - seen_x, (ly - y) / lz - seen_y
            off_along = to_x * along[0] + to_y * along[1]
            off_across = to_x * across[0] + to_y * across[1] + rough
            lobe = np.exp(-((off_along / 0.35) ** 2) - (off_across / 1.1) ** 2)
            total += (light.strength * (0.25 + 1.6 * lobe))[:, None] * np.array(
                light.colour, np.float32
            )
        return np.asarray(total, np.float32)

    def _paper_colour(self, x: Floats, y: Floats) -> Floats:
        paper = self.scene.paper
        colour = np.tile(np.array(paper.colour, np.float32), (len(x), 1))
        if paper.lines == "none":
            return colour
        u, v = self._sheet_frame(x, y)
        pitch = 8.0 if paper.lines == "ruled" else 5.0
        ink = (
            _line(v, pitch)
            if paper.lines == "ruled"
            else np.maximum(_line(u, pitch), _line(v, pitch))
        )
        return np.asarray(colour * (1 - ink[:, None] * np.array([0.30, 0.20, 0.09], np.float32)))

    def _sheet_frame(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        paper = self.scene.paper
        cos, sin = np.float32(np.cos(paper.angle_rad)), np.float32(np.sin(paper.angle_rad))
        dx, dy = x - np.float32(paper.centre_mm[0]), y - np.float32(paper.centre_mm[1])
        return cos * dx + sin * dy, cos * dy - sin * dx


def _rim(surface: Surface, x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """How far the rim has begun to round (N, 1), and how far its normals lean out (N, 2)."""
    distances = surface.solid.distances
    begun = np.clip(1 + distances.distance_mm(x, y) / surface.material.rim_mm, 0, 1) ** 2
    lean = np.zeros((len(x), 2), np.float32)
    turned = np.nonzero(begun)[0]
    lean[turned] = (
        surface.material.rim_lean * begun[turned, None] * distances.normal(x[turned], y[turned])
    )
    return np.asarray(begun[:, None], np.float32), lean


def _line(across: Floats, pitch_mm: float) -> Floats:
    """Ink of lines 0.25 mm wide, softened over a tenth of a millimetre."""
    off = np.abs((across + pitch_mm / 2) % pitch_mm - pitch_mm / 2)
    return np.asarray(np.clip((0.175 - off) / 0.1, 0, 1), np.float32)
