"""Undo tilt: from photograph to the plane of the sheet and back.

The camera is a pinhole of known or assumed focal length. The sheet is a plane at
some distance with some normal; a boundary point is brought to the plane by
following its line of sight until it meets the height at which the edge lies.

From one circle of known radius the normal is known up to two solutions, which
tilt the sheet to opposite sides of the line of sight to the circle. Both image
to the same ellipse; :mod:`blanktrace.pose` chooses between them.

References
----------
D. Forsyth, J. L. Mundy, A. Zisserman, C. Coelho, A. Heller, C. Rothwell, Invariant
descriptors for 3-D object recognition and pose, IEEE PAMI 13, 1991.
R. Safaee-Rad, I. Tchoukanov, K. C. Smith, B. Benhabib, Three-dimensional location
estimation of circular features for machine vision, IEEE Trans. Robotics and
Automation 8, 1992.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class View:
    """How the camera sees the sheet.

    Parameters
    ----------
    focal_px : float
        Focal length in pixels.
    centre_px : array_like, shape (2,)
        Principal point (x, y).
    normal : array_like, shape (3,)
        Unit normal of the sheet in camera axes (x right, y down, z forward),
        pointing away from the camera.
    height_mm : float
        Distance of the camera from the plane of the sheet.

    Notes
    -----
    Plane coordinates are in mm, x to the right and y up as seen in the
    photograph, with the origin straight below the camera. What faces away from
    the origin shows its upper edge against the sheet; what faces the origin
    shows its side wall, and meets the sheet at its lower edge.
    """

    focal_px: float
    centre_px: FloatArray
    normal: FloatArray
    height_mm: float

    def __init__(
        self, *, focal_px: float, centre_px: ArrayLike, normal: ArrayLike, height_mm: float
    ) -> None:
        unit = np.array(normal, dtype=np.float64)
        unit /= np.linalg.norm(unit)
        if not (focal_px > 0 and height_mm > 0 and unit[2] > 0):
            raise ValueError(
                "focal_px and height_mm must be above 0 and the normal point away from the "
                f"camera, got {focal_px}, {height_mm}, {unit}"
            )
        object.__setattr__(self, "focal_px", float(focal_px))
        object.__setattr__(self, "centre_px", np.array(centre_px, dtype=np.float64))
        object.__setattr__(self, "normal", unit)
        object.__setattr__(self, "height_mm", float(height_mm))

    @property
    def tilt_deg(self) -> float:
        """Angle between the camera's axis and the sheet's normal."""
        return float(np.degrees(np.arctan2(np.hypot(*self.normal[:2]), self.normal[2])))

    @property
    def axes(self) -> FloatArray:
        """Rows: the plane's x and y directions in camera axes, shape (2, 3)."""
        a, b, c = self.normal
        s = np.sqrt(1 - a * a)
        # The camera's x laid into the plane, and its cross product with the normal.
        return np.array([[s, -a * b / s, -a * c / s], [0.0, -c / s, b / s]])

    def to_plane(self, points_px: FloatArray, heights_mm: ArrayLike = 0.0) -> FloatArray:
        """Bring photograph points (N, 2) to the plane, each at its height above the sheet."""
        rays = np.column_stack(
            [(points_px - self.centre_px) / self.focal_px, np.ones(len(points_px))]
        )
        reach = (self.height_mm - np.asarray(heights_mm)) / (rays @ self.normal)
        return np.asarray((rays @ self.axes.T) * np.reshape(reach, (-1, 1)))

    def to_photo(self, points_mm: FloatArray, heights_mm: ArrayLike = 0.0) -> FloatArray:
        """Project plane points (N, 2) at their heights into the photograph."""
        depth = np.broadcast_to(self.height_mm - np.asarray(heights_mm), len(points_mm))
        camera = points_mm @ self.axes + depth[:, None] * self.normal
        return np.asarray(self.centre_px + self.focal_px * camera[:, :2] / camera[:, 2:])


def circle_poses(
    conic: FloatArray, *, radius_mm: float
) -> tuple[tuple[FloatArray, float], tuple[FloatArray, float]]:
    """Find both planes on which a circle of known radius images to a given conic.

    Parameters
    ----------
    conic : ndarray, shape (3, 3)
        Symmetric matrix of the ellipse in normalised coordinates: pixels minus
        the principal point, over the focal length, then 1.
    radius_mm : float
        Radius of the circle.

    Returns
    -------
    ((normal, distance_mm), (normal, distance_mm))
        Unit normals pointing away from the camera, and the distance of each
        circle's plane, the smaller tilt against the camera's axis first.

    Raises
    ------
    ValueError
        If the conic is no ellipse.
    """
    values, vectors = np.linalg.eigh(conic)
    if np.sum(values > 0) == 1:
        values, vectors = -values[::-1], vectors[:, ::-1]
    if not (values[0] < 0 < values[1]):
        raise ValueError("the conic is not a real ellipse seen by the camera")
    low, middle, high = values
    across = np.sqrt((high - middle) / (high - low))
    ahead = np.sqrt((middle - low) / (high - low))
    # Distance of the plane of a unit circle, from the same cone (Safaee-Rad et al.).
    distance = radius_mm * middle / np.sqrt(-high * low)
    poses = []
    for sign in (1.0, -1.0):
        normal = vectors @ np.array([ahead, 0.0, sign * across])
        poses.append((normal if normal[2] > 0 else -normal, abs(float(distance))))
    first, second = sorted(poses, key=lambda pose: -pose[0][2])
    return first, second
