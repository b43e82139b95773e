"""Turn one measured size into the camera's view of the sheet, in millimetres.

A disc of measured diameter gives everything at once: how far the camera is, which
way the sheet leans, and the scale, because each point of its rim must lie one
radius from one centre once it is brought to the height of the edge it belongs to.
A small or uneven rim tells the lean badly; other discs on the same sheet, of whatever
size, must come out round under the same lean, and are asked too.

Which edge of a wall in view was located, its foot or the face's, the circle tells,
where one disc is all there is.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, optimize

from blanktrace.rectify import View, circle_poses
from blanktrace.roundness import (
    OVAL_PX,
    USUAL_LEAN_RAD,
    DiscRim,
    lean_doubt_rad,
    lean_sine,
    odd_one,
    off_circle,
    oval_of,
)
from blanktrace.walls import edge_heights, faces_nadir

FloatArray = NDArray[np.float64]

MOST_RIM_POINTS = 360
"""Rim points used in the fit: every degree; more carry no more information."""

SHEET_LEAN_RAD = 0.004
"""What the lean is uncertain by where the sheet's corners tell it."""

INDEPENDENT_POINTS = 30
"""Points of a rim that err independently: neighbours share their shading and grain."""

BESIDE_POINTS = 90
"""Points of each other disc's rim: every fourth degree is enough for its roundness."""

SETTLED = 1e-7
"""Relative change at which a fit has settled: a tenth of a micrometre in a metre."""

LEAST_NOISE_MM = 0.01

ELSEWHERE_SHARE, LEAST_ELSEWHERE_PX = 0.005, 0.7
"""How far the rim across a strap lies from the circle of the rest where the rest is not all rim, as
a share of the radius, and at least: nearer by, the rest tells the circle better."""

STRETCHES = 36
"""Stretches of the rim, 10 degrees each, over which one edge or the other is taken."""

ROBUST_MM = 0.05
"""Residual beyond which a rim point loses its pull (soft L1): a nick or a speck."""


@dataclass(frozen=True, eq=False)
class DiscView:
    """One way of seeing a disc of known size.

    Attributes
    ----------
    view : View
    centre_mm : ndarray, shape (2,)
        The disc's centre in the view's plane.
    rms_mm : float
        Root mean square of the rim's distance from the circle.
    foot_share : float
        Share of the walls in view whose foot, not whose upper edge, was located.
    lean_rad : float or None
        Standard uncertainty of the lean, where several discs told it together.
    misfit : float
        What the other discs' roundness says against it, as a chi-square.
    ovals_px : ndarray, shape (K,)
        How far out of round each disc's rim still is, this one's first; empty for one alone.
    """

    view: View
    centre_mm: FloatArray
    rms_mm: float
    foot_share: float
    lean_rad: float | None = None
    misfit: float = 0.0
    ovals_px: FloatArray = field(default_factory=lambda: np.zeros(0))


def views_of_disc(
    rim: DiscRim,
    *,
    conic: FloatArray,
    radius_mm: float,
    top_mm: float,
    focal_px: float,
    centre_px: FloatArray,
    sheet_normal: FloatArray | None = None,
    beside: tuple[DiscRim, ...] = (),
) -> tuple[DiscView, DiscView]:
    """Find both views under which a rim is a circle of known radius.

    Parameters
    ----------
    rim : DiscRim
    conic : ndarray, shape (3, 3)
        The rim's ellipse in normalised coordinates, where the search starts.
    radius_mm : float
        Measured radius.
    top_mm : float
        Height of the disc's face above the sheet.
    focal_px, centre_px
        The camera.
    sheet_normal : ndarray, shape (3,), optional
        The sheet's normal where its corners tell it; it is weighed against the
        rim by what each is worth.
    beside : tuple of DiscRim
        Other discs on the sheet, of unknown radius and the same height, which the
        lean must make round too.

    Returns
    -------
    (DiscView, DiscView)
        The smaller tilt first.

    Notes
    -----
    Least squares over lean (2), camera height and centre (2). Where the rim shows across a
    strap, and lies elsewhere than the rest would have it, part of the rest was not the rim:
    all of it is fitted.
    """
    thinned = rim.thinned(MOST_RIM_POINTS)
    others = tuple(one.thinned(BESIDE_POINTS) for one in beside)
    while True:
        settled: Callable[..., DiscView] = (
            partial(_settled_together, beside=others) if others else _settled_alone
        )
        found = [
            settled(
                View(
                    focal_px=focal_px,
                    centre_px=centre_px,
                    normal=normal,
                    height_mm=distance + top_mm,
                ),
                thinned,
                top_mm=top_mm,
                radius_mm=radius_mm,
                sheet_normal=sheet_normal,
            )
            for normal, distance in circle_poses(conic, radius_mm=radius_mm)
        ]
        odd = odd_one(min(found, key=lambda one: one.misfit).ovals_px)
        if odd is None:
            break
        # If the measured one is odd among the others, none of them is asked.
        others = (*others[: odd - 1], *others[odd:]) if odd else ()
    first, second = sorted(found, key=lambda one: one.view.tilt_deg)
    if not _is_contradicted((first, second), rim, top_mm, radius_mm):
        return first, second
    return views_of_disc(
        rim.completed(),
        conic=conic,
        radius_mm=radius_mm,
        top_mm=top_mm,
        focal_px=focal_px,
        centre_px=centre_px,
        sheet_normal=sheet_normal,
        beside=beside,
    )


def _is_contradicted(
    views: tuple[DiscView, DiscView], rim: DiscRim, top_mm: float, radius_mm: float
) -> bool:
    """Say whether the rim across the straps is elsewhere than either view has it."""
    if not len(rim.across_px):
        return False
    off_px = []
    for seen in views:
        away = seen.view.to_plane(rim.across_px, top_mm) - seen.centre_mm
        mm_per_px = (seen.view.height_mm - top_mm) / seen.view.focal_px
        off_px.append(abs(float(np.median(np.hypot(*away.T))) - radius_mm) / mm_per_px)
    radius_px = radius_mm / mm_per_px
    return min(off_px) > max(ELSEWHERE_SHARE * radius_px, LEAST_ELSEWHERE_PX)


def _settled_alone(
    view: View,
    rim: DiscRim,
    *,
    top_mm: float,
    radius_mm: float,
    sheet_normal: FloatArray | None,
) -> DiscView:
    """Fit to one rim, first as if all walls in view were located at the face, then at the foot."""
    facing = faces_nadir(view, rim.points_px, rim.outward)
    starts = np.full(len(facing), top_mm), np.where(facing, 0.0, top_mm)
    tried = [
        _settled(view, rim, heights_mm=heights, radius_mm=radius_mm, sheet_normal=sheet_normal)
        for heights in starts
    ]
    return min(tried, key=lambda one: one.rms_mm)


def _settled(
    view: View,
    rim: DiscRim,
    *,
    heights_mm: FloatArray,
    radius_mm: float,
    sheet_normal: FloatArray | None,
) -> DiscView:
    """Fit, decide anew for each wall in view which of its edges was located, and fit again.

    A wall in the light looks like the face, and its foot is the boundary; a wall
    in shadow looks like the shadow, and the face's edge is. What fits the circle
    better over a stretch of the rim decides.
    """
    top_mm = float(heights_mm.max())
    rim_px, doubt_mm = rim.points_px, _doubt_mm(rim, view, top_mm)
    fit = partial(_fit_disc_view, rim=rim, radius_mm=radius_mm, sheet_normal=sheet_normal)
    seen = fit(view, heights_mm=heights_mm, noise_mm=doubt_mm)
    run = max(3, len(rim_px) // STRETCHES)
    before: FloatArray | None = None
    for _ in range(2):
        off = [
            np.abs(np.hypot(*(seen.view.to_plane(rim_px, height) - seen.centre_mm).T) - radius_mm)
            for height in (0.0, top_mm)
        ]
        foot, face = (ndimage.uniform_filter1d(one, run, mode="wrap") for one in off)
        facing = faces_nadir(seen.view, rim_px, rim.outward)
        feet = facing & (foot < face)
        heights = np.where(feet, 0.0, top_mm)
        share = float(feet.sum() / max(facing.sum(), 1))
        if before is not None and np.array_equal(heights, before):
            break
        before = heights
        noise_mm = float(np.hypot(seen.rms_mm, doubt_mm))
        seen = fit(seen.view, heights_mm=heights, noise_mm=noise_mm)
    return replace(seen, foot_share=share)


def _settled_together(
    view: View,
    rim: DiscRim,
    *,
    top_mm: float,
    radius_mm: float,
    sheet_normal: FloatArray | None,
    beside: tuple[DiscRim, ...],
) -> DiscView:
    """Fit to several rims, and again with the walls that are then in view.

    The light beside each rim says which edge of a wall was located. That the
    measured one's fits its circle better one way or the other says less: it would
    choose what suits the lean that it started from.
    """
    doubt_mm = _doubt_mm(rim, view, top_mm)
    seen = DiscView(view, np.zeros(2), 0.0, foot_share=0.0)
    for _ in range(2):
        heights = edge_heights(
            seen.view, rim.points_px, rim.outward, top_mm=top_mm, foot_share=rim.foot_share
        )
        seen = _fit_disc_view(
            seen.view,
            rim=rim,
            heights_mm=heights,
            radius_mm=radius_mm,
            sheet_normal=sheet_normal,
            noise_mm=float(np.hypot(seen.rms_mm, doubt_mm)),
            beside=beside,
        )
    facing = faces_nadir(seen.view, rim.points_px, rim.outward)
    share = float(rim.foot_share[facing].mean()) if facing.any() else 0.0
    return replace(seen, foot_share=share)


def _doubt_mm(rim: DiscRim, view: View, top_mm: float) -> float:
    """Say what a rim's points are uncertain by, at the height of its face."""
    return rim.doubt_px * (view.height_mm - top_mm) / view.focal_px


def _fit_disc_view(
    start: View,
    *,
    rim: DiscRim,
    heights_mm: FloatArray,
    radius_mm: float,
    sheet_normal: FloatArray | None,
    noise_mm: float,
    beside: tuple[DiscRim, ...] = (),
) -> DiscView:
    rim_px, count = rim.points_px, len(rim.points_px)
    noise_mm = max(noise_mm, LEAST_NOISE_MM)
    top_mm = float(heights_mm.max())
    mm_per_px = (start.height_mm - top_mm) / start.focal_px
    levels = [
        edge_heights(start, one.points_px, one.outward, top_mm=top_mm, foot_share=one.foot_share)
        for one in beside
    ]
    # Every rim is worth as many points as err independently, less what it is located oval by.
    own = _worth_mm(noise_mm, mm_per_px)
    weights = [
        own
        / _worth_mm(max(one.doubt_px * mm_per_px, LEAST_NOISE_MM), mm_per_px)
        * np.sqrt(count / len(one.points_px))
        for one in beside
    ]

    def unpack(p: FloatArray) -> tuple[View, FloatArray]:
        view = View(
            focal_px=start.focal_px,
            centre_px=start.centre_px,
            normal=(p[0], p[1], 1.0),
            height_mm=float(np.exp(p[2])),
        )
        return view, p[3:]

    def residual(p: FloatArray) -> FloatArray:
        view, centre = unpack(p)
        off = np.hypot(*(view.to_plane(rim_px, heights_mm) - centre).T) - radius_mm
        others = [
            weight * off_circle(view.to_plane(one.points_px, level))[0]
            for one, level, weight in zip(beside, levels, weights, strict=True)
        ]
        return np.concatenate([off, *others, pull * (p[:2] - expected)])

    # The rim tells the lean by what it is out of round beyond its own unevenness, so an
    # uneven or small one must not outweigh what is known of the lean without it.
    expected, lean_rad = np.zeros(2), USUAL_LEAN_RAD
    if sheet_normal is not None:
        expected, lean_rad = sheet_normal[:2] / sheet_normal[2], SHEET_LEAN_RAD
    pull = np.sqrt(count / INDEPENDENT_POINTS) * noise_mm / lean_rad
    lean = start.normal[:2] / start.normal[2]
    centre = start.to_plane(rim_px, heights_mm).mean(axis=0)
    solution = optimize.least_squares(
        residual,
        np.concatenate([lean, [np.log(start.height_mm)], centre]),
        x_scale=[0.01, 0.01, 0.01, 1.0, 1.0],
        loss="soft_l1",
        f_scale=max(ROBUST_MM, noise_mm),
        ftol=SETTLED,
        xtol=SETTLED,
        gtol=SETTLED,
    )
    view, centre = unpack(solution.x)
    off = residual(solution.x)
    rms = float(np.sqrt(np.mean(off[:count] ** 2)))
    seen = DiscView(view=view, centre_mm=centre, rms_mm=rms, foot_share=0.0)
    if not beside:
        return seen
    plane = [view.to_plane(rim_px, heights_mm)]
    plane += [
        view.to_plane(one.points_px, level) for one, level in zip(beside, levels, strict=True)
    ]
    sines = np.array([lean_sine(view, one) for one in (rim, *beside)])
    ovals, radii = np.array([oval_of(points) for points in plane]).T
    return replace(
        seen,
        lean_rad=lean_doubt_rad(ovals, radii, sines, least_mm=OVAL_PX * mm_per_px),
        misfit=float(np.sum(off[count:-2] ** 2)) / own**2 * INDEPENDENT_POINTS / count,
        ovals_px=ovals / mm_per_px,
    )


def _worth_mm(noise_mm: float, mm_per_px: float) -> float:
    """Noise of a point that would make a rim as uncertain as its points and its ovalness do."""
    return float(np.hypot(noise_mm, np.sqrt(INDEPENDENT_POINTS) * OVAL_PX * mm_per_px))
