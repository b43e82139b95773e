"""Which gaps in a blank are holes."""

import numpy as np
import pytest

from blanktrace.evidence import Evidence
from blanktrace.holes import showing_sheet

SIDE = 60


def evidence(light):
    flat = np.zeros((SIDE, SIDE))
    loss = np.repeat((1 - light)[..., None], 3, axis=2).astype(np.float32)
    return Evidence(loss=loss, colour=flat, textured=flat > 0, stands_out=flat == 0, noise=0.01)


def disc(x, y, radius):
    rows, columns = np.indices((SIDE, SIDE))
    return np.hypot(columns - x, rows - y) < radius


@pytest.mark.parametrize(
    ("lit", "in_shadow", "is_hole"),
    [(0.9, 0.9, True), (0.9, 0.05, True), (0.2, 0.05, True), (0.06, 0.05, False)],
    ids=["open to the light", "a lit crescent", "all in shadow", "fleck on dark cloth"],
)
def test_a_hole_shows_sheet(lit, in_shadow, is_hole):
    hole = disc(30, 30, 8)
    light = np.where(hole, in_shadow, 0.04)
    light[hole & disc(25, 30, 8)] = lit
    kept = showing_sheet(hole, evidence(light))
    assert np.array_equal(kept, hole if is_hole else np.zeros_like(hole))


def test_each_hole_is_judged_by_itself():
    sheet, fleck = disc(15, 30, 6), disc(45, 30, 6)
    light = np.where(sheet, 0.5, 0.04)
    assert np.array_equal(showing_sheet(sheet | fleck, evidence(light)), sheet)
