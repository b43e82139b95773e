"""Put the outline record together: frame, polygon, lines and arcs, scale and uncertainty."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon, get_parts, make_valid
from shapely.geometry.polygon import orient

from blanktrace.arcs import reduce_ring
from blanktrace.budget import COVERAGE, Circumstances, add_up, refuse_vague
from blanktrace.edge import Edge
from blanktrace.effects import Doubts, effects_of
from blanktrace.lens import Lens
from blanktrace.outline import Measured, Outline, Quality, Rim, Scale, Stance
from blanktrace.parts import Part
from blanktrace.rectangle import rectangle_about
from blanktrace.roundness import lean_by_ovals_rad
from blanktrace.seen import Seen

FloatArray = NDArray[np.float64]

LEAST_HOLE_MM2 = 0.5
"""Smaller holes are crossings of neighbouring points; nobody drills 0.8 mm."""

INDEPENDENT_POINTS = 30
"""Points of a rim that err independently: neighbours share their shading and grain."""

UNTOLD_LEAN_DEG = 3.0
SHEET_LEAN_DEG = 0.3
"""Standard uncertainty of the lean: of a phone held level by eye; by the sheet's corners."""

UNKNOWN_HEIGHT_MM = 3.0
"""Height (standard uncertainty) of a part above or below the measured face when not given."""

GIVEN_HEIGHT_MM = 0.4
"""Standard uncertainty of a height given: how flat a part lies, and whether its edge is round or
square (a ring of wire is outlined half way up)."""

KNOWN_FOCAL_SHARE = 0.02
"""Standard uncertainty of a focal length that is told in whole mm, of a lens that shifts to focus
(A. Jasinska et al., Sensors 23, 2023, doi:10.3390/s23020728, find it never still)."""

UNKNOWN_FOCAL_SHARE = 0.3
"""Of one that is only assumed: main cameras lie within a tenth of it, and their second zoom step is
twice as long (common practice)."""

NEAREST_MM, FARTHEST_MM = 50.0, 2000.0
"""From where to where phones are held above a blank (common practice); beyond, the size given may
have slipped a decimal point or a unit."""

MIRRORED_SHARE = 0.25
"""How likely the less likely of a disc's two leans is, where neither is clearly right."""

ON_CIRCLE_MM = 0.01
"""Points this near the disc's circle were laid on it."""

MOST_STRAY_MM = 1.0
"""What leaves a disc's circle by more is a nick or a flat, and by so much it may be none."""

UNEVEN_SHARE = 0.3
UNEVEN_PX = 0.2
"""Share of the rim's unevenness that may be of the shape a lean has; and how far out of round a rim
may be located that looks even."""

TOLERANCE_MM = 0.05
"""How far lines and arcs may leave the traced boundary."""

USUAL_FOCAL_35_MM = 26.0
"""Focal length (35 mm equivalent) of a phone's main camera, common practice, where none is told."""


def assemble(
    seen: Seen,
    edges: tuple[Edge, ...],
    *,
    reference: Seen,
    lens: Lens,
    focal_known: bool,
    measured: Measured,
    measured_mm: float,
    heights_mm: Mapping[str, float],
) -> Outline:
    """Make the outline record of a blank that was seen.

    Parameters
    ----------
    seen : Seen
        The blank in the plane of the sheet.
    edges : tuple of Edge
        The same in the photograph.
    reference : Seen
        The blank that was measured: this one, or one beside it.
    lens : Lens
        The camera's: known, or taken as straight.
    focal_known : bool
        Whether the photograph or the lens file told the focal length.
    measured, measured_mm
        What the calipers measured, on this blank or one beside it.
    heights_mm : mapping
        Heights that were given.

    Returns
    -------
    Outline

    Raises
    ------
    ContrastError
        If its edge is too uncertain to make a pocket by.
    """
    rings, parts = _own_frame(seen)
    polygon = _polygon(rings)
    path = tuple(
        reduce_ring(np.asarray(ring.coords)[:-1], tolerance_mm=TOLERANCE_MM)
        for ring in (polygon.exterior, *polygon.interiors)
    )
    mm_per_px = _mm_per_px(seen)
    doubts = Doubts(
        lean_deg=_lean_deg(reference, mm_per_px),
        mirrored_share=MIRRORED_SHARE if reference.doubt_deg and not _by_sheet(reference) else 0.0,
        height_mm=GIVEN_HEIGHT_MM if heights_mm else UNKNOWN_HEIGHT_MM,
        focal_share=KNOWN_FOCAL_SHARE if focal_known else UNKNOWN_FOCAL_SHARE,
    )
    u95_mm, contributions = add_up(
        _circumstances(
            seen,
            reference=reference,
            lens=lens,
            edges=edges,
            mm_per_px=mm_per_px,
            measured_mm=measured_mm,
            heights_mm=heights_mm,
            doubts=doubts,
        )
    )
    refuse_vague(contributions, size_mm=float(np.sqrt(polygon.area)))
    return Outline(
        polygon=polygon,
        path=path,
        parts=parts,
        rim=_rim(seen, lens),
        scale=Scale(mm_per_px=mm_per_px, measured=measured, measured_mm=measured_mm),
        stance=Stance(
            tilt_deg=seen.view.tilt_deg,
            corrected_by=seen.corrected_by,
            camera_height_mm=seen.view.height_mm,
            tilt_u95_deg=_tilt_u95_deg(reference, doubts),
        ),
        quality=Quality(
            u95_mm=u95_mm,
            contributions=contributions,
            warnings=_warnings(seen, focal_known=focal_known, heights_mm=heights_mm),
        ),
        rings_px=tuple(edge.points_px for edge in edges),
        heights_mm=heights_mm,
    )


def _rim(seen: Seen, lens: Lens) -> Rim | None:
    if seen.disc is None:
        return None
    centre = lens.bend(seen.view.to_photo(seen.origin_mm[None, :], seen.top_mm))[0]
    diameter_mm = seen.division.parts[0].diameter_mm
    assert diameter_mm is not None, "the first part of a disc blank is its disc"
    return Rim(
        diameter_mm=diameter_mm,
        centre_px=(float(centre[0]), float(centre[1])),
        semi_axes_px=seen.disc.ellipse.semi_axes_px,
        rms_px=seen.disc.ellipse.rms_px,
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
        axis = rectangle_about(seen.rings_mm[0]).axis_rad
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


def _polygon(rings: list[FloatArray]) -> Polygon:
    """Make one valid polygon, exterior counter-clockwise, of rings in order."""
    body = Polygon(rings[0], rings[1:])
    if not body.is_valid:
        # Twice: what is mended can be a collection that holds a multipolygon.
        pieces = get_parts(get_parts(make_valid(body))).tolist()
        body = max((p for p in pieces if isinstance(p, Polygon)), key=lambda p: p.area)
    holes = [ring for ring in body.interiors if Polygon(ring).area >= LEAST_HOLE_MM2]
    return orient(Polygon(body.exterior, holes), sign=1.0)


def _mm_per_px(seen: Seen) -> float:
    """Scale at the measured face: root of mm² per px², at the disc's centre or the middle."""
    middle = seen.rings_mm[0].mean(axis=0) if seen.disc is None else seen.origin_mm
    step = 0.01
    corners = middle + np.array([[0.0, 0.0], [step, 0.0], [0.0, step]])
    origin, right, up = seen.view.to_photo(corners, seen.top_mm)
    area_px2 = abs(float(np.linalg.det(np.array([right - origin, up - origin]))))
    return step / float(np.sqrt(area_px2))


def _circumstances(
    seen: Seen,
    *,
    reference: Seen,
    lens: Lens,
    edges: tuple[Edge, ...],
    mm_per_px: float,
    measured_mm: float,
    heights_mm: Mapping[str, float],
    doubts: Doubts,
) -> Circumstances:
    boundary = np.concatenate(seen.rings_mm)
    middle = boundary.mean(axis=0) if seen.disc is None else seen.origin_mm
    off_mm = _off_circle_mm(seen)
    on_circle = np.abs(off_mm) < ON_CIRCLE_MM if seen is reference else np.zeros(len(off_mm), bool)
    strays = np.clip(np.nan_to_num(off_mm), -MOST_STRAY_MM, MOST_STRAY_MM)
    return Circumstances(
        measured_mm=measured_mm,
        radius_mm=float(np.sqrt(np.mean(np.sum((boundary - middle) ** 2, axis=1)))),
        mm_per_px=mm_per_px,
        blur_px=edges[0].blur_px,
        located_share=1 - float(np.mean(on_circle)),
        doubt_px=_doubt_px(edges, ~on_circle),
        uneven_mm=seen.fit_mm,
        stray_mm=float(np.sqrt(np.mean(strays**2))),
        fit_mm=seen.fit_mm / np.sqrt(INDEPENDENT_POINTS),
        by_ends=reference.disc is None,
        effects=effects_of(doubts, seen, reference=reference, lens=lens, heights_mm=heights_mm),
        heights_given=bool(heights_mm),
        lens_known=lens.is_known,
    )


def _doubt_px(edges: tuple[Edge, ...], located: NDArray[np.bool_]) -> float:
    """Root mean square of what located points are uncertain by; 0 if there are none."""
    doubt_px = np.concatenate([edge.doubt_px for edge in edges])[located]
    return float(np.sqrt(np.mean(doubt_px**2))) if len(doubt_px) else 0.0


def _off_circle_mm(seen: Seen) -> FloatArray:
    """Say how far outside the disc's circle its points lie (N,); NaN for those of other parts."""
    boundary = np.concatenate(seen.rings_mm)
    diameter_mm = None if seen.disc is None else seen.division.parts[0].diameter_mm
    if diameter_mm is None:
        return np.full(len(boundary), np.nan)
    off_mm = np.hypot(*(boundary - seen.origin_mm).T) - diameter_mm / 2
    return np.where(np.concatenate(seen.division.owners) == 0, off_mm, np.nan)


def _by_sheet(seen: Seen) -> bool:
    return "sheet" in seen.corrected_by


def _lean_deg(seen: Seen, mm_per_px: float) -> float:
    """Say how uncertain the lean is, as a standard uncertainty along and across."""
    if _by_sheet(seen):
        return max(SHEET_LEAN_DEG, seen.doubt_deg / 2)
    diameter_mm = None if seen.disc is None else seen.division.parts[0].diameter_mm
    if diameter_mm is None:
        return UNTOLD_LEAN_DEG
    if seen.lean_rad is not None:
        return float(np.degrees(seen.lean_rad))
    oval_mm = float(np.hypot(UNEVEN_PX * mm_per_px, UNEVEN_SHARE * seen.fit_mm))
    sine = np.sin(np.radians(seen.view.tilt_deg))
    told = lean_by_ovals_rad(oval_mm, np.array([diameter_mm / 2]), np.array([sine]))
    return float(np.degrees(told))


def _tilt_u95_deg(seen: Seen, doubts: Doubts) -> float:
    """Say how uncertain the tilt is: by its lean, and by what the focal length makes of it.

    A sheet's corners converge by tilt over focal length. A disc tells its lean against the line
    of sight, which is the farther off the camera's axis the shorter the focal length.
    """
    view, by_focal_deg = seen.view, 0.0
    if _by_sheet(seen):
        by_focal_deg = view.tilt_deg
    elif seen.disc is not None:
        off_axis_px = view.to_photo(seen.origin_mm[None, :], seen.top_mm)[0] - view.centre_px
        by_focal_deg = float(np.degrees(np.arctan(np.hypot(*off_axis_px) / view.focal_px)))
    return COVERAGE * float(np.hypot(doubts.lean_deg, doubts.focal_share * by_focal_deg))


def _warnings(seen: Seen, *, focal_known: bool, heights_mm: Mapping[str, float]) -> tuple[str, ...]:
    said = []
    height_mm = seen.view.height_mm
    if not NEAREST_MM <= height_mm <= FARTHEST_MM:
        said.append(
            f"By the size given the camera was {height_mm / 10:.3g} cm above the sheet. If it was "
            "not, check that size, its decimal point and its unit."
        )
    if not focal_known:
        said.append(
            f"The photo does not tell its focal length; {USUAL_FOCAL_35_MM:.0f} mm (35 mm "
            "equivalent) is assumed, so tilt and part heights are corrected less surely."
        )
    if not heights_mm:
        said.append(
            "No thickness is given, so every part is taken as lying at one height. "
            "Give it with --thick for a truer tab and loop."
        )
    if seen.disc is None and not _by_sheet(seen):
        said.append(
            "The blank has no disc to tell the camera's tilt by; the photo is taken as square on. "
            "Let the sheet's four corners show and name its size with --sheet."
        )
    elif seen.doubt_deg and _by_sheet(seen):
        said.append(
            f"The disc and the sheet's corners disagree about the camera's tilt by "
            f"{seen.doubt_deg:.1f} degrees. Check that the sheet lies flat."
        )
    elif seen.doubt_deg:
        said.append(
            f"The disc alone cannot tell which of two ways the camera leaned "
            f"({seen.doubt_deg:.1f} degrees apart); the likelier one is used."
        )
    return tuple(said)
