"""Cut strips about boundaries out of photographs, each sample with its share of blank.

``python -m tests.training.strips DIR --first 0 --count 900`` draws so many scenes, none of
which any benchmark draws, photographs them and keeps each one's strips in a file of
its own. With ``--rendered`` they are path-traced instead, which needs the renderer.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import shapely
from numpy.random import Generator
from numpy.typing import NDArray
from scipy import ndimage
from shapely import Polygon

from blanktrace.background import linear_light
from blanktrace.errors import TraceError
from blanktrace.silhouette import Silhouette, find_silhouettes, nearest_to
from blanktrace.strip import cut_strip, outward, resampled, smoothed
from tests.training.scenes import asked_for

Floats = NDArray[np.float64]

FINER = 4
"""Steps of a pixel in which its share of blank is counted."""
REACHES_PX, MOST_SHARE = (2.0, 4.0), 0.08
"""Reaches of the strips that are cut about true boundaries: from so many px to so many times the
silhouette's own, but no more than a share of the boundary's length."""
MOST_OFF = 1.5
"""How far those are moved off their place, in reaches."""
APART_PX = 1.0
"""How far apart parts that touch may be seen, from their unlike heights."""
LOOKS = (2.5, 1.0, 0.5)
"""Reaches of the strips that are cut about what was found, as shares of the silhouette's own."""
EACH = 3
"""Strips about each true ring."""
LEAST_REACH_PX = 3.0
"""Least reach of those."""


@dataclass(frozen=True, eq=False)
class Lesson:
    """One strip: its light (N, S, 3), its cover, true shares of blank (N, S), and its reach."""

    light: Floats
    cover: NDArray[np.float32]
    share: Floats
    reach_px: float


def lessons(rgb: NDArray[np.uint8], parts: list[Polygon], rng: Generator) -> Iterator[Lesson]:
    """Cut strips about what the tracer found, and about the true boundary moved off its place.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (H, W, 3)
    parts : list of Polygon
        The blank's parts as they are seen, in px.
    """
    truly = share_of_blank(rgb.shape[:2], parts)
    whole = shapely.union_all([part.buffer(APART_PX) for part in parts]).buffer(-APART_PX)
    truth = max(shapely.get_parts(shapely.orient_polygons(whole)), key=shapely.area)
    found = silhouette_near(rgb, truth)
    reach = found.reach_px if found else LEAST_REACH_PX * float(rng.uniform(1.2, 2))
    light = found.light if found else sheet_light(rgb, truth)
    rings = [
        (smoothed(ring, reach / 2), max(look * reach, LEAST_REACH_PX))
        for ring in (found.rings_px if found else ())
        for look in LOOKS
    ]
    for ring in (truth.exterior, *truth.interiors):
        corners = np.asarray(ring.coords)[:-1]
        most = min(REACHES_PX[1] * reach, MOST_SHARE * ring.length)
        for _ in range(EACH):
            low, high = np.log([REACHES_PX[0], max(most, REACHES_PX[0] + 1)])
            closer = float(np.exp(rng.uniform(low, high)))
            rings.append((moved_off(corners, closer, rng), closer))
    for ring, r in rings:
        strip = cut_strip(rgb, ring, light=light, reach_px=r, cover=found.cover if found else None)
        x, y = np.moveaxis(strip.places_px, -1, 0).astype(np.float32)
        share = cv2.remap(truly, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        yield Lesson(strip.light, strip.cover, share.astype(np.float64), r)


def share_of_blank(shape: tuple[int, int], parts: list[Polygon]) -> NDArray[np.float32]:
    """Say how much of each pixel (H, W) lies within any part."""
    size = (shape[1] * FINER, shape[0] * FINER)
    cover = np.zeros(size[::-1], np.uint8)
    # Filling takes in all that a line touches, half a step too much all round.
    slimmer = [part.buffer(-0.5 / FINER, join_style="mitre") for part in parts]
    for part in shapely.get_parts(slimmer):
        one = np.zeros_like(cover)
        # A pixel's middle is at a whole number, and so is a finer one's.
        rings = [
            np.rint(((np.asarray(ring.coords) + 0.5) * FINER - 0.5) * 16).astype(np.int32)
            for ring in (part.exterior, *part.interiors)
        ]
        cv2.fillPoly(one, rings, 255, cv2.LINE_8, 4)
        np.maximum(cover, one, out=cover)
    small = cv2.resize(cover, shape[::-1], interpolation=cv2.INTER_AREA)
    return np.asarray(small, np.float32) / 255


def silhouette_near(rgb: NDArray[np.uint8], truth: Polygon) -> Silhouette | None:
    """Find what the tracer finds where the blank is."""
    try:
        found = find_silhouettes(rgb).silhouettes
    except TraceError:
        return None
    one = found[nearest_to(found, np.asarray(truth.centroid.coords)[0])]
    return one if truth.buffer(10).intersects(Polygon(one.rings_px[0])) else None


def sheet_light(rgb: NDArray[np.uint8], truth: Polygon) -> Floats:
    """Linear light of the sheet about a blank that the tracer did not find."""
    x0, y0, x1, y1 = (int(v) for v in truth.buffer(20).bounds)
    near = linear_light(rgb[max(y0, 0) : y1, max(x0, 0) : x1])
    return np.asarray(np.percentile(near.reshape(-1, 3), 90, axis=0), np.float64)


def moved_off(ring: Floats, reach_px: float, rng: Generator) -> Floats:
    """Move a true ring off its place, smoothly, by up to so many reaches."""
    even = resampled(ring, 1.0)
    lengths = reach_px * np.exp(rng.uniform(np.log(1.5), np.log(12), 2))
    off = np.zeros(len(even))
    for length in lengths:
        noise = ndimage.gaussian_filter1d(rng.standard_normal(len(even)), length, mode="wrap")
        off += noise / max(float(noise.std()), 1e-9)
    off = reach_px * np.clip(rng.uniform(0.1, 0.6) * off + rng.normal(0, 0.3), -MOST_OFF, MOST_OFF)
    return smoothed(even + off[:, None] * outward(even, reach_px), reach_px / 2)


def save(path: Path, made: list[Lesson]) -> None:
    """Keep a scene's strips."""
    np.savez_compressed(
        path,
        light=np.concatenate([lesson.light for lesson in made]).astype(np.float16),
        cover=np.rint(255 * np.concatenate([lesson.cover for lesson in made])).astype(np.uint8),
        share=np.rint(255 * np.concatenate([lesson.share for lesson in made])).astype(np.uint8),
        lengths=[len(lesson.light) for lesson in made],
        reaches_px=[lesson.reach_px for lesson in made],
    )


def main() -> None:
    for path, lit in asked_for(__doc__, first=0, count=900):
        made = list(lessons(lit.rgb, lit.blanks[0], np.random.default_rng([1719, lit.number])))
        save(path, made)
        print(f"{path.stem}: {len(made)} strips", flush=True)


if __name__ == "__main__":
    main()
