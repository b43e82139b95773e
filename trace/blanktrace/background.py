"""Model the light sheet that the blank lies on: its colour, its light, its extent.

Light on a sheet varies smoothly: a lamp falls off, a window lies to one side, a
lens darkens the corners. In the logarithm of linear light all of these add, and
a low polynomial over the picture follows them, one for each colour channel. The
sheet is found first as the large, bright, smooth region; the polynomial is then
fitted to it with outliers (blank, shadow, bench) weighted away, and the region
grown to everything that the polynomial explains.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from blanktrace.errors import NoBlankError

Picture = NDArray[np.float32]
MaskArray = NDArray[np.bool_]

THUMBNAIL_PX = 320
"""Long side of the picture that the light is fitted on; light has no finer detail."""

MOST_SAMPLES = 4000
"""Bare places that each fit is made from, spread evenly over the sheet."""

DEGREES = (1, 2, 3, 4)
"""Polynomial degree by round: low first, so that a large blank cannot bend the surface."""

FLAT_GRADIENT = 0.035
"""Change of log light per thumbnail pixel below which a place may be bare sheet."""

EXPLAINED_MIN = 0.035
"""Least log-light residual still called sheet: paper mottle and light ripple."""

SHEET_MIN_SHARE = 0.08
"""A sheet that shows on less of the picture than this is no background."""

BLACK = 1e-3
"""Linear light added before the logarithm, so that black stays finite and quiet."""

CURVE_JOINT = 0.04045
"""Stored value (0 to 1) at which the sRGB curve turns from a line to a power (IEC 61966-2-1)."""

HALF = 0.5
"""Share of a thumbnail's mask above which an enlarged pixel belongs to it: its half-way line."""

OUTLIER_SPREADS = 4.5
"""Standard deviations from the fit beyond which a place weighs nothing (Tukey's biweight)."""


@dataclass(frozen=True, eq=False)
class Sheet:
    """The light sheet as seen in a picture.

    Attributes
    ----------
    log_light : ndarray, shape (h, w, 3)
        Natural logarithm of linear light of the bare sheet, per channel.
    bare : ndarray of bool, shape (h, w)
        Where the sheet shows with nothing on it and no shadow.
    extent : ndarray of bool, shape (h, w)
        Where the sheet is, whether or not something lies on it: the convex hull
        of what shows. Sheets are convex.
    noise : float
        Standard deviation of log light about the model on bare sheet.
    """

    log_light: Picture
    bare: MaskArray
    extent: MaskArray
    noise: float


def linear_light(rgb: NDArray[np.uint8] | NDArray[np.uint16]) -> Picture:
    """Undo the sRGB curve.

    Parameters
    ----------
    rgb : ndarray of uint8 or uint16, any shape
        Values as stored in a photograph.

    Returns
    -------
    ndarray of float32
        Linear light, 0 to 1.

    References
    ----------
    IEC 61966-2-1:1999, sRGB.
    """
    return np.asarray(linear_curve(rgb.dtype)[rgb])


def linear_curve(dtype: np.dtype[np.uint8] | np.dtype[np.uint16]) -> Picture:
    """Tabulate linear light for every stored value of an integer type."""
    level = np.linspace(0.0, 1.0, int(np.iinfo(dtype).max) + 1)
    curve = np.where(level <= CURVE_JOINT, level / 12.92, ((level + 0.055) / 1.055) ** 2.4)
    return curve.astype(np.float32)


def log_light(linear: Picture) -> Picture:
    """Take the logarithm that turns every change of lighting into a shift."""
    return np.asarray(np.log(linear + np.float32(BLACK)), dtype=np.float32)


def model_sheet(linear: Picture) -> Sheet:
    """Fit the light sheet in a picture.

    Parameters
    ----------
    linear : ndarray of float32, shape (h, w, 3)
        Linear light; a reduced picture is enough.

    Returns
    -------
    Sheet
        At the size of the picture given.

    Raises
    ------
    NoBlankError
        If no bright smooth region is large enough to be a sheet.
    """
    height, width = linear.shape[:2]
    factor = min(1.0, THUMBNAIL_PX / max(height, width))
    size = (max(2, round(width * factor)), max(2, round(height * factor)))
    reduced = cv2.resize(linear, size, interpolation=cv2.INTER_AREA)
    thumb = log_light(np.asarray(reduced, dtype=np.float32))
    bare = _brightest_flat_region(thumb)
    for degree in DEGREES:
        surface, noise = _fit_light(thumb, bare, degree)
        residual = np.abs(thumb - surface).max(axis=2)
        bare = _largest_overlap(residual < max(EXPLAINED_MIN, 4 * noise), bare)
    if bare.mean() < SHEET_MIN_SHARE:
        raise NoBlankError(
            f"Plain light sheet shows on only {bare.mean():.0%} of the photo "
            f"({SHEET_MIN_SHARE:.0%} needed). Lay the blank on plain white paper and retake it."
        )
    return Sheet(
        log_light=_resize(surface, width, height),
        bare=_resize(bare.astype(np.float32), width, height) > HALF,
        extent=_resize(_convex_hull(bare).astype(np.float32), width, height) > HALF,
        noise=noise,
    )


def _brightest_flat_region(thumb: Picture) -> MaskArray:
    """Find the connected smooth region with the most light in it."""
    smooth = cv2.GaussianBlur(thumb, (0, 0), 1.0)
    slope = np.zeros(thumb.shape[:2], dtype=np.float32)
    for axis in (0, 1):
        slope = np.maximum(slope, np.abs(np.gradient(smooth, axis=axis)).max(axis=2))
    flat = slope < FLAT_GRADIENT
    count, labels = cv2.connectedComponents(flat.astype(np.uint8), connectivity=4)
    if count == 1:  # label 0, what is not flat, and no other
        raise NoBlankError(
            "No part of the photo is smooth enough to be a sheet of paper. "
            "Lay the blank on plain white paper and retake it."
        )
    light = np.exp(thumb).mean(axis=2)
    glow = np.bincount(labels.ravel(), weights=light.ravel(), minlength=count)
    glow[0] = 0  # label 0 is what is not flat
    return np.asarray(labels == int(np.argmax(glow)))


def _fit_light(thumb: Picture, bare: MaskArray, degree: int) -> tuple[Picture, float]:
    """Fit a polynomial per channel to the bare sheet, outliers weighted away (Tukey)."""
    height, width = thumb.shape[:2]
    y, x = np.mgrid[-1 : 1 : height * 1j, -1 : 1 : width * 1j]
    basis = np.stack(
        [x**i * y**j for i in range(degree + 1) for j in range(degree + 1 - i)], axis=-1
    )
    where = np.flatnonzero(bare)
    where = where[:: max(1, len(where) // MOST_SAMPLES)]
    rows = basis.reshape(-1, basis.shape[-1])[where]
    values = thumb.reshape(-1, 3)[where].astype(np.float64)
    weights = np.ones(len(rows))
    ridge = 1e-6 * len(rows) * np.eye(rows.shape[1])
    for _ in range(6):
        weighted = rows * weights[:, None]
        solution = np.linalg.solve(rows.T @ weighted + ridge, weighted.T @ values)
        residual = values - rows @ solution
        spread = 1.4826 * np.median(np.abs(residual - np.median(residual, axis=0)), axis=0)
        worst = np.abs(residual / np.maximum(spread, 1e-4)).max(axis=1)
        weights = np.where(worst < OUTLIER_SPREADS, (1 - (worst / OUTLIER_SPREADS) ** 2) ** 2, 0.0)
    surface = (basis @ solution).astype(np.float32)
    return surface, float(spread.max())


def _largest_overlap(mask: MaskArray, previous: MaskArray) -> MaskArray:
    """Keep the connected part of the mask that shares most with the region so far."""
    opened = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    count, labels = cv2.connectedComponents(opened, connectivity=4)
    shared = np.bincount(labels[previous], minlength=count)
    shared[0] = 0
    if not shared.any():
        return previous
    return np.asarray(labels == int(np.argmax(shared)))


def _convex_hull(mask: MaskArray) -> MaskArray:
    ys, xs = np.nonzero(mask)
    hull = cv2.convexHull(np.column_stack([xs, ys]).astype(np.int32))
    filled = np.zeros(mask.shape, dtype=np.uint8)
    cv2.fillConvexPoly(filled, hull, 1)
    return filled.astype(bool)


def _resize(picture: Picture, width: int, height: int) -> Picture:
    enlarged = cv2.resize(picture, (width, height), interpolation=cv2.INTER_LINEAR)
    return np.asarray(enlarged, dtype=np.float32)
