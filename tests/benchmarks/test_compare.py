from __future__ import annotations

import pytest
import shapely
from shapely import Polygon, affinity

from tests.benchmarks.compare import distance

SQUARE = shapely.box(-20, -20, 20, 20)
FLAG = shapely.union_all([shapely.box(0, 0, 10, 60), shapely.box(0, 40, 30, 60)])


def flag() -> Polygon:
    assert isinstance(FLAG, Polygon)
    return FLAG


@pytest.mark.parametrize("turn_deg", [0.0, 3.0, 97.0, 180.0, 250.0])
def test_a_moved_outline_is_no_different(turn_deg: float) -> None:
    moved = affinity.translate(affinity.rotate(flag(), turn_deg), 7.0, -4.0)
    found = distance(moved, flag())
    assert found.rms_mm < 0.02
    assert found.worst_mm < 0.1


def test_a_mirrored_outline_is() -> None:
    assert distance(affinity.scale(flag(), -1, 1), flag()).rms_mm > 1.0


def test_an_offset_is_its_own_distance() -> None:
    disc = shapely.Point(0, 0).buffer(30.0, quad_segs=200)
    found = distance(disc.buffer(0.25, quad_segs=200), disc)
    assert found.rms_mm == pytest.approx(0.25, abs=0.005)
    assert found.worst_mm == pytest.approx(0.25, abs=0.01)


def test_a_missing_hole_counts() -> None:
    drilled = SQUARE.difference(shapely.Point(12, 12).buffer(3))
    assert isinstance(drilled, Polygon)
    found = distance(SQUARE, drilled)
    # The hole's point towards the middle is farthest from any edge of the square.
    assert found.worst_mm == pytest.approx(8 + 3 / 2**0.5, abs=0.05)


def test_a_disc_is_laid_upon_its_hole() -> None:
    drilled = shapely.Point(0, 0).buffer(25, quad_segs=256) - shapely.Point(0, 19.5).buffer(2.5)
    assert isinstance(drilled, Polygon)
    finer = shapely.Point(0, 0).buffer(25, quad_segs=99) - shapely.Point(-19.21, 3.4).buffer(
        2.5, 256
    )
    assert isinstance(finer, Polygon)
    assert distance(finer, drilled).rms_mm < 0.05
