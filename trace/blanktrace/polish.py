"""Move a path's vertices and bend its arcs until it fits its points best.

All segments are fitted together, as they share vertices. Where two of them meet
smoothly, a stiff spring keeps their tangents in line.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from blanktrace.least_squares import minimise
from blanktrace.path import Path

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

ANCHOR = 0.01
"""Weight of a vertex's movement: stops smooth joints from sliding along, and no more."""

MOST_STEPS = 20
SMALLEST_GAIN = 1e-3
"""Of the sum of squares: smooth joints creep on much longer, to no one's profit."""


def polish_path(
    path: Path,
    points_mm: FloatArray,
    owner: NDArray[np.intp],
    *,
    smooth: BoolArray,
    stiffness_mm: float,
    doubt_mm: FloatArray,
) -> Path:
    """Fit a closed path to points that are already shared out among its segments.

    Parameters
    ----------
    path : Path
        Closed, K segments. Bulges of 0 stay 0.
    points_mm : ndarray, shape (N, 2)
    owner : ndarray of int, shape (N,)
        The segment that each point belongs to.
    smooth : ndarray of bool, shape (K,)
        Whether the path should run on without a kink at each vertex.
    stiffness_mm : float
        Residual, in mm, that a kink of one radian at a smooth vertex counts as.
    doubt_mm : ndarray, shape (N,)
        What each point's distance is counted in.

    Returns
    -------
    Path
    """
    count = len(path.points_mm)
    bent = np.flatnonzero(path.bulges != 0)
    anchors = path.points_mm.ravel()

    def unpack(parameters: FloatArray) -> tuple[FloatArray, FloatArray]:
        bulges = np.zeros(count)
        bulges[bent] = parameters[2 * count :]
        return parameters[: 2 * count].reshape(-1, 2), bulges

    def model(parameters: FloatArray) -> tuple[FloatArray, FloatArray]:
        vertices, bulges = unpack(parameters)
        gaps, gap_slopes = _gaps(vertices, bulges, points_mm, owner)
        gaps, gap_slopes = gaps / doubt_mm, gap_slopes / doubt_mm[:, None]
        kinks, kink_slopes = _kinks(vertices, bulges)
        columns = np.concatenate([np.arange(2 * count), 2 * count + bent])
        still = ANCHOR * np.eye(2 * count, len(columns))
        return (
            np.concatenate(
                [gaps, stiffness_mm * kinks[smooth], ANCHOR * (parameters[: 2 * count] - anchors)]
            ),
            np.vstack(
                [gap_slopes[:, columns], stiffness_mm * kink_slopes[smooth][:, columns], still]
            ),
        )

    start = np.concatenate([anchors, path.bulges[bent]])
    best = minimise(model, start, smallest_gain=SMALLEST_GAIN, most_steps=MOST_STEPS)
    vertices, bulges = unpack(best)
    return Path(vertices, bulges)


def _gaps(
    vertices: FloatArray, bulges: FloatArray, points: FloatArray, owner: NDArray[np.intp]
) -> tuple[FloatArray, FloatArray]:
    """Measure signed distances to each point's own line or circle, and their slopes.

    Notes
    -----
    In the frame of a chord of length L, u along and w to its left from its
    middle, the circle with bulge b is G = κ/2 (u² + w² - L²/4) - m w = 0 with
    κ = 4b / (L (1 + b²)) and m = (1 - b²) / (1 + b²): a line for b = 0.
    """
    count = len(vertices)
    start, end, b = vertices[owner], vertices[(owner + 1) % count], bulges[owner]
    chord = end - start
    length = np.maximum(np.hypot(chord[:, 0], chord[:, 1]), np.finfo(float).tiny)
    e = chord / length[:, None]
    n = np.column_stack([-e[:, 1], e[:, 0]])
    offset = points - (start + end) / 2
    u, w = (offset * e).sum(axis=1), (offset * n).sum(axis=1)
    square = 1 + b * b
    kappa, m = 4 * b / (length * square), (1 - b * b) / square
    power = u * u + w * w - length**2 / 4
    level = kappa / 2 * power - m * w
    root = np.sqrt(np.maximum(1 + 2 * kappa * level, 0.0))

    # How G changes with u, w, the length and the bulge; then those with the vertices.
    by_u, by_w = kappa * u, kappa * w - m
    by_length = -kappa * length / 4 - kappa / (2 * length) * power
    by_bulge = 2 * (1 - b * b) / (length * square**2) * power + 4 * b / square**2 * w
    swing = (by_u * w - by_w * u) / length
    half_e, half_n = -by_u / 2, -by_w / 2
    to_start = (half_e - by_length)[:, None] * e + (half_n - swing)[:, None] * n
    to_end = (half_e + by_length)[:, None] * e + (half_n + swing)[:, None] * n

    rows = np.arange(len(points))
    slopes = np.zeros((len(points), 3 * count))
    follower = (owner + 1) % count
    for axis in range(2):
        slopes[rows, 2 * owner + axis] += to_start[:, axis]
        slopes[rows, 2 * follower + axis] += to_end[:, axis]
    slopes[rows, 2 * count + owner] = by_bulge
    return 2 * level / (1 + root), slopes


def _kinks(vertices: FloatArray, bulges: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Measure the turn at each vertex from the end of one segment to the start of the next."""
    count = len(vertices)
    chord = np.roll(vertices, -1, axis=0) - vertices
    heading = np.arctan2(chord[:, 1], chord[:, 0])
    bend = 2 * np.arctan(bulges)
    turn = (heading - bend) - np.roll(heading + bend, 1)
    square = np.maximum((chord**2).sum(axis=1), np.finfo(float).tiny)
    heading_slope = np.column_stack([-chord[:, 1], chord[:, 0]]) / square[:, None]
    bend_slope = 2 / (1 + bulges**2)

    slopes = np.zeros((count, 3 * count))
    here = np.arange(count)
    before, after = (here - 1) % count, (here + 1) % count
    for axis in range(2):
        np.add.at(slopes, (here, 2 * after + axis), heading_slope[:, axis])
        np.add.at(
            slopes, (here, 2 * here + axis), -heading_slope[:, axis] - heading_slope[before, axis]
        )
        np.add.at(slopes, (here, 2 * before + axis), heading_slope[before, axis])
    np.add.at(slopes, (here, 2 * count + here), -bend_slope)
    np.add.at(slopes, (here, 2 * count + before), -bend_slope[before])
    return np.mod(turn + np.pi, 2 * np.pi) - np.pi, slopes


def kinks_rad(path: Path) -> FloatArray:
    """Measure the turn of a closed path at each vertex; 0 where it runs on smoothly."""
    return _kinks(path.points_mm, path.bulges)[0]
