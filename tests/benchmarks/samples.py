"""Hold the tracer against the demo's photographs, whose truth is exact."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from shapely.geometry import shape

from sample_photos.camera import Camera
from tests.benchmarks.score import Case, Score, score
from tests.benchmarks.tables import figure, text_table

PHOTOS = Path(__file__).parents[2] / "sample_photos"


def sample_cases() -> Iterator[Case]:
    """Every blank of every photograph."""
    for photo in json.loads((PHOTOS / "truth.json").read_text())["photos"]:
        jpeg = (PHOTOS / photo["file"]).read_bytes()
        for blank in photo["blanks"]:
            yield _case(photo, blank, jpeg)


def _case(photo: dict[str, Any], blank: dict[str, Any], jpeg: bytes) -> Case:
    several = len(photo["blanks"]) > 1
    camera, pose = Camera.from_truth(photo), blank["pose"]
    face = (pose["x_mm"], pose["y_mm"], blank["heights"]["disc"])
    at = camera.project(face)[0]
    sizes = blank["measured"]
    return Case(
        name=photo["file"] + (f", {blank['name']}" if several else ""),
        jpeg=jpeg,
        measured=(
            {"disc": sizes["disc_mm"]} if "disc_mm" in sizes else {"length": sizes["length_mm"]}
        ),
        heights_mm=blank["heights"],
        sheet=photo["sheet"],
        lens=None,
        at=(float(at[0]), float(at[1])) if several else None,
        outline=shape(blank["outline"]),
        mm_per_px=mm_per_px(camera, face),
        tilt_deg=photo["tilt_deg"],
        reason="",
        conditions={},
    )


def mm_per_px(camera: Camera, point_mm: ArrayLike) -> float:
    """Scale in the level plane of a world point: the root of mm² per px²."""
    step = 0.01
    corners = np.asarray(point_mm) + step * np.array([(0, 0, 0), (1, 0, 0), (0, 1, 0)])
    origin, right, up = camera.project(corners)
    return step / float(np.sqrt(abs(np.linalg.det(np.array([right - origin, up - origin])))))


def report_samples() -> str:
    """Trace every sample and tabulate."""
    heads = ("photo", "rms mm", "worst mm", "u95 mm", "covered", "scale", "tilt", "true", "plain")
    scores = []
    for case in sample_cases():
        scores.append(score(case))
        print(*_row(scores[-1]), file=sys.stderr, flush=True)
    failures = [f"{s.name}: {s.said}" for s in scores if s.said]
    return "\n".join([text_table(heads, [_row(s) for s in scores]), *failures])


def _row(s: Score) -> tuple[str, ...]:
    return (
        s.name,
        figure(s.ours and s.ours.rms_mm),
        figure(s.ours and s.ours.worst_mm),
        figure(s.u95_mm),
        s.said.split(":")[0] or ("yes" if s.is_covered else "no"),
        "-" if s.scale_error is None else f"{100 * s.scale_error:+.2f} %",
        figure(s.tilt_deg, 1),
        figure(s.true_tilt_deg, 1),
        figure(s.plain and s.plain.rms_mm),
    )
