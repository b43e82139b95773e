"""Find both rims of a ring of wire anew, as its outermost and innermost round edges.

Bent wire shines: across it light goes from the sheet to a dark flank, to a highlight,
to the other flank, and the highlight's edge is often the strongest of all. The cut,
and the edge located by it, then leave a flank out. What is true of a ring is that its
edges, highlights too, lie on circles about one centre, and that the wire ends at the
first and at the last of these. A shadow's end is as round, but about another centre.

A ring lies in the sheet's plane as its disc does; so it is looked at in the frame in
which the disc's rim is a circle, where the ring's rims are nearly circles too. Nearly: of
a camera that leans, the ring is farther away than the disc, or nearer, and foreshortened
otherwise. How oval both rims are is fitted with them, for it tells the lean.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, optimize

from blanktrace.circle import dominant_circle
from blanktrace.conic import turn
from blanktrace.consensus import followed_disc, tolerance_px
from blanktrace.edge import Edge
from blanktrace.ellipse import fit_ellipse
from blanktrace.profiles import SHARP_PX, SPACING_PX, Pixels
from blanktrace.rays import Look, look_along

FloatArray = NDArray[np.float64]
IndexArray = NDArray[np.intp]
BoolArray = NDArray[np.bool_]

THICKEST = 0.7
"""Width of a wire, over the radius of the hole that it goes round, at most."""

ALIKE = 0.5
"""How far the width may differ from its median, as a share of that."""

LEAST_ROUND, MOST_ROUND = 0.5, 0.95
"""Share of all directions in which wire shows: the strap hides some; what goes all the way round
is no ring on a strap."""

CLEAR_SHARE = 0.4
"""How far from the strap, in widths of the wire, rims are looked at: they turn into it there."""

ROUND_WITHIN, LEAST_ON_CIRCLE = 0.06, 0.6
"""A hole's boundary is round if this share of it lies within so much of its radius."""

INWARD, OUTWARD = 0.95, 2.1
"""How far from the hole's circle rims are looked for, in widths of the wire as it came out."""

FINER = 0.9
"""Gaussian that meets the steps, in blurs: a flank is a line, whose far side pulls its near one."""

ALONG_RAD, LEAST_ALONG_PX = 0.04, 2.0
"""Gaussian along the rims that quiets noise."""

LOUD_SHARE, LOUD_NOISES = 0.12, 3.0
"""Height of a step, as a share of the median ray's highest and over what the sheet in the hole
shows, from which it may be a rim's."""

SOFTEST_BLURS = 2.4
"""Width of a step in Gaussians, above which it is shade's."""

FARTHEST_SHARE, MOVES_PX = 0.5, (1.0, 0.5)
"""How far the centre is looked for, in widths of the wire, and in what steps, first and then."""

BIN_PX = 0.25
TENT = np.array([0.25, 0.5, 0.75, 1.0, 0.75, 0.5, 0.25])
"""A step speaks for circles that pass within a pixel of it."""

LEAST_VOTES = 0.3
"""Share of the rays whose steps speak for a circle, from which it is one of the ring's edges."""

MIDDLE = 0.45
"""Points of the hole's boundary nearer than this, in widths, are at the wire; so much farther in
there is sheet only."""

NARROWER_PX = 1.0
"""How far within the band that came out as the wire its rims may lie: a flank is missed, a
highlight's edge is not."""

SETTLINGS_PX = (2.5, 1.5)
OUTLIER_PX = 0.5
"""How near a rim its steps lie, look by look; from where on they count less."""

LEAST_DOUBT_PX = 1.0
"""Standard uncertainty of a rim found so, at least: shade beneath the wire widens it."""


@dataclass(frozen=True, eq=False)
class _Frame:
    """A hole and the wire about it, where the disc is a circle.

    Attributes
    ----------
    to_round : ndarray, shape (2, 2)
        Turns photo pixels into this frame.
    centre : ndarray, shape (2,)
    radius_px, width_px : float
        Of the hole's circle; of the wire.
    shows : ndarray of bool, shape (N,)
        In which directions, evenly round, there is wire.
    """

    to_round: FloatArray
    centre: FloatArray
    radius_px: float
    width_px: float
    shows: BoolArray

    def directions(self) -> FloatArray:
        """Give the unit vectors (N, 2) of the directions."""
        angle = 2 * np.pi * np.arange(len(self.shows)) / len(self.shows)
        return np.column_stack([np.cos(angle), np.sin(angle)])

    def to_photo(self, places: FloatArray) -> FloatArray:
        """Bring places or directions (N, 2) of this frame back to photo pixels."""
        return np.asarray(np.linalg.solve(self.to_round, places.T).T)

    def ways(self, points_px: FloatArray) -> tuple[IndexArray, FloatArray]:
        """Tell in which direction photo points lie, and how far outside the hole's circle."""
        return _ways(points_px @ self.to_round.T - self.centre, len(self.shows), self.radius_px)


@dataclass(frozen=True, eq=False)
class _Rims:
    """The wire's rims, told from a frame: how far its centre moves, and both rims outside it.

    Attributes
    ----------
    move_px : ndarray, shape (2,)
    inner_px, outer_px : float
        From the hole's circle, outward.
    oval : ndarray, shape (2,)
        By what share of their radius they are oval: over the cosine and the sine of twice
        the direction.
    scatter_px : float
        Root mean square distance of steps from them.
    """

    move_px: FloatArray
    inner_px: float
    outer_px: float
    oval: FloatArray
    scatter_px: float


def seek_rings(rgb: Pixels, edges: tuple[Edge, ...], *, light: FloatArray) -> tuple[Edge, ...]:
    """Move the boundary of rings on straps to the wire's own rims.

    Parameters
    ----------
    rgb : ndarray of uint8 or uint16, shape (H, W, 3)
        The full photograph, sRGB.
    edges : tuple of Edge
        A blank's boundary as it was located, exterior first.
    light : ndarray, shape (3,)
        Linear light of the bare sheet about the blank.

    Returns
    -------
    tuple of Edge
        Points on wire lie on its rims; all others, and blanks without a ring, as they were.
    """
    if len(edges) == 1:
        return edges
    to_round = _roundness(edges[0].points_px)
    if to_round is None:
        return edges
    outer, *holes = edges
    for index, hole in enumerate(holes):
        frame = _frame(outer.points_px, hole, to_round)
        if frame is None:
            continue
        look = _look(rgb, frame, light=light, blur_px=FINER * max(SHARP_PX, hole.blur_px))
        rims = _rims(look, frame)
        if rims is None:
            continue
        holes[index] = _laid(hole, frame, rims, rims.inner_px, (-np.inf, MIDDLE))
        outer = _laid(outer, frame, rims, rims.outer_px, (1 - ALIKE, 1 + ALIKE))
    return (outer, *holes)


def _roundness(ring: FloatArray) -> FloatArray | None:
    """Find the stretch (2, 2) that makes a circle of the ellipse that most of a boundary is on."""
    followed = followed_disc(ring)
    if followed is None:
        return None
    shape, off = followed
    on_disc = np.abs(off) < tolerance_px(shape[2])
    disc = fit_ellipse(ring[on_disc])
    mean, about = np.sqrt(np.prod(disc.semi_axes_px)), turn(disc.angle_rad)
    return np.asarray(about @ np.diag(mean / np.array(disc.semi_axes_px)) @ about.T)


def _frame(outer: FloatArray, hole: Edge, to_round: FloatArray) -> _Frame | None:
    """Find the wire about a hole; None if there is none."""
    inside = hole.located_px @ to_round.T
    centre, radius = dominant_circle(inside)
    off = np.abs(np.hypot(*(inside - centre).T) - radius)
    if np.mean(off < ROUND_WITHIN * radius) < LEAST_ON_CIRCLE:
        return None
    count = int(2 * np.pi * radius / SPACING_PX)
    way, outside = _ways(outer @ to_round.T - centre, count, radius)
    width = np.full(count, np.inf)
    np.minimum.at(width, way, outside)
    width = ndimage.minimum_filter1d(width, 3, mode="wrap")
    thin = width < THICKEST * radius
    if not thin.any():
        return None
    usual = float(np.median(width[thin]))
    shows = thin & (np.abs(width - usual) < ALIKE * usual)
    if not LEAST_ROUND < np.mean(shows) < MOST_ROUND:
        return None
    clear = 2 * round(CLEAR_SHARE * usual / SPACING_PX) + 1
    shows = ndimage.minimum_filter1d(shows, clear, mode="wrap")
    return _Frame(to_round, centre, radius, usual, shows)


def _ways(offset: FloatArray, count: int, radius: float) -> tuple[IndexArray, FloatArray]:
    turns = np.arctan2(offset[:, 1], offset[:, 0]) / (2 * np.pi)
    return np.round(turns * count).astype(np.intp) % count, np.hypot(*offset.T) - radius


def _look(rgb: Pixels, frame: _Frame, *, light: FloatArray, blur_px: float) -> Look:
    """Look outward from the hole's circle, across the wire and beyond."""
    outward = frame.directions()
    return look_along(
        rgb,
        frame.to_photo(frame.centre + frame.radius_px * outward),
        frame.to_photo(outward),
        reach_px=(-INWARD * frame.width_px, OUTWARD * frame.width_px),
        light=light,
        blur_px=blur_px,
        along_px=max(LEAST_ALONG_PX, ALONG_RAD * frame.radius_px),
    )


def _rims(look: Look, frame: _Frame) -> _Rims | None:
    """Find the wire's rims; None unless both are told."""
    rays, places = _steps(look, frame)
    outward = frame.directions()[rays]
    bins = np.arange(look.offsets[0], look.offsets[-1], BIN_PX)

    def votes(move: tuple[float, float]) -> FloatArray:
        column = np.rint((places - outward @ move - bins[0]) / BIN_PX).astype(np.intp)
        column = column[(column >= 0) & (column < len(bins))]
        shown = np.bincount(column, minlength=len(bins))
        return np.convolve(shown, TENT, "same") / np.count_nonzero(frame.shows)

    # About the centre of all its edges a ring's votes gather on the fewest circles.
    move, reach_px = (0.0, 0.0), FARTHEST_SHARE * frame.width_px
    for step_px in MOVES_PX:
        steps = step_px * np.arange(-np.ceil(reach_px / step_px), np.ceil(reach_px / step_px) + 1)
        move = max(
            ((move[0] + x, move[1] + y) for x in steps.tolist() for y in steps.tolist()),
            key=lambda one: float((votes(one) ** 2).sum()),
        )
        reach_px = step_px
    most = votes(move)
    peaks = np.zeros(len(bins), dtype=np.bool_)
    peaks[1:-1] = (most[1:-1] >= most[:-2]) & (most[1:-1] > most[2:]) & (most[1:-1] > LEAST_VOTES)
    edges = bins[peaks]
    near, far = edges[edges < NARROWER_PX], edges[edges > frame.width_px - NARROWER_PX]
    if not (len(near) and len(far)):
        return None
    rims = _Rims(np.array(move), float(near[0]), float(far[-1]), np.zeros(2), 0.0)
    for reach_px in SETTLINGS_PX:
        rims = _settled(rims, frame.radius_px, outward, places, reach_px)
    return rims


def _steps(look: Look, frame: _Frame) -> tuple[IndexArray, FloatArray]:
    """List the steps that may be a rim's: the ray of each, and its place there."""
    near = (look.offsets > -INWARD * frame.width_px) & (look.offsets < OUTWARD * frame.width_px)
    steps = look.steps[frame.shows]
    noise = float(np.median(steps[:, look.offsets < -MIDDLE * frame.width_px]))
    least = max(LOUD_SHARE * float(np.median(steps[:, near].max(axis=1))), LOUD_NOISES * noise)
    loud = look.summits() & (look.steps > least) & near & frame.shows[:, None]
    rays, columns = np.nonzero(loud)
    places, width = look.summit_at(rays, columns)
    sharp = width < SOFTEST_BLURS * look.blur_px
    return rays[sharp], places[sharp]


def _settled(
    rims: _Rims, radius_px: float, outward: FloatArray, places: FloatArray, reach_px: float
) -> _Rims:
    """Fit the rims' one centre, two radii and one ovalness to the steps near them."""
    radii = np.array([rims.inner_px, rims.outer_px])
    twice = _twice(outward)
    off = (places - outward @ rims.move_px)[:, None] - radii
    off -= (twice @ rims.oval)[:, None] * (radius_px + radii)
    step, rim = np.nonzero(np.abs(off) < reach_px)
    stretch = (radius_px + radii[rim])[:, None] * twice[step]
    rows = np.hstack([outward[step], np.eye(2)[rim], stretch])
    start = np.concatenate([rims.move_px, radii, rims.oval])
    wanted = places[step]

    def gaps(parameters: FloatArray) -> FloatArray:
        return np.asarray(rows @ parameters - wanted)

    fit = optimize.least_squares(gaps, start, loss="soft_l1", f_scale=OUTLIER_PX)
    inner, outer = fit.x[2:4].tolist()
    scatter = float(np.sqrt(np.mean(gaps(fit.x) ** 2)))
    return _Rims(fit.x[:2], inner, outer, fit.x[4:], scatter)


def _twice(outward: FloatArray) -> FloatArray:
    """Cosine and sine (N, 2) of twice the direction of unit vectors."""
    x, y = outward.T
    return np.column_stack([x * x - y * y, 2 * x * y])


def _laid(
    edge: Edge, frame: _Frame, rims: _Rims, rim_px: float, between: tuple[float, float]
) -> Edge:
    """Bring those of an edge's points that are on wire, so many widths outward, to its rim."""
    way, outside = frame.ways(edge.points_px)
    low, high = np.array(between) * frame.width_px
    on_wire = frame.shows[way] & (outside > low) & (outside < high)
    centre = frame.centre + rims.move_px
    offset = edge.points_px[on_wire] @ frame.to_round.T - centre
    away = offset / np.hypot(*offset.T)[:, None]
    radius = (frame.radius_px + rim_px) * (1 + _twice(away) @ rims.oval)
    fresh = frame.to_photo(centre + radius[:, None] * away)
    # Either way of finding the rim counts by how sure it is.
    own, other = edge.doubt_px[on_wire] ** -2.0, max(LEAST_DOUBT_PX, rims.scatter_px) ** -2.0
    towards = (other / (own + other))[:, None]
    return edge.brought(on_wire, fresh, by=towards, doubt_px=(own + other) ** -0.5)
