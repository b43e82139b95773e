"""Where the camera stands and how the sheet lies, so that all that should be seen is seen."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from shapely import box

from tests.benchmarks.blanks import Blank
from tests.benchmarks.camera import FILM_DIAGONAL_MM, Camera
from tests.benchmarks.records import Colour, Paper, Pose

FloatArray = NDArray[np.float64]

SHEETS_MM = {"a4": (297.0, 210.0), "letter": (279.4, 215.9)}
SHEET_SPREAD = 0.002
"""Share by which sheets differ from their name; ISO 216 allows 2 mm (from memory)."""
LARGE_SHEET_MM = (840.0, 594.0)
"""A sheet of which only one side is in view."""
SIDE_MM = 75.0
"""How far that side lies from the blank's origin."""
FRAME_PX = (1600, 1200)
SHEET_FRAME_PX = (1800, 1350)
CLEAR_PX = 40
"""Least distance of a whole blank, or of the sheet's corners, from the frame."""
CLEAR_MM = 12.0
"""Least distance of a blank from the sheet's edge."""
TALLEST_MM = 6.0
"""No blank stands higher."""
TRIES = 80
"""Places tried from the height that was drawn; as many more are tried from ever higher."""


def stand_camera(
    rng: Generator, blank: Blank, pose: Pose, sheet: str
) -> tuple[Camera, int | None, Mapping[str, object]]:
    """Stand a camera over a blank, off centre and tilted.

    Returns
    -------
    camera : Camera
    focal35_tag : int or None
        What the photograph's tag says: 0 and None both mean unknown.
    facts : mapping
        The view in a few numbers.

    Raises
    ------
    RuntimeError
        If no place shows the whole blank and the sheet's corners.
    """
    size = SHEET_FRAME_PX if sheet else FRAME_PX
    if not sheet and rng.random() < 0.4:
        size = size[::-1]
    # A phone nearer than the frame would need, or one further off at twice the focal length.
    zoom = 2 if rng.random() < 0.4 else 1
    focal35_mm = float(rng.choice([24.0, 25.3, 26.0, 27.2, 28.0])) * zoom
    height_mm = float(rng.uniform(340, 520) if zoom == 2 else rng.uniform(210, 265))
    tilts = [rng.uniform(0, 2), rng.uniform(2, 8), rng.uniform(8, 15)]
    tilt_deg = float(rng.choice(tilts, p=[0.25, 0.5, 0.25]))
    if blank.measured != "disc" and sheet not in SHEETS_MM:
        # Nothing in such a photograph tells the lean: it is held level, as users are told to.
        tilt_deg = float(tilts[0])
    towards_deg, roll_deg = float(rng.uniform(0, 360)), float(rng.uniform(-8, 8))
    k1 = float(rng.uniform(-0.03, 0.02)) if rng.random() < 0.35 else 0.0
    off = rng.uniform(-0.22, 0.22, 2)
    for tried in range(2 * TRIES):
        if tried >= TRIES:
            height_mm *= 1.01
        span_mm = height_mm * FILM_DIAGONAL_MM / focal35_mm * np.array(size) / np.hypot(*size)
        camera = Camera.over(
            span_mm * off,
            height_mm=height_mm,
            size_px=size,
            focal35_mm=focal35_mm,
            tilt_deg=tilt_deg,
            towards_deg=towards_deg,
            roll_deg=roll_deg,
            k1=k1,
        )
        if sheet in SHEETS_MM and not _framed(camera, _corners(sheet, camera)):
            height_mm *= 1.03
        elif not _shown(camera, blank, pose, sheet):
            off = off * 0.9
        else:
            break
    else:
        raise RuntimeError("no place for the camera shows the whole blank")
    unknown = 0 if rng.random() < 0.4 else None
    tag = round(focal35_mm) if rng.random() < 0.75 else unknown
    return (
        camera,
        tag,
        {
            "focal_tag": tag,
            "focal35_mm": focal35_mm,
            "height_mm": round(float(camera.position_mm[2]), 1),
            "tilt": round(tilt_deg, 2),
            "k1": round(k1, 4),
            "off_centre": round(float(np.abs(off).max()), 3),
        },
    )


def lay_paper(
    rng: Generator, colour: Colour, sheet: str, camera: Camera, *, bench: str, lines: str
) -> Paper:
    """Lay a sheet that fills the frame (""), lies whole in view (its name), or shows one side."""
    if not sheet:
        printed = lines if lines in ("ruled", "grid") else "none"
        return Paper(colour, printed, angle_rad=float(rng.uniform(-0.2, 0.2)))
    if sheet in SHEETS_MM:
        spread = 1 + rng.uniform(-SHEET_SPREAD, SHEET_SPREAD, 2)
        width, height = np.array(SHEETS_MM[sheet]) * spread
        return Paper(
            colour,
            size_mm=(float(width), float(height)),
            centre_mm=_under_the_middle(camera),
            bench=bench,
        )
    return Paper(
        colour,
        size_mm=LARGE_SHEET_MM,
        centre_mm=(0.0, LARGE_SHEET_MM[1] / 2 - SIDE_MM),
        angle_rad=float(rng.uniform(-0.1, 0.1)),
        bench=bench,
    )


def _shown(camera: Camera, blank: Blank, pose: Pose, sheet: str) -> bool:
    """Whether the whole blank is in the frame, and on the sheet where that lies in view."""
    placed = pose.place(blank.outline)
    if sheet in SHEETS_MM:
        low, high = _corners(sheet, camera)[[0, 2]]
        if not box(*(low + CLEAR_MM), *(high - CLEAR_MM)).contains(placed):
            return False
    return _framed(camera, np.array(placed.exterior.coords)[:, :2])


def _framed(camera: Camera, points_mm: FloatArray) -> bool:
    heights = np.repeat([0.0, TALLEST_MM], len(points_mm))
    pixels = camera.project(np.column_stack([np.tile(points_mm, (2, 1)), heights]))
    last = np.array(camera.size_px) - 1
    return bool((pixels > CLEAR_PX).all() and (pixels < last - CLEAR_PX).all())


def _under_the_middle(camera: Camera) -> tuple[float, float]:
    """Where a whole sheet's centre lies."""
    x, y = camera.onto([camera.centre_px])[0]
    return float(x), float(y)


def _corners(sheet: str, camera: Camera) -> FloatArray:
    half = np.array(SHEETS_MM[sheet]) / 2
    signs = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)])
    return np.asarray(_under_the_middle(camera) + half * signs)
