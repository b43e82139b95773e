"""What is known of the camera, and what a blank is as it was seen: two records."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blanktrace.disc import Disc
from blanktrace.parts import Division
from blanktrace.rectify import View

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Camera:
    """What is known of the camera before a blank is looked at.

    Attributes
    ----------
    focal_px : float
    centre_px : ndarray, shape (2,)
        Principal point.
    sheet_normal : ndarray, shape (3,), or None
        The sheet's normal in camera axes, where its corners tell it.
    """

    focal_px: float
    centre_px: FloatArray
    sheet_normal: FloatArray | None = None


@dataclass(frozen=True, eq=False)
class Seen:
    """A blank's boundary in the plane of the sheet, and how it was seen.

    Attributes
    ----------
    view : View
    rings_mm : tuple of ndarray, shape (N, 2)
        Boundary, each point at the height of its edge; exterior first.
    division : Division
    origin_mm : ndarray, shape (2,)
        The disc's centre, or the point below the camera where there is no disc.
    disc : Disc or None
        The rim in the photograph.
    top_mm : float
        Height of the measured face.
    fit_mm : float
        Root mean square of the rim about the circle; 0 without a disc.
    corrected_by : str
        How the lean is known.
    doubt_deg : float
        Lean of the other solution against this one, where neither is clearly right; else 0.
    lean_rad : float or None
        Standard uncertainty of the lean, where several discs told it together.
    misfit : float
        What other discs' roundness says against the lean, as a chi-square.
    """

    view: View
    rings_mm: tuple[FloatArray, ...]
    division: Division
    origin_mm: FloatArray
    disc: Disc | None
    top_mm: float
    fit_mm: float
    corrected_by: str
    doubt_deg: float
    lean_rad: float | None = None
    misfit: float = 0.0
