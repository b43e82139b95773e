"""Judge the residuals of a fit to a contour: their spread, and how many are independent.

Neighbouring points of a traced contour look at the same pixels and so share
their noise. Ten thousand of them do not fix a circle as well as ten thousand
separate measurements would; how well they do is read from the residuals'
own autocorrelation.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

MAD_TO_SD = 1.4826
"""Median absolute deviation to standard deviation, for normally distributed noise."""

FEWEST_FOR_CORRELATION = 30
"""Below this an autocorrelation is mostly noise itself; points count as independent."""


def robust_sd(residuals: FloatArray) -> float:
    """Estimate the standard deviation about zero from the median absolute residual."""
    return MAD_TO_SD * float(np.median(np.abs(residuals)))


def effective_count(residuals: FloatArray) -> float:
    """Say how many independent points a contour's residuals are worth.

    Parameters
    ----------
    residuals : ndarray, shape (N,)
        Residuals in the order of the points along the contour.

    Returns
    -------
    float
        N / (1 + 2 Σ ρₖ), between 1 and N. N itself for fewer than 30 points.

    Notes
    -----
    The sum over lags stops where a pair ρ₂ₖ + ρ₂ₖ₊₁ is no longer positive,
    beyond which the estimates are noise [1]_. Waves that the model does not
    follow, such as a rim that is not quite round, count as correlation too and
    widen the covariance, which is what a user of it wants. Points in random
    order come out as independent.

    References
    ----------
    .. [1] C. J. Geyer, "Practical Markov chain Monte Carlo", Statistical
       Science 7 (1992) 473-483.
    """
    count = len(residuals)
    centred = residuals - residuals.mean()
    power = float(centred @ centred)
    if count < FEWEST_FOR_CORRELATION or power == 0:
        return float(count)
    spectrum = np.abs(np.fft.rfft(centred, 2 * count)) ** 2
    rho = np.fft.irfft(spectrum)[:count] / power
    pairs = rho[: count // 2 * 2].reshape(-1, 2).sum(axis=1)
    ends = np.flatnonzero(pairs <= 0)
    total = float(pairs[: ends[0] if len(ends) else len(pairs)].sum())
    return float(np.clip(count / max(2 * total - 1, 1.0), 1.0, count))


def parameter_covariance(jacobian: FloatArray, residuals: FloatArray) -> FloatArray:
    """Estimate the covariance of a least-squares fit's parameters.

    Parameters
    ----------
    jacobian : ndarray, shape (N, P)
        Derivatives of the (weighted) residuals by the parameters.
    residuals : ndarray, shape (N,)
        (Weighted) residuals at the solution, in order along the contour.

    Returns
    -------
    ndarray, shape (P, P)

    Notes
    -----
    s² (JᵀJ)⁻¹ N/n, where n is the effective count and s² the residuals' mean
    square, corrected for the P degrees of freedom that the fit took up.
    """
    count, free = jacobian.shape
    independent = max(effective_count(residuals), free + 1.0)
    variance = float(residuals @ residuals) / count * independent / (independent - free)
    inverse = np.linalg.pinv(jacobian.T @ jacobian, hermitian=True)
    covariance: FloatArray = inverse * variance * count / independent
    return covariance
