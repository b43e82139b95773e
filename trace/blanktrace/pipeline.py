"""Turn a photograph and one measured size into an outline: the floor's table of contents."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blanktrace.assemble import USUAL_FOCAL_35_MM, assemble
from blanktrace.boundary import find_boundary
from blanktrace.calibrate import calibrate_lens, find_board
from blanktrace.corners import read_lean
from blanktrace.cross_check import cross_check
from blanktrace.edge import Edge
from blanktrace.errors import (
    LengthError,
    LensError,
    TraceError,
    ViewError,
)
from blanktrace.lengths import parse_also_mm, parse_length_mm, parse_size_mm, parse_thick_mm
from blanktrace.lens import Lens
from blanktrace.lens_file import read_lens
from blanktrace.outline import Measured, Outline
from blanktrace.photo import Photo, read_photo
from blanktrace.roundness import DiscRim
from blanktrace.seen import Camera, Seen
from blanktrace.silhouette import Finds, Silhouette, choose, find_silhouettes, nearest_to
from blanktrace.spread import add_spread
from blanktrace.stance import rim_of, see_beside, see_disc_blank, see_plain_blank

Length = str | float

DIAGONAL_35_MM = 43.267
"""Diagonal of the 36 x 24 mm frame."""

MOST_MEASURED_MM = 1000.0
"""Longer than calipers measure: inches were written for millimetres, or m for cm."""

MOST_TILT_DEG = 20.0
"""A lean beyond this is no photograph from above, or a rim traced wrongly."""


def trace_photo(
    photo: str | os.PathLike[str] | bytes | NDArray[Any],
    *,
    disc: Length | None = None,
    length: Length | None = None,
    width: Length | None = None,
    thick: Length | Sequence[str] | Mapping[str, Length] | None = None,
    sheet: str | tuple[float, float] | None = None,
    at: tuple[float, float] | None = None,
    lens: Lens | str | os.PathLike[str] | None = None,
    also: Sequence[str] | Mapping[str, Length] = (),
) -> Outline:
    """Trace the blank in a photograph, true to scale.

    Parameters
    ----------
    photo : path, bytes or RGB array
        The photograph, taken from above, the blank on light paper.
    disc, length, width : text with unit, or number of millimetres
        The one measured size: the disc's diameter, or the long or short side of
        the smallest rectangle around the blank (the longest, if several are as small).
    thick : lengths, optional
        Height above the sheet of all parts, or by part
        (``{"disc": "4 mm", "tab": 2.4}``).
    sheet : text or (width, height) in mm, optional
        The sheet's size, where its four corners show: ``"a4"``, ``"letter"``,
        ``"210x297mm"``. The camera's lean is then read from them too.
    at : (float, float), optional
        A place on the blank in photo pixels, where several are in view.
    lens : Lens or path, optional
        The camera's lens, from `make_lens`, or a file of it.
    also : lengths by name, optional
        Sizes measured besides, to be compared with the outline
        (``{"length": "118 mm", "hole": 4.0}``); see `cross_check`.

    Returns
    -------
    Outline

    Raises
    ------
    TraceError
        A leaf of it, where the photograph cannot support an outline.
    TypeError
        If not exactly one size is given.

    Examples
    --------
    >>> outline = trace_photo("tag.jpg", disc="64 mm")  # doctest: +SKIP
    """
    measured, measured_mm = _measure(disc, length, width)
    heights = {} if thick is None else parse_thick_mm(thick)
    others = _others(also, measured)
    picture = read_photo(photo)
    through = _lens(picture, lens)
    finds = find_silhouettes(picture.rgb)
    chosen = choose(finds.silhouettes, at=at)
    edges = find_boundary(picture.rgb, finds.silhouettes[chosen], across_straps=measured == "disc")
    camera = _camera(picture, finds, sheet, through)
    rest = [one for index, one in enumerate(finds.silhouettes) if index != chosen]
    beside = _rims(_edges_of(picture, rest), through) if measured == "disc" else ()
    seen = _see(_straight(edges, through), camera, measured, measured_mm, heights, beside=beside)
    outline = assemble(
        seen,
        edges,
        reference=seen,
        lens=through,
        focal_known=picture.focal_px is not None or through.is_known,
        measured=measured,
        measured_mm=measured_mm,
        heights_mm=heights,
    )
    return cross_check(outline, others)


def trace_photos(
    photo: str | os.PathLike[str] | bytes | NDArray[Any],
    *,
    disc: Length | None = None,
    length: Length | None = None,
    width: Length | None = None,
    thick: Length | Sequence[str] | Mapping[str, Length] | None = None,
    sheet: str | tuple[float, float] | None = None,
    at: tuple[float, float] | None = None,
    lens: Lens | str | os.PathLike[str] | None = None,
    also: Sequence[str] | Mapping[str, Length] = (),
) -> tuple[Outline, ...]:
    """Trace every blank in a photograph at one scale.

    Parameters
    ----------
    photo, disc, length, width, thick, sheet
        As for :func:`trace_photo`; the size is that of one blank.
    at : (float, float), optional
        A place on the blank that was measured; left out, it is the one nearest
        to the middle of the photograph.
    lens : Lens or path, optional
        As for :func:`trace_photo`.
    also : lengths by name, optional
        As for :func:`trace_photo`, of the blank that was measured.

    Returns
    -------
    tuple of Outline
        The measured one first, then the others from the top of the photograph
        down, each with the spread of sizes over those of one kind. Others that
        cannot be traced are left out, and every outline's warnings say so.

    Raises
    ------
    TraceError, TypeError
        As for :func:`trace_photo`, for the blank that was measured.
    """
    measured, measured_mm = _measure(disc, length, width)
    heights = {} if thick is None else parse_thick_mm(thick)
    others = _others(also, measured)
    picture = read_photo(photo)
    through = _lens(picture, lens)
    finds = find_silhouettes(picture.rgb)
    camera = _camera(picture, finds, sheet, through)
    if at is None:
        reference = nearest_to(finds.silhouettes, camera.centre_px)
    else:
        reference = choose(finds.silhouettes, at=at)
    rest = [one for index, one in enumerate(finds.silhouettes) if index != reference]
    rest.sort(key=lambda one: float(one.rings_px[0][:, 1].min()))
    first_edges = find_boundary(
        picture.rgb, finds.silhouettes[reference], across_straps=measured == "disc"
    )
    located = _edges_of(picture, rest)
    beside = _rims(located, through) if measured == "disc" else ()
    first = _see(
        _straight(first_edges, through), camera, measured, measured_mm, heights, beside=beside
    )
    outline_of = partial(
        assemble,
        reference=first,
        lens=through,
        focal_known=picture.focal_px is not None or through.is_known,
        measured=measured,
        measured_mm=measured_mm,
        heights_mm=heights,
    )
    traced = [cross_check(outline_of(first, first_edges), others)]
    left_out = []
    for one, edges in zip(rest, located, strict=True):
        try:
            if isinstance(edges, TraceError):
                raise edges
            seen = see_beside(_straight(edges, through), first, heights_mm=heights)
            traced.append(outline_of(seen, edges))
        except TraceError as refusal:
            x, y = one.rings_px[0].mean(axis=0)
            left_out.append(f"The blank at {x:.0f},{y:.0f} was left out. {refusal}")
    return add_spread([_noted(outline, left_out) for outline in traced])


def make_lens(
    photos: Iterable[str | os.PathLike[str] | bytes | NDArray[Any]],
) -> tuple[Lens, tuple[str, ...]]:
    """Find a camera's lens from photographs of a printed checkerboard.

    Parameters
    ----------
    photos : iterable of paths, bytes or RGB arrays
        The whole board, flat, from ten places or so, with the lens and zoom that
        blanks are photographed with. Neither the squares' size nor their number
        need be known.

    Returns
    -------
    lens : Lens
        For `trace_photo`; `lens_text` writes it.
    left_out : tuple of str
        A sentence for each photograph in which no board was found.

    Raises
    ------
    LensError
        If the others do not tell the lens.
    PhotoError
        If one of them cannot be read.
    """
    boards, left_out = [], []
    for photo in photos:
        picture = read_photo(photo)
        try:
            boards.append(find_board(picture))
        except LensError as refusal:
            left_out.append(str(refusal))
    return calibrate_lens(boards), tuple(left_out)


def _noted(outline: Outline, notes: Sequence[str]) -> Outline:
    """Add notes to an outline's warnings, so that nothing is left out in silence."""
    warnings = (*outline.quality.warnings, *notes)
    return replace(outline, quality=replace(outline.quality, warnings=warnings))


def _measure(
    disc: Length | None, length: Length | None, width: Length | None
) -> tuple[Measured, float]:
    """Take the one size given."""
    sizes: dict[Measured, Length | None] = {"disc": disc, "length": length, "width": width}
    given = [(name, size) for name, size in sizes.items() if size is not None]
    if len(given) != 1:
        raise TypeError(
            f"exactly one of disc, length and width sets the scale, got {len(given)} of them"
        )
    name, size = given[0]
    return name, parse_length_mm(size, what=name, most_mm=MOST_MEASURED_MM)


def _others(also: Sequence[str] | Mapping[str, Length], measured: Measured) -> dict[str, float]:
    """Take the sizes to compare with."""
    others = parse_also_mm(also)
    if measured in others:
        raise LengthError(
            f"also: {measured} sets the scale already, so it cannot check it. Measure another size."
        )
    return others


def _edges_of(
    picture: Photo, silhouettes: Sequence[Silhouette]
) -> list[tuple[Edge, ...] | TraceError]:
    """Locate several blanks' boundaries; for those that cannot be, say why not."""
    found: list[tuple[Edge, ...] | TraceError] = []
    for one in silhouettes:
        try:
            found.append(find_boundary(picture.rgb, one))
        except TraceError as refusal:
            found.append(refusal)
    return found


def _rims(located: Sequence[tuple[Edge, ...] | TraceError], lens: Lens) -> tuple[DiscRim, ...]:
    """Give the rims of the discs among blanks."""
    rims = [
        rim_of(_straight(edges, lens)) for edges in located if not isinstance(edges, TraceError)
    ]
    return tuple(rim for rim in rims if rim is not None)


def _lens(picture: Photo, lens: Lens | str | os.PathLike[str] | None) -> Lens:
    """Take the lens given as this photograph shows it, else a straight one."""
    if lens is None:
        height_px, width_px = picture.rgb.shape[:2]
        usual_px = USUAL_FOCAL_35_MM / DIAGONAL_35_MM * float(np.hypot(height_px, width_px))
        return Lens.unbent(picture.focal_px or usual_px, (width_px, height_px))
    if not isinstance(lens, Lens):
        path = Path(lens)
        try:
            lens = read_lens(path.read_bytes(), name=path.name)
        except OSError as error:
            raise LensError(
                f"{path} cannot be opened ({error.strerror}). Check the name and the folder."
            ) from error
    return lens.fitted_to(picture)


def _straight(edges: tuple[Edge, ...], lens: Lens) -> tuple[Edge, ...]:
    """Undo the lens's bend in a located boundary."""
    if not lens.is_known:
        return edges
    found = []
    for edge in edges:
        points = lens.straighten(edge.points_px)
        ahead = lens.straighten(edge.points_px + edge.outward) - points
        outward = ahead / np.maximum(np.hypot(*ahead.T), np.finfo(float).tiny)[:, None]
        located, apart = lens.straighten(edge.located_px), lens.straighten(edge.apart_px)
        found.append(
            replace(
                edge,
                points_px=points,
                located_px=located,
                apart_px=apart,
                outward=outward,
                across_px=lens.straighten(edge.across_px),
            )
        )
    return tuple(found)


def _camera(
    picture: Photo, finds: Finds, sheet: str | tuple[float, float] | None, lens: Lens
) -> Camera:
    if sheet is None:
        return Camera(lens.focal_px, lens.centre_px)
    lean = read_lean(
        picture.rgb,
        finds.extent,
        sheet_mm=parse_size_mm(sheet) if isinstance(sheet, str) else sheet,
        lens=lens,
    )
    return Camera(lens.focal_px, lens.centre_px, lean.normal)


def _see(
    edges: tuple[Edge, ...],
    camera: Camera,
    measured: Measured,
    measured_mm: float,
    heights_mm: Mapping[str, float],
    *,
    beside: tuple[DiscRim, ...],
) -> Seen:
    if measured == "disc":
        seen = see_disc_blank(
            edges,
            diameter_mm=measured_mm,
            heights_mm=heights_mm,
            camera=camera,
            beside=beside,
        )
    else:
        seen = see_plain_blank(
            edges,
            measured_mm=measured_mm,
            side=("length", "width").index(measured),
            top_mm=max(heights_mm.values(), default=0.0),
            camera=camera,
        )
    if seen.view.tilt_deg > MOST_TILT_DEG:
        raise ViewError(
            f"The camera seems to lean by {seen.view.tilt_deg:.0f} degrees ({MOST_TILT_DEG:.0f} "
            "allowed). Hold it straight above the blank; if it was, shadow is in the way of the "
            "disc's edge: use softer light, and retake the photo."
        )
    return seen
