"""Seek the rim of a plain disc anew, where its boundary came out as nothing round.

Bright metal on white paper mirrors the sheet, so that part of it passes for paper;
its shadow has the metal's shade, so that part of the shadow passes for metal. The
cut between blank and sheet then follows neither. What stays true is that the rim is
an ellipse in the photograph, that all along it something changes sharply, be it
light to dark or dark to light, and that beyond it nothing does: a shadow ends
softly. So the outermost sharp edge is found along rays, all round; the ellipse that
most of them lie on is elected, and the rim is located about it ray by ray.

In hard light a shadow ends as sharply as the blank, and the two together look like
an ellipse. Where it is dark just within the outermost edge the next one inward may
be the rim: if an ellipse runs along those, and along the outermost ones elsewhere,
there is a dark crescent between the two, a shadow or a wall in the shade, and the
inner one is the face's. So it is if it is much the sharper of the two.

It is for discs with nothing on them. A boundary whose hull is no oval, that follows
an ellipse already, or that runs along those edges as much as any ellipse does, is
left as it is.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from shapely import LinearRing, Polygon, distance, get_coordinates, points

from blanktrace.consensus import (
    PROBES,
    most_followed,
    near_distances,
    sample_ellipses,
    tolerance_px,
)
from blanktrace.edge import Edge
from blanktrace.ellipse import Ellipse, fit_ellipse
from blanktrace.profiles import BESIDE_BLURS, SHARP_PX, SPACING_PX, Pixels, along_ring
from blanktrace.rays import Look, look_along

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.intp]

LEAST_SOLID = 0.93
"""Share of its hull that a plain disc fills at least, though a highlight took some of it."""

ROUND_SHARE, ROUND_WITHIN = 0.85, 0.01
"""Share of a boundary within the tolerance of one ellipse with which it is a disc's rim already;
and that tolerance, as a share of the radius, at most: pixels are large on a small disc."""

ROUNDEST_OVAL = 0.8
"""Flattest hull of a disc: leant by 30 degrees and drawn out by shadow. A tag's is flatter."""

INWARD, OUTWARD = 0.15, 0.08
"""How far from the hull the rim is looked for, as a share of its radius: shadow makes the hull
larger, and by up to about a disc's height; metal lost on one side makes it smaller."""

BEYOND = 0.04
"""How far outside the ellipse there is mostly sheet, as a share of the radius."""

ALONG_RAD, LEAST_ALONG_PX = np.radians(1.5), 2.0
"""Gaussian along the rim that quiets noise: an arc this short stays within a thousandth of the
radius of any ellipse near by."""

LOUD_SHARE, LOUD_NOISES = 0.45, 3.0
"""Height of a step, as a share of the median ray's highest, and over what the sheet itself shows,
from which it may be the rim's: the end of a shadow, spread over many blurs, stays below."""

FINER = 0.7
"""Gaussian that places the rim, in blurs: a dark rim is a line, whose far side pulls its near
one outward under a wider one."""

QUIETER = 0.55
"""Height of a step that may be the rim's once the ellipse is known, as a share of the above: the
finer Gaussian sees 0.8 of a step, and 0.7 of that will do near the ellipse."""

TOLERANCE_BLURS = 0.7
"""How far from an ellipse a ray's edge may lie and still speak for it, in blurs: near what a
worn rim and its mirror images move an edge by. A shadow's end leaves it by more."""

LOOKS = (1.0, 0.6)
"""Looks for the ellipse, each nearer than the last."""

LARGEST = 1.3
"""Radius of the largest ellipse that competes, over the hull's."""

LEAST_VOTES, LEAST_FOUND, LEAST_LEAD = 0.35, 0.6, 0.05
"""Share of all rays whose outermost edge speaks for the ellipse (each vote graded), and of those
with any edge on it, below which there is no rim to be told; and by how much the votes must be
more than those for the boundary itself."""

SHADE_LOSS = 0.3
"""Share of the sheet's light missing from which there may be shadow."""

CRESCENT_VOTES, CRESCENT_TOUCHES = 0.75, 0.2
"""Votes, over those for the outermost ellipse, with which an ellipse that leaves a dark crescent
to it is the rim; and share of the outermost edges, at least, that lie on it, and that do not: a
shadow falls to one side, and a dark line all round is the blank's own."""

SOFTER = 1.8
"""How many times as blurred as the inner ellipse the outermost is where it is a shadow's end."""

FEWEST_VOTERS = 30
"""Rays that an ellipse is fitted to at least."""

FARTHEST = 0.35
"""How far from the rim found the boundary may have run, as a share of the radius."""

SETTLINGS = (2.0, 2.0, 1.0, 1.0)
"""Looks at the elected ellipse, and how many tolerances from it an edge may be met."""

STEADY_RAD = np.radians(2.0)
"""Gaussian along the rim over which its edges are averaged once they are found."""

UNFOUND_BLURS = 1.0
"""Uncertainty of the rim, in blurs, where no edge was met and the ellipse alone tells its place."""


@dataclass(frozen=True, eq=False)
class _Elected:
    """An ellipse that many edges lie on.

    Attributes
    ----------
    ellipse : Ellipse
    blur_px : float
        Median blur of those edges.
    votes : float
        Share of all rays that speak for it, each vote graded.
    least : float
        Height of a step near it from which it may be the rim's.
    noise : float
        Height of the steps that the sheet itself shows.
    by_softness : bool
        Whether it was preferred for being sharper than the outermost one.
    """

    ellipse: Ellipse
    blur_px: float
    votes: float
    least: float
    noise: float
    by_softness: bool = False


def seek_rim(rgb: Pixels, edge: Edge, *, light: FloatArray) -> Edge:
    """Find a plain disc's rim, if its boundary missed it.

    Parameters
    ----------
    rgb : ndarray of uint8 or uint16, shape (H, W, 3)
        The full photograph, sRGB.
    edge : Edge
        The outer boundary as it was located.
    light : ndarray, shape (3,)
        Linear light of the bare sheet about the blank.

    Returns
    -------
    Edge
        The rim's points, from the ellipse's long axis towards its short one; where
        no edge was met, on the ellipse. The edge as it was, where it is as good,
        the blank is no plain disc, or no rim can be told.
    """
    hull = _hull_ellipse(edge.points_px)
    if hull is None or _follows_ellipse(edge.apart_px):
        return edge
    radius = hull.mean_radius_px
    # What is soft beside a sharp rim is a shadow's end; but a wall in the shade may be soft too.
    for softer in (SOFTER, np.inf):
        elected, by_softness = _elect(rgb, edge, hull, light=light, softer=softer)
        found = None if elected is None else _settle(rgb, edge, elected, radius, light=light)
        if found is not None:
            return found
        if not by_softness:
            break
    return edge


def _elect(
    rgb: Pixels, edge: Edge, hull: Ellipse, *, light: FloatArray, softer: float
) -> tuple[_Elected | None, bool]:
    """Elect the ellipse that is the rim, if one is; say whether softness chose it at any look."""
    radius, by_softness = hull.mean_radius_px, False
    ellipse, blur = hull, max(SHARP_PX, edge.blur_px)
    for nearer in LOOKS:
        look = _look(rgb, ellipse, (-INWARD * nearer, OUTWARD), light=light, blur_px=blur)
        noise = float(np.median(look.steps[:, look.offsets > BEYOND * radius]))
        loud = max(LOUD_SHARE * float(np.median(look.steps.max(axis=1))), LOUD_NOISES * noise)
        elected = _likelier(look, loud, noise, radius, softer=softer)
        if elected is None:
            break
        ellipse, blur = elected.ellipse, elected.blur_px
        by_softness |= elected.by_softness
    if elected is not None:
        own = _votes_of(edge.points_px, look, loud)
        elected = elected if elected.votes >= max(LEAST_VOTES, LEAST_LEAD + own) else None
    return elected, by_softness


def _settle(
    rgb: Pixels, edge: Edge, elected: _Elected, radius: float, *, light: FloatArray
) -> Edge | None:
    """Locate the rim about an ellipse; None if too little of it shows, or it is too far away."""
    ellipse, blur = elected.ellipse, elected.blur_px
    for widening in SETTLINGS:
        reach = widening * TOLERANCE_BLURS * blur / radius
        look = _look(rgb, ellipse, (-reach, reach), light=light, blur_px=FINER * blur)
        loud = look.summits() & (look.steps > elected.least)
        offset, found = look.likeliest(loud, reach_px=reach * radius, spread_px=reach * radius)
        if np.mean(found) < LEAST_FOUND:
            return None
        ellipse = fit_ellipse((look.feet + offset[:, None] * look.outward)[found], start=ellipse)
    if np.abs(ellipse.signed_distance_px(edge.points_px)).max() > FARTHEST * radius:
        return None
    return _edge(look, _steady(offset, found, radius), found, noise=elected.noise, blur_px=blur)


def _hull_ellipse(ring: FloatArray) -> Ellipse | None:
    """Fit an ellipse round a boundary; none if it is no plain disc's."""
    body = Polygon(ring).buffer(0)
    hull = body.convex_hull
    if not isinstance(hull, Polygon) or body.area < LEAST_SOLID * hull.area:
        return None
    ellipse = fit_ellipse(get_coordinates(hull.exterior.segmentize(SPACING_PX))[:-1])
    return ellipse if ellipse.axis_ratio >= ROUNDEST_OVAL else None


def _follows_ellipse(ring: FloatArray) -> bool:
    """Say whether most of a boundary lies on one ellipse."""
    followed = most_followed(ring, largest_radius=LARGEST * float(np.ptp(ring, axis=0).max()) / 2)
    if followed is None:
        return False
    shape, off = followed
    tolerance = min(float(tolerance_px(shape[2])), ROUND_WITHIN * float(shape[2]))
    return float(np.mean(np.abs(off) < tolerance)) >= ROUND_SHARE


def _look(
    rgb: Pixels,
    ellipse: Ellipse,
    reach: tuple[float, float],
    *,
    light: FloatArray,
    blur_px: float,
) -> Look:
    """Look along rays, inward and outward by shares of the radius."""
    radius = ellipse.mean_radius_px
    count = int(2 * np.pi * radius / SPACING_PX)
    return look_along(
        rgb,
        ellipse.points(count),
        ellipse.normals(count),
        reach_px=(reach[0] * radius, reach[1] * radius),
        light=light,
        blur_px=blur_px,
        along_px=max(LEAST_ALONG_PX, ALONG_RAD * radius),
    )


def _outermost(look: Look, least: float) -> tuple[IntArray, IntArray]:
    """Find the last high step on each ray that has one: its row and column (M,)."""
    loud = look.summits() & (look.steps > least)
    rows = np.flatnonzero(loud.any(axis=1))
    return rows, _last(loud[rows])


def _past_shade(look: Look, least: float, rows: IntArray, columns: IntArray) -> IntArray:
    """Move inward to the next step where it is dark between the two."""
    loud = (look.summits() & (look.steps > least))[rows]
    before = loud & (np.arange(loud.shape[1]) < columns[:, None])
    inner = np.where(before.any(axis=1), _last(before), columns)
    missing = np.cumsum(look.loss[rows], axis=1)
    each = np.arange(len(rows))
    mean = (missing[each, columns] - missing[each, inner]) / np.maximum(columns - inner, 1)
    return np.where(mean > SHADE_LOSS, inner, columns)


def _last(marked: BoolArray) -> IntArray:
    """Give each row's last marked column."""
    return np.asarray(marked.shape[1] - 1 - np.argmax(marked[:, ::-1], axis=1))


def _places(look: Look, rows: IntArray, columns: IntArray) -> tuple[FloatArray, FloatArray]:
    """Place steps in the photograph (M, 2), and tell their widths (M,)."""
    offset, width = look.summit_at(rows, columns)
    return look.feet[rows] + offset[:, None] * look.outward[rows], width


def _likelier(
    look: Look, loud: float, noise: float, radius: float, *, softer: float
) -> _Elected | None:
    """Elect the ellipse of the outermost edges, or the one that leaves a dark crescent to it."""
    rows, columns = _outermost(look, loud)
    places, widths = _places(look, rows, columns)
    whole = _elected(look, places, widths, radius, least=QUIETER * loud, noise=noise)
    if whole is None:
        return None
    faintest = LOUD_NOISES * noise
    inner = _places(look, rows, _past_shade(look, faintest, rows, columns))
    lit = _elected(look, *inner, radius, least=min(faintest, QUIETER * loud), noise=noise)
    if lit is None or lit.votes < CRESCENT_VOTES * whole.votes:
        return whole
    touching = np.abs(lit.ellipse.signed_distance_px(places)) < look.blur_px
    if CRESCENT_TOUCHES < np.mean(touching) < 1 - CRESCENT_TOUCHES:
        return lit
    return replace(lit, by_softness=True) if whole.blur_px > softer * lit.blur_px else whole


def _elected(
    look: Look,
    places: FloatArray,
    widths: FloatArray,
    radius: float,
    *,
    least: float,
    noise: float,
) -> _Elected | None:
    """Elect the ellipse that most of some edges lie on."""
    if len(places) < LEAST_FOUND * len(look.feet):
        return None
    probes = places[np.linspace(0, len(places) - 1, PROBES).astype(np.intp)]
    consensus = sample_ellipses(
        probes, largest_radius=LARGEST * radius, rng=np.random.default_rng(0)
    )
    off = near_distances(places, consensus.shapes)
    votes = _votes(off, look)
    if not len(votes):
        return None
    best = int(np.argmax(votes))
    voters = np.abs(off[best]) < 2 * TOLERANCE_BLURS * look.blur_px
    if np.count_nonzero(voters) < FEWEST_VOTERS:
        return None
    blur = np.sqrt(max(float(np.median(widths[voters] ** 2)) - look.blur_px**2, 0.0))
    return _Elected(
        ellipse=fit_ellipse(places[voters]),
        blur_px=max(SHARP_PX, blur),
        votes=float(votes[best]),
        least=least,
        noise=noise,
    )


def _votes(off_px: FloatArray, look: Look) -> FloatArray:
    """Count votes of edges at distances (..., M), as a share of all rays."""
    graded = np.maximum(1 - (off_px / (TOLERANCE_BLURS * look.blur_px)) ** 2, 0.0)
    return np.asarray(graded.sum(axis=-1) / len(look.feet))


def _votes_of(ring: FloatArray, look: Look, least: float) -> float:
    """Count the outermost edges' votes for a boundary of any shape."""
    places, _ = _places(look, *_outermost(look, least))
    return float(_votes(np.asarray(distance(points(places), LinearRing(ring))), look))


def _steady(offset: FloatArray, found: BoolArray, radius: float) -> FloatArray:
    """Average offsets along the rim; where few were found, it is the ellipse that counts."""
    return along_ring(offset * found, STEADY_RAD * radius)


def _edge(
    look: Look, offset: FloatArray, found: BoolArray, *, noise: float, blur_px: float
) -> Edge:
    """Make the record of a boundary that was located at offsets from the ellipse."""
    rim = look.feet + offset[:, None] * look.outward
    column = np.clip(np.searchsorted(look.offsets, offset), 0, len(look.offsets) - 1)
    off = look.offsets[None, :] - offset[:, None]
    beside = (off >= BESIDE_BLURS[0] * blur_px) & (off <= BESIDE_BLURS[1] * blur_px)
    scatter = float(np.sqrt(np.mean(offset[found] ** 2)))
    strength = look.steps[np.arange(len(rim)), column] / noise
    return Edge(
        points_px=rim,
        located_px=rim,
        apart_px=rim,
        outward=look.outward,
        # Where no edge was met the others place the rim, by their ellipse.
        strength=np.where(found, strength, np.median(strength[found])),
        doubt_px=np.where(found, scatter, max(scatter, UNFOUND_BLURS * blur_px)),
        loss_beside=np.sum(look.loss * beside, axis=1) / np.maximum(beside.sum(axis=1), 1),
        blur_px=blur_px,
    )
