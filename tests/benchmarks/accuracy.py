"""Print how true the traced outlines are.

Run ``python -m tests.benchmarks.accuracy [samples] [photos] [stress] [speed]`` from
the repository's root, with ``trace`` and ``fixture`` on the path or the package installed;
no names, every table. ``--cache DIR`` keeps the synthetic photographs for the next run;
``--scenes 3,20-25,leaf`` traces some of them alone, by number or by part of their name;
``--afresh N`` draws them anew, under other lights, and ``--unseen N`` draws the blanks themselves
at random, for opinions that less tuning has touched.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from tests.benchmarks.coins import PHOTOS, report_coins
from tests.benchmarks.samples import report_samples
from tests.benchmarks.speed import report_speed
from tests.benchmarks.stress import report_stress

TABLES = ("samples", "photos", "stress", "speed")


def main() -> None:
    """Print the tables asked for."""
    parser = argparse.ArgumentParser(description=main.__doc__)
    parser.add_argument("tables", nargs="*", metavar="TABLE", help=f"of {', '.join(TABLES)}")
    parser.add_argument("--cache", type=Path, metavar="DIR", help="keeps synthetic photographs")
    parser.add_argument("--scenes", default="", metavar="WHICH", help="3,20-25,leaf: some alone")
    drawn = parser.add_mutually_exclusive_group()
    drawn.add_argument("--afresh", type=int, default=0, metavar="N", help="scenes drawn anew")
    drawn.add_argument("--unseen", type=int, default=0, metavar="N", help="blanks drawn too")
    parser.add_argument("--photos", type=Path, metavar="DIR", default=PHOTOS)
    asked = parser.parse_args()
    unknown = set(asked.tables) - set(TABLES)
    if unknown:
        parser.error(f"no table is called {', '.join(sorted(unknown))}; there are {TABLES}")
    reports = {
        "samples": report_samples,
        "photos": lambda: report_coins(asked.photos),
        "stress": lambda: report_stress(
            asked.cache, asked.scenes, afresh=asked.afresh, unseen=asked.unseen
        ),
        "speed": report_speed,
    }
    for name in asked.tables or TABLES:
        print(f"== {name} ==\n{reports[name]()}\n", flush=True)


if __name__ == "__main__":
    main()
