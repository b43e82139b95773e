"""What the network for close-ups is taught is true: shares of blank, seams closed."""

import numpy as np
import pytest
import shapely
from numpy.testing import assert_allclose

from tests.benchmarks.synthesise import parts_px
from tests.benchmarks.unseen import scene_drawn
from tests.trace.pictures import disc_level, grid
from tests.training.close_ups import lesson
from tests.training.plain import framed, plain_light
from tests.training.scenes import FIRST_SEED, photographed

NUMBER = 30_017


@pytest.fixture(scope="module")
def lit():
    (one,) = photographed(NUMBER, 1, how="drawn")
    return one


def test_the_cover_is_the_blank_as_large_as_it_is_seen(lit):
    near, cover = lesson(lit)
    assert cover.shape == near.patch.shape
    whole = shapely.union_all(parts_px(scene_drawn(FIRST_SEED + NUMBER)))
    assert cover.sum() / near.factor**2 == pytest.approx(whole.area, rel=0.01)
    ys, xs = np.nonzero(cover > 0.5)
    middle = near.onto_photo(np.column_stack([xs, ys]).astype(float)).mean(axis=0)
    assert_allclose(middle, np.asarray(whole.centroid.coords)[0], atol=1.0)


def test_plainly_lit_the_far_sheet_is_bare_and_the_face_is_one_look():
    x, y = grid(200, 160)
    cover = disc_level(x, y, (100, 80), 30.0, 0.5).astype(np.float32)
    bare = [plain_light(cover, np.random.default_rng(seed))[:3, :3] for seed in range(20)]
    assert_allclose(np.median(bare, axis=(0, 1, 2)), 1, atol=0.02)


def test_a_frame_goes_all_round():
    x, y = grid(200, 160)
    cover = disc_level(x, y, (100, 80), 30.0, 0.5).astype(np.float32)
    inner = framed(cover, np.random.default_rng(1))
    away = np.hypot(x - 100, y - 80)
    assert inner[away < 5].min() > 0.9
    assert inner[away > 29].max() < 0.1
