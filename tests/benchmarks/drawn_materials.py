"""Materials drawn at random, each told wholly by its name: hue, pattern, walls and shine."""

from __future__ import annotations

import colorsys

import numpy as np
from numpy.random import Generator

from tests.benchmarks.materials import MATERIALS, Colour, Material

DRAWN = "drawn"
"""First word of a drawn material's name; its number follows, and "wire" if it is bent from it."""
PATTERNS = {"wood": 0.4, "weave": 0.2, "stone": 0.13, "even": 0.15, "brushed": 0.12}
"""How often each is drawn."""
DEPTHS = {
    "wood": (0.3, 0.95),
    "weave": (0.2, 0.7),
    "stone": (0.2, 0.7),
    "even": (0.0, 0.1),
    "brushed": (0.05, 0.3),
}
DARKEST, BRIGHTEST = 0.02, 0.86
"""Linear reflectance of soot and of the whitest paint, about."""
WARM_HUES = (0.02, 0.14)
"""From red to yellow: what wood, hide and brass have."""


def material_named(name: str) -> Material:
    """Look up a material of the table, or draw the one that a name such as ``drawn 17`` tells."""
    if not name.startswith(DRAWN):
        return MATERIALS[name]
    _, number, *wire = name.split()
    rng = np.random.default_rng([1717, int(number), len(wire)])
    return _metal(rng, "even", rim_mm=1.25, rim_lean=1.6) if wire else _drawn(rng)


def _drawn(rng: Generator) -> Material:
    pattern = str(rng.choice(list(PATTERNS), p=list(PATTERNS.values())))
    rim_mm, rim_lean = float(rng.uniform(0.1, 0.7)), float(rng.uniform(0.2, 0.9))
    if pattern == "brushed":
        return _metal(rng, pattern, rim_mm=rim_mm, rim_lean=rim_lean)
    pale = rng.random() < 0.3
    value = rng.uniform(0.6, BRIGHTEST) if pale else np.exp(rng.uniform(*np.log([DARKEST, 0.8])))
    colour = _colour(rng, float(value))
    pull = rng.uniform(0.6, 2.2) if pattern == "stone" else rng.uniform(0.25, 0.95)
    red, green, blue = np.clip(np.array(colour) * pull, 0, BRIGHTEST)
    return Material(
        colour,
        pattern,  # type: ignore[arg-type]
        float(rng.uniform(*DEPTHS[pattern])),
        float(rng.uniform(0.25, 0.9)),
        grain=(float(red), float(green), float(blue)),
        rim_mm=rim_mm,
        rim_loss=float(rng.uniform(0, 0.35)),
        rim_lean=rim_lean,
    )


def _metal(rng: Generator, pattern: str, *, rim_mm: float, rim_lean: float) -> Material:
    colour = _colour(rng, float(rng.uniform(0.5, BRIGHTEST)))
    return Material(
        colour,
        pattern,  # type: ignore[arg-type]
        float(rng.uniform(*DEPTHS[pattern])),
        0.8,
        metal=float(rng.uniform(0.7, 0.97)),
        grain=colour,
        rim_mm=rim_mm,
        rim_loss=0.0,
        rim_lean=rim_lean,
    )


def _colour(rng: Generator, value: float) -> Colour:
    """Draw a hue, warm or any, and how far it is from grey."""
    hue = rng.uniform(*WARM_HUES) if rng.random() < 0.6 else rng.random()
    chroma = rng.uniform(0, 0.1) if rng.random() < 0.35 else rng.uniform(0.1, 0.8)
    return colorsys.hsv_to_rgb(float(hue), float(chroma), value)
