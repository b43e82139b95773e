from dataclasses import replace

import numpy as np
import pytest
import shapely

from blanktrace.plain_view import MOST_BEYOND_PX, view_of_length
from blanktrace.rectify import View
from tests.trace.cameras import CAMERA, camera, closed_normals
from tests.trace.edges import edge_of


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
    shaded = replace(
        edge_of(points), outward=closed_normals(points), loss_beside=np.ones(len(points))
    )
    found = view_of_length(
        shaded,
        measured_mm=(120.0, 30.0)[side],
        side=side,
        top_mm=top_mm,
        lean=start,
    )
    assert found.height_mm == pytest.approx(380.0, abs=1e-6)


START = View(**CAMERA, normal=(0, 0, 1), height_mm=3000.0)
LOW, LENGTH_PX = (1850.0, 1450.0), 300.0


def box():
    """A flat blank of 300 by 100 px: its boundary, on its lines."""
    high = LOW[0] + LENGTH_PX, LOW[1] + 100.0
    return np.array(shapely.segmentize(shapely.box(*LOW, *high), 1.0).exterior.coords)[:-1]


def length_px(located):
    """How long a blank's boundary is taken to be, by the scale that 60 mm give it."""
    ring = box()
    edge = replace(edge_of(ring), located_px=located, outward=closed_normals(ring))
    found = view_of_length(edge, measured_mm=60.0, side=0, top_mm=0.0, lean=START)
    return 60.0 * CAMERA["focal_px"] / found.height_mm


def test_noise_does_not_lengthen_a_blank_with_straight_ends():
    """The farthest of 100 points with a scatter of 0.5 px lies 2.51 times that out on average
    (H. L. Harter, Expected values of normal order statistics, Biometrika 48, 1961; from memory)."""
    lengths, farthest = [], []
    for seed in range(20):
        located = box() + np.random.default_rng(seed).normal(0, 0.5, box().shape)
        lengths.append(length_px(located))
        farthest.append(np.ptp(located[:, 0]))
    assert np.mean(farthest) == pytest.approx(LENGTH_PX + 2 * 0.5 * 2.51, abs=0.2)
    assert np.mean(lengths) == pytest.approx(LENGTH_PX, abs=0.1)


@pytest.mark.parametrize("beyond", [0.4, -0.4])
def test_an_end_that_its_line_cut_short_or_drew_out_is_brought_back(beyond):
    at_end = box()[:, :1] > LOW[0] + LENGTH_PX - 10
    located = box() + np.where(at_end, beyond, 0.0) * [1.0, 0.0]
    assert length_px(located) == pytest.approx(LENGTH_PX + beyond, abs=0.02)


def test_a_stray_point_does_not_move_an_end_far():
    located = box()
    located[np.argmax(located[:, 0])] += (500.0, 0.0)
    assert length_px(located) == pytest.approx(LENGTH_PX, abs=MOST_BEYOND_PX + 0.02)
