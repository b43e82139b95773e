"""How the camera stood, from boundaries that were projected exactly."""

import numpy as np
import pytest
import shapely

from blanktrace.rectify import View
from blanktrace.seen import Camera
from blanktrace.stance import see_disc_blank
from tests.trace.edges import edge_of
from tests.trace.shapes import dense

DISC_MM, STRAP_MM = 62.0, 20.0
LOOP_MM, LOOP_AT_MM = (26.0, 20.0), 60.0
BLANK = shapely.union_all(
    [
        shapely.Point(0, 0).buffer(DISC_MM / 2, quad_segs=200),
        shapely.box(-STRAP_MM / 2, 0, STRAP_MM / 2, 50),
        shapely.Point(0, LOOP_AT_MM).buffer(LOOP_MM[0] / 2, quad_segs=200),
    ]
).difference(
    shapely.Point(0, LOOP_AT_MM)
    .buffer(LOOP_MM[1] / 2, quad_segs=200)
    .difference(shapely.box(-STRAP_MM / 2, 0, STRAP_MM / 2, 50))
)
CAMERA = Camera(focal_px=1500.0, centre_px=np.array([800.0, 600.0]), sheet_normal=None)


def view(*, tilt_deg):
    tilt = np.radians(tilt_deg)
    return View(
        focal_px=CAMERA.focal_px,
        centre_px=CAMERA.centre_px,
        normal=np.array([0.0, np.sin(tilt), np.cos(tilt)]),
        height_mm=300.0,
    )


def edges_seen(through, at_mm):
    """The blank's boundary as a camera sees it: blank on the left as seen with y down."""
    made = []
    for number, ring in enumerate((BLANK.exterior, *BLANK.interiors)):
        plan = dense(shapely.Polygon(ring), spacing=0.25) + at_mm
        points = through.to_photo(plan)
        if (number == 0) != shapely.LinearRing(points).is_ccw:
            points = points[::-1]
        made.append(edge_of(points, doubt_px=0.1))
    return tuple(made)


@pytest.mark.parametrize("tilt_deg", [-8.0, 0.0, 8.0])
@pytest.mark.parametrize("at_mm", [(0.0, 12.0), (0.0, -12.0), (15.0, 0.0)])
def test_lean_and_parts_are_told_in_one_frame(tilt_deg, at_mm):
    """Whichever of the disc's two leans it is, parts are where the boundary is."""
    true = view(tilt_deg=tilt_deg)
    seen = see_disc_blank(
        edges_seen(true, at_mm), diameter_mm=DISC_MM, heights_mm={}, camera=CAMERA
    )
    assert np.degrees(np.arccos(min(1.0, seen.view.normal @ true.normal))) < 0.5
    disc, _, loop = seen.division.parts
    assert disc.centre_mm == pytest.approx(tuple(seen.origin_mm), abs=1e-6)
    away = np.subtract(loop.centre_mm, seen.origin_mm)
    assert np.hypot(*away) == pytest.approx(LOOP_AT_MM, abs=0.05)
    owners, points = np.concatenate(seen.division.owners), np.concatenate(seen.rings_mm)
    radii = np.hypot(*(points[owners == 2] - loop.centre_mm).T)
    nearest = np.abs(radii[:, None] - np.array(LOOP_MM) / 2).min(axis=1)
    assert np.percentile(nearest, 90) < 0.05
