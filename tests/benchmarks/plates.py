"""How long a plate takes from its pockets to its files, and how that grows with their number.

Run from the repository's root::

    python -m tests.benchmarks.plates               the table, 50 to 2,000 pockets
    python -m tests.benchmarks.plates --most 200    no larger plates than that

The blanks are the demo's, from their true outlines. The layout is a plain grid, so that only
plates are timed: pockets, pin holes, numbers and marks in one drawing (built), then DXF, SVG,
PDF over A4 pages and PNG (written). Times are the process's own, which on an idle machine are
the clock's.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "trace"))
sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "fixture"))

import numpy as np

from blankfit import (
    Blank,
    Disc,
    Fit,
    Heights,
    Loop,
    Pins,
    Placement,
    Plan,
    Stock,
    Tab,
    Whole,
    build_fixture,
    dxf_text,
    pdf_bytes,
    plan_fixture,
    plates_png,
    svg_text,
)
from blanktrace.arcs import reduce_ring

from .tables import figure, text_table

ROOT = Path(__file__).resolve().parents[2]
COUNTS = (50, 200, 500, 1000, 2000)
GAP_MM, MARGIN_MM = 6.0, 16.0
SHOTS = ("square_on.jpg", "leaf.jpg", "watering_can.jpg", "oval.jpg")
A4_MM = (210.0, 297.0)
TOLERANCE_MM = 0.05
TAG = Blank(
    (),
    (
        Disc(64.0, thickness_mm=4.0),
        Tab(20.0, 29.0, heights=Heights(0, 0)),
        Loop(26.0, (0.0, 61.0), Heights(0, 0)),
    ),
)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--most", type=int, default=max(COUNTS), help="largest number of pockets")
    most = parser.parse_args().most
    heads = [
        "seconds of work",
        "pockets",
        "built",
        "DXF",
        "SVG",
        "PDF",
        "PNG",
        "all",
        "ms each",
    ]
    rows = []
    for name, blank in {"plot tag, parts": TAG, **wholes()}.items():
        plan = planned(blank)
        for count in COUNTS:
            if count <= most:
                taken = timed(plan, count)
                together = sum(taken)
                cells = [figure(seconds, 2) for seconds in (*taken, together)]
                rows.append([name, str(count), *cells, figure(1000 * together / count, 1)])
    print(text_table(heads, rows))


def wholes() -> dict[str, Blank]:
    """Return the demo's blanks by name, each held by its whole outline."""
    truth = json.loads((ROOT / "sample_photos" / "truth.json").read_text(encoding="utf-8"))
    rings = {
        blank["name"]: np.array(blank["outline"]["coordinates"][0][:-1])
        for shot in truth["photos"]
        for blank in shot["blanks"]
        if shot["file"] in SHOTS
    }
    return {
        name: Blank((reduce_ring(ring, tolerance_mm=TOLERANCE_MM),), (Whole(4.0),))
        for name, ring in rings.items()
    }


def planned(blank: Blank) -> Plan:
    return plan_fixture(blank, stock=[Stock(4.0, 0.15)], fit=Fit(0.1, 0.5), lift="none")


def timed(plan: Plan, count: int) -> list[float]:
    """Time each step from pockets to files for one plate."""
    sheet_mm, places = on_a_grid(plan, count)
    (drawing,), built = clocked(
        lambda: build_fixture(plan, sheet_mm=sheet_mm, places=places, pins=Pins())
    )
    writers: list[Callable[[], object]] = [
        lambda: dxf_text(drawing),
        lambda: svg_text(drawing),
        lambda: pdf_bytes(drawing, title="plate", paper_mm=A4_MM),
        lambda: plates_png([("plate", drawing)]),
    ]
    return [built, *(clocked(write)[1] for write in writers)]


def on_a_grid(plan: Plan, count: int) -> tuple[tuple[float, float], list[Placement]]:
    """Lay out pockets in rows on a sheet about as wide as high."""
    left, low, right, high = plan.area.bounds
    step_x, step_y = right - left + GAP_MM, high - low + GAP_MM
    columns = round(math.sqrt(count * step_y / step_x))
    rows = math.ceil(count / columns)
    places = [
        Placement(
            MARGIN_MM - left + step_x * (index % columns),
            MARGIN_MM - low + step_y * (index // columns),
            0.0,
        )
        for index in range(count)
    ]
    return (columns * step_x + 2 * MARGIN_MM, rows * step_y + 2 * MARGIN_MM), places


def clocked(work: Callable[[], object]) -> tuple[object, float]:
    start = time.process_time()
    result = work()
    return result, time.process_time() - start


if __name__ == "__main__":
    main()
