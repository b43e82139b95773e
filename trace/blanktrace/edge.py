"""Find a blank's boundary to a fraction of a pixel.

The segmentation says within a pixel or two where the blank ends. From there each
boundary point looks along its own normal, in the full photograph, at the share of
the sheet's light that comes back. Lens blur mixes such shares linearly, so that a
blurred step is half way up where the sharp one was.

A shadow lies against the blank, so a profile can hold two steps: sheet to shadow,
and shadow to blank. Twice the step between the two kinds of surface is placed
roughly, by `kind`, then exactly, at the peak of the derivative; beside a dark blank in
the shade, though, the peak is where the shade ends, so there it is followed but a little.

Blur pulls a curved edge inward by s²/2R. `disc.blur_shift_px` says by how much.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.special import expit

from blanktrace.corner import restore_corners
from blanktrace.doubt import edge_doubt_px
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

FloatArray = NDArray[np.float64]

ALONG_PX = 2.0
"""Gaussian along the boundary that averages profiles: quiets noise, rounds no real corner."""

FAR_BLURS = 4.5
"""How far to either side of a step a profile reaches, in blurs."""

LEAST_REACH_PX = 3.0
"""Half width of the second, closer look for the change of surface."""

REACH_BLURS = 0.7
LEAST_REACH_FINE_PX = 1.2
"""How far from its rough place a boundary's steepest place is looked for (Gaussian)."""

COLOUR_BLEED_PX = 0.5
"""How far outward colour is found of where darkness is: JPEG keeps it at half resolution."""

BRIGHTER_POWER = 0.3
"""Power of light in which a step up from the shadow beside a blank is placed, as measured on
synthetic photographs; a step down to the blank is placed in light itself."""

SHADE_BLURS = 0.4
PLAIN_REACHES = 0.5
"""How far the steepest place is believed in each look: in reaches of the rough boundary beside lit
sheet, and where the blank is brighter than what is beside it; else, in shade, where the steepest
may be the shade's own end, in blurs."""

CLEAR_BLURS, SHADE_LOSS = 2.5, 0.15
"""Where the light beyond an edge is clear of its blur, and what loss of it is shade."""

EVEN_LOSS = 0.02
"""Difference of loss that blank and surroundings need to be one or the other."""

LEAST_LIGHT = 1e-3

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
    """

    points_px: FloatArray
    located_px: FloatArray
    apart_px: FloatArray
    outward: FloatArray
    strength: FloatArray
    doubt_px: FloatArray
    loss_beside: FloatArray
    blur_px: float


def locate_edge(
    rgb: Pixels,
    ring_px: FloatArray,
    *,
    light: FloatArray,
    reach_px: float,
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

    Returns
    -------
    Edge

    Notes
    -----
    The boundary is followed twice, first along the rough ring's normals, then
    along those of the located one, because a wrong normal shortens the blur.
    """
    ring = _resampled(_smoothed(ring_px, reach_px / 2), SPACING_PX)
    for reach in (reach_px, max(reach_px / 2, LEAST_REACH_PX)):
        profiles, offsets = _profiles(rgb, ring, _outward(ring, reach), 1.5 * reach, light)
        shift = surface_change(profiles, offsets, reach)
        ring = _resampled(_moved(ring, reach, shift), SPACING_PX)
    blur_px = SHARP_PX
    for _ in range(2):
        ring = _resampled(ring, SPACING_PX)
        outward = _outward(ring, 2 * SPACING_PX)
        reach = max(REACH_BLURS * blur_px, LEAST_REACH_FINE_PX)
        profiles, offsets = _profiles(rgb, ring, outward, FAR_BLURS * blur_px, light)
        darker = _darker(profiles, offsets, blur_px)
        shift, strength, blur = _steepest(_as_seen(profiles, darker), offsets, reach, blur_px)
        plain = np.maximum(_lit(profiles, offsets, blur_px), 1 - darker)
        blur_px = max(SHARP_PX, float(np.median(blur)))
        farthest = np.maximum(SHADE_BLURS * blur_px, PLAIN_REACHES * reach_px * plain)
        ring = ring + np.clip(_steady(shift), -farthest, farthest)[:, None] * outward
    ring, corners = restore_corners(rgb, ring, light=light, spacing_px=SPACING_PX, blur_px=blur_px)
    doubt_px = edge_doubt_px(
        profiles, offsets, blur_px=blur_px, reach_px=reach_px, spacing_px=SPACING_PX
    )
    faired = fair_ring(ring, doubt_px, corners=corners, spacing_px=SPACING_PX)
    return Edge(
        points_px=faired.joined_px,
        located_px=ring,
        apart_px=faired.apart_px,
        outward=_outward(faired.joined_px, 2 * SPACING_PX),
        strength=strength,
        doubt_px=doubt_px,
        loss_beside=_loss_beside(profiles, offsets, blur_px),
        blur_px=float(np.median(blur)),
    )


def _lit(profiles: FloatArray, offsets: FloatArray, blur_px: float) -> FloatArray:
    """Say how far the sheet beyond each point is lit and not in shade, 0 to 1."""
    loss = _mean_loss(profiles[:, offsets > CLEAR_BLURS * blur_px])
    return np.asarray(np.clip(1 - loss / SHADE_LOSS, 0, 1))


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


def _as_seen(profiles: FloatArray, darker: FloatArray) -> FloatArray:
    """Bring light to a scale on which a step's middle is where the edge is.

    Notes
    -----
    A lens blurs light itself, so that a step down to a darker blank is half way up
    where it was sharp. A face's worn and rounded edge, though, is half in the shadow
    that it stands against, and a camera sharpens the root of light or so: both move
    the middle of a step up from a shadow inward.
    """
    power = BRIGHTER_POWER + (1 - BRIGHTER_POWER) * darker
    return 1.0 - np.maximum(1.0 - profiles, LEAST_LIGHT) ** power[:, None, None]


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
    outward: FloatArray,
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
    places = ring[:, None, :] + offsets[None, :, None] * outward[:, None, :]
    return along_ring(loss_at(rgb, places, light), ALONG_PX), offsets


def _resampled(ring: FloatArray, spacing: float) -> FloatArray:
    """Place points evenly along a closed ring."""
    closed = np.vstack([ring, ring[:1]])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    count = max(round(along[-1] / spacing), 8)
    want = np.arange(count) * along[-1] / count
    return np.column_stack([np.interp(want, along, closed[:, k]) for k in (0, 1)])


def _smoothed(ring: FloatArray, length_px: float) -> FloatArray:
    """Round off the stairs of a pixel contour."""
    even = _resampled(ring, 1.0)
    return np.asarray(ndimage.gaussian_filter1d(even, length_px, axis=0, mode="wrap"))


def _outward(ring: FloatArray, length_px: float) -> FloatArray:
    """Find unit normals to the right of travel, from tangents averaged over a length."""
    tangent = ndimage.gaussian_filter1d(
        ring, max(length_px / SPACING_PX, 1.0), axis=0, order=1, mode="wrap"
    )
    tangent /= np.maximum(np.linalg.norm(tangent, axis=1, keepdims=True), 1e-12)
    return np.column_stack([tangent[:, 1], -tangent[:, 0]])


def _steady(shift: FloatArray) -> FloatArray:
    """Bring shifts that stand alone back to their neighbours: another step was met there."""
    usual = ndimage.median_filter(shift, size=2 * NEIGHBOURS + 1, mode="wrap")
    return np.where(np.abs(shift - usual) > STRAY_PX, usual, shift)


def _moved(ring: FloatArray, reach_px: float, shift: FloatArray) -> FloatArray:
    """Move a ring outward by smoothed shifts, outliers along the ring voted down.

    In a sharp inward corner the normals cross and meet edges that are not their
    own; there the ring stays where the segmentation put it.
    """
    steady = ndimage.median_filter(np.clip(shift, -reach_px, reach_px), size=9, mode="wrap")
    outward = _outward(ring, SPACING_PX)
    span = max(1, round(reach_px / SPACING_PX))
    before, after = np.roll(outward, span, axis=0), np.roll(outward, -span, axis=0)
    turn = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    straight = (np.einsum("nk,nk->n", before, after) > SHARP_TURN) | (turn > 0)
    weight = ndimage.minimum_filter1d(straight.astype(np.float64), 2 * span + 1, mode="wrap")
    return ring + along_ring(steady * weight, ALONG_PX)[:, None] * _outward(ring, reach_px)
