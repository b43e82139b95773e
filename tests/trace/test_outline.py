import json

import numpy as np
import pytest
import shapely

from blanktrace.outline import (
    FORMAT,
    Contribution,
    Outline,
    Quality,
    Rim,
    Scale,
    Stance,
)
from blanktrace.parts import Part
from blanktrace.path import Path


def outline(*, rim=True):
    square = [(-1.0, -1.0), (1.0, -1.0), (1.0, 1 / 3), (-1.0, 1.0)]
    hole = [(0.0, 0.0), (0.0, 0.2), (0.2, 0.0)]
    polygon = shapely.Polygon(square, [hole])
    return Outline(
        polygon=polygon,
        path=(Path(square), Path.circle((0, 0), radius_mm=0.1)),
        parts=(
            Part("disc", (0.0, 0.0), diameter_mm=64.0),
            Part("loop", (0.0, 46.00000049), diameter_mm=26.0, inner_mm=20.0),
        ),
        rim=Rim(64.0, (1999.5, 1499.5), (301.25, 300.5), 0.21) if rim else None,
        scale=Scale(0.10655, "disc", 64.0),
        stance=Stance(1.5, "the disc's ellipse", 390.0, tilt_u95_deg=0.8),
        quality=Quality(
            0.1234567, (Contribution("the fit of the disc", 0.1, "show more"),), ("!",)
        ),
        rings_px=(np.zeros((4, 2)),),
        heights_mm={"disc": 4.0, "loop": 2.2},
    )


def test_form():
    plain = json.loads(outline().to_json())
    assert plain["format"] == FORMAT == "blankfit-outline/1"
    assert plain["units"] == "mm"
    assert plain["outline"]["type"] == "Polygon"
    assert plain["disc"] == {
        "diameter_mm": 64.0,
        "centre_px": [1999.5, 1499.5],
        "semi_axes_px": [301.25, 300.5],
        "rms_px": 0.21,
    }
    assert plain["scale"] == {"mm_per_px": 0.10655, "measured": "disc", "measured_mm": 64.0}
    assert plain["view"] == {
        "tilt_deg": 1.5,
        "tilt_u95_deg": 0.8,
        "corrected_by": "the disc's ellipse",
        "camera_height_mm": 390.0,
    }
    assert plain["quality"]["u95_mm"] == pytest.approx(0.123457, abs=1e-12)
    assert plain["quality"]["warnings"] == ["!"]
    assert [part["kind"] for part in plain["parts"]] == ["disc", "loop"]
    assert set(plain["parts"][1]) == {"kind", "centre_mm", "diameter_mm", "inner_mm"}


def test_rings_are_closed_and_make_the_polygon_again():
    written = outline()
    rings = json.loads(written.to_json())["outline"]["coordinates"]
    assert all(ring[0] == ring[-1] for ring in rings)
    assert shapely.geometry.shape({"type": "Polygon", "coordinates": rings}).symmetric_difference(
        written.polygon
    ).area == pytest.approx(0, abs=1e-5)
    assert shapely.Polygon(rings[0]).exterior.is_ccw


def test_numbers_are_rounded_to_a_millionth():
    text = outline().to_json()
    assert "0.333333" in text
    assert "0.3333333" not in text
    assert json.loads(text)["parts"][1]["centre_mm"] == [0.0, 46.0]


def test_path_keeps_its_arcs():
    _, circle = json.loads(outline().to_json())["path"]
    assert all(len(vertex) == 3 for vertex in circle)
    assert all(bulge > 0 for *_, bulge in circle)


def test_no_disc_is_null():
    assert json.loads(outline(rim=False).to_json())["disc"] is None


def test_equal_outlines_give_equal_text():
    assert outline().to_json() == outline().to_json()
