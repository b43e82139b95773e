import numpy as np

from blanktrace.walls import edge_heights, foot_shares
from tests.trace.cameras import CAMERA, TOP_MM, camera


def test_the_foot_shows_where_the_wall_faces_the_point_below_the_camera():
    view = camera()
    nadir = CAMERA["centre_px"]
    points = nadir + np.array([(100.0, 0), (200.0, 0)])
    outward = np.array([(-1.0, 0), (1.0, 0)])

    def heights(foot_share):
        return edge_heights(view, points, outward, top_mm=TOP_MM, foot_share=foot_share).tolist()

    assert heights(1.0) == [0.0, TOP_MM]
    assert heights(0.5) == [TOP_MM / 2, TOP_MM]
    assert heights(0.0) == [TOP_MM, TOP_MM]


def test_bare_sheet_beside_an_edge_makes_it_a_foot():
    assert foot_shares(np.array([0.0, 0.1, 0.9, 1.0])).tolist() == [1.0, 1.0, 0.0, 0.0]
    assert 0 < foot_shares(np.array([0.45]))[0] < 1
