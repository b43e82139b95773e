"""Fit an ellipse to points, with covariance: what a disc looks like in a photograph.

The search runs over the shape (x, y, p, q, r) of `conic`: mean radius p, and the
amount and direction (q, r) of the flattening. A circle is then a point like any
other (q = r = 0), which it is not for semi-axes and an angle; and most of our
ellipses are nearly circles.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from blanktrace.circle import checked_points
from blanktrace.conic import axes_of_shape, direct_conic, foot_points, shape_of_conic, turn
from blanktrace.errors import NoDiscError
from blanktrace.least_squares import minimise
from blanktrace.residuals import parameter_covariance

FloatArray = NDArray[np.float64]

FEWEST_POINTS = 6
"""Five points fit an ellipse exactly and would say nothing of the noise."""

STRAIGHT = 1e-9
"""Points narrower than this share of their length lie on a line but for rounding."""


@dataclass(frozen=True, eq=False)
class Ellipse:
    """A fitted ellipse and how well it is known.

    Parameters
    ----------
    centre_px : ndarray, shape (2,)
    semi_axes_px : tuple of float
        Long and short semi-axis.
    angle_rad : float
        From the x axis to the long axis, towards y, in (-π/2, π/2].
    covariance : ndarray, shape (5, 5)
        Of (centre x, centre y, long, short semi-axis, angle). On an ellipse
        that is a circle to within its noise the angle's standard deviation is
        given as half a radian: it means nothing.
    rms_px : float
        Root mean square distance of the points from the ellipse.
    count : int
        Points fitted.
    """

    centre_px: FloatArray
    semi_axes_px: tuple[float, float]
    angle_rad: float
    covariance: FloatArray
    rms_px: float
    count: int

    @property
    def axis_ratio(self) -> float:
        """Short over long semi-axis."""
        return self.semi_axes_px[1] / self.semi_axes_px[0]

    @property
    def mean_radius_px(self) -> float:
        """Mean of the semi-axes."""
        return sum(self.semi_axes_px) / 2

    def signed_distance_px(self, points_px: ArrayLike) -> FloatArray:
        """Measure distances to the nearest point of the ellipse, positive outside."""
        local = self._local(points_px)
        return foot_points(local, *self.semi_axes_px)[1]

    def parameter_rad(self, points_px: ArrayLike) -> FloatArray:
        """Give each point's nearest place on the ellipse, u of (a cos u, b sin u)."""
        unit, _ = foot_points(self._local(points_px), *self.semi_axes_px)
        angles: FloatArray = np.arctan2(unit[:, 1], unit[:, 0])
        return angles

    def points(self, count: int) -> FloatArray:
        """Place points on the ellipse, evenly in u, from the long axis towards the short."""
        u = 2 * np.pi * np.arange(count) / count
        a, b = self.semi_axes_px
        placed: FloatArray = self.centre_px + np.column_stack([a * np.cos(u), b * np.sin(u)]) @ (
            turn(self.angle_rad).T
        )
        return placed

    def normals(self, count: int) -> FloatArray:
        """Outward unit normals at the points that `points` places."""
        u = 2 * np.pi * np.arange(count) / count
        a, b = self.semi_axes_px
        normals = np.column_stack([np.cos(u) / a, np.sin(u) / b])
        normals /= np.hypot(*normals.T)[:, None]
        return np.asarray(normals @ turn(self.angle_rad).T)

    def _local(self, points_px: ArrayLike) -> FloatArray:
        points = np.asarray(points_px, dtype=np.float64)
        local: FloatArray = (points - self.centre_px) @ turn(self.angle_rad)
        return local


def fit_ellipse(points_px: ArrayLike, *, start: Ellipse | None = None) -> Ellipse:
    """Fit the ellipse with the least squared distances to points.

    Parameters
    ----------
    points_px : array_like, shape (N, 2)
        Six or more points, in order along the contour where they have one.
    start : Ellipse, optional
        Where to search from, if a good guess is at hand. It saves time only.

    Returns
    -------
    Ellipse

    Raises
    ------
    ValueError
        If shapes, counts or numbers are not as above.
    NoDiscError
        If the points lie on a straight line, or all in one place.

    Notes
    -----
    Distances are orthogonal, to exact foot points. On bad data the sum of
    squares has more than one minimum and the start decides, so the search
    starts both from the direct fit [2]_ [3]_ and from a circle, and the better
    end is kept. The ellipse's centre is
    not the image of the disc's centre unless the view is straight.

    Examples
    --------
    >>> u = np.linspace(0, 6, 50)
    >>> ellipse = fit_ellipse(np.column_stack([5 * np.cos(u), 4 * np.sin(u)]))
    >>> round(ellipse.axis_ratio, 9)
    0.8

    References
    ----------
    .. [1] W. Gander, G. H. Golub, R. Strebel, "Least-squares fitting of circles
       and ellipses", BIT 34 (1994) 558-578.
    .. [2] A. Fitzgibbon, M. Pilu, R. B. Fisher, "Direct least square fitting of
       ellipses", IEEE PAMI 21 (1999) 476-480.
    .. [3] R. Halir, J. Flusser, "Numerically stable direct least squares
       fitting of ellipses", Proc. WSCG (1998) 125-132.
    """
    points = checked_points(points_px, fewest=FEWEST_POINTS)
    origin = points.mean(axis=0)
    spread = float(np.sqrt(np.mean((points - origin) ** 2)))
    if not spread > 0:
        raise NoDiscError("All points lie in one place: an ellipse needs points along a rim.")
    local = (points - origin) / spread
    widths = np.linalg.svd(local, compute_uv=False)
    if widths[1] <= STRAIGHT * widths[0]:
        raise NoDiscError("The points lie on a straight line: an ellipse needs points that bend.")

    def model(shape: FloatArray) -> tuple[FloatArray, FloatArray] | None:
        return _distances_and_slopes(local, shape) if _is_ellipse(shape) else None

    starts = _starts(local) if start is None else [_local_shape(start, origin, spread)]
    ends = [minimise(model, shape) for shape in starts]
    losses = [float(np.sum(_distances_and_slopes(local, end)[0] ** 2)) for end in ends]
    return _ellipse_from(ends[int(np.argmin(losses))], local, origin=origin, spread=spread)


def _starts(local: FloatArray) -> list[FloatArray]:
    """Collect the shapes to search from: a circle of the points' spread, and the direct fit."""
    starts = [np.array([0.0, 0.0, np.sqrt(2.0), 0.0, 0.0])]
    direct = shape_of_conic(direct_conic(local))
    return [*starts, direct] if _is_ellipse(direct) else starts


def _local_shape(ellipse: Ellipse, origin: FloatArray, spread: float) -> FloatArray:
    long, short = ellipse.semi_axes_px
    flat = (
        (long - short)
        / 2
        * np.array([np.cos(2 * ellipse.angle_rad), np.sin(2 * ellipse.angle_rad)])
    )
    return np.array([*(ellipse.centre_px - origin), (long + short) / 2, *flat]) / spread


def _is_ellipse(shape: FloatArray) -> bool:
    return bool(shape[2] > np.hypot(shape[3], shape[4]))


def _distances_and_slopes(local: FloatArray, shape: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Measure signed distances and their derivatives by the shape.

    Notes
    -----
    To first order a distance changes by the ellipse's own movement at the foot
    point, along the normal there; the foot's sliding along it does not count.
    """
    long, short, angle = axes_of_shape(shape)
    back = turn(angle)
    unit, distances = foot_points((local - shape[:2]) @ back, long, short)
    normal = unit / (long, short)
    normal = normal / np.hypot(normal[:, 0], normal[:, 1])[:, None] @ back.T
    w = unit @ back.T
    across = normal * w
    slopes = np.column_stack(
        [
            normal,
            across.sum(axis=1),
            across[:, 0] - across[:, 1],
            normal[:, 0] * w[:, 1] + normal[:, 1] * w[:, 0],
        ]
    )
    return distances, -slopes


def _ellipse_from(
    shape: FloatArray, local: FloatArray, *, origin: FloatArray, spread: float
) -> Ellipse:
    """Name a fitted shape's axes and carry its covariance over to them."""
    distances, slopes = _distances_and_slopes(local, shape)
    spread_of_shape = parameter_covariance(slopes, distances)
    long, short, angle = axes_of_shape(shape)
    along = np.array([np.cos(2 * angle), np.sin(2 * angle)])
    across = np.array([-along[1], along[0]])
    doubt = float(np.sqrt(across @ spread_of_shape[3:, 3:] @ across))
    lever = 2 * max((long - short) / 2, doubt, np.finfo(float).tiny)
    slope = np.zeros((5, 5))
    slope[0, 0] = slope[1, 1] = slope[2, 2] = slope[3, 2] = spread
    slope[2, 3:], slope[3, 3:], slope[4, 3:] = spread * along, -spread * along, across / lever
    return Ellipse(
        centre_px=shape[:2] * spread + origin,
        semi_axes_px=(long * spread, short * spread),
        angle_rad=angle,
        covariance=slope @ spread_of_shape @ slope.T,
        rms_px=spread * float(np.sqrt(np.mean(distances**2))),
        count=len(local),
    )
