"""Scale real photographs by one coin, and predict the others' published diameters.

Diameters: Council Regulation (EC) No 975/98 and the Royal Mint, in the photographs' own
list. Thicknesses are from memory of the same sources, near enough: a tenth of a
millimetre at 300 mm moves a diameter by 0.03 %.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from itertools import permutations
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blanktrace.blur import blur_shift_px
from blanktrace.circle import fit_circle
from blanktrace.disc import Disc, fit_disc
from blanktrace.edge import Edge, locate_edge
from blanktrace.errors import TraceError
from blanktrace.photo import read_photo
from blanktrace.pipeline import DIAGONAL_35_MM, USUAL_FOCAL_35_MM, trace_photo
from blanktrace.scale import DiscView, edge_heights, views_of_disc
from blanktrace.silhouette import choose, find_silhouettes
from tests.benchmarks.tables import figure, text_table

FloatArray = NDArray[np.float64]

PHOTOS = Path(__file__).parents[3] / "shared" / "photos"
THICK_MM = {
    "1c": 1.67,
    "2c": 1.67,
    "5c": 1.67,
    "10c": 1.93,
    "20c": 2.14,
    "50c": 2.38,
    "1e": 2.33,
    "2e": 2.20,
    "1p": 1.6,
    "2p": 2.0,
    "10p": 1.9,
    "GBP2": 2.5,
}


@dataclass(frozen=True, eq=False)
class Coin:
    """A coin as a photograph shows it."""

    name: str
    diameter_mm: float
    at: tuple[float, float]
    edge: Edge
    disc: Disc

    @property
    def rim_px(self) -> FloatArray:
        """Rim points."""
        return self.edge.points_px[self.disc.inlier]

    @property
    def outward(self) -> FloatArray:
        """Their normals."""
        return self.edge.outward[self.disc.inlier]


@dataclass(frozen=True)
class Prediction:
    """One coin's diameter by another's."""

    name: str
    found_mm: float
    published_mm: float
    flat_mm: float
    """The same as if the photograph were square on and all coins equally thick."""


def report_coins(folder: Path) -> str:
    """Measure every photograph and tabulate."""
    if not (folder / "truth.json").exists():
        return f"skipped: there are no photographs at {folder.name}/ beside the repository"
    photos = json.loads((folder / "truth.json").read_text())["photos"]
    return "\n\n".join(_report(folder / photo["file"], photo["objects"]) for photo in photos)


def _report(file: Path, objects: list[dict[str, Any]]) -> str:
    coins, said, camera = see_coins(file, objects)
    head = f"{file.name}: {len(coins)} coins" + "".join(f"\n  {line}" for line in said)
    if len(coins) < 2:
        return head
    first = max(coins, key=lambda coin: coin.diameter_mm)
    outline = trace_photo(file, disc=first.diameter_mm, thick=THICK_MM[first.name], at=first.at)
    # A diameter has two boundaries.
    stated = 2 * outline.quality.u95_mm
    rows = [
        (
            p.name,
            figure(p.found_mm, 2),
            figure(p.published_mm, 2),
            f"{p.found_mm - p.published_mm:+.3f}",
            f"{p.flat_mm - p.published_mm:+.3f}",
            figure(stated),
        )
        for p in predict(coins, first, **camera)
    ]
    every = [
        abs(p.found_mm - p.published_mm) / p.published_mm
        for one, other in permutations(coins, 2)
        for p in predict([one, other], one, witnesses=coins, **camera)
    ]
    table = text_table(
        (f"by {first.name}", "found mm", "published", "off", "off, tilt left in", "stated u95"),
        rows,
    )
    share = f"scaled by each in turn: median {np.median(every):.2%}, worst {max(every):.2%} off"
    return f"{head}\n{table}\n{share}"


def see_coins(
    file: Path, objects: list[dict[str, Any]]
) -> tuple[list[Coin], list[str], dict[str, Any]]:
    """Find the round coins of a photograph; say which are missed, and how the camera sees."""
    photo = read_photo(file)
    height, width = photo.rgb.shape[:2]
    usual = USUAL_FOCAL_35_MM / DIAGONAL_35_MM * float(np.hypot(height, width))
    camera = {
        "focal_px": photo.focal_px or usual,
        "centre_px": np.array([(width - 1) / 2, (height - 1) / 2]),
    }
    said: list[str] = []
    coins: list[Coin] = []
    silhouettes = find_silhouettes(photo.rgb)
    for thing in objects:
        if "diameter_mm" not in thing or "sided" in thing.get("shape_note", ""):
            continue
        x, y = map(float, thing["centre_px"])
        try:
            one = silhouettes[choose(silhouettes, at=(x, y))]
            edge = locate_edge(photo.rgb, one.rings_px[0], light=one.light, reach_px=one.reach_px)
            disc = fit_disc(edge.points_px)
        except TraceError as error:
            said.append(f"{thing['object']} missed: {type(error).__name__}: {error}")
            continue
        coins.append(Coin(thing["object"], thing["diameter_mm"], (x, y), edge, disc))
    return coins, said, camera


def predict(
    coins: list[Coin],
    first: Coin,
    *,
    focal_px: float,
    centre_px: FloatArray,
    witnesses: list[Coin] | None = None,
) -> list[Prediction]:
    """Measure coins in the view of the first, of whose two leans the witnesses choose."""
    views = views_of_disc(
        first.rim_px,
        first.outward,
        conic=normalised_conic(first.disc, focal_px, centre_px),
        radius_mm=first.diameter_mm / 2,
        top_mm=THICK_MM[first.name],
        focal_px=focal_px,
        centre_px=centre_px,
    )
    judges = [coin for coin in witnesses or coins if coin is not first]
    seen = min(views, key=lambda one: sum(_circle(one, coin)[1] ** 2 for coin in judges))
    return [
        Prediction(
            coin.name,
            2 * _circle(seen, coin)[0],
            coin.diameter_mm,
            first.diameter_mm * _radius_px(coin) / _radius_px(first),
        )
        for coin in coins
        if coin is not first
    ]


def normalised_conic(disc: Disc, focal_px: float, centre_px: FloatArray) -> FloatArray:
    """Matrix of the rim's ellipse, pixels from the principal point over the focal length."""
    a, b = disc.ellipse.semi_axes_px
    cos, sin = np.cos(disc.ellipse.angle_rad), np.sin(disc.ellipse.angle_rad)
    to_axes = np.array([[cos / a, sin / a], [-sin / b, cos / b]])
    place = np.column_stack([focal_px * np.eye(2), centre_px - disc.ellipse.centre_px])
    to_unit = np.vstack([to_axes @ place, [0, 0, 1]])
    return np.asarray(to_unit.T @ np.diag([1.0, 1.0, -1.0]) @ to_unit)


def _circle(seen: DiscView, coin: Coin) -> tuple[float, float]:
    """Radius of a coin in a view, and how far its rim is from round."""
    heights = edge_heights(
        seen.view, coin.rim_px, coin.outward, top_mm=THICK_MM[coin.name], foot_share=seen.foot_share
    )
    circle = fit_circle(seen.view.to_plane(coin.rim_px, heights))
    return circle.radius_px * _radius_px(coin) / coin.disc.ellipse.mean_radius_px, circle.rms_px


def _radius_px(coin: Coin) -> float:
    """A coin's mean radius in the photograph, the blur's pull undone."""
    found = coin.disc.ellipse.mean_radius_px
    return found - blur_shift_px(found, coin.edge.blur_px)
