"""Find the disc in a blank's boundary, whatever else hangs on it.

A strap or a ring hides part of the rim and adds outline of its own, so that up
to half of the boundary's points, in long runs, have nothing to do with the disc.
The disc is the ellipse that most of the boundary's length agrees with; only the
points that agree then take part in the geometric fit.

A leaf, a heart or a coin with flat sides has arcs too. What tells them from a
disc is too little rim, a second circle as good as the first, or a rim in waves.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from blanktrace.circle import checked_points
from blanktrace.consensus import FLATTEST, Consensus, sample_ellipses, tolerance_px
from blanktrace.ellipse import FEWEST_POINTS as FEWEST_FOR_ELLIPSE
from blanktrace.ellipse import Ellipse, fit_ellipse
from blanktrace.errors import NoDiscError
from blanktrace.residuals import robust_sd

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

FEWEST_POINTS = 40

PROBES = 300
"""Points along the boundary, evenly by length, that choose the ellipse."""

LONGEST_STEP = 3.0
"""In median steps: no point speaks for more of the boundary, be it a stray one."""

FINALISTS = 3
REFINEMENTS = 6

KEPT_SDS = 4.0
"""Points stay in the fit within this many standard deviations..."""

LEAST_KEPT_PX = 0.1
"""...but always within this: no camera's boundary is better."""

NEIGHBOURHOOD_DEG = 5.0
NEIGHBOURHOOD_SHARE = 0.8
"""A point counts as rim where this share of the boundary about it agrees with it. That drops
what only crosses the rim, and the ends of the rim, where a strap curves away from it."""

ROUNDEST_OVAL = 0.85
"""A disc tilted by more than about 30 degrees is flatter than this, and so is an oval."""

LEAST_COVERAGE_DEG = 0.4 * 360

LEAST_LENGTH_SHARE = 0.3
"""Less of the boundary than this could be a mere corner of something else."""

LARGEST_CUT = 0.5
"""Length of boundary inside the rim over that on it. What hangs on a disc lies outside."""

HOLE_STEPS = 4.0
"""Rim points this many median steps apart have uncovered rim between them."""

RIVAL_VOTES = 0.6
RIVAL_RADIUS = 0.7
"""A second circle with these shares of the first one's votes and radius rivals it."""

NEAR_SHARE = 0.03
LARGEST_STRAY = 0.3
"""Length of boundary near the rim, within 3 % of the radius, but off it, over that on it. A
strap leaves the rim within 0.11 of it, be its corners rounded or not."""

LARGEST_WAVE_SHARE = 0.006
LARGEST_WAVE_PX = 0.8
"""Standard deviation of the boundary's waves near the rim. Twelve flat sides have 1 % of
the radius, a well cut disc below 0.1 %; on small images noise alone makes 0.3 px."""

INSTEAD = "If the blank is not a round disc, give its longest size with --length instead."


@dataclass(frozen=True, eq=False)
class Disc:
    """A disc's rim, found in a boundary that is only partly its own.

    Parameters
    ----------
    ellipse : Ellipse
        The rim in the photograph.
    inlier : ndarray of bool, shape (N,)
        Which of the boundary's points lie on the rim.
    coverage_deg : float
        How much of the rim those points cover, of 360.
    """

    ellipse: Ellipse
    inlier: BoolArray
    coverage_deg: float


def fit_disc(points_px: ArrayLike, *, rng: np.random.Generator | None = None) -> Disc:
    """Find the disc that a blank's boundary follows, ignoring what hangs on it.

    Parameters
    ----------
    points_px : array_like, shape (N, 2)
        The boundary: 40 points or more, in order, about evenly spaced.
    rng : numpy.random.Generator, optional
        Draws the samples. Left out, the same boundary always gives the same disc.

    Returns
    -------
    Disc

    Raises
    ------
    ValueError
        If points_px is not as above.
    NoDiscError
        If no ellipse with axes in a ratio of 0.85 or rounder is followed on
        40 % of its rim and for 30 % of the boundary's length; if much of the
        boundary runs inside it, or near it but not along it; if another part of
        the boundary follows a circle of like size nearly as well; or if the rim
        waves by more than 0.6 % of its radius (coins with sides).

    Notes
    -----
    A rim of which only half shows fixes an ellipse much worse than all of it;
    the ellipse's covariance says by how much. A disc with a little cut off is
    still a disc; half a disc is not.
    """
    points = checked_points(points_px, fewest=FEWEST_POINTS)
    lengths = _lengths(points)
    if not lengths.sum() > 0:
        raise NoDiscError(f"All points of the boundary lie in one place. {INSTEAD}")
    rng = np.random.default_rng(0) if rng is None else rng
    probes = points[_evenly(lengths)]
    reach = float(np.hypot(*(probes - probes.mean(axis=0)).T).max())
    largest = reach / np.sin(np.deg2rad(LEAST_COVERAGE_DEG) / 2)
    consensus = sample_ellipses(probes, largest_radius=largest, rng=rng)
    elected = _elected(probes, consensus, largest_radius=largest)
    ellipse = _refined(points, elected)
    inlier = _on_rim(points, ellipse)
    disc = Disc(ellipse, inlier, _coverage_deg(ellipse, points[inlier]))
    if not inlier.any():
        raise NoDiscError(f"No part of the boundary follows a circle. {INSTEAD}")
    _check(disc, points, lengths, _rival_votes(ellipse, probes, rng))
    return disc


def _lengths(points: FloatArray) -> FloatArray:
    """Measure how much of the closed boundary's length each point stands for."""
    steps = np.hypot(*(np.roll(points, -1, axis=0) - points).T)
    steps = np.minimum(steps, LONGEST_STEP * np.median(steps))
    lengths: FloatArray = (steps + np.roll(steps, 1)) / 2
    return lengths


def _evenly(lengths: FloatArray) -> NDArray[np.intp]:
    """Choose points evenly by length."""
    along = np.cumsum(lengths)
    wanted = along[-1] * (np.arange(PROBES) + 0.5) / PROBES
    chosen: NDArray[np.intp] = np.searchsorted(along, wanted)
    return chosen


def _elected(probes: FloatArray, consensus: Consensus, *, largest_radius: float) -> Ellipse:
    """Fit the sampled ellipses with most votes to their voters; keep the best agreed."""
    best: tuple[float, Ellipse] | None = None
    for index in consensus.ranked()[:FINALISTS]:
        voters = consensus.votes[index] > 0
        if np.count_nonzero(voters) < FEWEST_FOR_ELLIPSE:
            continue
        ellipse = fit_ellipse(probes[voters])
        if ellipse.axis_ratio < FLATTEST or ellipse.mean_radius_px > largest_radius:
            continue
        scaled = ellipse.signed_distance_px(probes) / tolerance_px(ellipse.mean_radius_px)
        votes = float(np.maximum(1 - scaled**2, 0).sum())
        if best is None or votes > best[0]:
            best = votes, ellipse
    if best is None:
        raise NoDiscError(f"No part of the boundary follows a circle. {INSTEAD}")
    return best[1]


def _refined(points: FloatArray, ellipse: Ellipse) -> Ellipse:
    """Fit the ellipse to the points that agree with it, until they stay the same."""
    kept = np.zeros(len(points), dtype=np.bool_)
    for _ in range(REFINEMENTS):
        before, kept = kept, _on_rim(points, ellipse)
        if np.array_equal(before, kept) or np.count_nonzero(kept) < FEWEST_FOR_ELLIPSE:
            break
        ellipse = fit_ellipse(points[kept], start=ellipse)
    return ellipse


def _on_rim(points: FloatArray, ellipse: Ellipse) -> BoolArray:
    """Tell which points lie on the rim, and in company that does too."""
    distances = ellipse.signed_distance_px(points)
    loose = np.abs(distances) <= tolerance_px(ellipse.mean_radius_px)
    if not loose.any():
        return loose
    limit = max(KEPT_SDS * robust_sd(distances[loose]), LEAST_KEPT_PX)
    close = loose & (np.abs(distances) <= limit)
    share = _moving_mean(close.astype(np.float64), _neighbours(points, ellipse))
    return close & (share >= NEIGHBOURHOOD_SHARE)


def _neighbours(points: FloatArray, ellipse: Ellipse) -> int:
    """Count the points that make up a neighbourhood's length; odd, and no fewer than three."""
    step = float(np.median(np.hypot(*np.diff(points, axis=0).T)))
    length = np.deg2rad(NEIGHBOURHOOD_DEG) * ellipse.mean_radius_px
    half = int(np.clip(round(length / max(step, np.finfo(float).tiny) / 2), 1, len(points) // 4))
    return 2 * half + 1


def _moving_mean(values: FloatArray, width: int) -> FloatArray:
    """Average over an odd number of neighbours round the closed boundary."""
    padded = np.pad(values, width // 2, mode="wrap")
    return np.convolve(padded, np.full(width, 1 / width), mode="valid")


def _coverage_deg(ellipse: Ellipse, rim: FloatArray) -> float:
    """Measure how much of the ellipse has rim points, leaving out the gaps between them."""
    if len(rim) < FEWEST_FOR_ELLIPSE:
        return 0.0
    u = np.sort(ellipse.parameter_rad(rim))
    gaps = np.rad2deg(np.diff(u, append=u[0] + 2 * np.pi))
    holes = gaps[gaps > max(HOLE_STEPS * float(np.median(gaps)), NEIGHBOURHOOD_DEG)]
    return 360.0 - float(holes.sum())


def _rival_votes(ellipse: Ellipse, probes: FloatArray, rng: np.random.Generator) -> float:
    """Let the boundary off the rim elect a round shape of its own; give its share of votes."""
    radius = ellipse.mean_radius_px
    off = np.abs(ellipse.signed_distance_px(probes))
    own = float(np.maximum(1 - (off / tolerance_px(radius)) ** 2, 0).sum())
    rest = probes[off > NEAR_SHARE * radius]
    if len(rest) < FEWEST_FOR_ELLIPSE:
        return 0.0
    consensus = sample_ellipses(rest, largest_radius=radius / RIVAL_RADIUS, rng=rng)
    p, q, r = consensus.shapes.T[2:]
    alike = (p >= RIVAL_RADIUS * radius) & (
        np.hypot(q, r) <= p * (1 - ROUNDEST_OVAL) / (1 + ROUNDEST_OVAL)
    )
    return float(consensus.votes[alike].sum(axis=1).max(initial=0.0)) / own


def _check(disc: Disc, points: FloatArray, lengths: FloatArray, rival: float) -> None:
    """Refuse what is round in part only."""
    ellipse = disc.ellipse
    radius = ellipse.mean_radius_px
    if ellipse.axis_ratio < ROUNDEST_OVAL:
        raise NoDiscError(
            f"The boundary is an oval with axes in a ratio of {ellipse.axis_ratio:.2f}; a disc "
            f"seen from above has {ROUNDEST_OVAL} or more. Hold the camera straight above it. "
            f"{INSTEAD}"
        )
    share = float(lengths[disc.inlier].sum() / lengths.sum())
    if disc.coverage_deg < LEAST_COVERAGE_DEG or share < LEAST_LENGTH_SHARE:
        raise NoDiscError(
            f"The best circle follows {share:.0%} of the boundary and shows "
            f"{disc.coverage_deg:.0f} degrees of its rim; {LEAST_LENGTH_SHARE:.0%} and "
            f"{LEAST_COVERAGE_DEG:.0f} degrees are needed. {INSTEAD}"
        )
    off, tolerance = ellipse.signed_distance_px(points), tolerance_px(radius)
    rim = float(lengths[disc.inlier].sum())
    cut = float(lengths[off < -tolerance].sum()) / rim
    if cut > LARGEST_CUT:
        raise NoDiscError(
            f"The blank is flattened or cut away over {cut / (1 + cut):.0%} of its round part "
            f"({LARGEST_CUT / (1 + LARGEST_CUT):.0%} allowed), so its disc cannot be told. If it "
            f"is whole, retake the photo in softer light, for shadow may be in the way. {INSTEAD}"
        )
    near = (np.abs(off) > tolerance) & (np.abs(off) <= NEAR_SHARE * radius)
    stray = float(lengths[near].sum()) / rim
    if stray > LARGEST_STRAY:
        raise NoDiscError(
            f"Over {stray / (1 + stray):.0%} of its round part the blank's edge leaves the best "
            f"circle a little ({LARGEST_STRAY / (1 + LARGEST_STRAY):.0%} allowed). If the disc is "
            f"round, retake the photo in softer light, for shadow may be in the way. {INSTEAD}"
        )
    if rival > RIVAL_VOTES:
        raise NoDiscError(
            "Two parts of the boundary follow different circles about equally well, so neither "
            f"is the disc. {INSTEAD}"
        )
    wave, limit = _wave_px(points, ellipse), max(LARGEST_WAVE_SHARE * radius, LARGEST_WAVE_PX)
    if wave > limit:
        raise NoDiscError(
            f"The rim is not round: it waves by {wave:.2f} px about a radius of {radius:.0f} px, "
            f"and {limit:.2f} px is the most for a disc. {INSTEAD}"
        )


def _wave_px(points: FloatArray, ellipse: Ellipse) -> float:
    """Estimate the boundary's waves about the ellipse, its noise smoothed away.

    Notes
    -----
    From the median over all points near the rim, those outside the tolerance
    too: flat sides keep to a circle only in parts. A strap that leaves the rim
    is near it for a short way only.
    """
    distances = ellipse.signed_distance_px(points)
    near = (np.abs(distances) <= NEAR_SHARE * ellipse.mean_radius_px).astype(np.float64)
    width = _neighbours(points, ellipse)
    sums, counts = _moving_mean(distances * near, width), _moving_mean(near, width)
    return robust_sd(sums[near > 0] / counts[near > 0])
