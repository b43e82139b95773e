"""Hold what a camera's lens does to straight lines, and undo it for points.

A lens bends the picture by a smooth field round its centre. Boundary points are
straightened, never the picture: nothing is resampled, and what was located in the
photograph is still drawn where it was found.

References
----------
D. C. Brown, Close-range camera calibration, Photogrammetric Engineering 37, 1971.
A. E. Conrady, Decentred lens-systems, Monthly Notices of the Royal Astronomical
Society 79, 1919, doi:10.1093/mnras/79.5.384.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from blanktrace.errors import LensError
from blanktrace.photo import Photo

FloatArray = NDArray[np.float64]

UNKNOWNS = 7
"""Focal length, centre (2), radial (2) and decentring (2) terms: what is uncertain together."""

ROUNDS = 30
"""Rounds that undo the bend by substitution; each gains about a digit."""

SETTLED = 1e-10
"""Change, in focal lengths, at which the bend is undone: far below a thousandth of a pixel."""

USUAL_K1 = 0.01
"""Standard uncertainty of the first radial term where nothing is known of the lens: makers keep
the bend of phones' main cameras within 1 to 2 % in the picture's corners (common practice), and
there, 0.83 focal lengths out, two of these are 1.4 %."""

FOCAL_AGREES = 0.12
"""Share by which the photo's own focal length, written in whole mm, may be off the lens file's."""

_QUARTER = np.array([[0.0, -1.0], [1.0, 0.0]])
"""A clockwise quarter turn as seen with y down."""


@dataclass(frozen=True, eq=False)
class Lens:
    """A camera and the bend of its lens.

    Parameters
    ----------
    size_px : (int, int)
        Width and height of its photographs, as the file stores them.
    focal_px : float
    centre_px : ndarray, shape (2,)
        Principal point (x, y).
    radial : (float, float)
        k1 and k2: a point at r focal lengths from the centre is moved outward
        by r (k1 r² + k2 r⁴).
    decentring : (float, float)
        p1 and p2 of the same model.
    rms_px : float
        Root mean square distance of the checkerboard's corners from the model.
    photos, points : int
        How many photographs, and corners in them, it was found from.
    covariance : ndarray, shape (7, 7)
        Of focal length, centre x and y, k1, k2, p1, p2.
    """

    size_px: tuple[int, int]
    focal_px: float
    centre_px: FloatArray
    radial: tuple[float, float]
    decentring: tuple[float, float]
    rms_px: float
    photos: int
    points: int
    covariance: FloatArray

    def __post_init__(self) -> None:
        covariance = np.array(self.covariance, dtype=np.float64)
        centre = np.array(self.centre_px, dtype=np.float64)
        if covariance.shape != (UNKNOWNS, UNKNOWNS) or centre.shape != (2,):
            raise ValueError(
                f"covariance must be (7, 7) and centre_px (2,), got {covariance.shape}, "
                f"{centre.shape}"
            )
        if not (self.focal_px > 0 and min(self.size_px) > 0):
            raise ValueError(
                f"focal_px and size_px must be above 0, got {self.focal_px}, {self.size_px}"
            )
        for name, array in (("covariance", covariance), ("centre_px", centre)):
            array.flags.writeable = False
            object.__setattr__(self, name, array)

    @classmethod
    def unbent(cls, focal_px: float, size_px: tuple[int, int]) -> Lens:
        """Take a lens as straight, as uncertain as phones' lenses are."""
        covariance = np.zeros((UNKNOWNS, UNKNOWNS))
        covariance[3, 3] = USUAL_K1**2
        centre = (np.array(size_px) - 1) / 2
        return cls(size_px, focal_px, centre, (0.0, 0.0), (0.0, 0.0), 0.0, 0, 0, covariance)

    @property
    def is_known(self) -> bool:
        """Whether it was found from photographs of a board."""
        return self.photos > 0

    def straighten(self, points_px: FloatArray) -> FloatArray:
        """Move photograph points (N, 2) to where a lens without bend would show them."""
        if not any((*self.radial, *self.decentring)):
            return points_px
        seen = (points_px - self.centre_px) / self.focal_px
        rays = seen
        for _ in range(ROUNDS):
            better = seen - self._moved_by(rays)
            step, rays = float(np.abs(better - rays).max(initial=0.0)), better
            if step < SETTLED:
                break
        return np.asarray(self.centre_px + self.focal_px * rays)

    def bend(self, points_px: FloatArray) -> FloatArray:
        """Move points (N, 2) of a picture without bend to where the photograph shows them."""
        rays = (points_px - self.centre_px) / self.focal_px
        return np.asarray(self.centre_px + self.focal_px * (rays + self._moved_by(rays)))

    def doubts(self, points_px: FloatArray) -> FloatArray:
        """Say how far each independent doubt about the lens moves straightened points.

        Parameters
        ----------
        points_px : ndarray, shape (N, 2)
            In the photograph.

        Returns
        -------
        ndarray, shape (K, N, 2)
            Moves of one standard uncertainty, in pixels.
        """
        scale = np.sqrt(np.diag(self.covariance))
        known = scale > 0
        scale = scale[known]
        # Pixels and pure numbers differ by many powers of ten; correlations do not.
        variances, directions = np.linalg.eigh(
            self.covariance[np.ix_(known, known)] / np.outer(scale, scale)
        )
        steps = np.zeros((len(scale), UNKNOWNS))
        steps[:, known] = (directions * np.sqrt(np.maximum(variances, 0.0))).T * scale
        here = self.straighten(points_px)
        moves = [self._changed(step).straighten(points_px) - here for step in steps]
        return np.array(moves).reshape(-1, len(points_px), 2)

    def turned(self, quarters: int) -> Lens:
        """Give the lens as a picture turned by clockwise quarter turns shows it."""
        lens = self
        for _ in range(quarters % 4):
            width, height = lens.size_px
            x, y = lens.centre_px
            p2, p1 = _QUARTER @ (lens.decentring[1], lens.decentring[0])
            turn = np.eye(UNKNOWNS)
            turn[1:3, 1:3] = _QUARTER
            turn[5:, 5:] = _QUARTER[::-1, ::-1]
            lens = replace(
                lens,
                size_px=(height, width),
                centre_px=np.array([height - 1 - y, x]),
                decentring=(float(p1), float(p2)),
                covariance=turn @ lens.covariance @ turn.T,
            )
        return lens

    def fitted_to(self, photo: Photo) -> Lens:
        """Give the lens as an upright photograph shows it.

        Raises
        ------
        LensError
            If the photograph is not one that this lens took, uncut.
        """
        lens = self.turned(photo.quarter_turns)
        height, width = photo.rgb.shape[:2]
        if lens.size_px != (width, height):
            raise LensError(
                f"{photo.name} is {width} x {height} px, but the lens file is for photos of "
                f"{lens.size_px[0]} x {lens.size_px[1]} px. Give the photo as the phone saved it, "
                "neither cut nor made smaller, or make a lens file from this camera's photos of a "
                "checkerboard."
            )
        if photo.focal_px and abs(photo.focal_px / lens.focal_px - 1) > FOCAL_AGREES:
            raise LensError(
                f"{photo.name} was taken at another zoom or with another lens of the phone: its "
                f"focal length is {photo.focal_px / lens.focal_px:.2f} times the lens file's. "
                "Photograph the checkerboard with the lens and zoom that the blank is photographed "
                "with, and make a lens file from that."
            )
        return lens

    def _moved_by(self, rays: FloatArray) -> FloatArray:
        """Say how far the bend moves points given in focal lengths from the centre."""
        k1, k2 = self.radial
        towards = np.array(self.decentring[::-1])
        square = np.sum(rays**2, axis=1, keepdims=True)
        along = (rays @ towards)[:, None]
        return np.asarray(rays * (k1 * square + k2 * square**2 + 2 * along) + square * towards)

    def _changed(self, by: ArrayLike) -> Lens:
        f, x, y, k1, k2, p1, p2 = np.asarray(by, dtype=np.float64).tolist()
        return replace(
            self,
            focal_px=self.focal_px + f,
            centre_px=self.centre_px + (x, y),
            radial=(self.radial[0] + k1, self.radial[1] + k2),
            decentring=(self.decentring[0] + p1, self.decentring[1] + p2),
        )
