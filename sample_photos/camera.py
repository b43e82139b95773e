"""Say where a point of the scene lands in the photograph, to a fraction of a pixel.

A plain pinhole: p ~ K R (X - C). World: x right, y away from the viewer's foot, z up
from the sheet, mm. Camera: x right, y down, z forward. The centre of the first pixel is
(0, 0), in the upright image, that is with the rotation tag applied.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

FULL_FRAME_DIAGONAL_MM = 43.267
"""Diagonal of 36 x 24 mm film, to which 35 mm equivalent focal lengths refer."""

FACING_DOWN = np.diag([1.0, -1.0, -1.0])
"""World to camera axes for a camera that looks straight down, its top to +y."""


@dataclass(frozen=True, eq=False)
class Camera:
    """A pinhole camera: size and focal length in px, pose in mm."""

    size_px: tuple[int, int]
    focal_px: float
    rotation: FloatArray
    position_mm: FloatArray

    @property
    def centre_px(self) -> tuple[float, float]:
        """The principal point: the middle of the frame."""
        return (self.size_px[0] - 1) / 2, (self.size_px[1] - 1) / 2

    @property
    def matrix(self) -> FloatArray:
        """The 3 x 4 matrix K R [I | -C]."""
        cx, cy = self.centre_px
        K = np.array([[self.focal_px, 0, cx], [0, self.focal_px, cy], [0, 0, 1]])
        pose = np.column_stack([self.rotation, -self.rotation @ self.position_mm])
        return np.asarray(K @ pose)

    def plane_homography(self, z_mm: float) -> FloatArray:
        """The 3 x 3 matrix from (x, y, 1) on the plane at height z to pixels."""
        P = self.matrix
        return np.column_stack([P[:, 0], P[:, 1], P[:, 2] * z_mm + P[:, 3]])

    def project(self, points_mm: ArrayLike) -> FloatArray:
        """Project world points (N, 3) in mm to pixels (N, 2)."""
        points = np.atleast_2d(np.asarray(points_mm, dtype=np.float64))
        image = np.column_stack([points, np.ones(len(points))]) @ self.matrix.T
        return np.asarray(image[:, :2] / image[:, 2:])

    def scaled(self, size_px: tuple[int, int]) -> Camera:
        """The same view at another resolution."""
        focal_px = self.focal_px * size_px[0] / self.size_px[0]
        return Camera(size_px, focal_px, self.rotation, self.position_mm)

    def as_truth(self) -> dict[str, Any]:
        """The camera as truth.json holds it."""
        return {
            "focal_px": round(self.focal_px, 6),
            "centre_px": list(self.centre_px),
            "rotation": [round(float(v), 12) for v in self.rotation.ravel()],
            "position_mm": [round(float(v), 9) for v in self.position_mm],
        }

    @classmethod
    def from_truth(cls, photo: Mapping[str, Any]) -> Camera:
        """The camera of one entry of truth.json."""
        camera = photo["camera"]
        width, height = photo["size_px"]
        return cls(
            (width, height),
            float(camera["focal_px"]),
            np.reshape(np.array(camera["rotation"], dtype=np.float64), (3, 3)),
            np.array(camera["position_mm"], dtype=np.float64),
        )


def look_down(
    size_px: tuple[int, int],
    *,
    equivalent_mm: float,
    height_mm: float,
    target_mm: tuple[float, float],
    tilt_deg: float,
    tilt_towards_deg: float,
) -> Camera:
    """Place a phone above the sheet.

    Parameters
    ----------
    size_px : (int, int)
        Width and height of the upright image.
    equivalent_mm : float
        Focal length in 35 mm terms, referred to the diagonal.
    height_mm : float
        Height of the pinhole above the sheet.
    target_mm : (float, float)
        Where the optical axis meets the sheet.
    tilt_deg, tilt_towards_deg : float
        Angle of the optical axis off the vertical, and the compass direction (from +x
        towards +y) in which it leans.
    """
    theta, phi = math.radians(tilt_deg), math.radians(tilt_towards_deg)
    forward = np.array(
        [math.sin(theta) * math.cos(phi), math.sin(theta) * math.sin(phi), -math.cos(theta)]
    )
    # Rodrigues' formula about the horizontal axis that swings "down" onto the optical axis.
    ax, ay = math.sin(phi), -math.cos(phi)
    cross = np.array([[0, 0, ay], [0, 0, -ax], [-ay, ax, 0.0]])
    swing = np.eye(3) + math.sin(theta) * cross + (1 - math.cos(theta)) * cross @ cross
    position = np.array([*target_mm, 0.0]) - forward * height_mm / math.cos(theta)
    focal_px = equivalent_mm * math.hypot(*size_px) / FULL_FRAME_DIAGONAL_MM
    return Camera(size_px, focal_px, FACING_DOWN @ swing.T, position)
