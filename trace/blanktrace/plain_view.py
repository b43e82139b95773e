"""Turn a measured length or width into the camera's height above a blank with no disc.

Such a blank tells nothing of the camera's lean, which must come from elsewhere.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import optimize

from blanktrace.edge import Edge
from blanktrace.rectangle import rectangle_about
from blanktrace.rectify import View
from blanktrace.walls import edge_heights, foot_shares

FloatArray = NDArray[np.float64]

MOST_BEYOND_PX = 0.6
"""How far off its line or arc a point is believed, where it tells how far a blank reaches: single
points may lie far outside, on a shadow or a grain line."""

END_PX = 2.0
"""How far from where a blank ends its points tell the place of that end together."""


def view_of_length(
    edge: Edge,
    *,
    measured_mm: float,
    side: int,
    top_mm: float,
    lean: View,
) -> View:
    """Find the camera height at which a blank has its measured length or width.

    Parameters
    ----------
    edge : Edge
        The blank's outer boundary in the photograph.
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
    points_px, outward = edge.points_px, edge.outward
    foot_share = foot_shares(edge.loss_beside)
    heights = edge_heights(lean, points_px, outward, top_mm=top_mm, foot_share=foot_share)
    beyond = np.einsum("nk,nk->n", edge.located_px - points_px, outward)
    reaching_px = points_px + np.minimum(beyond, MOST_BEYOND_PX)[:, None] * outward
    ends_px = _with_ends(edge, rectangle_about(reaching_px).axis_rad)

    def side_mm(view: View, heights: FloatArray | float) -> float:
        axis = rectangle_about(view.to_plane(reaching_px, heights)).axis_rad + side * np.pi / 2
        return float(np.ptp(view.to_plane(ends_px, heights) @ (np.cos(axis), np.sin(axis))))

    def at(height_mm: float) -> View:
        return View(
            focal_px=lean.focal_px,
            centre_px=lean.centre_px,
            normal=lean.normal,
            height_mm=height_mm,
        )

    def excess(height_mm: float) -> float:
        return side_mm(at(height_mm), heights) - measured_mm

    flat = side_mm(lean, 0.0) / lean.height_mm
    guess = measured_mm / flat + top_mm
    height = optimize.brentq(excess, 0.5 * guess, 2.0 * guess, xtol=1e-9)
    return at(float(height))


def _with_ends(edge: Edge, axis_rad: float) -> FloatArray:
    """Bring each of a blank's four ends to where its points were located on average.

    Lines and arcs cut a round end short and draw a rounded corner out. The farthest of the
    points by themselves, though, is the farther out the more of them there are.
    """
    along = np.array([np.cos(axis_rad), np.sin(axis_rad)])
    across = np.array([-along[1], along[0]])
    moved = edge.points_px.copy()
    for out in (along, -along, across, -across):
        reach = edge.points_px @ out
        end = reach > reach.max() - END_PX
        beyond = float(np.mean((edge.located_px - edge.points_px)[end] @ out))
        moved[end] += np.clip(beyond, -MOST_BEYOND_PX, MOST_BEYOND_PX) * out
    return moved
