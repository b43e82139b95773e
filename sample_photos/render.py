"""Render the demo's photographs and write what is true of them.

python sample_photos/render.py                      every photograph
python sample_photos/render.py tilted leaf          some of them
python sample_photos/render.py --size 500 -o DIR    small previews elsewhere
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from shapely import Polygon

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))

from sample_photos.develop import Phone, develop, write_jpeg  # noqa: E402
from sample_photos.shots import EQUIVALENT_MM, SHOTS, Placed, Shot  # noqa: E402

FULL_PX = 4000
OUTLINE_DECIMALS = 5


def main(arguments: list[str] | None = None) -> None:
    """Render the photographs that were asked for, or the truth alone."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    names = [shot.name for shot in SHOTS]
    parser.add_argument("names", nargs="*", metavar="NAME", help=f"any of {', '.join(names)}")
    parser.add_argument("--size", type=int, default=FULL_PX, help="long side in px")
    parser.add_argument("-o", "--out", type=Path, default=HERE, help="folder to write to")
    parser.add_argument(
        "--variant",
        choices=("scalar_rgb", "llvm_ad_rgb"),
        default="scalar_rgb",
        help="the tracer's engine; llvm_ad_rgb is faster where a recent LLVM is found",
    )
    wanted = parser.parse_args(arguments)
    if unknown := set(wanted.names) - set(names):
        parser.error(f"no photograph named {', '.join(sorted(unknown))}; there are {names}")
    wanted.out.mkdir(parents=True, exist_ok=True)
    if wanted.size == FULL_PX:
        write_truth(wanted.out / "truth.json")
    for shot in SHOTS:
        if not wanted.names or shot.name in wanted.names:
            path = wanted.out / f"{shot.name}.jpg"
            take(shot, path, size_px=wanted.size, variant=wanted.variant)


def take(shot: Shot, path: Path, *, size_px: int, variant: str) -> None:
    """Render one photograph."""
    # Deferred: the tracer is a development tool, and the truth needs none.
    import mitsuba  # noqa: PLC0415

    mitsuba.set_variant(variant)
    from sample_photos.trace import trace  # noqa: PLC0415

    start = time.monotonic()
    print(f"{path.name}: tracing", flush=True)
    share = size_px / FULL_PX
    camera = shot.camera.scaled((round(shot.size_px[0] * share), round(shot.size_px[1] * share)))
    light = trace(shot, camera)
    pixels = develop(light, phone=Phone(), rng=np.random.default_rng(shot.seed))
    write_jpeg(path, pixels, orientation=shot.orientation, equivalent_mm=EQUIVALENT_MM)
    print(f"{path.name}: {path.stat().st_size / 1e6:.1f} MB, {time.monotonic() - start:.0f} s")


def write_truth(path: Path) -> None:
    """Write what is true of every photograph, a photograph's outlines on few lines."""
    photos = [json.dumps(truth(shot)) for shot in SHOTS]
    path.write_text('{"units": "mm", "photos": [\n' + ",\n".join(photos) + "\n]}\n")


def truth(shot: Shot) -> dict[str, Any]:
    """One entry of truth.json."""
    return {
        "file": f"{shot.name}.jpg",
        "size_px": list(shot.size_px),
        "sheet": shot.sheet if shot.sheet == "a4" else None,
        "camera": shot.camera.as_truth(),
        "tilt_deg": shot.tilt_deg,
        "blanks": [blank_truth(placed) for placed in shot.placed],
    }


def blank_truth(placed: Placed) -> dict[str, Any]:
    """One blank of a photograph: sizes, heights, pose and plan view."""
    blank = placed.blank
    return {
        "name": blank.name,
        "measured": blank.measured,
        "heights": blank.heights_mm,
        "pose": {
            "x_mm": placed.x_mm,
            "y_mm": placed.y_mm,
            "angle_rad": float(np.deg2rad(placed.angle_deg)),
        },
        "outline": geojson(blank.outline),
        "parts": list(blank.parts),
    }


def geojson(shape: Polygon) -> dict[str, Any]:
    """A polygon with closed rings, exterior counter-clockwise."""
    oriented = shapely.orient_polygons(shape)
    rings = [oriented.exterior, *oriented.interiors]
    coordinates = [np.round(np.array(ring.coords), OUTLINE_DECIMALS).tolist() for ring in rings]
    return {"type": "Polygon", "coordinates": coordinates}


if __name__ == "__main__":
    main()
