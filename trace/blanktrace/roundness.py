"""Say how round discs come out under a lean of the camera, and how surely that tells it.

A small or uneven rim tells the lean badly: a pixel that it is out of round on one side
looks like several degrees. Discs on one sheet share one lean, and each must come out
round under it, whatever its size; what they are still oval by, one against the other,
says how uncertain the lean is.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from blanktrace.circle import fit_circle_hyper
from blanktrace.rectify import View

FloatArray = NDArray[np.float64]

USUAL_LEAN_RAD = 0.07
"""What the lean of a phone held level by eye is uncertain by."""

OVAL_PX = 0.3
"""Amplitude by which a rim may be located out of round, all along it: by what stands beside it,
shadow to one side and a lit wall to the other. No number of points averages it away."""

ODD_OVALS = 5.0
"""A rim that is this many times as oval as the others mostly are, or as a rim may be located, is
no disc's, or that of one which does not lie flat: 1.5 px or more."""


@dataclass(frozen=True, eq=False)
class DiscRim:
    """A disc's rim, as a photograph shows it.

    Attributes
    ----------
    points_px, outward : ndarray, shape (N, 2)
        Rim points and outward normals, in order.
    foot_share : ndarray, shape (N,)
        How likely each was located at the foot of its wall, if that is in view.
    doubt_px : float
        Standard uncertainty of the points, root mean square.
    across_px : ndarray, shape (M, 2)
        Places where the rim crosses a strap, which are not among the points.
    """

    points_px: FloatArray
    outward: FloatArray
    foot_share: FloatArray
    doubt_px: float
    across_px: FloatArray = field(default_factory=lambda: np.zeros((0, 2)))

    def thinned(self, count: int) -> DiscRim:
        """Leave about so many of the points, evenly chosen."""
        step = max(1, len(self.points_px) // count)
        return replace(
            self,
            points_px=self.points_px[::step],
            outward=self.outward[::step],
            foot_share=self.foot_share[::step],
        )

    def completed(self) -> DiscRim:
        """Put the places across straps among the points; there the wall's foot is hidden."""
        points = np.concatenate([self.points_px, self.across_px])
        count = len(self.across_px)
        away = points - self.points_px.mean(axis=0)
        order = np.argsort(np.arctan2(away[:, 1], away[:, 0]))
        # With no outward normal a wall is never taken for one in view.
        return DiscRim(
            points_px=points[order],
            outward=np.concatenate([self.outward, np.zeros((count, 2))])[order],
            foot_share=np.concatenate([self.foot_share, np.zeros(count)])[order],
            doubt_px=self.doubt_px,
        )


def odd_one(ovals_px: FloatArray) -> int | None:
    """Find the rim that is an oval and no disc, or does not lie flat, if there is one.

    Parameters
    ----------
    ovals_px : ndarray, shape (K,)
        By what amplitude each rim is oval under one lean, the measured disc's first.

    Returns
    -------
    int or None
    """
    others = len(ovals_px) - 1
    if others < 1:
        return None
    if others == 1:
        # Fitted together, each is as oval as the other; it is the measured one that is a disc.
        return 1 if ovals_px.max() > ODD_OVALS * OVAL_PX else None
    worst = int(np.argmax(ovals_px))
    usual = max(float(np.median(ovals_px)), OVAL_PX)
    return worst if ovals_px[worst] > ODD_OVALS * usual else None


def off_circle(points: FloatArray) -> tuple[FloatArray, FloatArray, float]:
    """Say how far points lie outside the circle that fits them best; its centre and radius.

    Parameters
    ----------
    points : ndarray, shape (N, 2)

    Returns
    -------
    off : ndarray, shape (N,)
    centre : ndarray, shape (2,)
    radius : float

    """
    centre, radius = fit_circle_hyper(points)
    return np.hypot(*(points - centre).T) - radius, centre, radius


def oval_of(points: FloatArray) -> tuple[float, float]:
    """Say by what amplitude points leave their circle as an ellipse does; and its radius."""
    off, centre, radius = off_circle(points)
    x, y = (points - centre).T
    return float(abs(2 * np.mean(off * np.exp(2j * np.arctan2(y, x))))), radius


def lean_sine(view: View, rim: DiscRim) -> float:
    """Sine of the angle between the sheet's normal and the line of sight to a disc."""
    sight = np.append((rim.points_px.mean(axis=0) - view.centre_px) / view.focal_px, 1.0)
    cos = float(view.normal @ sight / np.linalg.norm(sight))
    return float(np.sqrt(max(1 - cos * cos, 0.0)))


def lean_doubt_rad(
    ovals_mm: FloatArray, radii_mm: FloatArray, sines: FloatArray, *, least_mm: float
) -> float:
    """Say how uncertain a lean is under which several rims are as round as can be.

    Parameters
    ----------
    ovals_mm, radii_mm : ndarray, shape (K,)
        By what amplitude each rim is still oval; its radius.
    sines : ndarray, shape (K,)
        Of the angle from the sheet's normal to the sight of each.
    least_mm : float
        What a rim is located oval by at least.

    Returns
    -------
    float
        Standard uncertainty, along and across.

    Notes
    -----
    How much the rims differ in what they are still oval by says how much of it is
    each one's own. Light from one side and a lens that bends make all of them oval
    alike, which does not show: as much again is allowed for it.
    """
    count = len(ovals_mm)
    own_mm = float(np.sqrt(np.sum(ovals_mm**2) / (count - 1)))
    return lean_by_ovals_rad(max(own_mm, least_mm) * np.sqrt(1 + 1 / count), radii_mm, sines)


def lean_by_ovals_rad(oval_mm: float, radii_mm: FloatArray, sines: FloatArray) -> float:
    """Say how uncertain a lean is that rims tell, each located oval by an amplitude.

    Parameters
    ----------
    oval_mm : float
    radii_mm, sines : ndarray, shape (K,)
        As for :func:`lean_doubt_rad`.

    Returns
    -------
    float
        Standard uncertainty, along and across.

    Notes
    -----
    A circle oval by that much has axes that differ by twice as much. It looks like a
    lean of the root of twice their difference over R; where it leans, by t, like one
    that differs by their difference over R sin t.
    """
    apart = 2 * oval_mm / radii_mm
    leans = np.minimum(np.sqrt(2 * apart), apart / np.maximum(sines, 1e-9))
    return float(1 / np.sqrt(np.mean(leans**-2.0) + USUAL_LEAN_RAD**-2.0))
