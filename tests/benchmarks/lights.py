"""The lights of the benchmark: window, lamp, bulb, ceiling panel and sun."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.random import Generator

from tests.benchmarks.records import Colour, Light

DAY: Colour = (0.94, 1.0, 1.08)
WARM: Colour = (1.16, 1.0, 0.72)
SUN: Colour = (1.05, 1.0, 0.92)
SUN_HALF = 0.00465 * np.sqrt(np.pi) / 2
"""Half side of a square as large as the sun's disc (radius 0.266 degrees), in radians."""
FAR_MM = 1e5

Lit = tuple[tuple[Light, ...], Colour]


def square(
    centre_mm: tuple[float, float, float],
    half_mm: tuple[float, float],
    colour: Colour,
    strength: float,
    *,
    samples: int,
) -> Light:
    """Make a rectangular light that faces the world's origin: half width, half height."""
    towards = np.array(centre_mm) / np.linalg.norm(centre_mm)
    level = np.cross([0.0, 0.0, 1.0], towards)
    if np.linalg.norm(level) < 1e-6:
        level = np.array([1.0, 0.0, 0.0])
    level /= np.linalg.norm(level)
    sides = (level * half_mm[0], np.cross(towards, level) * half_mm[1])
    first, second = (tuple(float(c) for c in side) for side in sides)
    return Light(centre_mm, (first, second), colour, strength, samples)  # type: ignore[arg-type]


def at(azimuth_rad: float, elevation_deg: float, distance_mm: float) -> tuple[float, float, float]:
    """Take a direction and a distance to a place in the world."""
    elevation = np.deg2rad(elevation_deg)
    level = distance_mm * np.cos(elevation)
    height = distance_mm * np.sin(elevation)
    return float(level * np.cos(azimuth_rad)), float(level * np.sin(azimuth_rad)), float(height)


def _window(rng: Generator) -> Lit:
    place = at(rng.uniform(0, 2 * np.pi), rng.uniform(32, 50), rng.uniform(900, 1500))
    return (square(place, (420, 340), DAY, 0.75, samples=44),), _tinted(DAY, rng.uniform(0.2, 0.45))


def _lamp(rng: Generator) -> Lit:
    place = at(rng.uniform(0, 2 * np.pi), rng.uniform(40, 65), rng.uniform(450, 700))
    return (square(place, (55, 55), WARM, 0.8, samples=32),), _tinted(WARM, rng.uniform(0.18, 0.4))


def _bulb(rng: Generator) -> Lit:
    place = at(rng.uniform(0, 2 * np.pi), rng.uniform(35, 60), rng.uniform(500, 900))
    return (square(place, (9, 9), WARM, 0.85, samples=16),), _tinted(WARM, rng.uniform(0.15, 0.32))


def _both(rng: Generator) -> Lit:
    (window,), ambient = _window(rng)
    (lamp,), _ = _lamp(rng)
    return (window, lamp), ambient


def _overhead(rng: Generator) -> Lit:
    place = at(rng.uniform(0, 2 * np.pi), rng.uniform(60, 80), 1900)
    panel = square(place, (300, 300), (1.0, 1.0, 0.97), 0.7, samples=32)
    return (panel,), _tinted((1.0, 1.0, 0.98), rng.uniform(0.3, 0.45))


def _sun(rng: Generator) -> Lit:
    place = at(rng.uniform(0, 2 * np.pi), rng.uniform(32, 60), FAR_MM)
    half = FAR_MM * SUN_HALF
    return (square(place, (half, half), SUN, 0.85, samples=16),), _tinted(
        DAY, rng.uniform(0.15, 0.3)
    )


def _tinted(colour: Colour, level: float) -> Colour:
    red, green, blue = colour
    return red * level, green * level, blue * level


LIGHTS: dict[str, Callable[[Generator], Lit]] = {
    "window": _window,
    "lamp": _lamp,
    "bulb": _bulb,
    "window+lamp": _both,
    "overhead": _overhead,
    "sun": _sun,
}
