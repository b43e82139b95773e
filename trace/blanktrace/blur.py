"""Say how far blur has moved a boundary where it bends.

Blur averages over a patch, and across a disc's rim more of the patch lies outside than
inside. The place where the brightness is half way between light and dark, and the steepest
place with it, therefore moves towards the centre.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from blanktrace.profiles import along_ring
from blanktrace.turns import turns_rad

FloatArray = NDArray[np.float64]

BENT_OVER_PX = 4.0
"""Gaussian along a boundary before its curvature is told: noise bends it too."""

TIGHTEST_BLURS = 1.5
"""Least radius that is told, in blurs: what is smaller hardly has a half level, or none."""


def blur_shifts_px(ring_px: FloatArray, blur_px: float) -> FloatArray:
    """Find the shift of each boundary point under Gaussian blur.

    Parameters
    ----------
    ring_px : ndarray, shape (N, 2)
        Closed ring in order, `SPACING_PX` apart, outward to the right of its travel.
    blur_px : float
        Standard deviation of the blur, 0 for none.

    Returns
    -------
    ndarray, shape (N,)
        Outward in pixels: negative where the blank bulges, positive in a round hole.

    Notes
    -----
    -s²/(2R) to leading order [1]_, R found from the ring as it came.

    References
    ----------
    .. [1] P. R. S. Mendonça, D. Padfield, J. Miller, M. Turek, "Bias in the
       localization of curved edges", ECCV (2004).
    """
    ring = along_ring(ring_px, BENT_OVER_PX)
    onward_px = np.hypot(*(np.roll(ring, -1, axis=0) - ring).T)
    step_px = (np.roll(onward_px, 1) + onward_px) / 2
    bend = np.clip(blur_px * turns_rad(ring) / step_px, -1 / TIGHTEST_BLURS, 1 / TIGHTEST_BLURS)
    return np.asarray(-blur_px * bend / 2)
