"""Which holes are round, and what is done to them."""

import numpy as np
import pytest

from blanktrace.parts import Division, hole_of
from blanktrace.rims import lay_rims

RADIUS_MM, CENTRE_MM = 3.0, np.array([12.0, -4.0])


def circle(radius=RADIUS_MM, count=240):
    t = np.linspace(0, 2 * np.pi, count, endpoint=False)
    return CENTRE_MM + radius * np.column_stack([np.cos(t), np.sin(t)])


def laid(hole):
    outer = np.array([[-30.0, -20.0], [30.0, -20.0], [30.0, 20.0], [-30.0, 20.0]])
    owners = np.full(len(outer), -1), np.zeros(len(hole), dtype=int)
    division = Division(parts=(hole_of(hole),), owners=owners, axis_rad=np.nan)
    kept, found = lay_rims((outer, hole), division)
    assert kept is outer or np.array_equal(kept, outer)
    return found


def off_circle(ring):
    return np.abs(np.hypot(*(ring - CENTRE_MM).T) - RADIUS_MM)


@pytest.mark.parametrize("by_mm", [-0.3, 0.3])
def test_a_side_that_a_wall_draws_out_is_laid_on_the_circle(by_mm):
    hole = circle()
    towards = (hole - CENTRE_MM) @ (0.6, 0.8) / RADIUS_MM
    hole += (hole - CENTRE_MM) / RADIUS_MM * by_mm * np.clip((towards - 0.6) / 0.4, 0, 1)[:, None]
    assert off_circle(hole).max() == pytest.approx(abs(by_mm), abs=0.01)
    assert off_circle(laid(hole)).max() < 0.03


def test_a_nick_stays():
    hole = circle()
    hole[:8] += 1.2 * (hole[:8] - CENTRE_MM) / RADIUS_MM
    found = laid(hole)
    assert np.array_equal(found[:8], hole[:8])
    assert off_circle(found[8:]).max() < 0.01


@pytest.mark.parametrize("kind", ["square", "slot", "half round"])
def test_what_is_not_round_is_left(kind):
    x, y = (circle() - CENTRE_MM).T
    if kind == "square":
        hole = np.column_stack([x, y]) / np.maximum(np.abs(x), np.abs(y))[:, None] * RADIUS_MM
    elif kind == "slot":
        hole = np.column_stack([x + np.sign(x) * RADIUS_MM, y])
    else:
        hole = np.column_stack([np.maximum(x, -0.3 * RADIUS_MM), y])
    hole = hole + CENTRE_MM
    assert np.array_equal(laid(hole), hole)
