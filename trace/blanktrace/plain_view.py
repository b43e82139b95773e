"""Turn a measured length or width into the camera's height above a blank with no disc.

Such a blank tells nothing of the camera's lean, which must come from elsewhere.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import optimize

from blanktrace.rectangle import rectangle_about
from blanktrace.rectify import View
from blanktrace.walls import edge_heights

FloatArray = NDArray[np.float64]


def view_of_length(
    points_px: FloatArray,
    outward: FloatArray,
    *,
    foot_share: FloatArray,
    measured_mm: float,
    side: int,
    top_mm: float,
    lean: View,
) -> View:
    """Find the camera height at which a blank has its measured length or width.

    Parameters
    ----------
    points_px, outward : ndarray, shape (N, 2)
        The blank's outer boundary in the photograph.
    foot_share : ndarray, shape (N,)
        How likely each wall in view was taken for face.
    measured_mm : float
        Long or short side of the rectangle round it.
    side : int
        0 for the long side, 1 for the short side.
    top_mm : float
        Height of the blank's face above the sheet.
    lean : View
        The camera and the sheet's normal; its height is where the search starts.

    Returns
    -------
    View
    """
    heights = edge_heights(lean, points_px, outward, top_mm=top_mm, foot_share=foot_share)

    def at(height_mm: float) -> View:
        return View(
            focal_px=lean.focal_px,
            centre_px=lean.centre_px,
            normal=lean.normal,
            height_mm=height_mm,
        )

    def excess(height_mm: float) -> float:
        return _sides(at(height_mm).to_plane(points_px, heights))[side] - measured_mm

    flat = _sides(lean.to_plane(points_px))[side] / lean.height_mm
    guess = measured_mm / flat + top_mm
    height = optimize.brentq(excess, 0.5 * guess, 2.0 * guess, xtol=1e-9)
    return at(float(height))


def _sides(points_mm: FloatArray) -> tuple[float, float]:
    rectangle = rectangle_about(points_mm)
    return rectangle.long, rectangle.short
