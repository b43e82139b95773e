"""Ask the whole boundary which ellipse most of it follows.

Random sample consensus [1]_: ellipses through five of the boundary's points each
are judged by how much of the boundary's length runs along them.

References
----------
.. [1] M. A. Fischler, R. C. Bolles, "Random sample consensus", Communications
   of the ACM 24 (1981) 381-395.
.. [2] P. H. S. Torr, A. Zisserman, "MLESAC", Computer Vision and Image
   Understanding 78 (2000) 138-156: the graded vote.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blanktrace.conic import shape_of_conic

FloatArray = NDArray[np.float64]

SAMPLES = 1500
"""With 45 % of the boundary on the rim, some 25 samples are rim alone."""

SAMPLE_SIZE = 5
"""Points that fix an ellipse."""

PROBES = 300
"""Points of a boundary that elect the ellipse which most of it follows."""

FLATTEST = 0.3
"""Ovals down to this axis ratio compete, so that an oval is not taken for part of a disc."""

LEAST_DISC = 0.3
"""Share of a blank's boundary that lies on its disc's ellipse: with less there is no disc."""

TOLERANCE_PX = 1.5
TOLERANCE_SHARE = 0.003
"""A point agrees within 1.5 px, or 0.3 % of the radius where that is more."""


@dataclass(frozen=True, eq=False)
class Consensus:
    """Sampled ellipses and the votes that the boundary's points cast for them.

    Parameters
    ----------
    shapes : ndarray, shape (S, 5)
        Ellipse shapes as in `conic`.
    votes : ndarray, shape (S, N)
        1 for a point on the ellipse, falling to 0 at the tolerance.
    """

    shapes: FloatArray
    votes: FloatArray

    def ranked(self) -> NDArray[np.intp]:
        """Order the ellipses, most votes first."""
        return np.argsort(-self.votes.sum(axis=1), kind="stable")


def tolerance_px(radius_px: FloatArray | float) -> FloatArray:
    """Say how far from an ellipse of this mean radius a point may lie and still agree."""
    return np.maximum(TOLERANCE_PX, TOLERANCE_SHARE * np.asarray(radius_px, dtype=np.float64))


def sample_ellipses(
    points: FloatArray, *, largest_radius: float, rng: np.random.Generator
) -> Consensus:
    """Draw ellipses through five points each and let all points vote.

    Parameters
    ----------
    points : ndarray, shape (N, 2)
        Points spread evenly along the boundary's length.
    largest_radius : float
        Ellipses of a larger mean radius do not count.
    rng : numpy.random.Generator

    Returns
    -------
    Consensus
        Of those samples that gave an ellipse; there may be none.
    """
    origin = points.mean(axis=0)
    spread = float(np.sqrt(np.mean((points - origin) ** 2)))
    local = (points - origin) / spread
    x, y = np.moveaxis(local[rng.integers(len(local), size=(SAMPLES, SAMPLE_SIZE))], -1, 0)
    rows = np.stack([x * x, x * y, y * y, x, y, np.ones_like(x)], axis=-1)
    shapes = shape_of_conic(np.linalg.svd(rows)[2][:, -1, :])
    flattening = np.hypot(shapes[:, 3], shapes[:, 4]) / shapes[:, 2]
    # NaN compares false, so that what is no ellipse drops out here too.
    usable = (flattening <= (1 - FLATTEST) / (1 + FLATTEST)) & (
        shapes[:, 2] * spread <= largest_radius
    )
    shapes = shapes[usable]
    shapes = np.column_stack([shapes[:, :2] * spread + origin, shapes[:, 2:] * spread])
    scaled = near_distances(points, shapes) / tolerance_px(shapes[:, 2])[:, None]
    return Consensus(shapes, np.maximum(1 - scaled**2, 0.0))


def near_distances(points: FloatArray, shapes: FloatArray) -> FloatArray:
    """Measure signed distances of N points to S ellipses, to first order, shape (S, N).

    Notes
    -----
    Right near an ellipse, which is where they decide; too large far inside.
    """
    x, y, p, q, r = shapes.T[:, :, None]
    dx, dy = points[:, 0] - x, points[:, 1] - y
    det = p * p - q * q - r * r
    wx, wy = ((p - q) * dx - r * dy) / det, ((p + q) * dy - r * dx) / det
    gx, gy = ((p - q) * wx - r * wy) / det, ((p + q) * wy - r * wx) / det
    level = np.hypot(wx, wy)
    steepness = np.maximum(np.hypot(gx, gy), np.finfo(float).tiny)
    distances: FloatArray = (level - 1) * level / steepness
    return distances


def most_followed(
    ring: FloatArray, *, largest_radius: float
) -> tuple[FloatArray, FloatArray] | None:
    """Find the ellipse that most of a boundary follows.

    Parameters
    ----------
    ring : ndarray, shape (N, 2)
        Closed boundary, evenly spaced.
    largest_radius : float
        Ellipses of a larger mean radius do not count.

    Returns
    -------
    shape : ndarray, shape (5,)
        As in `conic`.
    distances : ndarray, shape (N,)
        Of all points, to first order, positive outside.

    None where no sample gave an ellipse.
    """
    probes = ring[np.linspace(0, len(ring) - 1, PROBES).astype(np.intp)]
    rng = np.random.default_rng(0)
    consensus = sample_ellipses(probes, largest_radius=largest_radius, rng=rng)
    if not len(consensus.shapes):
        return None
    best = consensus.shapes[consensus.ranked()[:1]]
    return best[0], near_distances(ring, best)[0]


def followed_disc(ring: FloatArray) -> tuple[FloatArray, FloatArray] | None:
    """Find the ellipse of the disc that much of a blank's boundary follows.

    Parameters
    ----------
    ring : ndarray, shape (N, 2)
        Closed boundary, evenly spaced.

    Returns
    -------
    shape, distances
        As from `most_followed`; None where too little of the boundary is on any ellipse.
    """
    followed = most_followed(ring, largest_radius=float(np.ptp(ring, axis=0).max()) / 2)
    if followed is None:
        return None
    shape, off = followed
    on_disc = np.abs(off) < tolerance_px(shape[2])
    return followed if np.mean(on_disc) >= LEAST_DISC else None
