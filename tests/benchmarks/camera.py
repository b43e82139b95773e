"""A pinhole camera over the sheet, with an optional bend of the lens.

World: millimetres, x right, y up, z up from the sheet, whose top is z = 0.
Camera: p ~ K R (X - C), camera axes x right, y down, z forward; the centre of
the first pixel is (0, 0). The lens moves a normalised radius r to r (1 + k1 r²).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

FILM_DIAGONAL_MM = float(np.hypot(36.0, 24.0))
"""Film frame that 35 mm equivalents compare by diagonal (CIPA DCG-001, from memory)."""

NEWTON_STEPS = 6
"""Steps that undo the bend: each doubles the digits, and |k1| r² stays below 0.05."""


@dataclass(frozen=True, eq=False)
class Camera:
    """Where a camera stands, how it is turned, and what its lens does.

    Parameters
    ----------
    focal_px : float
        Focal length in pixels.
    centre_px : ndarray, shape (2,)
        Principal point (x, y).
    rotation : ndarray, shape (3, 3)
        World directions to camera directions; its rows are the camera's axes.
    position_mm : ndarray, shape (3,)
        The pinhole in the world.
    size_px : tuple of int
        Width and height of the image.
    k1 : float
        Bend of the lens; 0 none, negative barrel.
    """

    focal_px: float
    centre_px: FloatArray
    rotation: FloatArray
    position_mm: FloatArray
    size_px: tuple[int, int]
    k1: float = 0.0

    @classmethod
    def over(
        cls,
        aim_mm: ArrayLike,
        *,
        height_mm: float,
        size_px: tuple[int, int],
        focal35_mm: float,
        tilt_deg: float = 0.0,
        towards_deg: float = 0.0,
        roll_deg: float = 0.0,
        k1: float = 0.0,
    ) -> Camera:
        """Stand a camera so that its axis meets the sheet at ``aim_mm``.

        The camera moves away from the aim towards ``towards_deg`` (counter-clockwise
        from +x) until its axis leans by ``tilt_deg``; ``roll_deg`` turns it about its axis.
        """
        tilt, towards, roll = np.deg2rad([tilt_deg, towards_deg, roll_deg])
        side = np.array([np.cos(towards), np.sin(towards), 0.0])
        forward = np.array([0.0, 0.0, -np.cos(tilt)]) - np.sin(tilt) * side
        # Turn the upright camera about the level axis by the tilt, and no further.
        axis = np.cross(side, [0.0, 0.0, 1.0])
        upright = np.diag([1.0, -1.0, -1.0])
        rows = np.array([_turned(row, axis, -tilt) for row in upright])
        cos, sin = np.cos(roll), np.sin(roll)
        rolled = np.array([[cos, sin, 0], [-sin, cos, 0], [0, 0, 1]]) @ rows
        width, height = size_px
        aim = np.asarray(aim_mm, dtype=np.float64)
        return cls(
            focal_px=focal35_mm / FILM_DIAGONAL_MM * float(np.hypot(width, height)),
            centre_px=np.array([(width - 1) / 2, (height - 1) / 2]),
            rotation=rolled,
            position_mm=np.append(aim, 0.0) - forward * height_mm / np.cos(tilt),
            size_px=size_px,
            k1=k1,
        )

    @property
    def tilt_deg(self) -> float:
        """Angle between the camera's axis and the sheet's normal."""
        return float(np.rad2deg(np.arccos(np.clip(-self.rotation[2, 2], -1, 1))))

    def project(self, points_mm: ArrayLike) -> FloatArray:
        """Take world points (N, 3) to pixels (N, 2)."""
        seen = (np.asarray(points_mm, dtype=np.float64) - self.position_mm) @ self.rotation.T
        flat = seen[:, :2] / seen[:, 2:]
        bend = 1 + self.k1 * np.sum(flat**2, axis=1, keepdims=True)
        return np.asarray(self.centre_px + self.focal_px * flat * bend)

    def slopes(self, pixels_px: ArrayLike) -> FloatArray:
        """Take pixels (N, 2) to the step in plan (x, y) per millimetre of height along their rays.

        A ray passes over plan position C + (z - C_z) slope at height z.
        """
        bent = (np.asarray(pixels_px, dtype=np.float64) - self.centre_px) / self.focal_px
        if self.k1:
            target = np.hypot(bent[:, 0], bent[:, 1])
            radius = target.copy()
            for _ in range(NEWTON_STEPS):
                square = self.k1 * radius**2
                radius -= (radius * (1 + square) - target) / (1 + 3 * square)
            bent = bent / (1 + self.k1 * radius**2)[:, None]
        rays = bent @ self.rotation[:2] + self.rotation[2]
        return np.asarray(rays[:, :2] / rays[:, 2:])

    def onto(self, pixels_px: ArrayLike, *, z_mm: float = 0.0) -> FloatArray:
        """Take pixels (N, 2) to the plan positions (N, 2) where their rays cross height z."""
        drop_mm = self.position_mm[2] - z_mm
        return np.asarray(self.position_mm[:2] - drop_mm * self.slopes(pixels_px))

    def mm_per_px(self, point_mm: ArrayLike) -> float:
        """Local scale at a world point (3,) in its level plane: the root of mm² per px²."""
        x, y, z = np.asarray(point_mm, dtype=np.float64)
        step = 0.01
        corners = np.array([(x, y, z), (x + step, y, z), (x, y + step, z)])
        origin, right, up = self.project(corners)
        area_px2 = abs(float(np.linalg.det(np.array([right - origin, up - origin]))))
        return step / float(np.sqrt(area_px2))


def _turned(vector: FloatArray, axis: FloatArray, angle_rad: float) -> FloatArray:
    """Turn a vector about a unit axis (Rodrigues)."""
    cos, sin = np.cos(angle_rad), np.sin(angle_rad)
    along = axis * (axis @ vector) * (1 - cos)
    return np.asarray(vector * cos + np.cross(axis, vector) * sin + along)
