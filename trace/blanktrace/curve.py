"""A line or a circle as one kind of thing, so that code need not ask which it has.

Both are the zeros of G(x, y) = A (x² + y²) + B x + C y + D, scaled so that
B² + C² - 4 A D = 1 [1]_. A line has A = 0; a circle has curvature 2A. The exact
signed distance is 2G / (1 + √(1 + 4AG)), which is G itself for a line.

References
----------
.. [1] V. Pratt, "Direct least-squares fitting of algebraic surfaces", Computer
   Graphics 21(4) (1987) 145-152: the scaling.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blanktrace.circle import FEWEST_POINTS, fit_circle_hyper
from blanktrace.errors import NoDiscError

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Curve:
    """A whole line or circle: A, B, C, D of the module's equation, lengths in mm."""

    a: float
    b: float
    c: float
    d: float

    @property
    def centre(self) -> FloatArray | None:
        """The circle's centre, or None of a line."""
        return None if self.a == 0 else np.array([-self.b, -self.c]) / (2 * self.a)

    def distances(self, points: FloatArray) -> FloatArray:
        """Measure signed distances of points (N, 2)."""
        level = self.a * (points**2).sum(axis=1) + points @ (self.b, self.c) + self.d
        root = np.sqrt(np.maximum(1 + 4 * self.a * level, 0.0))
        distances: FloatArray = 2 * level / (1 + root)
        return distances

    def nearest(self, points: FloatArray) -> FloatArray:
        """Find the points of the curve that lie nearest to points (N, 2)."""
        slopes = 2 * self.a * points + (self.b, self.c)
        # A circle's own centre has no nearest point and stays.
        slopes /= np.maximum(np.hypot(*slopes.T), np.finfo(float).tiny)[:, None]
        feet: FloatArray = points - self.distances(points)[:, None] * slopes
        return feet

    def along(self, points: FloatArray) -> FloatArray:
        """Measure how far along the curve points lie, going round as often as they do."""
        centre = self.centre
        if centre is None:
            return points @ (-self.c, self.b)
        offsets = points - centre
        angles: FloatArray = np.unwrap(np.arctan2(offsets[:, 1], offsets[:, 0]))
        return angles / (2 * abs(self.a))

    def direction(self, point: FloatArray) -> FloatArray:
        """Give the unit tangent at a point, towards growing `along`."""
        slope = 2 * self.a * point + (self.b, self.c)
        if self.a < 0:
            slope = -slope
        tangent: FloatArray = np.array([-slope[1], slope[0]]) / np.hypot(*slope)
        return tangent


def fit_line(points: FloatArray) -> Curve:
    """Fit the line with the least squared distances."""
    middle = points.mean(axis=0)
    local = points - middle
    (xx, xy), (_, yy) = local.T @ local
    angle = np.arctan2(2 * xy, xx - yy) / 2
    b, c = -np.sin(angle), np.cos(angle)
    return Curve(0.0, float(b), float(c), float(-(b * middle[0] + c * middle[1])))


def fit_arc(points: FloatArray) -> Curve | None:
    """Fit the circle without leading bias, or None where points are on a line or too few."""
    if len(points) < FEWEST_POINTS:
        return None
    try:
        (x, y), radius = fit_circle_hyper(points)
    except NoDiscError:
        return None
    return Curve(
        1 / (2 * radius), -x / radius, -y / radius, (x * x + y * y - radius**2) / (2 * radius)
    )
