import numpy as np
import pytest

from blanktrace.corners import read_lean
from blanktrace.errors import ViewError
from blanktrace.lens import Lens
from blanktrace.rectify import View
from tests.trace.boards import lens_of
from tests.trace.pictures import box_level, grid, photograph

SIZE = (640, 480)
SHEET_MM = (297.0, 210.0)
NORMAL = np.array([0.09, -0.06, 1.0]) / np.linalg.norm([0.09, -0.06, 1.0])
"""A lean of about six degrees."""


def sheet_photograph(lens):
    """A light sheet on a dark bench, seen by a leaning camera; and where the sheet is."""
    view = View(focal_px=lens.focal_px, centre_px=lens.centre_px, normal=NORMAL, height_mm=290.0)
    x, y = grid(*SIZE)
    plane = view.to_plane(lens.straighten(np.column_stack([x.ravel(), y.ravel()])))
    middle = view.to_plane(lens.centre_px[None])[0]
    u, v = (plane - middle).T.reshape(2, *x.shape)
    half = np.array(SHEET_MM) / 2
    level = box_level(u, v, -half, half, 0.5)
    return photograph(1 - level), level > 0.5


def degrees_off(found):
    return float(np.degrees(np.arccos(np.clip(found.normal @ NORMAL, -1, 1))))


@pytest.mark.parametrize("radial", [(0.0, 0.0), (-0.06, 0.0), (0.03, 0.01)], ids=str)
def test_reads_the_lean_through_a_bent_lens(radial):
    lens = lens_of(SIZE, radial=radial, decentring=(0.0, 0.0))
    found = read_lean(*sheet_photograph(lens), sheet_mm=SHEET_MM, lens=lens)
    assert degrees_off(found) < 0.15
    assert found.off_square_deg < 0.2


def test_a_corner_that_the_sheet_lost_is_drawn_on():
    lens = lens_of(SIZE, radial=(0.0, 0.0), decentring=(0.0, 0.0))
    rgb, extent = sheet_photograph(lens)
    ys, xs = np.nonzero(extent)
    x, y = grid(*SIZE)
    cut = extent & (x - xs.min() + y - ys.min() > 60)
    assert cut.sum() < extent.sum() - 500
    assert degrees_off(read_lean(rgb, cut, sheet_mm=SHEET_MM, lens=lens)) < 0.15


def test_refuses_a_round_sheet():
    lens = lens_of(SIZE, radial=(0.0, 0.0), decentring=(0.0, 0.0))
    x, y = grid(*SIZE)
    extent = np.hypot(x - 320, y - 240) < 180
    with pytest.raises(ViewError, match="four corners"):
        read_lean(photograph(1.0 - extent), extent, sheet_mm=SHEET_MM, lens=lens)


def test_an_unknown_bend_costs_lean():
    lens = lens_of(SIZE, radial=(-0.06, 0.0), decentring=(0.0, 0.0))
    straight = Lens.unbent(lens.focal_px, SIZE)
    picture = sheet_photograph(lens)
    known, unknown = (read_lean(*picture, sheet_mm=SHEET_MM, lens=one) for one in (lens, straight))
    assert degrees_off(unknown) > degrees_off(known)


def test_refuses_another_sheet():
    lens = lens_of(SIZE, radial=(0.0, 0.0), decentring=(0.0, 0.0))
    with pytest.raises(ViewError, match="Check the sheet size"):
        read_lean(*sheet_photograph(lens), sheet_mm=(300.0, 300.0), lens=lens)
