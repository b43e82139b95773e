"""Fit a circle to points, with covariance.

The geometric fit, least squared distances to the rim, is the one to measure
with; the Hyper fit, a closed form without leading bias, starts it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from blanktrace.errors import NoDiscError
from blanktrace.least_squares import minimise
from blanktrace.residuals import parameter_covariance

FloatArray = NDArray[np.float64]

FEWEST_POINTS = 4
"""Three points fit any circle exactly and would say nothing of the noise."""

EXACT = 1e-7
"""With a smallest singular value below this share of the largest, squares lose it to
rounding; the fits then agree, and its own singular vector is the exact answer."""

FLATTEST = 1e6
"""A radius above this many times the points' spread is a straight line's."""


@dataclass(frozen=True, eq=False)
class Circle:
    """A fitted circle and how well it is known.

    Parameters
    ----------
    centre_px : ndarray, shape (2,)
    radius_px : float
    covariance : ndarray, shape (3, 3)
        Of (centre x, centre y, radius), px².
    rms_px : float
        Root mean square (weighted) distance of the points from the rim.
    count : int
        Points fitted.
    """

    centre_px: FloatArray
    radius_px: float
    covariance: FloatArray
    rms_px: float
    count: int

    def signed_distance_px(self, points_px: ArrayLike) -> FloatArray:
        """Measure distances to the rim, positive outside."""
        offsets = np.asarray(points_px, dtype=np.float64) - self.centre_px
        distances: FloatArray = np.hypot(offsets[:, 0], offsets[:, 1]) - self.radius_px
        return distances


def fit_circle(points_px: ArrayLike, *, weights: ArrayLike | None = None) -> Circle:
    """Fit the circle with the least squared distances to points.

    Parameters
    ----------
    points_px : array_like, shape (N, 2)
        Four or more points, in order along the contour where they have one.
    weights : array_like, shape (N,), optional
        Relative weights, not negative (1/σ² of each point). All equal if left out.

    Returns
    -------
    Circle

    Raises
    ------
    ValueError
        If shapes, counts or numbers are not as above.
    NoDiscError
        If the points lie on a straight line, or all in one place.

    Notes
    -----
    The radius comes out too large by σ²/2R for noise σ per coordinate [2]_:
    0.0001 px at σ = 0.3 px, R = 450 px. The covariance allows for neighbours
    that share noise (`residuals.effective_count`).

    Examples
    --------
    >>> circle = fit_circle([(3, 0), (0, 3), (-3, 0), (0, -3), (3, 0)])
    >>> round(circle.radius_px, 9)
    3.0

    References
    ----------
    .. [1] W. Gander, G. H. Golub, R. Strebel, "Least-squares fitting of circles
       and ellipses", BIT 34 (1994) 558-578.
    .. [2] A. Al-Sharadqah, N. Chernov, "Error analysis for circle fitting
       algorithms", Electronic Journal of Statistics 3 (2009) 886-911.
    .. [3] Y. T. Chan, S. M. Thomas, "Cramer-Rao lower bounds for estimation of
       a circular arc center and its radius", Graphical Models and Image
       Processing 57 (1995) 527-532.
    """
    points = checked_points(points_px, fewest=FEWEST_POINTS)
    roots = np.sqrt(_checked_weights(weights, len(points)))
    origin = points.mean(axis=0)
    local = points - origin

    def model(parameters: FloatArray) -> tuple[FloatArray, FloatArray]:
        offsets = local - parameters[:2]
        distances = np.maximum(np.hypot(offsets[:, 0], offsets[:, 1]), np.finfo(float).tiny)
        jacobian = np.column_stack([-offsets / distances[:, None], -np.ones(len(local))])
        return roots * (distances - parameters[2]), roots[:, None] * jacobian

    centre, radius = fit_circle_hyper(local, weights=roots**2)
    best = minimise(model, np.array([*centre, radius]))
    residuals, jacobian = model(best)
    return Circle(
        centre_px=best[:2] + origin,
        radius_px=float(best[2]),
        covariance=parameter_covariance(jacobian, residuals),
        rms_px=float(np.sqrt(np.mean(residuals**2))),
        count=len(points),
    )


def fit_circle_hyper(
    points_px: ArrayLike, *, weights: ArrayLike | None = None
) -> tuple[FloatArray, float]:
    """Fit a circle in closed form, free of bias to leading order.

    Parameters
    ----------
    points_px : array_like, shape (N, 2)
        Four or more points.
    weights : array_like, shape (N,), optional
        As for `fit_circle`.

    Returns
    -------
    centre_px : ndarray, shape (2,)
    radius_px : float

    Raises
    ------
    ValueError, NoDiscError
        As for `fit_circle`.

    Notes
    -----
    The coefficients of A(x² + y²) + Bx + Cy + D = 0 solve M A = η N A for the
    smallest positive η, M the points' moments and N twice Taubin's constraint
    less Pratt's [1]_.

    References
    ----------
    .. [1] A. Al-Sharadqah, N. Chernov, "Error analysis for circle fitting
       algorithms", Electronic Journal of Statistics 3 (2009) 886-911.
    """
    points = checked_points(points_px, fewest=FEWEST_POINTS)
    shares = _checked_weights(weights, len(points)) / len(points)
    origin = shares @ points
    spread = float(np.sqrt(shares @ ((points - origin) ** 2).sum(axis=1)))
    if not spread > 0:
        raise NoDiscError("All points lie in one place: a circle needs points along a rim.")
    local = (points - origin) / spread
    squares = (local**2).sum(axis=1)
    rows = np.column_stack([squares, local, np.ones(len(local))]) * np.sqrt(shares)[:, None]
    a, b, c, d = _hyper_coefficients(rows, mean_square=float(shares @ squares))
    root = np.sqrt(max(b * b + c * c - 4 * a * d, 0.0))
    if root >= 2 * abs(a) * FLATTEST:
        raise NoDiscError("The points lie on a straight line: a circle needs points that bend.")
    return origin - spread * np.array([b, c]) / (2 * a), float(spread * root / (2 * abs(a)))


def _hyper_coefficients(rows: FloatArray, *, mean_square: float) -> FloatArray:
    """Solve the generalised eigenproblem through the data's singular values."""
    constraint = np.diag([8 * mean_square, 1.0, 1.0, 0.0])
    constraint[0, 3] = constraint[3, 0] = 2.0
    _, sizes, axes = np.linalg.svd(rows, full_matrices=False)
    if sizes[-1] <= EXACT * sizes[0]:
        exact: FloatArray = axes[-1]
        return exact
    half = axes.T * sizes @ axes
    values, vectors = np.linalg.eigh(half @ np.linalg.solve(constraint, half))
    chosen = vectors[:, int(np.flatnonzero(values > 0)[0])]
    coefficients: FloatArray = np.linalg.solve(half, chosen)
    return coefficients


def checked_points(points_px: ArrayLike, *, fewest: int) -> FloatArray:
    """Return points as float64 (N, 2), or raise ValueError where they are not that."""
    points = np.asarray(points_px, dtype=np.float64)
    if points.ndim != 2 or points.shape[1] != 2:  # noqa: PLR2004
        raise ValueError(f"points_px must be (N, 2), got {points.shape}")
    if len(points) < fewest:
        raise ValueError(f"points_px must hold {fewest} points or more, got {len(points)}")
    if not np.isfinite(points).all():
        raise ValueError("points_px must be finite")
    return points


def _checked_weights(weights: ArrayLike | None, count: int) -> FloatArray:
    """Return weights with mean 1."""
    if weights is None:
        return np.ones(count)
    values = np.asarray(weights, dtype=np.float64)
    if values.shape != (count,):
        raise ValueError(f"weights must be ({count},) to match points_px, got {values.shape}")
    if not (np.isfinite(values).all() and (values >= 0).all()):
        raise ValueError("weights must be finite and not negative")
    if np.count_nonzero(values) < FEWEST_POINTS:
        raise ValueError(f"weights must be above 0 for {FEWEST_POINTS} points or more")
    scaled: FloatArray = values / values.mean()
    return scaled


def dominant_circle(points: FloatArray) -> tuple[FloatArray, float]:
    """Fit the circle that most of some points lie on, the others weighted away.

    Parameters
    ----------
    points : ndarray, shape (N, 2)
        In any unit.

    Returns
    -------
    centre : ndarray, shape (2,)
    radius : float
    """
    origin = points.mean(axis=0)
    local = points - origin
    weights = np.ones(len(local))
    centre, radius = np.zeros(2), 0.0
    for round_ in range(16):
        rows = np.column_stack([local, np.ones(len(local))]) * weights[:, None]
        solution = np.linalg.lstsq(rows, (local**2).sum(axis=1) * weights, rcond=None)[0]
        centre = solution[:2] / 2
        radius = float(np.sqrt(max(solution[2] + centre @ centre, 1e-9)))
        off = np.abs(np.hypot(*(local - centre).T) - radius)
        # From forgiving to strict, so that the larger arc wins before detail counts.
        scale = max(0.05 * radius * 0.7**round_, 1.5 * float(np.median(off)), 1e-6)
        weights = 1 / (1 + (off / scale) ** 2)
    return centre + origin, radius
