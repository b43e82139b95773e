"""Minimise a sum of squares from a start that may be far off.

Levenberg and Marquardt's damped Gauss-Newton steps, for the few parameters of a
circle or an ellipse and many points: only normal equations of that small size
are ever solved.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Model = Callable[[FloatArray], tuple[FloatArray, FloatArray] | None]

FIRST_DAMPING = 1e-4
LEAST_DAMPING = 1e-14
MOST_DAMPING = 1e12
DAMPING_STEP = 10.0
MOST_STEPS = 100
SMALLEST_STEP = 1e-13
"""Relative to the parameters' size: a few roundings above what float64 resolves."""

ROUNDING = 1e-15
"""Two sums of squares nearer than this share of them are equal but for rounding."""


def minimise(
    model: Model, start: FloatArray, *, smallest_gain: float = 0.0, most_steps: int = MOST_STEPS
) -> FloatArray:
    """Find the parameters with the least sum of squared residuals near a start.

    Parameters
    ----------
    model : callable
        Parameters (P,) to residuals (N,) and their derivatives (N, P), or None
        where the parameters mean nothing (a negative radius).
    start : ndarray, shape (P,)
    smallest_gain : float, optional
        The search ends with a step that lowers the sum by less than this share
        of it. Left out, it goes on until float64 resolves no more.
    most_steps : int, optional
        Steps tried at most, good or not.

    Returns
    -------
    ndarray, shape (P,)

    Raises
    ------
    ValueError
        If the start itself means nothing.

    Notes
    -----
    Damping is scaled by the curvature along each parameter, so that lengths
    and numbers of other kinds can stand side by side.

    References
    ----------
    .. [1] D. W. Marquardt, "An algorithm for least-squares estimation of
       nonlinear parameters", J. SIAM 11 (1963) 431-441.
    """
    best = np.array(start, dtype=np.float64)
    state = model(best)
    if state is None:
        raise ValueError(f"the start {start} is outside the model")
    damping = FIRST_DAMPING
    for _ in range(most_steps):
        residuals, jacobian = state
        normal = jacobian.T @ jacobian
        curvature = np.diag(normal)
        curvature = np.maximum(curvature, np.finfo(float).eps * max(curvature.max(), 1e-300))
        step = -np.linalg.solve(normal + damping * np.diag(curvature), jacobian.T @ residuals)
        trial = model(best + step)
        before = float(residuals @ residuals)
        after = np.inf if trial is None else float(trial[0] @ trial[0])
        if trial is not None and after <= before * (1 + ROUNDING):
            best, state = best + step, trial
            if before - after < smallest_gain * before:
                break
            damping = max(damping / DAMPING_STEP, LEAST_DAMPING)
        else:
            damping *= DAMPING_STEP
        tiny = np.max(np.abs(step)) <= SMALLEST_STEP * np.max(np.abs(best))
        if tiny or damping > MOST_DAMPING:
            break
    return best
