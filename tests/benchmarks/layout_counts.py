"""How many openings a sheet takes: ten shapes, three sheets, every kind of turn.

Run from the repository's root::

    python -m tests.benchmarks.layout_counts                  everything, many minutes
    python -m tests.benchmarks.layout_counts counts densities     some parts of it
    python -m tests.benchmarks.layout_counts counts --irregular 20    with 20 s of search each

Every layout is verified by the independent checker before it is counted. Seconds
are the processor's, so that other work on the machine does not count.
"""

from __future__ import annotations

import argparse
import math
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "fixture"))

from shapely.geometry import Point

from blankfit.layout import Layout, check_layout, fill_sheet, plane_density

from .layout_shapes import GAP_MM, MARGIN_MM, SHAPES, SHEETS_MM, regular

TURNS = ("fixed", "flip", "quarter", "free")

FEW = 100
"""Up to so many openings a regular pattern shall take less than 2 s."""

# Sides of the smallest squares known for 1 to 20 unit circles (proven): R. Peikert et al., 1992.
SQUARE_SIDES = [2, 3.414214, 3.931852, 4, 4.828427, 5.328201, 5.732051, 5.863703, 6, 6.747442]
SQUARE_SIDES += [7.022510, 7.144958, 7.463048, 7.732051, 7.863703, 8, 8.532660, 8.656402]
SQUARE_SIDES += [8.907461, 8.978083]


# Densities in the plane: A. Thue, 1910; G. and W. Kuperberg, Discrete Comput. Geom. 5 (1990)
# 389-397; the octagon's from memory, recomputed.
DENSITIES = {
    "disc": (Point(0, 0).buffer(20, quad_segs=128), math.pi / math.sqrt(12)),
    "pentagon": (regular(5, 20), (5 - math.sqrt(5)) / 3),
    "octagon": (regular(8, 20), 4 * (1 + math.sqrt(2)) / (5 + 4 * math.sqrt(2))),
    "triangle": (regular(3, 20), 1.0),
    "hexagon": (regular(6, 20), 1.0),
}


def main() -> None:
    parts = {"counts": counts, "densities": densities, "circles": circles, "growth": growth}
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("parts", nargs="*", choices=[*parts, []], help="by default all")
    parser.add_argument("--irregular", type=float, metavar="SECONDS", help="search on for so long")
    asked = parser.parse_args()
    for name in asked.parts or parts:
        counts(asked.irregular) if name == "counts" else parts[name]()
        print()


def counts(irregular_s: float | None = None) -> None:
    """Print grid, best pattern, bound and time for every shape, sheet and kind of turn."""
    print(f"gap {GAP_MM:g} mm, margin {MARGIN_MM:g} mm; count (seconds), bound where any turn goes")
    turns = "".join(f"{name:>14s}" for name in TURNS)
    print(f"{'shape':20s}{'sheet mm':>12s}{'grid':>6s}{turns}{'bound':>7s}")
    total = dict.fromkeys(("grid", *TURNS, "bound"), 0)
    slowest = 0.0
    for name, shape in SHAPES.items():
        for sheet in SHEETS_MM:
            x0, y0, x1, y1 = shape.bounds
            free = [side - 2 * MARGIN_MM + GAP_MM for side in sheet]
            grid = int(free[0] / (x1 - x0 + GAP_MM)) * int(free[1] / (y1 - y0 + GAP_MM))
            cells, bound = "", 0
            for turn in TURNS:
                start = time.process_time()
                layout = _filled(shape, sheet, turn, irregular_s)
                seconds = time.process_time() - start
                check_layout(layout)
                cells += f"{layout.count:6d} ({seconds:5.2f})"
                bound = layout.upper_bound
                total[turn] += layout.count
                slowest = max(slowest, seconds if layout.count <= FEW else 0)
            total["grid"] += grid
            total["bound"] += bound
            print(
                f"{name:20s}{sheet[0]:6.0f}x{sheet[1]:<5.0f}{grid:6d}{cells}{bound:7d}", flush=True
            )
    sums = "".join(f"{total[turn]:6d}{'':8s}" for turn in TURNS)
    print(f"{'together':32s}{total['grid']:6d}{sums}{total['bound']:7d}")
    print(f"slowest of those with up to {FEW} openings: {slowest:.2f} s")


def densities() -> None:
    """Print how densely lattices cover the plane, against published values."""
    print(f"{'shape':20s}{'density':>10s}{'published':>11s}")
    for name, (shape, published) in DENSITIES.items():
        print(f"{name:20s}{plane_density(shape):10.6f}{published:11.6f}", flush=True)


def _filled(shape, sheet, turn: str, irregular_s: float | None) -> Layout:
    settings = {"sheet_mm": sheet, "gap_mm": GAP_MM, "margin_mm": MARGIN_MM, "turns": turn}
    if irregular_s is None:
        return fill_sheet(shape, **settings)
    return fill_sheet(shape, search="irregular", limit_s=irregular_s, **settings)


def growth() -> None:
    """Print how time grows with the count."""
    print(f"{'shape':20s}{'turns':>8s}{'count':>7s}{'seconds':>9s}")
    for name in ("disc", "disc, tab and loop", "heart", "crescent"):
        for turn in TURNS:
            area = SHAPES[name].buffer(1.5).area
            for wanted in (25, 100, 500, 2000):
                side = (wanted * area / 0.8) ** 0.5
                start = time.process_time()
                layout = fill_sheet(
                    SHAPES[name],
                    sheet_mm=(1.3 * side, side / 1.3),
                    gap_mm=3,
                    margin_mm=5,
                    turns=turn,
                )
                seconds = time.process_time() - start
                print(f"{name:20s}{turn:>8s}{layout.count:7d}{seconds:9.2f}", flush=True)


def circles() -> None:
    """Print how many unit circles fit in a square 1 % larger than the smallest known."""
    disc = Point(0, 0).buffer(9, quad_segs=64)
    print(f"{'circles':>7s}{'regular':>9s}{'irregular':>11s}{'seconds':>9s}")
    for count, unit in enumerate(SQUARE_SIDES, start=1):
        side = 10 * unit * 1.01
        settings = {"sheet_mm": (side, side), "gap_mm": 2, "margin_mm": 1}
        regular = fill_sheet(disc, **settings).count
        start = time.process_time()
        found = regular
        if regular < count:
            found = fill_sheet(disc, search="irregular", limit_s=20, **settings).count
        seconds = time.process_time() - start
        verdict = "" if found >= count else "  short"
        print(f"{count:7d}{regular:9d}{found:11d}{seconds:9.1f}{verdict}", flush=True)


if __name__ == "__main__":
    main()
