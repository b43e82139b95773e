"""Add up what each cause may do to the outline.

Every cause is given as a standard uncertainty of the boundary, root mean square
along it, in millimetres; they are independent and add in squares, and twice the
sum covers about 95 %.

References
----------
JCGM 100:2008, Evaluation of measurement data: guide to the expression of
uncertainty in measurement.
DIN 862: error limits of calipers, ±0.03 mm to 300 mm.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from blanktrace.outline import Contribution

COVERAGE = 2.0
"""Expands a standard uncertainty to about 95 %."""

CALIPER_CAUSE = "the caliper's reading"
EDGE_CAUSE = "finding the edge"
FIT_CAUSE = "the fit of the disc"

CALIPER_LIMIT_MM = 0.03
"""Error limit of calipers on ordinary sizes, taken as the half width of a rectangle."""

EDGE_PX = 0.5
"""Systematic part of locating an edge: shading beside it, sharpening, a rounded rim."""

EDGE_BLUR_SHARE = 0.10
"""The same, as a share of the blur."""

UNKNOWN_HEIGHT_MM = 3.0
"""Height (standard uncertainty) of a part above or below the measured face when not given."""

GIVEN_HEIGHT_MM = 0.4
"""Standard uncertainty of a height given: how flat a part lies, whether its edge is round or
square (a ring of wire is outlined half way up), and whether wall or face was seen."""

UNKNOWN_FOCAL_SHARE = 0.12
"""Standard uncertainty of a focal length that is only assumed."""

KNOWN_FOCAL_SHARE = 0.02


@dataclass(frozen=True)
class Circumstances:
    """What the budget is reckoned from.

    Attributes
    ----------
    measured_mm : float
        The caliper's reading.
    radius_mm : float
        Root mean square distance of the boundary from where the scale is set.
    beyond_mm : float
        The same for what lies outside the disc; 0 where all is disc.
    apart_mm : float
        Distance to the blank that was measured; 0 if it is this one.
    nadir_mm : float
        Distance from the point below the camera to the blank.
    height_mm : float
        Camera above the sheet.
    mm_per_px : float
    blur_px : float
    fit_mm : float
        Standard uncertainty of the scale's radius from the fit.
    lean_deg : float
        Standard uncertainty of the tilt.
    heights_given : bool
    focal_known : bool
    tilt_deg : float
    bend_mm : float
        What the doubt about the lens does to the boundary, as a standard uncertainty.
    lens_known : bool
        Whether a lens file was given.
    """

    measured_mm: float
    radius_mm: float
    beyond_mm: float
    nadir_mm: float
    apart_mm: float
    height_mm: float
    mm_per_px: float
    blur_px: float
    fit_mm: float
    lean_deg: float
    heights_given: bool
    focal_known: bool
    tilt_deg: float
    bend_mm: float
    lens_known: bool


def add_up(c: Circumstances) -> tuple[float, tuple[Contribution, ...]]:
    """Reckon the expanded uncertainty of a boundary and what it is made of.

    Parameters
    ----------
    c : Circumstances

    Returns
    -------
    u95_mm : float
    contributions : tuple of Contribution
        The largest first.
    """
    lean_rad = np.radians(c.lean_deg)
    tilt_rad = np.radians(c.tilt_deg)
    height = GIVEN_HEIGHT_MM if c.heights_given else UNKNOWN_HEIGHT_MM
    focal = KNOWN_FOCAL_SHARE if c.focal_known else UNKNOWN_FOCAL_SHARE
    extent = c.radius_mm + c.beyond_mm
    causes = [
        (
            CALIPER_CAUSE,
            CALIPER_LIMIT_MM / np.sqrt(3) * c.radius_mm / c.measured_mm,
            "measure several times and take the mean",
        ),
        (
            EDGE_CAUSE,
            (EDGE_PX + EDGE_BLUR_SHARE * c.blur_px) * c.mm_per_px,
            "photograph sharper, in soft even light, and let the blank fill more of the photo",
        ),
        (FIT_CAUSE, c.fit_mm, "let more of the rim show"),
        (
            "the camera's tilt",
            lean_rad * extent * c.beyond_mm / c.height_mm
            + np.sin(lean_rad) * c.apart_mm / c.height_mm * c.radius_mm
            + np.sin(lean_rad) * tilt_rad * extent / 2,
            "hold the phone level above the blank, "
            "or let the sheet's corners show and name its size",
        ),
        (
            "the height of the parts",
            height * (c.nadir_mm + c.beyond_mm) / c.height_mm,
            "photograph from higher, straight above"
            if c.heights_given
            else "measure how thick each part is and give it with --thick",
        ),
        (
            "the bend of the lens",
            c.bend_mm,
            "make the lens file anew, with the checkerboard in the photos' corners too"
            if c.lens_known
            else "make a lens file and give it with --lens, or lay the blank in the middle of the "
            "photo and photograph from higher",
        ),
        (
            "the focal length",
            focal * tilt_rad * extent * c.beyond_mm / c.height_mm
            + focal * (height if not c.heights_given else 0.0) * c.nadir_mm / c.height_mm,
            "use the photo as the phone saved it, with its focal length",
        ),
    ]
    contributions = tuple(
        sorted(
            (Contribution(cause, COVERAGE * float(u), remedy) for cause, u, remedy in causes),
            key=lambda contribution: -contribution.u95_mm,
        )
    )
    total = float(np.sqrt(sum(contribution.u95_mm**2 for contribution in contributions)))
    return total, contributions
