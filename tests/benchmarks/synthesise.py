"""Make a photograph of a scene, and say what is true of it.

Run ``python -m tests.benchmarks.synthesise --preview DIR [NAME ...]`` to see scenes.
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image
from shapely import Polygon, box

from tests.benchmarks.develop import develop, from_jpeg, to_jpeg
from tests.benchmarks.records import Photograph, Scene, Truth
from tests.benchmarks.scenes import all_scenes
from tests.benchmarks.surfaces import Stage

Floats = NDArray[np.float32]

SUBPIXELS = 6
"""Rays a side of each pixel that holds an edge."""
GROUND, BENCH = -1, -2
"""Labels of the sheet and of the bench; part i has 2 i for its top and 2 i + 1 for its walls."""


def synthesise(scene: Scene) -> Photograph:
    """Make a photograph.

    Returns
    -------
    Photograph
        Pixels after the JPEG round trip, the JPEG itself, and the truth.

    Notes
    -----
    Pixels whose neighbourhood holds an edge are the average of 6 x 6 rays; the
    others are one ray, for their textures are no finer than a pixel.
    """
    rng = np.random.default_rng(scene.seed)
    rgb = develop(radiance(scene, rng), scene.development, rng)
    jpeg = to_jpeg(rgb, quality=scene.development.quality, focal35_tag=scene.focal35_tag)
    return Photograph(from_jpeg(jpeg), jpeg, truth(scene) if scene.blanks else None)


def radiance(scene: Scene, rng: np.random.Generator) -> Floats:
    """Linear light (H, W, 3) that reaches the sensor of a perfect lens."""
    width, height = scene.camera.size_px
    rows, columns = np.mgrid[0:height, 0:width]
    pixels = np.column_stack([columns.ravel(), rows.ravel()])
    slopes = scene.camera.slopes(pixels).astype(np.float32)
    stage = Stage.set(scene, rng, view_mm=_view_mm(scene))
    colours, labels = look(stage, slopes)
    edges = _edges(labels.reshape(height, width))
    where = np.nonzero(edges.ravel())[0]
    steps = (np.arange(SUBPIXELS) + 0.5) / SUBPIXELS - 0.5
    total = np.zeros((len(where), 3), np.float32)
    for dy in steps:
        pixels = np.column_stack([where % width, where // width + dy]).astype(np.float64)
        fan = (pixels[None] + np.column_stack([steps, 0 * steps])[:, None]).reshape(-1, 2)
        seen, _ = look(stage, scene.camera.slopes(fan).astype(np.float32))
        total += seen.reshape(SUBPIXELS, -1, 3).sum(axis=0)
    colours[where] = total / SUBPIXELS**2
    return colours.reshape(height, width, 3)


def _view_mm(scene: Scene) -> tuple[float, float, float, float]:
    """Bounds of what the frame shows of the sheet's plane."""
    width, height = scene.camera.size_px
    x, y = np.linspace(0, width - 1, 9), np.linspace(0, height - 1, 9)
    border = [(u, v) for u in x for v in (0, height - 1)] + [
        (u, v) for u in (0, width - 1) for v in y
    ]
    spots = scene.camera.onto(border)
    (x0, y0), (x1, y1) = spots.min(axis=0) - 1.0, spots.max(axis=0) + 1.0
    return float(x0), float(y0), float(x1), float(y1)


def look(stage: Stage, slopes: Floats) -> tuple[Floats, NDArray[np.int16]]:
    """Follow rays down to what they meet first: colours (N, 3) and labels (N,)."""
    eye_x, eye_y, eye_z = stage.scene.camera.position_mm.astype(np.float32)
    slope_x, slope_y = np.ascontiguousarray(slopes.T)
    steepest = float(np.abs(slopes).max(initial=0))
    height = np.zeros(len(slopes), np.float32)
    labels = np.full(len(slopes), GROUND, np.int16)
    for index, surface in enumerate(stage.surfaces):
        solid = surface.solid
        rise = solid.top_mm - solid.bottom_mm
        drop = eye_z - np.float32(solid.top_mm)
        x, y = eye_x - drop * slope_x, eye_y - drop * slope_y
        # A ray drifts by its slope on the way down, so the bounds grow by that much.
        x0, y0, x1, y1 = box(*solid.plan.bounds).buffer(steepest * rise + 0.1).bounds
        near = np.nonzero((x > x0) & (x < x1) & (y > y0) & (y < y1))[0]
        fall = solid.distances.crossing_mm(
            x[near], y[near], -slope_x[near], -slope_y[near], rise_mm=rise
        )
        met = np.where(np.isfinite(fall), solid.top_mm - fall, -1).astype(np.float32)
        higher = np.isfinite(fall) & (met >= height[near])
        height[near[higher]] = met[higher]
        labels[near[higher]] = 2 * index + (fall[higher] > 0)
    x, y = eye_x - (eye_z - height) * slope_x, eye_y - (eye_z - height) * slope_y
    return _coloured(stage, x, y, height, labels), labels


def _coloured(stage: Stage, x: Floats, y: Floats, z: Floats, labels: NDArray[np.int16]) -> Floats:
    """Colours (N, 3) of the spots that were met; labels of spots off the sheet become BENCH."""
    colours = np.empty((len(x), 3), np.float32)
    for label in np.unique(labels):
        here = np.nonzero(labels == label)[0]
        if label == GROUND:
            colours[here] = stage.ground(x[here], y[here])
            labels[here[~stage.on_sheet(x[here], y[here])]] = BENCH
        elif label % 2 == 0:
            colours[here] = stage.face(label // 2, x[here], y[here])
        else:
            colours[here] = stage.wall(label // 2, x[here], y[here], z[here])
    return colours


def _edges(labels: NDArray[np.int16]) -> NDArray[np.bool_]:
    """Pixels within two of a change of label."""
    window = np.ones((5, 5), np.uint8)
    return np.asarray(cv2.dilate(labels, window) != cv2.erode(labels, window))


def truth(scene: Scene) -> Truth:
    """Say what is true of the first blank in a scene."""
    blank, pose = scene.blanks[0]
    names = (
        {"all": blank.top_mm} if len(blank.parts) == 1 and blank.parts[0].name == "all" else None
    )
    heights = names or {part.name: part.height_mm for part in blank.parts}
    return Truth(
        outline=blank.outline,
        parts=blank.parts,
        heights_mm=heights,
        measured={blank.measured: blank.measured_mm + scene.read_error_mm},
        read_error_mm=scene.read_error_mm,
        camera=scene.camera,
        pose=pose,
        tilt_deg=scene.camera.tilt_deg,
        mm_per_px=scene.camera.mm_per_px((pose.x_mm, pose.y_mm, blank.top_mm)),
        sheet=scene.sheet,
        boundary_px=boundary_px(scene),
    )


def boundary_px(scene: Scene) -> tuple[NDArray[np.float64], ...]:
    """Every ring of the first blank's parts, projected at the part's own top."""
    return tuple(
        np.array(ring.coords)
        for part in parts_px(scene)
        for ring in (part.exterior, *part.interiors)
    )


def parts_px(scene: Scene) -> list[Polygon]:
    """The first blank's parts as a camera sees them, each at its own top."""
    blank, pose = scene.blanks[0]
    seen = []
    for part in blank.parts:
        plan = pose.place(part.plan)
        corners = [np.array(ring.coords)[:, :2] for ring in (plan.exterior, *plan.interiors)]
        levels = [np.full((len(ring), 1), part.top_mm) for ring in corners]
        outer, *holes = (
            scene.camera.project(np.hstack(pair)) for pair in zip(corners, levels, strict=True)
        )
        seen.append(Polygon(outer, holes))
    return seen


def preview(scene: Scene, folder: Path) -> float:
    """Write a photograph, and again with the truth drawn in; return its processor seconds."""
    begun = time.process_time()
    photograph = synthesise(scene)
    seconds = time.process_time() - begun
    name = scene.name.replace(" ", "-")
    Image.fromarray(photograph.rgb).save(folder / f"{name}.png")
    drawn = photograph.rgb.copy()
    for ring in photograph.truth.boundary_px if photograph.truth else ():
        cv2.polylines(
            drawn, [np.rint(ring * 16).astype(np.int32)], True, (255, 0, 200), 1, cv2.LINE_AA, 4
        )
    Image.fromarray(drawn).save(folder / f"{name}-truth.png")
    return seconds


def main() -> None:
    """Write previews of the named scenes, or of all."""
    parser = argparse.ArgumentParser(description=main.__doc__)
    parser.add_argument("--preview", type=Path, required=True, metavar="DIR")
    parser.add_argument("names", nargs="*")
    asked = parser.parse_args()
    asked.preview.mkdir(parents=True, exist_ok=True)
    for scene in all_scenes():
        if not asked.names or scene.name in asked.names:
            print(f"{scene.name:44s} {preview(scene, asked.preview):5.2f} s", flush=True)


if __name__ == "__main__":
    main()
