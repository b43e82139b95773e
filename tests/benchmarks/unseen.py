"""Scenes of blanks that are in no table: form, sizes and materials are drawn at random too.

What a tracer was improved on, it knows. Each draw of these is new to it, and so says how it
fares on blanks that nobody has looked at.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import numpy as np
from numpy.random import Generator
from shapely import Point, Polygon
from shapely.affinity import scale

from tests.benchmarks import blanks as make
from tests.benchmarks.blanks import Blank
from tests.benchmarks.drawn_materials import DRAWN, material_named
from tests.benchmarks.lights import LIGHTS
from tests.benchmarks.records import Scene
from tests.benchmarks.scenes import PAPERS, ROWS, scene_of

SEEDS_APART = 100_000
"""Seeds of one draw's scenes, apart from all others'."""
VIEWS = {"": 0.66, "a4 wood": 0.1, "a4 dark": 0.08, "a4 clutter": 0.08, "letter wood": 0.08}
"""How often the sheet fills the frame, or ends on what."""
SHEET_REACH_MM = 75.0
"""Farther than this from its origin, a blank may not lie on a sheet that ends in view."""
TABBED_SHARE = 0.4
BLOB_LEAST_AREA = 0.5
"""Area below which a drawn polygon, of radius 1 at most, is too thin to be a blank."""


@cache
def unseen_scenes(draw: int) -> tuple[Scene, ...]:
    """Draw as many scenes as the benchmark has, no two draws alike.

    Parameters
    ----------
    draw : int
        From 1 up.
    """
    return tuple(scene_drawn(SEEDS_APART * draw + number) for number in range(len(ROWS)))


def scene_drawn(seed: int) -> Scene:
    """Draw the scene that a seed stands for."""
    rng = np.random.default_rng([1718, seed])
    made = _blank(rng, f"{DRAWN} {seed}", strap=f"{DRAWN} {seed + SEEDS_APART // 2}")
    light, paper, view = (
        str(rng.choice(list(LIGHTS))),
        str(rng.choice(list(PAPERS))),
        str(rng.choice(list(VIEWS), p=list(VIEWS.values()))),
    )
    if max(map(abs, made.outline.bounds)) > SHEET_REACH_MM:
        view = ""
    kind = material_named(made.parts[0].material).pattern
    name = f"drawn {made.form} of {kind}"
    return scene_of(made, name, light, paper, view, seed=seed, material=kind)


def _blank(rng: Generator, material: str, *, strap: str) -> Blank:
    thick_mm = float(rng.uniform(1.5, 6.0))
    if rng.random() < TABBED_SHARE:
        return _tabbed(rng, material, strap, thick_mm)
    forms: dict[str, Callable[[], Blank]] = {
        "disc": lambda: make.disc(material, disc_mm=_size(rng, 30, 95), thick_mm=thick_mm),
        "drilled": lambda: _drilled(rng, material, thick_mm),
        "ring": lambda: _ring(rng, material, thick_mm),
        "tag": lambda: make.tag(
            material,
            size_mm=(_size(rng, 28, 50), _size(rng, 55, 95)),
            corner_mm=_size(rng, 1, 10),
            thick_mm=thick_mm,
        ),
        "oval": lambda: make.oval(
            material, size_mm=(_size(rng, 28, 55), _size(rng, 60, 100)), thick_mm=thick_mm
        ),
        "leaf": lambda: make.leaf(material, length_mm=_size(rng, 60, 98), thick_mm=thick_mm),
        "heart": lambda: make.heart(material, length_mm=_size(rng, 45, 85), thick_mm=thick_mm),
        "can": lambda: make.watering_can(material, length_mm=_size(rng, 60, 95), thick_mm=thick_mm),
        "L": lambda: make.ell(material, length_mm=_size(rng, 55, 95), thick_mm=thick_mm),
        "blob": lambda: make.polygon(material, _blob(rng), thick_mm=thick_mm),
    }
    return forms[str(rng.choice(list(forms)))]()


def _size(rng: Generator, least_mm: float, most_mm: float) -> float:
    return float(rng.uniform(least_mm, most_mm))


def _tabbed(rng: Generator, material: str, strap: str, thick_mm: float) -> Blank:
    disc_mm = _size(rng, 28, 95)
    width_mm = disc_mm * _size(rng, 0.22, 0.42)
    outer_mm = width_mm * _size(rng, 1.05, 1.5)
    return make.disc_tab_loop(
        material,
        disc_mm=disc_mm,
        thick_mm=thick_mm,
        tab_mm=(width_mm, disc_mm * _size(rng, 0.25, 0.5)),
        ring_mm=(outer_mm, outer_mm * _size(rng, 0.68, 0.84)),
        low_mm=(min(thick_mm, _size(rng, 1.2, 3.2)), _size(rng, 1.2, 3.0)),
        tab=strap,
        loop=strap,
    )


def _drilled(rng: Generator, material: str, thick_mm: float) -> Blank:
    disc_mm = _size(rng, 30, 95)
    hole_mm = disc_mm * _size(rng, 0.07, 0.15)
    return make.disc(material, disc_mm=disc_mm, thick_mm=thick_mm, hole_mm=hole_mm)


def _ring(rng: Generator, material: str, thick_mm: float) -> Blank:
    outer_mm = _size(rng, 35, 75)
    inner_mm = outer_mm * _size(rng, 0.6, 0.85)
    return make.ring(material, outer_mm=outer_mm, inner_mm=inner_mm, thick_mm=thick_mm)


def _blob(rng: Generator) -> Polygon:
    """Draw a polygon of four to ten corners, perhaps with a hole."""
    count = int(rng.integers(4, 11))
    angles, radii = np.sort(rng.uniform(0, 2 * np.pi, count)), rng.uniform(0.45, 1, count)
    plan = Polygon(np.column_stack([radii * np.cos(angles), radii * np.sin(angles)])).buffer(0)
    if not isinstance(plan, Polygon) or plan.area < BLOB_LEAST_AREA:
        plan = Point(0, 0).buffer(0.8)
    plan = scale(plan, _size(rng, 25, 48), _size(rng, 25, 48))
    plan = make.rounded(plan, 2.0, inner_mm=1.5)
    if rng.random() < 0.6:
        middle = plan.representative_point()
        radius_mm = min(_size(rng, 1.5, 5), 0.6 * plan.boundary.distance(middle))
        plan = plan.difference(middle.buffer(radius_mm, quad_segs=make.QUARTER))
    assert isinstance(plan, Polygon)
    return plan
