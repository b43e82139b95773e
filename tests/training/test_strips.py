"""What the network is taught is true: shares of blank, and strips that lie about the boundary."""

import numpy as np
import pytest
from shapely import Point, box

from tests.benchmarks.synthesise import parts_px, synthesise
from tests.benchmarks.unseen import scene_drawn
from tests.training.scenes import FIRST_SEED
from tests.training.strips import lessons, moved_off, share_of_blank


@pytest.mark.parametrize(
    "shape",
    [
        pytest.param(Point(40.3, 31.8).buffer(20, quad_segs=64), id="disc"),
        pytest.param(box(10.25, 8.5, 41.5, 50.75), id="rectangle"),
        pytest.param(Point(40, 32).buffer(25).difference(Point(42, 30).buffer(9)), id="ring"),
    ],
)
def test_shares_of_pixels_add_up_to_the_area_and_lie_about_the_middle(shape):
    cover = share_of_blank((64, 80), [shape])
    rows, columns = np.mgrid[0:64, 0:80]
    assert cover.sum() == pytest.approx(shape.area, abs=0.04 * shape.length)
    middle = [(cover * axis).sum() / cover.sum() for axis in (columns, rows)]
    assert middle == pytest.approx(shape.centroid.coords[0], abs=0.03)


def test_parts_that_overlap_count_once():
    parts = [box(10, 10, 30, 30), box(20, 10, 40, 30)]
    assert share_of_blank((64, 64), parts).max() == 1
    assert share_of_blank((64, 64), parts).sum() == pytest.approx(600, abs=4)


def test_a_moved_ring_stays_within_reach_of_its_place():
    ring = np.asarray(Point(100, 100).buffer(60, quad_segs=64).exterior.coords)[:-1]
    for seed in range(6):
        moved = moved_off(ring, 4.0, np.random.default_rng(seed))
        off = np.hypot(*(moved - 100).T) - 60
        assert np.abs(off).max() < 1.5 * 4.0 + 0.5


def test_strips_hold_blank_inside_and_sheet_outside():
    scene = scene_drawn(FIRST_SEED + 3)
    made = list(lessons(synthesise(scene).rgb, parts_px(scene), np.random.default_rng(0)))
    assert len(made) >= 3
    for lesson in made:
        assert lesson.light.shape == (*lesson.share.shape, 3)
        assert lesson.cover.shape == lesson.share.shape
        assert 0 <= lesson.share.min() <= lesson.share.max() <= 1
        inner, outer = lesson.share[:, :3].mean(), lesson.share[:, -3:].mean()
        assert inner > 0.8
        assert outer < 0.2
