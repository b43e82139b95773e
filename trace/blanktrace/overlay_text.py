"""Write the check picture's column of numbers: sizes, view, uncertainty, warnings."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import ceil, floor

from PIL import Image, ImageDraw, ImageFont

from blanktrace.lengths import MM_PER_INCH, format_length
from blanktrace.outline import Outline, Stance
from blanktrace.parts import Part
from blanktrace.sizes import measured_itself, overall_mm

TEXT_PX = 22
HEADING_PX = 26
LINE_SHARE = 1.35
"""Distance of lines, in letter heights."""

GAP_PX = 14
INDENT_PX = 20

INK = "#222222"
GREY = "#555555"
BLUE = "#0072b2"
VERMILION = "#d55e00"

TOLD_DEG = 1.0
"""Doubt up to which a tilt is said as one angle."""

LARGEST_CAUSES = 3
MOST_SIZES = 10

PART_SIZES = (
    ("diameter_mm", "across"),
    ("inner_mm", "inside"),
    ("width_mm", "wide"),
    ("reach_mm", "from the disc's centre to its end"),
)


@dataclass(frozen=True)
class _Line:
    text: str
    colour: str = INK
    size_px: int = TEXT_PX
    indent_px: int = 0
    above_px: int = 0


def draw_panel(outline: Outline, *, width_px: int) -> Image.Image:
    """Write what is known of an outline into a column.

    Parameters
    ----------
    outline : Outline
    width_px : int
        Of the column; its height follows from the text.

    Returns
    -------
    PIL.Image.Image
    """
    rows = [row for line in _lines(outline) for row in _wrapped(line, width_px)]
    height = sum(row.above_px + round(row.size_px * LINE_SHARE) for row in rows)
    panel = Image.new("RGB", (width_px, height), "#ffffff")
    pen = ImageDraw.Draw(panel)
    top = 0
    for row in rows:
        top += row.above_px
        font = ImageFont.load_default(size=row.size_px)
        pen.text((row.indent_px, top), row.text, fill=row.colour, font=font)
        top += round(row.size_px * LINE_SHARE)
    return panel


def _wrapped(line: _Line, width_px: int) -> Iterator[_Line]:
    """Break a line between words where the column ends."""
    font = ImageFont.load_default(size=line.size_px)
    row, above_px = "", line.above_px
    for word in line.text.split():
        longer = f"{row} {word}".strip()
        if row and font.getlength(longer) > width_px - line.indent_px:
            yield _Line(row, line.colour, line.size_px, line.indent_px, above_px)
            row, above_px = word, 0
        else:
            row = longer
    yield _Line(row, line.colour, line.size_px, line.indent_px, above_px)


def _lines(outline: Outline) -> Iterator[_Line]:
    yield _Line("Does the line lie on the edge all round? Are these sizes right?", BLUE, HEADING_PX)
    yield from _sizes(outline)
    yield from _checks(outline)
    yield from _view(outline)
    yield from _trust(outline)
    if outline.quality.warnings:
        yield _heading("Please note", VERMILION)
        for warning in outline.quality.warnings:
            yield _Line(warning, indent_px=INDENT_PX, above_px=GAP_PX // 2)


def _heading(text: str, colour: str = BLUE) -> _Line:
    return _Line(text, colour, HEADING_PX, 0, 2 * GAP_PX)


def _sizes(outline: Outline) -> Iterator[_Line]:
    scale, itself = outline.scale, measured_itself(outline)
    yield _heading("Measured with calipers")
    whose = "" if itself else ", of another blank"
    yield _item(f"{scale.measured}: {format_length(scale.measured_mm)}{whose}")
    yield _heading("Found in the photo")
    length_mm, width_mm = overall_mm(outline)
    yield _item(f"length: {format_length(length_mm)}")
    yield _item(f"width: {format_length(width_mm)}")
    told = scale.measured if itself else None
    rows = [row for part in outline.parts if part.kind != told for row in _part(part)]
    yield from rows[:MOST_SIZES]
    if len(rows) > MOST_SIZES:
        yield _item(f"and {len(rows) - MOST_SIZES} more, in outline.json")


def _part(part: Part) -> Iterator[_Line]:
    for name, words in PART_SIZES:
        size = getattr(part, name)
        if size is not None:
            yield _item(f"{part.kind}: {format_length(size)} {words}")


def _checks(outline: Outline) -> Iterator[_Line]:
    checks = outline.quality.checks
    if checks:
        yield _heading("Checked against calipers")
    for check in checks:
        found = "not found" if check.found_mm is None else format_length(check.found_mm)
        verdict = "agrees" if check.agrees else "does not agree, see below"
        measured = format_length(check.measured_mm)
        yield _item(f"{check.size}: {found}, measured {measured}: {verdict}")


def _view(outline: Outline) -> Iterator[_Line]:
    stance, mm_per_px = outline.stance, outline.scale.mm_per_px
    yield _heading("How the photo was taken")
    yield _item(f"one pixel: {mm_per_px:.4f} mm ({mm_per_px / MM_PER_INCH:.5f} in)")
    yield _item(f"camera above the sheet: {_round(stance.camera_height_mm)}")
    yield _item(f"tilt: {_tilt(stance)}, undone by {stance.corrected_by}")


def _tilt(stance: Stance) -> str:
    """Say a tilt as one angle, or where it is not known so well, between which two it lies."""
    tilt, doubt = stance.tilt_deg, stance.tilt_u95_deg
    if doubt is None:
        return f"{tilt:.1f}°"
    if doubt <= TOLD_DEG:
        return f"{tilt:.1f}° ±{doubt:.1f}°"
    return f"between {floor(max(tilt - doubt, 0))}° and {ceil(tilt + doubt)}°"


def _trust(outline: Outline) -> Iterator[_Line]:
    quality = outline.quality
    yield _heading("How far to trust the outline")
    yield _item(f"within ±{format_length(quality.u95_mm)}, 95 times in 100. Most of it comes from:")
    for number, cause in enumerate(quality.contributions[:LARGEST_CAUSES], start=1):
        yield _Line(
            f"{number}. {cause.cause}, ±{format_length(cause.u95_mm)}",
            indent_px=INDENT_PX,
            above_px=GAP_PX // 2,
        )
        yield _Line(f"To do better: {cause.remedy}.", GREY, indent_px=2 * INDENT_PX)


def _item(text: str) -> _Line:
    return _Line(text, indent_px=INDENT_PX)


def _round(length_mm: float) -> str:
    return f"{length_mm:.0f} mm ({length_mm / MM_PER_INCH:.1f} in)"
