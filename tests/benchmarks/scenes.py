"""The benchmark's scenes: blanks under many lights, papers, views and lenses.

Blanks, lights and papers are named in a table; the rest of each scene (pose,
tilt, lens, noise, tone) is drawn from a generator seeded by its row, so that
adding a row changes no other.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Any

import numpy as np
from numpy.random import Generator

from tests.benchmarks import blanks as make
from tests.benchmarks.blanks import Blank
from tests.benchmarks.camera import Camera
from tests.benchmarks.lens_files import STRONG_K1
from tests.benchmarks.lights import LIGHTS
from tests.benchmarks.records import Colour, Development, Photograph, Pose, Scene, Truth
from tests.benchmarks.views import SHEETS_MM, lay_paper, stand_camera

__all__ = ["Photograph", "Scene", "Truth", "all_scenes"]

PAPERS: dict[str, Colour] = {
    "white": (0.83, 0.83, 0.83),
    "cream": (0.82, 0.78, 0.66),
    "grey": (0.56, 0.56, 0.56),
    "blue": (0.60, 0.70, 0.80),
    "green": (0.62, 0.76, 0.60),
    "ruled": (0.83, 0.83, 0.82),
    "grid": (0.83, 0.83, 0.82),
}
# Blank, light, paper, and view: "" where the sheet fills the frame, else which sheet ends on what.
ROWS: tuple[tuple[str, str, str, str], ...] = (
    ("tabbed 62 cherry", "window", "white", ""),
    ("tabbed 62 walnut", "lamp", "white", ""),
    ("tabbed 62 birch", "sun", "white", ""),
    ("tabbed 62 birch", "window", "white", ""),
    ("tabbed 64 cherry", "bulb", "cream", ""),
    ("tabbed 64 basswood", "overhead", "white", ""),
    ("tabbed 64 basswood", "window+lamp", "grey", ""),
    ("tabbed 64 slate", "sun", "white", ""),
    ("tabbed 64 steel", "window", "white", ""),
    ("tabbed 64 brass", "lamp", "white", ""),
    ("tabbed 30 cherry", "lamp", "grid", ""),
    ("tabbed 30 birch", "bulb", "white", ""),
    ("tabbed 30 black", "window", "cream", ""),
    ("tabbed 45 walnut", "overhead", "grey", ""),
    ("tabbed 45 acrylic", "window", "white", ""),
    ("tabbed 45 steel", "bulb", "white", ""),
    ("tabbed 90 cherry", "window+lamp", "white", ""),
    ("tabbed 90 birch", "lamp", "cream", ""),
    ("tabbed 90 slate", "window", "blue", ""),
    ("tabbed 90 walnut", "sun", "green", ""),
    ("tabbed 62 cherry", "window", "white", "a4 wood"),
    ("tabbed 64 birch", "lamp", "white", "a4 dark"),
    ("tabbed 90 walnut", "sun", "white", "a4 clutter"),
    ("tabbed 45 basswood", "overhead", "cream", "letter wood"),
    ("tabbed 64 slate", "bulb", "white", "a4 clutter"),
    ("tabbed 30 brass", "window", "white", "a4 wood"),
    ("disc 62 cherry", "window", "white", ""),
    ("disc 62 birch", "window", "white", ""),
    ("disc 62 birch", "bulb", "cream", ""),
    ("disc 62 steel", "sun", "white", ""),
    ("disc 62 acrylic", "lamp", "white", ""),
    ("disc 40 black", "overhead", "white", ""),
    ("disc 40 basswood", "window+lamp", "white", ""),
    ("disc 40 brass", "window", "grey", ""),
    ("disc 85 slate", "lamp", "white", ""),
    ("disc 85 walnut", "bulb", "ruled", ""),
    ("disc 62 birch", "sun", "white", "a4 dark"),
    ("drilled 50 cherry", "lamp", "white", ""),
    ("drilled 50 birch", "sun", "cream", ""),
    ("drilled 50 steel", "window+lamp", "white", ""),
    ("drilled 35 black", "bulb", "white", ""),
    ("drilled 70 basswood", "lamp", "white", ""),
    ("drilled 70 slate", "window", "white", "letter dark"),
    ("ring walnut", "sun", "white", ""),
    ("ring brass", "window", "white", ""),
    ("ring birch", "lamp", "white", ""),
    ("tag cherry", "window", "white", "a4 dark"),
    ("tag birch", "bulb", "white", ""),
    ("tag steel", "lamp", "cream", "letter wood"),
    ("tag slate", "sun", "white", "a4 wood"),
    ("tag acrylic", "overhead", "white", ""),
    ("tag basswood", "window", "white", "a4 clutter"),
    ("leaf cherry", "sun", "white", ""),
    ("leaf birch", "window", "white", "a4 dark"),
    ("leaf walnut", "window+lamp", "cream", "a4 clutter"),
    ("leaf steel", "overhead", "grey", "a4 wood"),
    ("heart cherry", "lamp", "white", ""),
    ("heart birch", "sun", "white", "letter dark"),
    ("heart acrylic", "bulb", "white", ""),
    ("heart walnut", "window", "white", "a4 wood"),
    ("can walnut", "window", "white", ""),
    ("can birch", "lamp", "white", "a4 wood"),
    ("can steel", "sun", "white", "letter clutter"),
    ("can black", "bulb", "grey", "a4 wood"),
    ("can cherry", "overhead", "white", "a4 dark"),
    ("oval cherry", "bulb", "white", "a4 dark"),
    ("oval basswood", "window", "white", "a4 wood"),
    ("oval brass", "sun", "white", ""),
    ("oval slate", "lamp", "cream", "edge wood"),
    ("L walnut", "window", "white", "letter wood"),
    ("L birch", "bulb", "white", "a4 clutter"),
    ("L acrylic", "window+lamp", "white", "edge dark"),
    ("L black", "sun", "white", "edge wood"),
)


AFRESH, LIGHT_APART = 1000, 31
"""What is added to a row's seed where its scene is drawn afresh, and how many rows farther on its
light is then taken from."""


@cache
def all_scenes(afresh: int = 0) -> tuple[Scene, ...]:
    """Every scene of the benchmark, those to be refused last.

    Parameters
    ----------
    afresh : int
        From 1 up: the same blanks on the same papers, under the lights of other rows, with all
        else drawn anew.
    """
    # Imported here because those scenes are variations on the ones made here.
    from tests.benchmarks.refusals import refused_scenes  # noqa: PLC0415

    rows = []
    for number, (blank, _, paper, view) in enumerate(ROWS):
        light = ROWS[(number + LIGHT_APART * afresh) % len(ROWS)][1]
        rows.append(make_scene(blank, light, paper, view, seed=number + AFRESH * afresh))
    return (*rows, *refused_scenes())


def make_blank(text: str) -> Blank:
    """Make the blank that a row names: its form, perhaps its size, and its material."""
    form, *size, material = text.split()
    diameter = float(size[0]) if size else 0.0
    thick = THICK_MM[material]
    if form in FREE_FORMS:
        return FREE_FORMS[form](material, thick)
    if form == "tabbed":
        return make.disc_tab_loop(material, disc_mm=diameter, thick_mm=thick, **STRAPS[diameter])
    if form in ("disc", "drilled"):
        hole = diameter / 10 if form == "drilled" else 0.0
        return make.disc(material, disc_mm=diameter, thick_mm=thick, hole_mm=hole)
    raise ValueError(f"no blank is called {form!r}")


THICK_MM = {
    "cherry": 4.0,
    "walnut": 6.0,
    "birch": 3.0,
    "basswood": 3.2,
    "slate": 5.0,
    "steel": 2.0,
    "brass": 2.0,
    "acrylic": 3.0,
    "black": 3.0,
    "card": 0.1,
}
FREE_FORMS: dict[str, Callable[[str, float], Blank]] = {
    "ring": lambda m, t: make.ring(m, outer_mm=56.0, inner_mm=46.0, thick_mm=t),
    "tag": lambda m, t: make.tag(m, size_mm=(38.0, 76.0), corner_mm=6.0, thick_mm=t),
    "leaf": lambda m, t: make.leaf(m, length_mm=95.0, thick_mm=t),
    "heart": lambda m, t: make.heart(m, length_mm=58.0, thick_mm=t),
    "can": lambda m, t: make.watering_can(m, length_mm=86.0, thick_mm=t),
    "oval": lambda m, t: make.oval(m, size_mm=(32.0, 98.0), thick_mm=t),
    "L": lambda m, t: make.ell(m, length_mm=80.0, thick_mm=t),
}
STRAPS: dict[float, dict[str, Any]] = {
    30.0: {"tab_mm": (10.0, 14.0), "ring_mm": (15.0, 11.0), "low_mm": (1.6, 1.5), "loop": "steel"},
    45.0: {"tab_mm": (14.0, 18.0), "ring_mm": (20.0, 15.0), "tab": "canvas tan"},
    62.0: {"tab_mm": (18.0, 22.0), "ring_mm": (24.0, 19.0)},
    64.0: {"tab_mm": (20.0, 20.0), "ring_mm": (26.0, 20.0), "tab": "canvas tan", "loop": "steel"},
    90.0: {"tab_mm": (25.0, 26.0), "ring_mm": (30.0, 23.0), "low_mm": (2.8, 2.6)},
}


def make_scene(blank: str, light: str, paper: str, view: str, *, seed: int) -> Scene:
    """Make the scene of one row."""
    made = make_blank(blank)
    material = made.parts[0].material
    return scene_of(made, blank, light, paper, view, seed=seed, material=material)


def scene_of(
    made: Blank, blank: str, light: str, paper: str, view: str, *, seed: int, material: str
) -> Scene:
    """Lay a blank, called so and of such material, on a paper under a light, all else drawn."""
    rng = np.random.default_rng([2026, seed])
    pose = Pose(angle_rad=float(rng.uniform(-np.pi, np.pi)))
    sheet, _, bench = view.partition(" ")
    camera, tag, facts = stand_camera(rng, made, pose, sheet)
    lights, ambient = LIGHTS[light](rng)
    laid = lay_paper(rng, PAPERS[paper], sheet, camera, bench=bench, lines=paper)
    development, picture = _development(rng, light)
    read_error = float(rng.choice([0.0, 0.0, 0.01, -0.01, 0.02, -0.02]))
    return Scene(
        name=f"{seed:02d} {blank}, {light}, {paper}" + (f", {view}" if view else ""),
        seed=seed,
        blanks=((made, pose),),
        lights=lights,
        ambient=ambient,
        paper=laid,
        camera=camera,
        development=development,
        focal35_tag=tag,
        sheet=sheet if sheet in SHEETS_MM else None,
        read_error_mm=read_error,
        conditions={
            "blank": made.form,
            "material": material,
            "thick_mm": made.top_mm,
            "light": light,
            "paper": paper,
            "view": view or "sheet fills the frame",
            "lens": _lens(camera),
            "read_error_mm": read_error,
            **facts,
            **picture,
        },
    )


def _lens(camera: Camera) -> str:
    if not camera.k1:
        return "straight"
    strong = abs(camera.k1) > STRONG_K1
    return "bent, with a lens file" if strong else "slightly bent, unknown"


def _development(rng: Generator, light: str) -> tuple[Development, dict[str, object]]:
    warm = ("lamp" in light or light == "bulb") and rng.random() < 0.6
    gains = np.array([1.14, 1.0, 0.74]) if warm else 1 + rng.normal(0, 0.03, 3)
    noise = float(rng.choice([0.004, 0.008, 0.013, 0.02, 0.028]))
    setting = Development(
        blur_px=float(rng.uniform(0.5, 1.6)),
        vignette=float(rng.uniform(0.03, 0.30)),
        white=(float(gains[0]), float(gains[1]), float(gains[2])),
        exposure=float(rng.uniform(0.45, 0.92)),
        noise=noise,
        contrast=float(rng.choice([0.0, 0.0, 0.15, 0.3])),
        sharpen=float(rng.choice([0.0, 0.0, 0.4, 0.8])),
        quality=int(rng.integers(60, 96)),
    )
    return setting, {
        "white_balance": "lamplight" if warm else "good",
        "noise": noise,
        "blur_px": round(setting.blur_px, 2),
        "exposure": round(setting.exposure, 2),
        "sharpen": setting.sharpen,
        "contrast": setting.contrast,
        "quality": setting.quality,
    }
