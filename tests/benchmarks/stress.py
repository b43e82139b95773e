"""Hold the tracer against every synthetic scene, and count right and wrong refusals."""

from __future__ import annotations

import hashlib
import multiprocessing
import re
import sys
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import cache, partial
from pathlib import Path

import cv2

from tests.benchmarks.lens_files import lens_file_of
from tests.benchmarks.records import Scene
from tests.benchmarks.scenes import all_scenes
from tests.benchmarks.score import Case, Score, score
from tests.benchmarks.stress_tables import scene_line, stress_tables
from tests.benchmarks.synthesise import synthesise, truth
from tests.benchmarks.unseen import unseen_scenes

WORKERS = 2


def report_stress(
    cache_folder: Path | None, which: str = "", *, afresh: int = 0, unseen: int = 0
) -> str:
    """Trace every scene, or some, and tabulate."""
    drawn = partial(unseen_scenes, unseen) if unseen else partial(all_scenes, afresh)
    numbers = chosen([scene.name for scene in drawn()], which)
    spawn = multiprocessing.get_context("spawn")
    begun = time.monotonic()
    with ProcessPoolExecutor(WORKERS, mp_context=spawn, initializer=_alone) as pool:
        work = partial(_score_numbered, drawn=drawn, cache_folder=cache_folder)
        scores = []
        for number, done in zip(numbers, pool.map(work, numbers), strict=True):
            scores.append(done)
            progress = f"{len(scores)}/{len(numbers)}, {time.monotonic() - begun:.0f} s"
            print(f"[{progress}] {scene_line(number, done)}", file=sys.stderr, flush=True)
    return stress_tables(list(zip(numbers, scores, strict=True)))


def chosen(names: Sequence[str], which: str) -> list[int]:
    """Take the scenes that are asked for: numbers, ranges, parts of names; all for none.

    Raises
    ------
    ValueError
        If something that is asked for is no scene.
    """
    numbers: set[int] = set()
    for part in filter(None, (piece.strip() for piece in which.split(","))):
        first, dash, last = part.partition("-")
        if first.isdigit() and (last.isdigit() or not dash):
            found = list(range(int(first), int(last or first) + 1))
        else:
            found = [number for number, name in enumerate(names) if part in name]
        if not found or max(found) >= len(names):
            raise ValueError(f"no scene is called {part!r}; there are {len(names)}, from 0")
        numbers.update(found)
    return sorted(numbers) or list(range(len(names)))


def _alone() -> None:
    cv2.setNumThreads(1)


def _score_numbered(
    number: int, *, drawn: Callable[[], tuple[Scene, ...]], cache_folder: Path | None
) -> Score:
    return score(scene_case(drawn()[number], cache_folder=cache_folder))


def scene_case(scene: Scene, *, cache_folder: Path | None = None) -> Case:
    """Photograph a scene, or take the photograph made before, and say what is true of it."""
    told = truth(scene) if scene.blanks else None
    heights = dict(told.heights_mm) if told else {}
    if "all" in heights:
        heights = {"body": heights["all"]}
    return Case(
        name=scene.name,
        jpeg=_jpeg(scene, cache_folder),
        measured=told.measured if told else {"disc": 62.0},
        heights_mm=heights,
        sheet=scene.sheet,
        lens=lens_file_of(scene.camera, seed=scene.seed),
        at=None,
        outline=told.outline if told and scene.expect == "outline" else None,
        mm_per_px=told.mm_per_px if told else float("nan"),
        tilt_deg=scene.camera.tilt_deg,
        reason=scene.reason,
        conditions=scene.conditions,
    )


def _jpeg(scene: Scene, folder: Path | None) -> bytes:
    if folder is None:
        return synthesise(scene).jpeg
    slug = re.sub(r"[^a-z0-9]+", "-", scene.name.lower())
    kept = folder / f"{slug}-{_code_digest()}.jpg"
    if not kept.exists():
        folder.mkdir(parents=True, exist_ok=True)
        half = kept.with_suffix(".part")
        half.write_bytes(synthesise(scene).jpeg)
        half.rename(kept)
    return kept.read_bytes()


@cache
def _code_digest() -> str:
    """Name the state of the code that draws scenes, so that a changed scene is drawn anew."""
    drawing = "blanks camera develop drawn_materials lighting lights materials plan records"
    names = [*drawing.split(), "refusals", "scenes", "surfaces", "synthesise", "unseen", "views"]
    code = b"".join(Path(__file__).with_name(f"{name}.py").read_bytes() for name in names)
    return hashlib.sha256(code).hexdigest()[:10]
