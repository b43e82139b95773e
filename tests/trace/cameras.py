"""A phone camera above the sheet, and the normals of what it sees."""

import numpy as np

from blanktrace.rectify import View

CAMERA = {"focal_px": 3000.0, "centre_px": np.array([1999.5, 1499.5])}
TOP_MM = 5.0


def camera(tilt_deg=0.0, towards_deg=0.0, height_mm=400.0):
    tilt, towards = np.deg2rad([tilt_deg, towards_deg])
    normal = (np.sin(tilt) * np.cos(towards), np.sin(tilt) * np.sin(towards), np.cos(tilt))
    return View(**CAMERA, normal=normal, height_mm=height_mm)


def closed_normals(points):
    """Outward normals of a ring in the photograph, walked from x towards y."""
    tangent = np.roll(points, -1, axis=0) - np.roll(points, 1, axis=0)
    normal = np.column_stack([tangent[:, 1], -tangent[:, 0]])
    return normal / np.hypot(*normal.T)[:, None]
