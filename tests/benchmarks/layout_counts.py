"""How many openings a sheet takes: ten shapes, three sheets, every kind of turn.

Run from the repository's root::

    python -m tests.benchmarks.layout_counts              the table (some minutes)
    python -m tests.benchmarks.layout_counts --irregular 20   with 20 s of search each
    python -m tests.benchmarks.layout_counts --growth     time against count
    python -m tests.benchmarks.layout_counts --circles    circles in squares, 20 s each

Every layout is verified by the independent checker before it is counted.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "fixture"))

from shapely.geometry import Point

from blankfit.layout import Layout, check_layout, fill_sheet

from .layout_shapes import GAP_MM, MARGIN_MM, SHAPES, SHEETS_MM

TURNS = ("fixed", "flip", "quarter", "free")

# Sides of the smallest squares known for 1 to 20 unit circles (proven): R. Peikert et al., 1992.
SQUARE_SIDES = [2, 3.414214, 3.931852, 4, 4.828427, 5.328201, 5.732051, 5.863703, 6, 6.747442]
SQUARE_SIDES += [7.022510, 7.144958, 7.463048, 7.732051, 7.863703, 8, 8.532660, 8.656402]
SQUARE_SIDES += [8.907461, 8.978083]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--irregular", type=float, metavar="SECONDS", help="search on for so long")
    parser.add_argument("--growth", action="store_true", help="time against count")
    parser.add_argument("--circles", action="store_true", help="circles in a square")
    asked = parser.parse_args()
    if asked.growth:
        growth()
    elif asked.circles:
        circles()
    else:
        counts(asked.irregular)


def counts(irregular_s: float | None) -> None:
    """Print grid, best pattern, bound and time for every shape, sheet and kind of turn."""
    print(f"gap {GAP_MM:g} mm, margin {MARGIN_MM:g} mm; count (seconds)")
    turns = "".join(f"{name:>14s}" for name in TURNS)
    print(f"{'shape':20s}{'sheet mm':>12s}{'grid':>6s}{turns}{'bound':>7s}")
    for name, shape in SHAPES.items():
        for sheet in SHEETS_MM:
            x0, y0, x1, y1 = shape.bounds
            free = [side - 2 * MARGIN_MM + GAP_MM for side in sheet]
            grid = int(free[0] / (x1 - x0 + GAP_MM)) * int(free[1] / (y1 - y0 + GAP_MM))
            cells, bound = "", 0
            for turn in TURNS:
                start = time.perf_counter()
                layout = _filled(shape, sheet, turn, irregular_s)
                check_layout(layout)
                seconds = time.perf_counter() - start
                cells += f"{layout.count:6d} ({seconds:5.1f})"
                bound = layout.upper_bound
            print(
                f"{name:20s}{sheet[0]:6.0f}x{sheet[1]:<5.0f}{grid:6d}{cells}{bound:7d}", flush=True
            )


def _filled(shape, sheet, turn: str, irregular_s: float | None) -> Layout:
    settings = {"sheet_mm": sheet, "gap_mm": GAP_MM, "margin_mm": MARGIN_MM, "turns": turn}
    if irregular_s is None:
        return fill_sheet(shape, **settings)
    return fill_sheet(shape, search="irregular", limit_s=irregular_s, **settings)


def growth() -> None:
    """Print how time grows with the count."""
    print(f"{'shape':20s}{'turns':>8s}{'count':>7s}{'seconds':>9s}")
    for name in ("disc", "disc, tab and loop", "heart", "crescent"):
        for turn in ("flip", "free"):
            area = SHAPES[name].buffer(1.5).area
            for wanted in (25, 100, 500, 2000):
                side = (wanted * area / 0.8) ** 0.5
                start = time.perf_counter()
                layout = fill_sheet(
                    SHAPES[name],
                    sheet_mm=(1.3 * side, side / 1.3),
                    gap_mm=3,
                    margin_mm=5,
                    turns=turn,
                )
                seconds = time.perf_counter() - start
                print(f"{name:20s}{turn:>8s}{layout.count:7d}{seconds:9.2f}", flush=True)


def circles() -> None:
    """Print how many unit circles fit in a square 1 % larger than the smallest known."""
    disc = Point(0, 0).buffer(9, quad_segs=64)
    print(f"{'circles':>7s}{'regular':>9s}{'irregular':>11s}{'seconds':>9s}")
    for count, unit in enumerate(SQUARE_SIDES, start=1):
        side = 10 * unit * 1.01
        settings = {"sheet_mm": (side, side), "gap_mm": 2, "margin_mm": 1}
        regular = fill_sheet(disc, **settings).count
        start = time.perf_counter()
        found = regular
        if regular < count:
            found = fill_sheet(disc, search="irregular", limit_s=20, **settings).count
        seconds = time.perf_counter() - start
        verdict = "" if found >= count else "  short"
        print(f"{count:7d}{regular:9d}{found:11d}{seconds:9.1f}{verdict}", flush=True)


if __name__ == "__main__":
    main()
