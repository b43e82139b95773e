"""Find a blank's boundary to a fraction of a pixel.

The segmentation says within a pixel or two where the blank ends. From there each
boundary point looks along its own normal, in the full photograph, at the share of
the sheet's light that comes back. Lens blur mixes such shares linearly, so that a
blurred step is half way up where the sharp one was.

A shadow lies against the blank, so a profile can hold two steps: sheet to shadow,
and shadow to blank. So the step between the two kinds of surface is placed by `kind`, in
ever closer looks; beside lit sheet, where there is but one step, then exactly, at the peak
of the derivative.

Blur pulls a curved edge inward; `blur` says by how much.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.special import expit

from blanktrace.blur import blur_shifts_px
from blanktrace.corner import restore_corners
from blanktrace.cover import Cover
from blanktrace.fair import fair_ring
from blanktrace.kind import surface_change
from blanktrace.profiles import (
    BESIDE_BLURS,
    SHARP_PX,
    SPACING_PX,
    STEP_PX,
    Pixels,
    along_ring,
    loss_at,
    summits,
)
from blanktrace.strip import COARSE, Strip, cut_strip, outward, places, resampled, smoothed

FloatArray = NDArray[np.float64]

ALONG_PX = 2.0
"""Gaussian along the boundary that averages profiles: quiets noise, rounds no real corner."""

FAR_BLURS = 4.5
"""How far to either side of a step a profile reaches, in blurs."""

LOOKS, LEAST_REACH_PX = (1.0, 0.5, 0.25), 3.0
"""Reaches of the looks for the change of surface, as shares of how far the rough boundary may be
off, and at least: a closer look sees too little of what lies about a place to know it."""

VOTERS, MOVED_SAMPLES = 5, 0.8
"""Samples along a strip whose median each moves by, and the Gaussian over those moves."""

NORMAL_POINTS = 2.0
"""Points of a ring that its tangents are averaged over."""

REACH_BLURS = 0.7
LEAST_REACH_FINE_PX = 1.2
"""How far from its rough place a boundary's steepest place is looked for (Gaussian)."""

STEEPEST_LOOKS = 3
"""Looks for it, each with the blur that the last one found."""

COLOUR_BLEED_PX = 0.5
"""How far outward colour is found of where darkness is: JPEG keeps it at half resolution."""

BELIEVED_BLURS, STRANGE_BLURS = 0.2, 0.4
"""How much farther off the change of surface than usual the steepest place is believed, in blurs,
where the blank is darker than lit sheet beside it; and from which on it is another step's."""

MOSTLY = 0.3
"""How plain a place is at least where the steepest place is followed all the way, and tells how far
off it usually is."""

CLEAR_BLURS, SHADE_LOSS = 2.5, 0.2
"""Where the light beyond an edge is clear of its blur, and what loss of it is shade; half as much
may be the sheet's own."""

EVEN_LOSS = 0.02
"""Difference of loss that blank and surroundings need to be one or the other."""

BESIDE_PX = 6.0
"""Over what length the light beside an edge is averaged."""

CLIMB_STEPS = 2
"""Samples that a summit may lie from where slope and nearness together were greatest."""

NEIGHBOURS = 4
SHARP_TURN = 0.5
"""Cosine of the turn, over the reach to either side, that makes a corner: 60 degrees."""

STRAY_PX = 0.7
"""A point farther than this from the median of its neighbours on both sides has strayed."""


@dataclass(frozen=True, eq=False)
class Edge:
    """One closed boundary, located.

    Attributes
    ----------
    points_px : ndarray, shape (N, 2)
        Boundary points (x, y), in order, the ring not repeated, on few lines and arcs.
    located_px : ndarray, shape (N, 2)
        The same points, each where it was located by itself.
    apart_px : ndarray, shape (N, 2)
        The same points, each stretch where it was located, joined to the next or not.
    outward : ndarray, shape (N, 2)
        Unit normals that point from blank to sheet.
    strength : ndarray, shape (N,)
        Step height over noise at each point.
    doubt_px : ndarray, shape (N,)
        Standard uncertainty of each point across the boundary.
    loss_beside : ndarray, shape (N,)
        Share of the sheet's light that is missing just outside: shadow, or the blank's wall.
    blur_px : float
        Median standard deviation of the Gaussian that blurs the edge.
    across_px : ndarray, shape (M, 2)
        Places on a disc's rim that the boundary leaves out, where a strap comes out from under it.
    """

    points_px: FloatArray
    located_px: FloatArray
    apart_px: FloatArray
    outward: FloatArray
    strength: FloatArray
    doubt_px: FloatArray
    loss_beside: FloatArray
    blur_px: float
    across_px: FloatArray = field(default_factory=lambda: np.zeros((0, 2)))

    def brought(
        self,
        which: NDArray[np.bool_] | NDArray[np.intp],
        places_px: FloatArray,
        *,
        doubt_px: FloatArray | float,
        by: FloatArray | float = 1.0,
    ) -> Edge:
        """Bring some of the points by a share of the way, or all of it, to other places.

        Parameters
        ----------
        which : ndarray of bool, shape (N,), or of int, shape (M,)
        places_px : ndarray, shape (M, 2)
        doubt_px : ndarray, shape (M,), or float
            Standard uncertainty of these points from now on.
        by : ndarray, shape (M, 1), or float
            The share.
        """
        points, located, apart, doubt = (
            values.copy()
            for values in (self.points_px, self.located_px, self.apart_px, self.doubt_px)
        )
        for values in (points, located, apart):
            values[which] += by * (places_px - values[which])
        doubt[which] = doubt_px
        return replace(self, points_px=points, located_px=located, apart_px=apart, doubt_px=doubt)


def locate_edge(
    rgb: Pixels,
    ring_px: FloatArray,
    *,
    light: FloatArray,
    reach_px: float,
    cover: Cover | None = None,
) -> Edge:
    """Locate a boundary that is known roughly.

    Parameters
    ----------
    rgb : ndarray of uint8 or uint16, shape (H, W, 3)
        The full photograph, sRGB.
    ring_px : ndarray, shape (N, 2)
        Rough boundary (x, y), the blank on the left of its direction of travel
        as seen with y down (clockwise on the screen outside, so that holes run
        the other way).
    light : ndarray, shape (3,)
        Linear light of the bare sheet about the blank.
    reach_px : float
        How far the rough boundary may be off.
    cover : Cover, optional
        How much of each place is blank, as far as it is known.

    Returns
    -------
    Edge

    Notes
    -----
    Each look is along the normals of the ring that the last one left, because a
    wrong normal lengthens the blur.
    """
    ring = smoothed(ring_px, reach_px / 2)
    for look in LOOKS:
        reach = max(look * reach_px, LEAST_REACH_PX)
        strip = cut_strip(rgb, ring, light=light, reach_px=reach, cover=cover)
        change = surface_change(strip)
        ring = _moved(strip, change.off_px)
    placed = resampled(np.column_stack([ring, change.doubt_px]), SPACING_PX)
    ring, doubt_px = placed[:, :2], placed[:, 2]
    blur_px, moved = SHARP_PX, np.zeros(len(ring))
    for _ in range(STEEPEST_LOOKS):
        normals = outward(ring, NORMAL_POINTS)
        reach = max(REACH_BLURS * blur_px, LEAST_REACH_FINE_PX)
        profiles, offsets = _profiles(rgb, ring, normals, FAR_BLURS * blur_px, light)
        plain = np.minimum(_lit(profiles, offsets, blur_px), _darker(profiles, offsets, blur_px))
        shift, strength, blur = _steepest(profiles, offsets, reach, blur_px)
        found_px = float(np.median(blur))
        blur_px = float(np.clip(found_px, SHARP_PX, offsets[-1] / 2))
        followed = _followed(moved + _steady(shift), plain, blur_px)
        ring, moved = ring + (followed - moved)[:, None] * normals, followed
    ring = ring - blur_shifts_px(ring, found_px)[:, None] * normals
    ring, corners = restore_corners(rgb, ring, light=light, spacing_px=SPACING_PX, blur_px=blur_px)
    faired = fair_ring(ring, doubt_px, corners=corners, spacing_px=SPACING_PX)
    return Edge(
        points_px=faired.joined_px,
        located_px=ring,
        apart_px=faired.apart_px,
        outward=outward(faired.joined_px, NORMAL_POINTS),
        strength=strength,
        doubt_px=doubt_px,
        loss_beside=_loss_beside(profiles, offsets, blur_px),
        blur_px=found_px,
    )


def _lit(profiles: FloatArray, offsets: FloatArray, blur_px: float) -> FloatArray:
    """Say how far the sheet beyond each point is lit and not in shade, 0 to 1."""
    loss = _mean_loss(profiles[:, offsets > CLEAR_BLURS * blur_px])
    return np.asarray(np.clip(2 * (1 - loss / SHADE_LOSS), 0, 1))


def _darker(profiles: FloatArray, offsets: FloatArray, blur_px: float) -> FloatArray:
    """Say how far the blank is darker than what is beside it, 0 to 1."""
    inside, outside = offsets < -blur_px, offsets > blur_px
    more = profiles[:, inside].mean(axis=(1, 2)) - profiles[:, outside].mean(axis=(1, 2))
    return np.asarray(expit(along_ring(more, 2 * ALONG_PX) / EVEN_LOSS))


def _steepest(
    profiles: FloatArray, offsets: FloatArray, reach_px: float, blur_px: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Find the steepest place near the ring: shift, strength and blur, point by point."""
    window = np.exp(-0.5 * ((offsets + COLOUR_BLEED_PX) / reach_px) ** 2)
    slopes = ndimage.gaussian_filter1d(profiles, blur_px / STEP_PX, axis=1, order=1)
    # The channels in the proportion in which they change just here, up or down.
    weight = along_ring(np.einsum("nsc,s->nc", slopes, window), 2 * reach_px)
    weight /= np.maximum(np.linalg.norm(weight, axis=1, keepdims=True), 1e-12)
    noise = np.std(np.einsum("nsc,nc->ns", np.diff(profiles, axis=0), weight[1:])) / np.sqrt(2)
    slope = np.maximum(np.abs(np.einsum("nsc,nc->ns", slopes, weight)), 1e-9)
    peak = np.argmax((slope * window)[:, 1:-1], axis=1) + 1
    rows = np.arange(len(profiles))
    for _ in range(CLIMB_STEPS):
        # The window leans inward; the step itself is at the slope's own summit.
        ahead = slope[rows, np.minimum(peak + 1, len(offsets) - 2)]
        behind = slope[rows, np.maximum(peak - 1, 1)]
        here = slope[rows, peak]
        climb = (ahead > np.maximum(here, behind)).astype(int) - (behind > np.maximum(here, ahead))
        peak = np.clip(peak + climb, 1, len(offsets) - 2)
    fraction, width = summits(slope, rows, peak)
    shift = offsets[peak] + fraction
    height = slope[rows, peak] / STEP_PX * width * np.sqrt(2 * np.pi)
    strength = np.asarray(height / max(float(noise), 1e-6), dtype=np.float64)
    blur = np.asarray(np.sqrt(np.maximum(width**2 - blur_px**2, 0.0)), dtype=np.float64)
    return np.asarray(shift, dtype=np.float64), strength, blur


def _followed(steepest: FloatArray, plain: FloatArray, blur_px: float) -> FloatArray:
    """Say how far points follow the steepest places, which lie so far off the change of surface."""
    usual = float(np.median(steepest[plain > MOSTLY])) if np.any(plain > MOSTLY) else 0.0
    stray = np.abs(steepest - usual) / blur_px
    belief = np.interp(stray, (BELIEVED_BLURS, STRANGE_BLURS), (1, 0))
    return np.asarray(np.minimum(plain / MOSTLY, 1) * belief * steepest)


def _loss_beside(profiles: FloatArray, offsets: FloatArray, blur_px: float) -> FloatArray:
    """Average what is missing just outside each point, off its blur."""
    near, far = BESIDE_BLURS
    return _mean_loss(profiles[:, (offsets >= near * blur_px) & (offsets <= far * blur_px)])


def _mean_loss(beside: FloatArray) -> FloatArray:
    """Average some samples of each profile, and along the ring."""
    return along_ring(beside.mean(axis=(1, 2)), BESIDE_PX)


def _profiles(
    rgb: Pixels,
    ring: FloatArray,
    normals: FloatArray,
    half_px: float,
    light: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Sample the share of the sheet's light lost along normals, averaged along the ring.

    Returns
    -------
    profiles : ndarray, shape (N, S, 3)
    offsets : ndarray, shape (S,)
        Outward positions of the samples.
    """
    count = int(np.ceil(half_px / STEP_PX))
    offsets = STEP_PX * np.arange(-count, count + 1, dtype=np.float64)
    loss = loss_at(rgb, places(ring, normals, offsets), light)
    return along_ring(loss, ALONG_PX), offsets


def _steady(shift: FloatArray) -> FloatArray:
    """Bring shifts that stand alone back to their neighbours: another step was met there."""
    usual = ndimage.median_filter(shift, size=2 * NEIGHBOURS + 1, mode="wrap")
    return np.where(np.abs(shift - usual) > STRAY_PX, usual, shift)


def _moved(strip: Strip, shift: FloatArray) -> FloatArray:
    """Move a strip's ring outward by smoothed shifts, outliers along the ring voted down.

    In a sharp inward corner the normals cross and meet edges that are not their
    own; there the ring stays where it was.
    """
    ring = strip.points_px
    within = np.clip(shift, -strip.reach_px, strip.reach_px)
    steady = ndimage.median_filter(within, size=VOTERS, mode="wrap")
    normals = outward(ring, 1.0)
    before, after = np.roll(normals, COARSE, axis=0), np.roll(normals, -COARSE, axis=0)
    turn = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    straight = (np.einsum("nk,nk->n", before, after) > SHARP_TURN) | (turn > 0)
    weight = ndimage.minimum_filter1d(straight.astype(np.float64), 2 * COARSE + 1, mode="wrap")
    move = ndimage.gaussian_filter1d(steady * weight, MOVED_SAMPLES, mode="wrap")
    return np.asarray(ring + move[:, None] * strip.outward)
