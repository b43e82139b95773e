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

from blanktrace.effects import Effects
from blanktrace.errors import ContrastError
from blanktrace.outline import Contribution

COVERAGE = 2.0
"""Expands a standard uncertainty to about 95 %."""

CALIPER_CAUSE = "the caliper's reading"
EDGE_CAUSE = "finding the edge"
FIT_CAUSE = "the fit of the disc"
ENDS_CAUSE = "finding the ends of what was measured"

MOST_VAGUE_MM, MOST_VAGUE_SHARE = 0.75, 0.005
"""Expanded uncertainty of the edge, or its share of the blank's size (root of its area), beyond
which an outline is of no use: pockets have a fraction of that for clearance (common practice)."""

CALIPER_LIMIT_MM = 0.03
"""Error limit of calipers on ordinary sizes, taken as the half width of a rectangle."""

EDGE_PX = 0.5
"""Systematic part of locating an edge: shading beside it, sharpening, a rounded rim."""

EDGE_BLUR_SHARE = 0.10
"""The same, as a share of the blur."""

ENDS_PX = 2.0
"""Standard uncertainty of a length from end to end: few points tell it, of which the outermost
count, and what misleads them does not average out."""


@dataclass(frozen=True)
class Circumstances:
    """What the budget is reckoned from.

    Attributes
    ----------
    measured_mm : float
        The caliper's reading.
    radius_mm : float
        Root mean square distance of the boundary from where the scale is set.
    mm_per_px : float
    blur_px : float
    located_share : float
        Share of the boundary that lies where its edge was located; the rest is
        the measured disc's circle.
    doubt_px : float
        Root mean square of what located points are uncertain by. Lines and arcs through
        them do not lessen it: what misleads them lies along the blank's whole side.
    uneven_mm : float
        Root mean square by which located edges leave the circle they should lie on.
    stray_mm : float
        The same of those that were left off it, root mean square along the whole
        boundary: nicks or shadows.
    fit_mm : float
        Standard uncertainty of the scale's radius from the fit.
    by_ends : bool
        Whether the scale comes from a length, which two ends tell, and not from a disc.
    effects : Effects
        What doubts about view, heights and lens do.
    heights_given, lens_known : bool
        Whether thicknesses, and a lens file, were given.
    """

    measured_mm: float
    radius_mm: float
    mm_per_px: float
    blur_px: float
    located_share: float
    doubt_px: float
    uneven_mm: float
    stray_mm: float
    fit_mm: float
    by_ends: bool
    effects: Effects
    heights_given: bool
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
    edge_px = float(np.hypot(EDGE_PX + EDGE_BLUR_SHARE * c.blur_px, c.doubt_px))
    edge_mm = float(np.hypot(edge_px * c.mm_per_px, c.uneven_mm))
    causes = [
        (
            CALIPER_CAUSE,
            CALIPER_LIMIT_MM / np.sqrt(3) * c.radius_mm / c.measured_mm,
            "measure several times and take the mean",
        ),
        (
            EDGE_CAUSE,
            float(np.hypot(edge_mm * np.sqrt(c.located_share), c.stray_mm)),
            "photograph sharper, in soft even light, and let the blank fill more of the photo",
        ),
        (FIT_CAUSE, c.fit_mm, "let more of the rim show"),
        (
            ENDS_CAUSE,
            c.by_ends * ENDS_PX * c.mm_per_px * c.radius_mm / c.measured_mm,
            "photograph nearer, in soft light that casts no shadow off the ends",
        ),
        (
            "the camera's tilt",
            c.effects.tilt_mm,
            "hold the phone level above the blank, "
            "or let the sheet's corners show and name its size",
        ),
        (
            "the height of the parts",
            c.effects.height_mm,
            "photograph from higher, straight above"
            if c.heights_given
            else "measure how thick each part is and give it with --thick",
        ),
        (
            "the bend of the lens",
            c.effects.bend_mm,
            "make the lens file anew, with the checkerboard in the photos' corners too"
            if c.lens_known
            else "make a lens file and give it with --lens, or lay the blank in the middle of the "
            "photo and photograph from higher",
        ),
        (
            "the focal length",
            c.effects.focal_mm,
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


def refuse_vague(contributions: tuple[Contribution, ...], *, size_mm: float) -> None:
    """Refuse an outline whose edge is too uncertain to make a pocket by.

    Parameters
    ----------
    contributions : tuple of Contribution
        As from `add_up`.
    size_mm : float
        Root of the blank's area.

    Raises
    ------
    ContrastError
    """
    limit_mm = max(MOST_VAGUE_MM, MOST_VAGUE_SHARE * size_mm)
    vague_mm = next(one.u95_mm for one in contributions if one.cause == EDGE_CAUSE)
    if vague_mm > limit_mm:
        raise ContrastError(
            f"The blank's edge can be told to ±{vague_mm:.2f} mm only ({limit_mm:.2f} mm allowed "
            "at this size): part of it is hardly to be told from the sheet or a shadow. Use paper "
            "of another tint, or softer light, let the blank fill more of the photo, and retake it."
        )
