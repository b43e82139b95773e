"""Find the ring on a strap by its two round edges.

Bent wire mirrors the sheet: along much of its way a ring is as light as the paper,
elsewhere as dark as its shadow, and no colour tells it. What stays is its shape: two
edges about one centre, all the way round. Every place with an edge votes for the
centres of the circles that it may lie on (the Hough transform, by gradient
direction). About the centres with most votes the gradient is averaged along arcs,
where it is far above the noise even if no single pixel is, and the pair of radii is
taken that shows most of its two rims. The ring's shadow is such a pair too, but the
ring hides half of it.

References
----------
D. H. Ballard, Generalizing the Hough transform to detect arbitrary shapes, Pattern
Recognition 13, 1981.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

Picture = NDArray[np.float32]
MaskArray = NDArray[np.bool_]
FloatArray = NDArray[np.float64]

SMALLEST_SHARE = 0.12
LARGEST_SHARE = 0.65
"""Outer radius of a ring over that of the disc it hangs on."""

THINNEST = 0.87
THICKEST = 0.5
"""Inner radius over the outer."""

CENTRE_SHARE = 1.1
"""Least distance of the ring's centre from the disc's, in radii of the disc."""

SMOOTH_PX = 0.7
EDGE_NOISES = 4.0
EDGE_WEIGHT = 0.35
"""An edge's gradient in noises of the bare sheet that counts half, and the least that votes."""

VOTES_SMOOTH_PX = 1.5
CENTRES = 40

ANGLES = 120
ARC = 10
"""Directions looked into from a centre, and how many make an arc."""

RADIUS_STEP_PX = 0.5
PROMINENT_STEPS = 5
"""An edge stands out against the gradient so many steps nearer and farther."""

RIM_NOISES = 8.0
"""Gradient along an arc, in its noises, that makes half an edge."""

STRAP_RAD = 0.96
"""Half the angle, seen from the ring's centre, that the strap hides."""

SURFACE_NOISES = 4.0
SURFACE_WEIGHT = 2.5
"""What differs so much from bare sheet is surely not; and what it counts against two rims."""

LEAST_RIM = 0.45
"""Share of each rim that must show."""

WIDER = 1.25
"""How much wider a ring may be than its strongest edge: a shine may split it in two."""

ALIKE = 0.85
"""Of inner edges that show as well, to this share, the outermost is the ring's: shade within
the hole lies about the same centre."""


@dataclass(frozen=True)
class Ring:
    """A ring in a picture."""

    x_px: float
    y_px: float
    outer_px: float
    inner_px: float


def find_ring(
    loss: Picture, where: MaskArray, bare: MaskArray, *, disc_px: tuple[float, float, float]
) -> Ring | None:
    """Find a ring that hangs on a disc.

    Parameters
    ----------
    loss : ndarray of float32, shape (h, w, 3)
        Share of the sheet's light that is missing.
    where : ndarray of bool, shape (h, w)
        Where its edges may lie.
    bare : ndarray of bool, shape (h, w)
        Bare sheet, whose noise tells what an edge is.
    disc_px : (float, float, float)
        Centre (x, y) and radius of the disc.

    Returns
    -------
    Ring or None
        None where no two circles about one centre show enough of their rims.
    """
    if not bare.any() or not where.any():
        return None
    smooth = np.asarray(cv2.GaussianBlur(loss, (0, 0), SMOOTH_PX))
    slope_x, slope_y = (cv2.Scharr(smooth, cv2.CV_32F, *axis) / 32 for axis in ((1, 0), (0, 1)))
    noise = slope_x[bare].std(axis=0) + 1e-3
    slopes = (np.asarray(slope_x / noise), np.asarray(slope_y / noise))
    surface = np.linalg.norm(smooth - np.median(smooth[bare], axis=0), axis=2)
    surface = np.clip(surface / (SURFACE_NOISES * (np.median(surface[bare]) + 4e-3)), 0, 1)
    look = _Look(slopes, np.asarray(surface, dtype=np.float32), disc_px)
    best = max(
        (look.pair(x, y) for x, y in _centres(slopes, where, disc_px)), default=(0.0, (0.0,) * 6)
    )
    for step in (2.0, 1.0, 0.5):
        for _ in range(2):
            x, y = best[1][:2]
            moves = [(x + dx, y + dy) for dx in (-step, 0, step) for dy in (-step, 0, step)]
            best = max(best, *(look.pair(*move) for move in moves))
    return look.ring(*best[1][:3])


def _centres(
    slopes: tuple[Picture, Picture], where: MaskArray, disc_px: tuple[float, float, float]
) -> list[tuple[float, float]]:
    """Let edges vote for the centres of their circles; the places with most votes."""
    size = np.stack([np.hypot(*pair) for pair in zip(*map(_channels, slopes), strict=True)])
    strongest = size.argmax(axis=0)[None]
    gx, gy = (np.take_along_axis(np.stack(_channels(side)), strongest, 0)[0] for side in slopes)
    strength = np.hypot(gx, gy)
    weight = strength / (strength + EDGE_NOISES)
    ux, uy = gx / np.maximum(strength, 1e-9), gy / np.maximum(strength, 1e-9)
    rows, columns = np.indices(strength.shape, dtype=np.float32)
    ahead, behind = (
        cv2.remap(strength, columns + side * ux, rows + side * uy, cv2.INTER_LINEAR)
        for side in (1, -1)
    )
    edge = where & (strength >= ahead) & (strength >= behind) & (weight > EDGE_WEIGHT)
    y, x = np.nonzero(edge)
    if not len(x):
        return []
    x0, y0, disc = disc_px
    left, top = int(x.min()), int(y.min())
    shape = (int(y.max()) - top + 1, int(x.max()) - left + 1)
    radii = np.arange(SMALLEST_SHARE * disc, LARGEST_SHARE * disc)
    votes = np.zeros((len(radii), *shape), dtype=np.float32)
    for index, r in enumerate(radii):
        for side in (-r, r):
            column = np.rint(x + side * ux[edge]).astype(int) - left
            row = np.rint(y + side * uy[edge]).astype(int) - top
            seen = (column >= 0) & (column < shape[1]) & (row >= 0) & (row < shape[0])
            place = row[seen] * shape[1] + column[seen]
            votes[index] += np.bincount(place, weight[edge][seen], shape[0] * shape[1]).reshape(
                shape
            )
        votes[index] /= 2 * np.pi * r
    most = ndimage.gaussian_filter(votes, (1.0, VOTES_SMOOTH_PX, VOTES_SMOOTH_PX)).max(axis=0)
    row, column = np.indices(shape)
    most[np.hypot(column + left - x0, row + top - y0) < CENTRE_SHARE * disc] = 0
    peak = (most == ndimage.maximum_filter(most, 5)) & (most > 0)
    ys, xs = np.nonzero(peak)
    order = np.argsort(-most[peak], kind="stable")[:CENTRES]
    return [(float(xs[k] + left), float(ys[k] + top)) for k in order]


def _channels(picture: Picture) -> list[Picture]:
    return [np.ascontiguousarray(picture[..., k]) for k in range(picture.shape[2])]


class _Look:
    """What is seen from a would-be centre, direction by direction."""

    def __init__(
        self,
        slopes: tuple[Picture, Picture],
        surface: Picture,
        disc_px: tuple[float, float, float],
    ) -> None:
        self._x, self._y = (_channels(side) for side in slopes)
        self._surface = surface
        self._disc = disc_px
        disc = disc_px[2]
        smallest = THICKEST * SMALLEST_SHARE * disc
        self._radii = np.arange(smallest, LARGEST_SHARE * disc, RADIUS_STEP_PX)
        self._angles = np.arange(ANGLES) * 2 * np.pi / ANGLES
        self._cos, self._sin = np.cos(self._angles)[:, None], np.sin(self._angles)[:, None]

    def pair(self, x: float, y: float) -> tuple[float, tuple[float, ...]]:
        """Find the two radii that show most: score; centre, radii, share of each rim seen."""
        rim, surface = self._seen(x, y)
        radii = self._radii
        best: tuple[float, tuple[float, ...]] = (0.0, (x, y, 0.0, 0.0, 0.0, 0.0))
        first = int(np.searchsorted(radii, SMALLEST_SHARE * self._disc[2]))
        for outer in range(first, len(radii)):
            low, high = np.searchsorted(radii, (THICKEST * radii[outer], THINNEST * radii[outer]))
            inner = np.arange(low, min(high, outer - 4))
            if not len(inner):
                continue
            between = (surface[outer - 1] - surface[inner + 2]) / (outer - 3 - inner)
            score = rim[outer] + rim[inner] + SURFACE_WEIGHT * between
            k = int(inner[score.argmax()])
            if score.max() > best[0]:
                values = (x, y, radii[outer], radii[k], rim[outer], rim[k])
                best = (float(score.max()), tuple(map(float, values)))
        return best

    def ring(self, x: float, y: float, outer: float) -> Ring | None:
        """Tell the ring's own edges from those of shine on it and shade within it."""
        rim, _ = self._seen(x, y)
        peak = (rim == ndimage.maximum_filter1d(rim, 5)) & (rim > LEAST_RIM)
        edges, shown = self._radii[peak], rim[peak]
        outers = edges[(edges >= outer - 1) & (edges <= WIDER * outer)]
        if not len(outers):
            return None
        widest = float(outers.max())
        inside = (edges >= THICKEST * widest) & (edges <= THINNEST * widest)
        if not inside.any():
            return None
        alike = inside & (shown >= ALIKE * shown[inside].max())
        return Ring(x, y, widest, float(edges[alike].max()))

    def _seen(self, x: float, y: float) -> tuple[FloatArray, FloatArray]:
        """By radius: how much of a rim shows (0 to 1); surface that shows up to there, summed."""
        px = np.asarray(x + self._cos * self._radii, dtype=np.float32)
        py = np.asarray(y + self._sin * self._radii, dtype=np.float32)
        power = np.zeros(px.shape)
        for gx, gy in zip(self._x, self._y, strict=True):
            radial = self._cos * cv2.remap(gx, px, py, cv2.INTER_LINEAR)
            radial = radial + self._sin * cv2.remap(gy, px, py, cv2.INTER_LINEAR)
            power += ndimage.uniform_filter1d(radial, ARC, axis=0, mode="wrap") ** 2
        slope = np.sqrt(power)
        beside = np.zeros_like(slope)
        near, far = slope[:, : -2 * PROMINENT_STEPS], slope[:, 2 * PROMINENT_STEPS :]
        beside[:, PROMINENT_STEPS:-PROMINENT_STEPS] = np.maximum(near, far)
        prominent = ndimage.maximum_filter1d(np.maximum(slope - beside, 0), 3, axis=1)
        # An arc's mean has less noise than a pixel: neighbours two pixels apart are independent.
        noises = prominent * np.sqrt(np.maximum(np.pi * self._radii * ARC / ANGLES, 1))
        rim = noises / (noises + RIM_NOISES)
        towards_disc = np.arctan2(self._disc[1] - y, self._disc[0] - x)
        turn = np.abs((self._angles - towards_disc + np.pi) % (2 * np.pi) - np.pi)
        clear = turn > STRAP_RAD
        surface = cv2.remap(self._surface, px, py, cv2.INTER_LINEAR)[clear].mean(axis=0)
        return rim[clear].mean(axis=0), np.concatenate([[0.0], np.cumsum(surface)])
