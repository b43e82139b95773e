"""Turn a photograph and one measured size into an outline: the floor's table of contents."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon, make_valid

from blanktrace.arcs import reduce_ring
from blanktrace.budget import Circumstances, add_up
from blanktrace.edge import Edge, locate_edge
from blanktrace.errors import BlurError, ContrastError, LengthError
from blanktrace.lengths import parse_length_mm, parse_thick_mm
from blanktrace.outline import Measured, Outline, Quality, Rim, Scale, Stance
from blanktrace.parts import Part
from blanktrace.photo import Photo, read_photo
from blanktrace.scale import rectangle_sides
from blanktrace.silhouette import Silhouette, choose, find_silhouettes
from blanktrace.stance import Seen, see_disc_blank, see_plain_blank

FloatArray = NDArray[np.float64]
Length = str | float

TOLERANCE_MM = 0.05
"""How far lines and arcs may leave the traced boundary."""

USUAL_FOCAL_35_MM = 26.0
"""Focal length (35 mm equivalent) of a phone's main camera, common practice, where none is told."""

DIAGONAL_35_MM = 43.267
"""Diagonal of the 36 x 24 mm frame."""

MOST_BLUR_SHARE = 0.015
"""Blur as a share of the blank's size (root of its area) beyond which nothing is measured."""

LEAST_BLUR_LIMIT_PX = 3.0

LEAST_STRENGTH = 8.0
"""Step over noise below which a boundary point is a guess."""

MOST_WEAK_SHARE = 0.25


def trace_photo(
    photo: str | os.PathLike[str] | bytes | NDArray[Any],
    *,
    disc: Length | None = None,
    length: Length | None = None,
    width: Length | None = None,
    thick: Length | Sequence[str] | Mapping[str, Length] | None = None,
    at: tuple[float, float] | None = None,
) -> Outline:
    """Trace the blank in a photograph, true to scale.

    Parameters
    ----------
    photo : path, bytes or RGB array
        The photograph, taken from above, the blank on light paper.
    disc, length, width : text with unit, or number of millimetres
        The one measured size: the disc's diameter, or the long or short side of
        the smallest rectangle around the blank.
    thick : lengths, optional
        Height above the sheet of all parts, or by part
        (``{"disc": "4 mm", "tab": 2.4}``).
    at : (float, float), optional
        A place on the blank in photo pixels, where several are in view.

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
    picture = read_photo(photo)
    silhouettes = find_silhouettes(picture.rgb)
    chosen = silhouettes[choose(silhouettes, at=at)]
    return _trace(picture, chosen, measured, measured_mm, heights)


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
    return name, parse_length_mm(size, what=name)


def _trace(
    picture: Photo,
    silhouette: Silhouette,
    measured: Measured,
    measured_mm: float,
    heights_mm: Mapping[str, float],
) -> Outline:
    edges = tuple(
        locate_edge(picture.rgb, ring, light=silhouette.light, reach_px=silhouette.reach_px)
        for ring in silhouette.rings_px
    )
    _check_edges(edges, silhouette)
    height_px, width_px = picture.rgb.shape[:2]
    centre_px = np.array([(width_px - 1) / 2, (height_px - 1) / 2])
    focal_px = picture.focal_px or (
        USUAL_FOCAL_35_MM / DIAGONAL_35_MM * float(np.hypot(height_px, width_px))
    )
    if measured == "disc":
        seen = see_disc_blank(
            edges,
            diameter_mm=measured_mm,
            heights_mm=heights_mm,
            focal_px=focal_px,
            centre_px=centre_px,
        )
    else:
        seen = see_plain_blank(
            edges,
            measured_mm=measured_mm,
            side=("length", "width").index(measured),
            top_mm=max(heights_mm.values(), default=0.0),
            focal_px=focal_px,
            centre_px=centre_px,
        )
    return _outline(seen, edges, picture, measured, measured_mm, heights_mm)


def _check_edges(edges: tuple[Edge, ...], silhouette: Silhouette) -> None:
    """Refuse boundaries that are too soft or too faint to measure."""
    outer = edges[0]
    size_px = float(np.sqrt(silhouette.area_px2))
    limit_px = max(MOST_BLUR_SHARE * size_px, LEAST_BLUR_LIMIT_PX)
    if outer.blur_px > limit_px:
        raise BlurError(
            f"The blank's edge is blurred over {outer.blur_px:.1f} px ({limit_px:.1f} allowed at "
            "this size). Hold the phone still, let it focus, and retake the photo."
        )
    weak = float(np.mean(outer.strength < LEAST_STRENGTH))
    if weak > MOST_WEAK_SHARE:
        raise ContrastError(
            f"{weak:.0%} of the blank's edge is too faint to place ({MOST_WEAK_SHARE:.0%} "
            "allowed). Use paper of another tint, or more light, and retake the photo."
        )


def _outline(
    seen: Seen,
    edges: tuple[Edge, ...],
    picture: Photo,
    measured: Measured,
    measured_mm: float,
    heights_mm: Mapping[str, float],
) -> Outline:
    rings, parts = _own_frame(seen)
    polygon = _polygon(rings)
    path = tuple(
        reduce_ring(np.asarray(ring.coords)[:-1], tolerance_mm=TOLERANCE_MM)
        for ring in (polygon.exterior, *polygon.interiors)
    )
    centre = seen.view.to_photo(seen.origin_mm[None, :], seen.top_mm)[0]
    mm_per_px = _mm_per_px(seen, edges)
    return Outline(
        polygon=polygon,
        path=path,
        parts=parts,
        rim=seen.disc
        and Rim(
            diameter_mm=measured_mm,
            centre_px=(float(centre[0]), float(centre[1])),
            semi_axes_px=seen.disc.ellipse.semi_axes_px,
            rms_px=seen.disc.ellipse.rms_px,
        ),
        scale=Scale(mm_per_px=mm_per_px, measured=measured, measured_mm=measured_mm),
        stance=Stance(
            tilt_deg=seen.view.tilt_deg,
            corrected_by=seen.corrected_by,
            camera_height_mm=seen.view.height_mm,
        ),
        quality=_quality(seen, edges, picture, measured_mm, heights_mm, mm_per_px),
        rings_px=tuple(edge.points_px for edge in edges),
    )


def _own_frame(seen: Seen) -> tuple[list[FloatArray], tuple[Part, ...]]:
    """Move the rings and parts to the outline's own frame."""
    if seen.disc is not None:
        origin, axis = seen.origin_mm, seen.division.axis_rad
        if np.isnan(axis):
            axis = np.pi / 2
    else:
        body = Polygon(seen.rings_mm[0], seen.rings_mm[1:]).buffer(0)
        origin = np.array([body.centroid.x, body.centroid.y])
        axis = _long_axis(seen.rings_mm[0])
    turn = np.pi / 2 - axis
    matrix = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    rings = [(ring - origin) @ matrix for ring in seen.rings_mm]
    parts = []
    for part in seen.division.parts:
        x, y = (np.array(part.centre_mm) - origin) @ matrix
        parts.append(
            Part(
                part.kind,
                (float(x), float(y)),
                diameter_mm=part.diameter_mm,
                inner_mm=part.inner_mm,
                width_mm=part.width_mm,
                reach_mm=part.reach_mm,
            )
        )
    return rings, tuple(parts)


def _long_axis(ring: FloatArray) -> float:
    """Direction of the long side of the smallest rectangle around a ring."""
    box = Polygon(ring).minimum_rotated_rectangle
    corners = np.asarray(box.exterior.coords)
    sides = np.diff(corners[:3], axis=0)
    long = sides[np.argmax(np.hypot(*sides.T))]
    return float(np.arctan2(long[1], long[0]))


def _polygon(rings: list[FloatArray]) -> Polygon:
    """Make one valid polygon, exterior counter-clockwise, of rings in order."""
    body = Polygon(rings[0], rings[1:])
    if not body.is_valid:
        repaired = make_valid(body)
        pieces = repaired.geoms if hasattr(repaired, "geoms") else [repaired]
        polygons: list[Polygon] = []
        for piece in pieces:
            polygons.extend(piece.geoms if isinstance(piece, MultiPolygon) else [piece])
        body = max((p for p in polygons if isinstance(p, Polygon)), key=lambda p: p.area)
    return _oriented(body)


def _oriented(body: Polygon) -> Polygon:
    from shapely.geometry.polygon import orient

    return orient(body, sign=1.0)


def _mm_per_px(seen: Seen, edges: tuple[Edge, ...]) -> float:
    """Scale at the measured face: root of mm² per px², at the disc's centre or the middle."""
    if seen.disc is not None:
        middle = seen.origin_mm
    else:
        middle = seen.rings_mm[0].mean(axis=0)
    step = 0.01
    corners = middle + np.array([[0.0, 0.0], [step, 0.0], [0.0, step]])
    origin, right, up = seen.view.to_photo(corners, seen.top_mm)
    area_px2 = abs(float(np.linalg.det(np.array([right - origin, up - origin]))))
    return step / float(np.sqrt(area_px2))


def _quality(
    seen: Seen,
    edges: tuple[Edge, ...],
    picture: Photo,
    measured_mm: float,
    heights_mm: Mapping[str, float],
    mm_per_px: float,
) -> Quality:
    boundary = np.concatenate(seen.rings_mm)
    middle = seen.origin_mm if seen.disc is not None else boundary.mean(axis=0)
    away = np.hypot(*(boundary - middle).T)
    radius = measured_mm / 2 if seen.disc is not None else 0.0
    blur = edges[0].blur_px
    off_axis = float(np.hypot(*middle)) / seen.view.height_mm
    # A rim uneven by e looks like a lean of about the root of 2 e / R.
    lean = np.degrees(np.sqrt(2 * max(seen.fit_mm, 0.05 * mm_per_px) / max(radius, 1.0) * 0.3))
    circumstances = Circumstances(
        measured_mm=measured_mm,
        radius_mm=float(np.sqrt(np.mean(away**2))),
        beyond_mm=float(np.sqrt(np.mean(np.maximum(away - 1.02 * radius, 0.0) ** 2))),
        nadir_mm=float(np.hypot(*middle)),
        height_mm=seen.view.height_mm,
        mm_per_px=mm_per_px,
        blur_px=blur,
        fit_mm=seen.fit_mm / np.sqrt(30),
        lean_deg=float(seen.doubt_deg or (lean if seen.disc is not None else 3.0)),
        heights_given=bool(heights_mm),
        focal_known=picture.focal_px is not None,
        tilt_deg=seen.view.tilt_deg,
        off_axis=off_axis,
    )
    u95_mm, contributions = add_up(circumstances)
    return Quality(
        u95_mm=u95_mm, contributions=contributions, warnings=_warnings(seen, picture, heights_mm)
    )


def _warnings(seen: Seen, picture: Photo, heights_mm: Mapping[str, float]) -> tuple[str, ...]:
    said = []
    if picture.focal_px is None:
        said.append(
            f"The photo does not tell its focal length; {USUAL_FOCAL_35_MM:.0f} mm (35 mm "
            "equivalent) is assumed, so tilt and part heights are corrected less surely."
        )
    if not heights_mm:
        said.append(
            "No thickness is given, so every part is taken as lying at one height. "
            "Give it with --thick for a truer tab and loop."
        )
    if seen.disc is None:
        said.append(
            "The blank has no disc to tell the camera's tilt by; the photo is taken as square on."
        )
    elif seen.doubt_deg:
        said.append(
            f"The disc alone cannot tell which of two ways the camera leaned "
            f"({seen.doubt_deg:.1f} degrees apart); the likelier one is used."
        )
    return tuple(said)
