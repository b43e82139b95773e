"""Photograph scenes that no benchmark draws, and say where their blanks are.

Some are put together from formulae, the others path-traced.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon
from shapely.affinity import translate

from tests.benchmarks.drawn_materials import DRAWN
from tests.benchmarks.records import Pose, Scene
from tests.benchmarks.synthesise import parts_px, synthesise
from tests.benchmarks.unseen import scene_drawn

How = Literal["drawn", "rendered"]
Beside = Literal["nothing", "blanks"]

FIRST_SEED = 500_000_000
"""Seeds from here up are no benchmark's."""
OTHERS_SEED = 7_000_000
NEIGHBOUR_SHARE, ALIKE_SHARE = 0.15, 0.5
"""How often a second blank lies beside the first, and how often it is like it."""
METAL_SHARE = 0.6
"""How many of the path-traced blanks are all of metal, which the others show as it is not."""
GAPS_MM = (0.3, 15.0)
FARTHEST_MM, STEP_MM = 250.0, 2.0


@dataclass(frozen=True, eq=False)
class Lit:
    """A scene's photograph (H, W, 3), and each of its blanks' parts as they are seen, in px."""

    number: int
    rgb: NDArray[np.uint8]
    blanks: list[list[Polygon]]


def photographed(first: int, count: int, *, how: How, beside: Beside = "nothing") -> Iterator[Lit]:
    """Photograph so many scenes.

    Parameters
    ----------
    first, count : int
        Numbers of the scenes.
    how : {"drawn", "rendered"}
    beside : {"nothing", "blanks"}
        What may lie beside the blank.
    """
    for number in range(first, first + count):
        scene = scene_drawn(FIRST_SEED + number)
        if how == "rendered":
            from tests.training.rendered import box_about, photograph  # noqa: PLC0415

            scene = _of_metal(replace(scene, camera=replace(scene.camera, k1=0.0)))
            box = box_about(scene)
            parts = [translate(part, -box[0], -box[1]) for part in parts_px(scene)]
            yield Lit(number, photograph(scene, box), [parts])
            continue
        if beside == "blanks":
            scene = _neighboured(scene)
        each = [parts_px(replace(scene, blanks=(one,))) for one in scene.blanks]
        yield Lit(number, synthesise(scene).rgb, each)


def asked_for(
    doc: str | None, *, first: int, count: int, beside: Beside = "nothing"
) -> Iterator[tuple[Path, Lit]]:
    """Photograph the scenes that a command asks for, each with the file that is to hold it."""
    parser = argparse.ArgumentParser(description=(doc or "").splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--first", type=int, default=first)
    parser.add_argument("--count", type=int, default=count)
    parser.add_argument("--rendered", action="store_true")
    asked = parser.parse_args()
    asked.folder.mkdir(parents=True, exist_ok=True)
    how: How = "rendered" if asked.rendered else "drawn"
    for lit in photographed(asked.first, asked.count, how=how, beside=beside):
        yield asked.folder / f"{how[0]}{lit.number:05d}.npz", lit


def _of_metal(scene: Scene) -> Scene:
    """Make the blank wholly of one metal, mostly."""
    rng = np.random.default_rng([1724, scene.seed])
    if rng.random() > METAL_SHARE:
        return scene
    blank, pose = scene.blanks[0]
    metal = f"{DRAWN} {scene.seed} wire"
    parts = tuple(replace(part, material=metal) for part in blank.parts)
    return replace(scene, blanks=((replace(blank, parts=parts), pose),))


def _neighboured(scene: Scene) -> Scene:
    """Lay a second blank beside the first now and then."""
    rng = np.random.default_rng([1722, scene.seed])
    if rng.random() > NEIGHBOUR_SHARE:
        return scene
    blank, pose = scene.blanks[0]
    other = scene_drawn(scene.seed + OTHERS_SEED).blanks[0][0]
    if rng.random() < ALIKE_SHARE:
        other = blank
    first = pose.place(blank.outline)
    way, turn = rng.uniform(0, 2 * np.pi, 2)
    gap_mm = float(np.exp(rng.uniform(*np.log(GAPS_MM))))
    for far in np.arange(0, FARTHEST_MM, STEP_MM):
        spot = Pose(pose.x_mm + far * np.cos(way), pose.y_mm + far * np.sin(way), turn)
        if spot.place(other.outline).distance(first) >= gap_mm:
            break
    return replace(scene, blanks=(*scene.blanks, (other, spot)))
