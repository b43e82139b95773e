"""Scale real photographs by one coin, and predict the others' published diameters.

Diameters: Council Regulation (EC) No 975/98 and the Royal Mint, in the photographs' own
list. Coins are 1.4 to 2.5 mm thick; one height in the middle serves them all, and costs
0.2 % of a diameter at most at 300 mm.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from shapely import Point, Polygon

from blanktrace.circle import fit_circle
from blanktrace.errors import TraceError
from blanktrace.outline import Outline
from blanktrace.pipeline import trace_photos
from tests.benchmarks.tables import figure, text_table

PHOTOS = Path(__file__).parents[3] / "shared" / "photos"
THICK_MM = 2.0
NEAR = 0.01
HEADS = ("scaled by", "coin", "found mm", "published", "off mm", "stated u95")


@dataclass(frozen=True)
class Coin:
    """A round coin that a photograph shows."""

    name: str
    diameter_mm: float
    at: tuple[float, float]


def report_coins(folder: Path) -> str:
    """Measure every photograph and tabulate."""
    if not (folder / "truth.json").exists():
        return f"skipped: there is no folder {folder.name} with photographs beside the repository"
    photos = json.loads((folder / "truth.json").read_text())["photos"]
    measured = [_measure(folder / photo["file"], photo["objects"]) for photo in photos]
    others = [other for one in measured for other in one.others]
    refused, count = sum(len(one.refusals) for one in measured), sum(one.count for one in measured)
    whole = f"all: {count - refused} of {count} round coins taken as the scale; {_summary(others)}"
    return "\n\n".join([*map(_report, measured), whole])


@dataclass(frozen=True)
class Found:
    """A coin beside the one that set the scale."""

    by: str
    coin: Coin
    diameter_mm: float
    u95_mm: float

    @property
    def off_mm(self) -> float:
        return self.diameter_mm - self.coin.diameter_mm

    @property
    def row(self) -> tuple[str, ...]:
        return (
            self.by,
            self.coin.name,
            figure(self.diameter_mm),
            figure(self.coin.diameter_mm, 2),
            f"{self.off_mm:+.3f}",
            figure(self.u95_mm),
        )


@dataclass(frozen=True)
class Measured:
    """What scaling one photograph by each of its coins gave."""

    name: str
    count: int
    refusals: list[str]
    others: list[Found]


def _measure(file: Path, objects: list[dict[str, Any]]) -> Measured:
    coins = round_coins(objects)
    others: list[Found] = []
    refusals: list[str] = []
    for first in coins:
        try:
            outlines = trace_photos(file, disc=first.diameter_mm, thick=THICK_MM, at=first.at)
        except TraceError as error:
            refusals.append(f"by {first.name}: {type(error).__name__}: {error}")
            continue
        others += _others(first, coins, outlines)
    return Measured(file.name, len(coins), refusals, others)


def _report(measured: Measured) -> str:
    head = f"{measured.name}: {measured.count} round coins"
    table = text_table(HEADS, [other.row for other in measured.others])
    return "\n".join([head, *measured.refusals, table, _summary(measured.others)])


def _summary(others: list[Found]) -> str:
    """Say how far off the others are, as a share of their diameters, and what was stated."""
    if not others:
        return "no other coin measured"
    share = np.array([abs(one.off_mm) / one.coin.diameter_mm for one in others])
    stated = np.array([one.u95_mm / one.coin.diameter_mm for one in others])
    low, middle, high = np.quantile(stated, (0.1, 0.5, 0.9))
    return (
        f"the others off by {np.median(share):.2%} in the median, {share.max():.2%} at worst, "
        f"{np.sum(share <= NEAR)} of {len(others)} within {NEAR:.0%}; "
        f"{np.sum(share <= stated)} within the stated u95, "
        f"which is {middle:.1%} in the median, {low:.1%} to {high:.1%} for 8 in 10"
    )


def round_coins(objects: list[dict[str, Any]]) -> list[Coin]:
    """The coins of known diameter, those with sides left out."""
    return [
        Coin(thing["object"], thing["diameter_mm"], tuple(thing["centre_px"]))
        for thing in objects
        if "diameter_mm" in thing and "sided" not in thing.get("shape_note", "")
    ]


def _others(first: Coin, coins: list[Coin], outlines: tuple[Outline, ...]) -> list[Found]:
    found = []
    for coin in coins:
        outline = next((o for o in outlines if _covers(o, coin)), None)
        if coin is first or outline is None:
            continue
        # A diameter has two boundaries.
        stated = 2 * outline.quality.u95_mm
        found.append(Found(first.name, coin, diameter_mm(outline), stated))
    return found


def _covers(outline: Outline, coin: Coin) -> bool:
    return bool(Polygon(outline.rings_px[0]).buffer(0).covers(Point(coin.at)))


def diameter_mm(outline: Outline) -> float:
    """Diameter of the circle that an outline follows."""
    return (
        2 * fit_circle(np.asarray(outline.polygon.exterior.segmentize(0.2).coords)[:-1]).radius_px
    )
