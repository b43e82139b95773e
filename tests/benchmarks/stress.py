"""Hold the tracer against every synthetic scene, and count right and wrong refusals."""

from __future__ import annotations

import hashlib
import multiprocessing
import re
import sys
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import cache, partial
from pathlib import Path

import cv2
import numpy as np

from tests.benchmarks.records import Scene
from tests.benchmarks.scenes import all_scenes
from tests.benchmarks.score import Case, Score, score
from tests.benchmarks.synthesise import synthesise, truth
from tests.benchmarks.tables import figure, text_table

WORKERS = 2
CONDITIONS = ("blank", "material", "light")
RIGHT_ERRORS = {
    "no blank": ("NoBlankError",),
    "cut off": ("CutOffError",),
    "blur": ("BlurError",),
    # To a tracer, white card that it cannot see is no blank.
    "contrast": ("ContrastError", "NoBlankError"),
    "several blanks": ("SeveralBlanksError",),
}


def report_stress(cache_folder: Path | None) -> str:
    """Trace every scene and tabulate."""
    spawn = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(WORKERS, mp_context=spawn, initializer=_alone) as pool:
        work = partial(_score_numbered, cache_folder=cache_folder)
        scores = []
        for done in pool.map(work, range(len(all_scenes()))):
            scores.append(done)
            rms = figure(done.ours and done.ours.rms_mm)
            print(done.name, rms, done.said, file=sys.stderr, flush=True)
    wanted = [s for s in scores if not s.reason]
    tables = [_summary(scores), text_table(HEADS, [_row("all", wanted)])]
    tables += [_by_condition(wanted, condition) for condition in CONDITIONS]
    return "\n\n".join([*tables, _worst(wanted), _failures(scores)])


def _alone() -> None:
    cv2.setNumThreads(1)


def _score_numbered(number: int, *, cache_folder: Path | None) -> Score:
    return score(scene_case(all_scenes()[number], cache_folder=cache_folder))


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
    drawing = "blanks camera develop lighting lights materials plan records refusals scenes"
    names = [*drawing.split(), "surfaces", "synthesise", "views"]
    code = b"".join(Path(__file__).with_name(f"{name}.py").read_bytes() for name in names)
    return hashlib.sha256(code).hexdigest()[:10]


HEADS = ("", "scenes", "traced", "median", "95 %", "worst", "covered", "plain median", "plain 95 %")


def _row(name: str, scores: Sequence[Score]) -> tuple[str, ...]:
    ours = [s.ours.rms_mm for s in scores if s.ours]
    plain = [s.plain.rms_mm for s in scores if s.plain]
    covered = sum(s.is_covered for s in scores)
    return (
        name,
        str(len(scores)),
        str(len(ours)),
        *(_percentile(ours, share) for share in (50, 95, 100)),
        f"{covered / len(ours):.0%}" if ours else "-",
        *(_percentile(plain, share) for share in (50, 95)),
    )


def _percentile(values: Sequence[float], share: float) -> str:
    return figure(float(np.percentile(values, share)) if values else None)


def _by_condition(scores: Iterable[Score], condition: str) -> str:
    groups: dict[str, list[Score]] = {}
    for s in scores:
        groups.setdefault(str(s.conditions[condition]), []).append(s)
    rows = [_row(name, groups[name]) for name in sorted(groups)]
    return text_table((condition, *HEADS[1:]), rows)


def _summary(scores: Sequence[Score]) -> str:
    wanted = [s for s in scores if not s.reason]
    unwanted = [s for s in scores if s.reason]
    refused = [s for s in unwanted if s.is_refusal]
    told = [s for s in refused if s.said.split(":")[0] in RIGHT_ERRORS[s.reason]]
    return text_table(
        ("outcome", "scenes"),
        [
            ("to be traced", str(len(wanted))),
            ("  traced", str(sum(s.ours is not None for s in wanted))),
            ("  refused wrongly", str(sum(s.is_refusal for s in wanted))),
            ("to be refused", str(len(unwanted))),
            ("  refused", str(len(refused))),
            ("  refused for the right reason", str(len(told))),
            ("crashed", str(sum(bool(s.said) and not s.is_refusal for s in scores))),
        ],
    )


def _worst(scores: Iterable[Score]) -> str:
    traced = [(s, s.ours) for s in scores if s.ours]
    traced.sort(key=lambda pair: -pair[1].rms_mm)
    rows = [
        (s.name, figure(ours.rms_mm), figure(ours.worst_mm), figure(s.u95_mm))
        for s, ours in traced[:10]
    ]
    return text_table(("the worst ten", "rms mm", "worst mm", "u95 mm"), rows)


def _failures(scores: Iterable[Score]) -> str:
    wrong = [s for s in scores if bool(s.said) != bool(s.reason) or (s.said and not s.is_refusal)]
    wrong += [
        s
        for s in scores
        if s.reason and s.is_refusal and s.said.split(":")[0] not in RIGHT_ERRORS[s.reason]
    ]
    rows = [(s.name, s.said or "an outline was given") for s in wrong]
    return text_table(("gone wrong", "what came"), rows)
