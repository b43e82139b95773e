"""Work out how the camera stood, and bring the whole boundary to millimetres.

For a blank with a disc the rim tells where the camera was, up to one of two leans;
each is tried on the whole boundary, part by part at its own height, and the one
that leaves the blank more regular is kept. A blank without a disc is taken as
photographed square on.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from blanktrace.circle import dominant_circle
from blanktrace.disc import Disc, fit_disc
from blanktrace.edge import Edge
from blanktrace.errors import ContrastError, NoDiscError
from blanktrace.lean import CLEAR, judge_lean
from blanktrace.parts import Division, Part, divide_disc_blank, hole_of
from blanktrace.plain_view import view_of_length
from blanktrace.rectify import View
from blanktrace.rims import lay_rims
from blanktrace.roundness import DiscRim
from blanktrace.scale import DiscView, views_of_disc
from blanktrace.seen import Camera, Seen
from blanktrace.walls import edge_heights, foot_shares

FloatArray = NDArray[np.float64]

AGREE_DEG = 1.5
"""Disc and sheet that differ by more than this in the camera's lean disagree."""

TELLING_DEG = 225.0
"""Rim that a disc must show to tell the lean: less lets its circle take up what it is oval by."""

LARGEST_HOLE_SHARE = 0.5
"""Hole in a disc with a tab, over the disc, at most: a ring of wire has one of 0.7 and more."""


def rim_of(edges: tuple[Edge, ...]) -> DiscRim | None:
    """Give the disc's rim in a boundary; none where it follows no circle, or only part of one.

    Parameters
    ----------
    edges : tuple of Edge
        Exterior first.
    """
    try:
        disc = fit_disc(edges[0].apart_px)
    except NoDiscError:
        return None
    return _rim(edges[0], disc) if disc.coverage_deg >= TELLING_DEG else None


def _rim(edge: Edge, disc: Disc) -> DiscRim:
    return DiscRim(
        points_px=edge.apart_px[disc.inlier],
        outward=edge.outward[disc.inlier],
        foot_share=foot_shares(edge.loss_beside[disc.inlier]),
        doubt_px=float(np.sqrt(np.mean(edge.doubt_px[disc.inlier] ** 2))),
        across_px=edge.across_px,
    )


def see_disc_blank(
    edges: tuple[Edge, ...],
    *,
    diameter_mm: float,
    heights_mm: Mapping[str, float],
    camera: Camera,
    beside: tuple[DiscRim, ...] = (),
) -> Seen:
    """See a blank whose disc was measured.

    Parameters
    ----------
    edges : tuple of Edge
        Exterior first.
    diameter_mm : float
    heights_mm : mapping
        Tops above the sheet by part; parts left out lie on the sheet.
    camera : Camera
    beside : tuple of DiscRim
        Other discs in the photograph, as high as this one, that tell the lean too.

    Returns
    -------
    Seen

    Raises
    ------
    NoDiscError
        If the boundary follows no circle.
    ContrastError
        If what is round is the ring on a strap, and the disc has been lost.
    """
    disc = fit_disc(edges[0].apart_px)
    candidates = views_of_disc(
        _rim(edges[0], disc),
        conic=_normalised_conic(disc, camera),
        radius_mm=diameter_mm / 2,
        top_mm=heights_mm.get("disc", 0.0),
        focal_px=camera.focal_px,
        centre_px=camera.centre_px,
        sheet_normal=camera.sheet_normal,
        beside=beside,
    )
    first, second = (_divide(edges, one, diameter_mm, heights_mm) for one in candidates)
    # Both leans are judged by like parts: those of the one that makes more of the blank.
    between_mm = candidates[1].centre_mm - candidates[0].centre_mm
    if first.loops < second.loops:
        first = second.moved(-between_mm)
    elif second.loops < first.loops:
        second = first.moved(between_mm)
    _refuse_ring(first, diameter_mm)
    tried = [
        _placed(edges, one, division, heights_mm=heights_mm, disc=disc)
        for one, division in zip(candidates, (first, second), strict=True)
    ]
    return _rounded(_likelier(tried, camera), diameter_mm / 2)


def _refuse_ring(division: Division, diameter_mm: float) -> None:
    """Refuse a ring with a tab: the disc that it hangs on is not there."""
    holes = [part.diameter_mm or 0.0 for part in division.parts if part.kind == "hole"]
    share = max(holes, default=0.0) / diameter_mm
    if share > LARGEST_HOLE_SHARE and any(part.kind == "tab" for part in division.parts):
        raise ContrastError(
            f"The round part that was found has a hole of {share:.0%} of its size and a tab beside "
            "it: it seems to be the blank's ring, and the disc could not be told from the sheet. "
            "Use paper of another tint, and retake the photo. If it is the blank's shape, give its "
            "longest size with --length instead."
        )


def see_plain_blank(
    edges: tuple[Edge, ...],
    *,
    measured_mm: float,
    side: int,
    top_mm: float,
    camera: Camera,
) -> Seen:
    """See a blank with no disc by its length (side 0) or width (side 1).

    The lean is the sheet's where its corners tell it; else the camera is taken
    to look straight down.
    """
    told = camera.sheet_normal is not None
    lean = View(
        focal_px=camera.focal_px,
        centre_px=camera.centre_px,
        normal=np.array([0.0, 0.0, 1.0]) if camera.sheet_normal is None else camera.sheet_normal,
        height_mm=camera.focal_px,
    )
    view = view_of_length(
        edges[0],
        measured_mm=measured_mm,
        side=side,
        top_mm=top_mm,
        lean=lean,
    )
    by = "the sheet's corners" if told else "nothing: taken as square on"
    return _plain(edges, view, top_mm=top_mm, corrected_by=by)


def see_beside(edges: tuple[Edge, ...], other: Seen, *, heights_mm: Mapping[str, float]) -> Seen:
    """See a blank in the view that another one in the same photograph gave.

    Parameters
    ----------
    edges : tuple of Edge
        Exterior first.
    other : Seen
        The blank that was measured.
    heights_mm : mapping
        Tops above the sheet by part.

    Returns
    -------
    Seen
        With its own disc, of the size found, or plain where it has none.
    """
    try:
        disc = fit_disc(edges[0].apart_px)
    except NoDiscError:
        return _plain(
            edges,
            other.view,
            top_mm=other.top_mm,
            corrected_by=other.corrected_by,
        )
    rim, outward = edges[0].apart_px[disc.inlier], edges[0].outward[disc.inlier]
    top_mm = heights_mm.get("disc", 0.0)
    shares = foot_shares(edges[0].loss_beside[disc.inlier])
    heights = edge_heights(other.view, rim, outward, top_mm=top_mm, foot_share=shares)
    centre, radius = dominant_circle(other.view.to_plane(rim, heights))
    off = np.hypot(*(other.view.to_plane(rim, heights) - centre).T) - radius
    beside = DiscView(other.view, centre, float(np.sqrt(np.mean(off**2))), float(shares.mean()))
    division = _divide(edges, beside, 2 * radius, heights_mm)
    seen = _placed(edges, beside, division, heights_mm=heights_mm, disc=disc)
    return replace(
        _rounded(seen, radius),
        corrected_by=other.corrected_by,
        doubt_deg=other.doubt_deg,
        lean_rad=other.lean_rad,
    )


def _likelier(tried: list[Seen], camera: Camera) -> Seen:
    """Choose between the two leans, and say by what."""
    between = _degrees_between(tried[0].view.normal, tried[1].view.normal)
    if camera.sheet_normal is not None:
        apart = [_degrees_between(one.view.normal, camera.sheet_normal) for one in tried]
        best = int(np.argmin(apart))
        doubt = apart[best] if apart[best] > AGREE_DEG else 0.0
        by = "the disc's ellipse and the sheet's corners"
        return replace(tried[best], corrected_by=by, doubt_deg=doubt)
    judged = [
        judge_lean(
            seen.rings_mm,
            seen.division,
            centre_mm=seen.origin_mm,
            tilt_deg=seen.view.tilt_deg,
        )
        for seen in tried
    ]
    costs = [judgement.cost + seen.misfit for judgement, seen in zip(judged, tried, strict=True)]
    best = int(np.argmin(costs))
    margin = abs(costs[0] - costs[1])
    witnesses = judged[best].witnesses
    rims = "the disc's ellipse" if tried[best].lean_rad is None else "the discs' ellipses"
    by = rims + (f", with {' and '.join(witnesses)}" if witnesses else "")
    # Several discs mostly leave one lean, to which both searches then lead.
    apart = between > np.degrees(tried[best].lean_rad or 0.0)
    return replace(
        tried[best], corrected_by=by, doubt_deg=between if apart and margin < CLEAR else 0.0
    )


def _degrees_between(first: FloatArray, second: FloatArray) -> float:
    return float(np.degrees(np.arccos(np.clip(first @ second, -1, 1))))


def _plain(edges: tuple[Edge, ...], view: View, *, top_mm: float, corrected_by: str) -> Seen:
    """Bring a blank with no disc to the plane, all at one height."""
    rings = tuple(
        view.to_plane(
            edge.points_px,
            edge_heights(
                view,
                edge.points_px,
                edge.outward,
                top_mm=top_mm,
                foot_share=foot_shares(edge.loss_beside),
            ),
        )
        for edge in edges
    )
    holes = tuple(hole_of(ring) for ring in rings[1:])
    owners = tuple(np.full(len(ring), index - 1, dtype=np.intp) for index, ring in enumerate(rings))
    division = Division(parts=holes, owners=owners, axis_rad=np.nan)
    return Seen(
        view=view,
        rings_mm=lay_rims(rings, division),
        division=division,
        origin_mm=np.zeros(2),
        disc=None,
        top_mm=top_mm,
        fit_mm=0.0,
        corrected_by=corrected_by,
        doubt_deg=0.0,
    )


def _divide(
    edges: tuple[Edge, ...],
    seen: DiscView,
    diameter_mm: float,
    heights_mm: Mapping[str, float],
) -> Division:
    """Divide a boundary into parts, all taken at the height of the disc's face."""
    top_mm = heights_mm.get("disc", 0.0)
    rings = tuple(
        seen.view.to_plane(
            edge.points_px,
            edge_heights(
                seen.view,
                edge.points_px,
                edge.outward,
                top_mm=top_mm,
                foot_share=seen.foot_share,
            ),
        )
        for edge in edges
    )
    return divide_disc_blank(rings, centre_mm=seen.centre_mm, radius_mm=diameter_mm / 2)


def _placed(
    edges: tuple[Edge, ...],
    seen: DiscView,
    division: Division,
    *,
    heights_mm: Mapping[str, float],
    disc: Disc,
) -> Seen:
    """Bring each part of a boundary to its own height."""
    rings = [
        seen.view.to_plane(edge.points_px, _heights(seen, edge, owner, division, heights_mm))
        for edge, owner in zip(edges, division.owners, strict=True)
    ]
    return Seen(
        view=seen.view,
        rings_mm=tuple(rings),
        division=division,
        origin_mm=seen.centre_mm,
        disc=disc,
        top_mm=heights_mm.get("disc", 0.0),
        fit_mm=seen.rms_mm,
        corrected_by="",
        doubt_deg=0.0,
        lean_rad=seen.lean_rad,
        misfit=seen.misfit,
    )


def _rounded(seen: Seen, radius_mm: float) -> Seen:
    """Lay the disc's rim on its circle, and the rims of loops and round holes on theirs."""
    rings = lay_rims(seen.rings_mm, seen.division, disc=(seen.origin_mm, radius_mm))
    return replace(seen, rings_mm=rings)


def _heights(
    seen: DiscView,
    edge: Edge,
    owner: NDArray[np.intp],
    division: Division,
    heights_mm: Mapping[str, float],
) -> FloatArray:
    """Height of the edge that shows at each point.

    A loop is commonly bent from round wire, whose outline is its equator, half
    way up, wherever it is seen from; a flat ring is off by a quarter of its
    height at most on average.
    """
    tops = np.array([_top(part, heights_mm) for part in division.parts])
    heights = edge_heights(
        seen.view,
        edge.points_px,
        edge.outward,
        top_mm=tops[owner],
        foot_share=seen.foot_share,
    )
    loops = np.array([part.kind == "loop" for part in division.parts])[owner]
    return np.where(loops, tops[owner] / 2, heights)


def _top(part: Part, heights_mm: Mapping[str, float]) -> float:
    return heights_mm.get("disc" if part.kind == "hole" else part.kind, 0.0)


def _normalised_conic(disc: Disc, camera: Camera) -> FloatArray:
    """Matrix of the rim's ellipse in pixels from the principal point over the focal length."""
    a, b = np.array(disc.ellipse.semi_axes_px) / camera.focal_px
    cos, sin = np.cos(disc.ellipse.angle_rad), np.sin(disc.ellipse.angle_rad)
    x, y = (disc.ellipse.centre_px - camera.centre_px) / camera.focal_px
    # Unit circle <- scaled by the axes <- turned <- moved to the ellipse's centre.
    to_unit = np.array([[cos / a, sin / a, 0], [-sin / b, cos / b, 0], [0, 0, 1]]) @ np.array(
        [[1, 0, -x], [0, 1, -y], [0, 0, 1]]
    )
    return np.asarray(to_unit.T @ np.diag([1.0, 1.0, -1.0]) @ to_unit)
