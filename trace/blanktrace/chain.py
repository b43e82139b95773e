"""Follow a ring with the longest lines and arcs that keep to a tolerance.

For long or uneven rings, where fitting all pieces together would take long: each
piece starts and ends on a point of the ring and reaches as far as one arc through
both ends stays within the tolerance of every point between. Then each joint is
moved to where the two pieces that meet there are equally strained.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from blanktrace.path import Path

FloatArray = NDArray[np.float64]

FLAT_SHARE = 0.6
"""Share of the tolerance within which a piece may as well be straight."""

LARGEST_BULGE = 1.0
"""A piece turns by half a circle at most, so that its points have one side to lie on."""

BALANCE_ROUNDS = 2
SETTLED = 1e-6


def chain_ring(ring_mm: FloatArray, *, tolerance_mm: float) -> Path:
    """Turn a ring into lines and arcs from point to point.

    Parameters
    ----------
    ring_mm : ndarray, shape (N, 2)
        The ring's points in order, the first not repeated.
    tolerance_mm : float
        Largest distance of a point from the piece that passes it.

    Returns
    -------
    Path
        Closed, vertices on points of the ring.
    """
    first = _joints(ring_mm, 0, tolerance_mm)
    # The end of a longest piece is a better start than any given point.
    start = first[1] if len(first) > 1 else 0
    turned = np.roll(ring_mm, -start, axis=0)
    joints = _joints(turned, 0, tolerance_mm)
    if len(joints) < 2:  # noqa: PLR2004
        joints = [0, len(turned) // 2]
    closed = np.vstack([turned, turned[:1]])
    for _ in range(BALANCE_ROUNDS):
        joints = _balanced(closed, joints)
    ends = [*joints[1:], len(turned)]
    bulges = [_piece(closed[i : j + 1], tolerance_mm)[0] for i, j in zip(joints, ends, strict=True)]
    return Path(turned[joints], bulges)


def _joints(ring: FloatArray, start: int, tolerance_mm: float) -> list[int]:
    """Greedily take the longest piece that holds, from a start once round."""
    closed = np.vstack([ring, ring[:1]])
    joints, here, last = [start], start, len(ring)
    while here < last:
        reach, step = here + 1, 2
        while reach < last:
            ahead = min(here + step, last)
            if _piece(closed[here : ahead + 1], tolerance_mm)[1] > tolerance_mm:
                break
            reach, step = ahead, 2 * step
        low, high = reach, min(here + step, last)
        while high - low > 1:
            middle = (low + high) // 2
            if _piece(closed[here : middle + 1], tolerance_mm)[1] <= tolerance_mm:
                low = middle
            else:
                high = middle
        here = low
        if here < last:
            joints.append(here)
    return joints


def _balanced(closed: FloatArray, joints: list[int]) -> list[int]:
    """Move each joint between its neighbours to where both its pieces are least strained."""
    moved = list(joints)
    for k in range(1, len(moved)):
        before = moved[k - 1]
        after = moved[k + 1] if k + 1 < len(moved) else len(closed) - 1
        low, high = before + 1, after - 1
        while high - low > 1:
            middle = (low + high) // 2
            left = _piece(closed[before : middle + 1], 0.0)[1]
            right = _piece(closed[middle : after + 1], 0.0)[1]
            if abs(left - right) < SETTLED:
                low = high = middle
            elif left < right:
                low = middle
            else:
                high = middle
        strain = {
            at: max(_piece(closed[before : at + 1], 0.0)[1], _piece(closed[at : after + 1], 0.0)[1])
            for at in {low, high, moved[k]}
        }
        moved[k] = min(strain, key=lambda at: (strain[at], at))
    return moved


def _piece(points: FloatArray, tolerance_mm: float) -> tuple[float, float]:
    """Best arc through both ends of a run of points: its bulge and largest deviation."""
    start, end = points[0], points[-1]
    inner = points[1:-1]
    if len(inner) == 0:
        return 0.0, 0.0
    chord = end - start
    length = float(np.hypot(*chord))
    if length == 0:
        return 0.0, float(np.hypot(*(inner - start).T).max())
    along = chord / length
    u = (inner - start) @ along
    v = (inner - start) @ np.array([-along[1], along[0]])
    flat = float(np.abs(v).max()) if (u >= 0).all() and (u <= length).all() else np.inf
    power = u * (u - length) + v * v
    # A circle through both ends: power = 2 h v, h the height of its centre; so v = k power.
    k = float(power @ v / max(power @ power, 1e-30))
    bulge = _bulge(k, length)
    if flat <= FLAT_SHARE * tolerance_mm:
        return 0.0, flat
    if abs(bulge) > LARGEST_BULGE:
        return bulge, np.inf
    if bulge == 0:
        return 0.0, flat
    centre_v = 1 / (2 * k)
    radius = float(np.hypot(length / 2, centre_v))
    off = np.abs(np.hypot(u - length / 2, v - centre_v) - radius)
    to_ends = np.minimum(np.hypot(u, v), np.hypot(u - length, v))
    # The piece is the smaller arc; what lies beyond its chord is nearest to an end.
    deviation = float(np.where(v * k > 0, to_ends, off).max())
    return (0.0, flat) if flat <= deviation else (bulge, deviation)


def _bulge(k: float, length: float) -> float:
    """Bulge of the arc over a chord whose circle has its centre at height 1/(2k) on the left.

    The arc lies right of its chord (v < 0, centre on the left) for a positive
    bulge: centre height = L (1 - b²) / (4 b), solved for the smaller arc.
    """
    if k == 0:
        return 0.0
    height = 1 / (2 * k)
    return float(np.sign(height) * (np.hypot(2 * height, length) - 2 * abs(height)) / length)
