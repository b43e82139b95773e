"""Blanks drawn at random are whole, new in every draw, and the same whenever they are drawn."""

from __future__ import annotations

import numpy as np
import pytest

from blanktrace.errors import TraceError
from blanktrace.silhouette import choose, find_silhouettes
from tests.benchmarks.drawn_materials import material_named
from tests.benchmarks.materials import MATERIALS
from tests.benchmarks.scenes import ROWS
from tests.benchmarks.synthesise import synthesise
from tests.benchmarks.unseen import scene_drawn, unseen_scenes


@pytest.mark.parametrize("draw", [1, 2, 3])
def test_every_scene_holds_one_whole_blank(draw):
    scenes = unseen_scenes(draw)
    assert len({scene.name for scene in scenes}) == len(scenes) == len(ROWS)
    for scene in scenes:
        ((blank, _),) = scene.blanks
        assert blank.outline.is_valid
        assert 25 < blank.measured_mm < 110


def test_draws_differ_and_each_is_the_same_again():
    first, second = unseen_scenes(1), unseen_scenes(2)
    assert {scene.blanks[0][0].measured_mm for scene in first}.isdisjoint(
        scene.blanks[0][0].measured_mm for scene in second
    )
    unseen_scenes.cache_clear()
    again = unseen_scenes(1)
    assert [scene.name for scene in again] == [scene.name for scene in first]
    assert np.array_equal(synthesise(again[0]).rgb, synthesise(first[0]).rgb)


@pytest.mark.parametrize("number", range(40))
@pytest.mark.parametrize("ending", ["", " wire"])
def test_drawn_materials_give_back_no_more_light_than_falls_on_them(number, ending):
    drawn = material_named(f"drawn {number}{ending}")
    assert drawn == material_named(f"drawn {number}{ending}")
    assert all(0 <= channel < 1 for channel in (*drawn.colour, *drawn.grain))
    assert bool(drawn.metal) >= bool(ending)


def test_other_names_are_looked_up():
    assert material_named("cherry") is MATERIALS["cherry"]
    with pytest.raises(KeyError):
        material_named("plum")


def test_a_blank_as_light_as_its_sheet_with_no_bare_sheet_about_it_is_refused():
    rgb = synthesise(scene_drawn(500_000_067)).rgb
    with pytest.raises(TraceError, match=r"blanks are in view|Nothing stands out|told from"):
        choose(find_silhouettes(rgb).silhouettes, at=None)
