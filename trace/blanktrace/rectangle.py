"""Lay the rectangle round a blank that its length and width are measured by."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely import MultiPoint, get_coordinates

FloatArray = NDArray[np.float64]

APART_RAD = np.radians(10.0)
"""Turn within which a rectangle must be the smallest one, to be one that a blank lies in."""

ALIKE = 1.03
"""Area over the smallest one's up to which it is not told which of two is the smallest: a
triangle's three are equal."""


@dataclass(frozen=True)
class Rectangle:
    """A rectangle that touches a blank with all four sides.

    Attributes
    ----------
    long, short : float
        Its sides, in the points' unit.
    axis_rad : float
        Direction of the long side, from the x axis towards y.
    """

    long: float
    short: float
    axis_rad: float


def rectangle_about(points: FloatArray) -> Rectangle:
    """Find the smallest rectangle round points; the longest, if several are nearly as small.

    Parameters
    ----------
    points : ndarray, shape (N, 2)

    Returns
    -------
    Rectangle

    Notes
    -----
    The smallest one has a side along an edge of the hull [1]_.

    References
    ----------
    .. [1] H. Freeman, R. Shapira, "Determining the minimum-area encasing rectangle for an
       arbitrary closed curve", Communications of the ACM 18 (1975) 409-413 (from memory).
    """
    hull = get_coordinates(MultiPoint(points).convex_hull)
    along = np.diff(hull, axis=0)
    along = along[np.hypot(*along.T) > 0]
    turns = np.arctan2(along[:, 1], along[:, 0])
    spans = np.stack(
        [
            np.ptp(hull @ np.stack([np.cos(turns + way), np.sin(turns + way)]), axis=0)
            for way in (0.0, np.pi / 2)
        ]
    )
    areas = spans.prod(axis=0)
    apart = np.abs((turns[:, None] - turns + np.pi / 4) % (np.pi / 2) - np.pi / 4)
    least_near = np.where(apart < APART_RAD, areas, np.inf).min(axis=1)
    lies_in = (areas <= least_near) & (areas <= ALIKE * areas.min())
    best = int(np.argmax(np.where(lies_in, spans.max(axis=0), -np.inf)))
    across = int(np.argmax(spans[:, best]))
    return Rectangle(
        long=float(spans[across, best]),
        short=float(spans[1 - across, best]),
        axis_rad=float(turns[best] + across * np.pi / 2),
    )
