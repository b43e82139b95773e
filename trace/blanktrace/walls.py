"""Say which edge of a blank's wall shows, and so how high above the sheet it lies.

Where the side wall faces away from the point below the camera, the upper edge stands
against the sheet; where it faces that point the wall is in view and the blank ends at
its foot. A wall in shadow, though, passes for shadow, and the upper edge is found there
too: the light just beside the edge tells.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from blanktrace.rectify import View

FloatArray = NDArray[np.float64]

BARE_LOSS, DARK_LOSS = 0.3, 0.6
"""Share of light missing beside an edge up to which there is bare sheet, so that the edge is
the blank's last, its foot; and from which there may be a wall in shadow below the face's edge."""


def edge_heights(
    view: View,
    points_px: FloatArray,
    outward: FloatArray,
    *,
    top_mm: FloatArray | float,
    foot_share: FloatArray | float,
) -> FloatArray:
    """Say at which height above the sheet each boundary point lies.

    Parameters
    ----------
    view : View
    points_px, outward : ndarray, shape (N, 2)
        Boundary points and their outward normals in the photograph.
    top_mm : float or ndarray, shape (N,)
        Height of the upper edge above the sheet.
    foot_share : float or ndarray, shape (N,)
        How likely a wall in view was taken for face, so that its foot was
        located: 0 never, 1 always.

    Returns
    -------
    ndarray, shape (N,)
        The upper edge's height, less the share where the wall is in view.
    """
    return np.where(faces_nadir(view, points_px, outward), (1 - foot_share) * top_mm, top_mm)


def foot_shares(loss_beside: FloatArray) -> FloatArray:
    """Say how likely each edge was located at the foot of its wall, if its wall is in view.

    Parameters
    ----------
    loss_beside : ndarray, shape (N,)
        Share of the sheet's light missing just outside each point.

    Returns
    -------
    ndarray, shape (N,)
        1 where bare sheet shows right beside the edge, 0 where it is dark.
    """
    return np.clip((DARK_LOSS - loss_beside) / (DARK_LOSS - BARE_LOSS), 0.0, 1.0)


def faces_nadir(view: View, points_px: FloatArray, outward: FloatArray) -> NDArray[np.bool_]:
    """Say where the side wall is in view: where it faces the point below the camera."""
    nadir = view.to_photo(np.zeros((1, 2)))[0]
    return np.asarray(np.einsum("nk,nk->n", outward, points_px - nadir) < 0)
