"""Draw the check picture: the outline over the photograph, with its numbers beside it.

The owner looks at it before anything is cut: does the thin line lie on the
blank's edge all round, also in the closer looks, and are the sizes believable?

References
----------
Colours: M. Okabe and K. Ito, *Color Universal Design* (2008), a set told apart
with every common kind of colour vision.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont
from scipy.spatial import KDTree

from blanktrace.lengths import MM_PER_INCH
from blanktrace.outline import Outline
from blanktrace.overlay_text import INK, TEXT_PX, draw_panel
from blanktrace.photo_crop import (
    HALO_PX,
    PAPER,
    Crop,
    Pixels,
    crop_about,
    cut_out,
    draw_lines,
)
from blanktrace.plane_map import to_photo_map, transfer

FloatArray = NDArray[np.float64]

PANEL_PX = 600
"""Width of the column with the numbers."""

LEAST_COLUMN_PX = 760
"""Width that the photograph's own column has at least: its words need that much."""

EDGE_PX = 24
"""Room round everything."""

LOOKS = 3
LOOK_SHARE = 0.05
"""A closer look shows this share of the blank's longer side about one place."""

LOOK_NAMES = "ABC"

NEAR = 1.01
"""Boundary points within this ratio of the disc's radius are its rim."""

CIRCLE_STEPS = 720
DASH_STEPS = 6
CROSS_PX = 14

NAME_ROOM_PX = 90
"""Across a part that takes its name."""

OUTLINE_COLOUR = "#d55e00"  # vermilion
DISC_COLOUR = "#0072b2"  # blue

STEPS = (1, 2, 5)
"""Lengths of scale bars: these times a power of ten."""


def draw_check(rgb: Pixels, outline: Outline) -> Image.Image:
    """Draw the outline over its photograph, with sizes, uncertainty and warnings.

    Parameters
    ----------
    rgb : ndarray of uint8 or uint16, shape (H, W, 3)
        The photograph the outline was traced from.
    outline : Outline
        With its `rings_px`.

    Returns
    -------
    PIL.Image.Image
        RGB; its long side is at most about 1800 px, whatever the photograph's.

    Raises
    ------
    ValueError
        If the outline does not hold its boundary in the photograph.
    """
    if not outline.rings_px:
        raise ValueError("the outline needs rings_px; one read back from a file has none")
    crop = crop_about(outline.rings_px[0], rgb.shape)
    photo = cut_out(rgb, crop)
    _draw_outline(photo, crop, outline)
    _draw_disc(photo, crop, outline)
    places = _places(outline.rings_px[0])
    looks = [_look(rgb, outline, place, _column_px(photo)) for place in places]
    for name, place in zip(LOOK_NAMES, places, strict=True):
        _frame_look(photo, crop, outline, place, name)
    _name_parts(photo, crop, outline)
    return _assemble(photo, crop, looks, outline)


def _draw_outline(photo: Image.Image, crop: Crop, outline: Outline) -> None:
    rings = [crop.at(np.vstack([ring, ring[:2]])) for ring in outline.rings_px]
    draw_lines(photo, rings, OUTLINE_COLOUR)


def _draw_disc(photo: Image.Image, crop: Crop, outline: Outline) -> None:
    """Dash the disc's circle where the outline leaves it, and cross its centre."""
    rim = outline.rim
    if rim is None:
        return
    radius = rim.diameter_mm / 2
    x, y = crop.at(np.array([rim.centre_px]))[0]
    cross = [
        np.array([[x - CROSS_PX, y], [x + CROSS_PX, y]]),
        np.array([[x, y - CROSS_PX], [x, y + CROSS_PX]]),
    ]
    mapped = to_photo_map(outline, within_mm=radius * NEAR, beyond_mm=radius / NEAR)
    turn = np.linspace(0, 2 * np.pi, CIRCLE_STEPS + 1)
    circle = crop.at(transfer(mapped, radius * np.column_stack([np.cos(turn), np.sin(turn)])))
    apart = np.asarray(KDTree(crop.at(outline.rings_px[0])).query(circle)[0])
    starts = [at for at in range(0, CIRCLE_STEPS, DASH_STEPS) if apart[at] > HALO_PX]
    dashes = [circle[at : at + DASH_STEPS // 2 + 1] for at in starts]
    draw_lines(photo, [*cross, *dashes], DISC_COLOUR)


def _places(ring_px: FloatArray) -> list[FloatArray]:
    """Pick places for closer looks, evenly spread along the boundary."""
    steps = np.hypot(*np.diff(np.vstack([ring_px, ring_px[:1]]), axis=0).T)
    reached = np.concatenate([[0.0], np.cumsum(steps)])[:-1]
    wanted = reached[-1] * (np.arange(LOOKS) + 0.5) / LOOKS
    return [ring_px[np.searchsorted(reached, at)] for at in wanted]


def _column_px(photo: Image.Image) -> int:
    """Width of the column with the photograph, which may be a narrow one."""
    return max(photo.width, LEAST_COLUMN_PX)


def _reach_px(outline: Outline) -> float:
    """Half the side of the square that a closer look shows."""
    return max(float(np.ptp(outline.rings_px[0], axis=0).max()) * LOOK_SHARE / 2, 6.0)


def _look(rgb: Pixels, outline: Outline, place: FloatArray, width: int) -> Image.Image:
    """Cut out a square about a place and enlarge it, its outline drawn afresh."""
    side = min(math.ceil(2 * _reach_px(outline)), *rgb.shape[:2])
    left, top = (
        int(np.clip(round(at - side / 2), 0, room - side))
        for at, room in zip(place, (rgb.shape[1], rgb.shape[0]), strict=True)
    )
    shown = (width - (LOOKS - 1) * EDGE_PX) / LOOKS
    crop = Crop(left, top, left + side, top + side, shown / side)
    picture = cut_out(rgb, crop)
    _draw_outline(picture, crop, outline)
    return picture


def _frame_look(
    photo: Image.Image, crop: Crop, outline: Outline, place: FloatArray, name: str
) -> None:
    reach = _reach_px(outline)
    corners = crop.at(np.array([place - reach, place + reach]))
    pen = ImageDraw.Draw(photo)
    box = (*corners[0].tolist(), *corners[1].tolist())
    pen.rectangle(box, outline=PAPER, width=4)
    pen.rectangle(tuple(v + d for v, d in zip(box, (1, 1, -1, -1), strict=True)),
                  outline=INK, width=2)  # fmt: skip
    # Its letter stands away from the blank's middle, where no part's name is.
    if place[0] < outline.rings_px[0][:, 0].mean():
        _label(photo, (box[0] - 6, box[1]), name, anchor="ra")
    else:
        _label(photo, (box[2] + 6, box[1]), name, anchor="la")


def _name_parts(photo: Image.Image, crop: Crop, outline: Outline) -> None:
    """Write every part's name on it, or below it where it is too small for that."""
    mapped = to_photo_map(outline)
    px_per_mm = crop.factor / outline.scale.mm_per_px
    for part in outline.parts:
        x, y = crop.at(transfer(mapped, np.array([part.centre_mm])))[0]
        below = NAME_ROOM_PX / 2 if part.kind == "disc" else 0.0
        across = (part.diameter_mm or np.inf) * px_per_mm
        if across < NAME_ROOM_PX:
            below = across / 2 + TEXT_PX
        _label(photo, (x, y + below), part.kind, anchor="mm")


def _label(photo: Image.Image, at: tuple[float, float], text: str, *, anchor: str) -> None:
    pen = ImageDraw.Draw(photo)
    font = ImageFont.load_default(size=TEXT_PX)
    pen.text(at, text, fill=INK, font=font, anchor=anchor, stroke_width=4, stroke_fill=PAPER)


def _assemble(
    photo: Image.Image, crop: Crop, looks: list[Image.Image], outline: Outline
) -> Image.Image:
    """Lay photograph, scale, closer looks and numbers side by side."""
    column = _column_px(photo)
    left_height = photo.height + 6 * TEXT_PX + looks[0].height
    panel = draw_panel(outline, width_px=PANEL_PX)
    size = column + PANEL_PX + 3 * EDGE_PX, max(left_height, panel.height) + 2 * EDGE_PX
    whole = Image.new("RGB", size, PAPER)
    whole.paste(photo, (EDGE_PX, EDGE_PX))
    whole.paste(panel, (column + 2 * EDGE_PX, EDGE_PX))
    top = EDGE_PX + photo.height + TEXT_PX
    _draw_bars(whole, (EDGE_PX, top), crop.factor / outline.scale.mm_per_px, column)
    top += 5 * TEXT_PX
    for index, (name, look) in enumerate(zip(LOOK_NAMES, looks, strict=True)):
        left = EDGE_PX + index * (column + EDGE_PX) // LOOKS
        whole.paste(look, (left, top))
        _label(whole, (left + 10, top + 8), name, anchor="la")
    return whole


def _draw_bars(whole: Image.Image, at: tuple[int, int], px_per_mm: float, width: int) -> None:
    """Draw a bar of round millimetres and one of round inches beside it."""
    pen = ImageDraw.Draw(whole)
    font = ImageFont.load_default(size=TEXT_PX)
    left, top = at
    for unit, unit_mm in (("mm", 1.0), ("in", MM_PER_INCH)):
        count = _round_down(width / 3 / px_per_mm / unit_mm)
        length = count * unit_mm * px_per_mm
        pen.rectangle([left, top, left + length, top + 12], outline=INK, width=2)
        pen.rectangle([left, top, left + length / 2, top + 12], fill=INK)
        pen.text((left + length + 10, top + 6), f"{count:g} {unit}", INK, font, "lm")
        left += width // 2
    pen.text(
        (at[0], top + 2 * TEXT_PX),
        "The bars hold at the blank's upper face. Closer looks at A, B and C:",
        INK,
        font,
    )


def _round_down(value: float) -> float:
    power = 10.0 ** math.floor(math.log10(value))
    return max(step * power for step in STEPS if step * power <= value)
