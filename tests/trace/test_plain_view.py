import numpy as np
import pytest

from blanktrace.plain_view import view_of_length
from blanktrace.rectify import View
from tests.trace.cameras import CAMERA, camera, closed_normals


@pytest.mark.parametrize("side", [0, 1], ids=["length", "width"])
@pytest.mark.parametrize("top_mm", [0.0, 4.0])
def test_height_from_a_length(side, top_mm):
    true = camera(height_mm=380.0)
    corners = np.array([(-60.0, 15), (60, 15), (60, -15), (-60, -15)]) + (5.0, 3.0)
    turn = np.deg2rad(25.0)
    corners = corners @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    points = true.to_photo(corners, top_mm)
    # Around the point below the camera every wall faces away, so that the top edges show.
    start = View(**CAMERA, normal=(0, 0, 1), height_mm=3000.0)
    found = view_of_length(
        points,
        closed_normals(points),
        foot_share=np.zeros(len(points)),
        measured_mm=(120.0, 30.0)[side],
        side=side,
        top_mm=top_mm,
        lean=start,
    )
    assert found.height_mm == pytest.approx(380.0, abs=1e-6)
