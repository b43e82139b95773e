"""Regular patterns against the irregular search, for further shapes on further sheets.

Run from the repository's root::

    python -m tests.benchmarks.layout_further                   everything, half an hour
    python -m tests.benchmarks.layout_further kite star --seconds 5    some, with 5 s of search each

None of these shapes and sheets is among those of ``layout_counts``. Where the
search holds more, a pattern may have been missed.
"""

from __future__ import annotations

import argparse
import time

import numpy as np
from shapely.geometry import Point, Polygon, box

from blankfit.layout import check_layout, fill_sheet

TURNS = ("flip", "quarter", "free")


def _star(points: int, outer: float, inner: float) -> Polygon:
    angles = np.pi / 2 + np.arange(2 * points) * np.pi / points
    radii = np.where(np.arange(2 * points) % 2, inner, outer)
    return Polygon(radii[:, None] * np.column_stack([np.cos(angles), np.sin(angles)]))


RING = Point(0, 0).buffer(38, quad_segs=24) - Point(0, 0).buffer(24, quad_segs=24)

SHAPES = {
    "rhombus": Polygon([(30, 0), (0, 20), (-30, 0), (0, -20)]),
    "right triangle": Polygon([(0, 0), (55, 0), (0, 38)]),
    "chevron": Polygon([(0, 0), (25, 14), (50, 0), (50, 20), (25, 34), (0, 20)]),
    "right trapezoid": Polygon([(0, 0), (60, 0), (35, 32), (0, 32)]),
    "kite": Polygon([(0, -40), (22, 0), (0, 18), (-22, 0)]),
    "arrow": Polygon([(-7, 0), (7, 0), (7, 32), (20, 32), (0, 58), (-20, 32), (-7, 32)]),
    "cross": box(-9, -27, 9, 27).union(box(-27, -9, 27, 9)),
    "ring segment": RING.intersection(Polygon([(0, 0), (50, -30), (60, 0), (50, 60), (0, 60)])),
    "star": _star(5, 32, 14),
    "T": box(-28, 22, 28, 38).union(box(-8, -22, 8, 22)),
    "Z": Polygon([(0, 0), (38, 0), (38, 26), (52, 26), (52, 40), (24, 40), (24, 14), (0, 14)]),
    "thin rectangle": box(0, 0, 78, 13),
}

SHEETS_MM = ((310.0, 215.0), (400.0, 280.0))
GAP_MM = 4.0
MARGIN_MM = 7.0


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("shapes", nargs="*", help="by default all")
    parser.add_argument("--seconds", type=float, default=20.0, help="of search for each, 0: none")
    parser.add_argument("--turns", nargs="*", choices=TURNS, default=TURNS)
    asked = parser.parse_args()
    print(f"gap {GAP_MM:g} mm, margin {MARGIN_MM:g} mm; seconds of the regular patterns")
    print(
        f"{'shape':20s}{'sheet mm':>10s}{'turns':>9s}{'regular':>9s}{'seconds':>9s}{'search':>8s}"
    )
    total = [0, 0]
    for name in asked.shapes or SHAPES:
        for sheet in SHEETS_MM:
            for turns in asked.turns:
                counts = _compared(name, sheet, turns, asked.seconds)
                total = [sum(pair) for pair in zip(total, counts, strict=True)]
    print(f"{'together':39s}{total[0]:9d}{'':9s}{total[1]:8d}")


def _compared(name: str, sheet: tuple[float, float], turns: str, seconds: float) -> tuple[int, int]:
    settings = {"sheet_mm": sheet, "gap_mm": GAP_MM, "margin_mm": MARGIN_MM, "turns": turns}
    start = time.process_time()
    layout = fill_sheet(SHAPES[name], **settings)
    taken = time.process_time() - start
    check_layout(layout)
    count = layout.count
    if seconds:
        found = fill_sheet(SHAPES[name], search="irregular", limit_s=seconds, **settings)
        check_layout(found)
        count = found.count
    verdict = "  more" if count > layout.count else ""
    size = f"{sheet[0]:.0f}x{sheet[1]:.0f}"
    print(
        f"{name:20s}{size:>10s}{turns:>9s}{layout.count:9d}{taken:9.2f}{count:8d}{verdict}",
        flush=True,
    )
    return layout.count, count


if __name__ == "__main__":
    main()
