import numpy as np
import pytest

from blanktrace.bridge import bridged

SIDE, RADIUS, MIDDLE = 400, 80.0, (150.0, 200.0)
YS, XS = np.indices((SIDE, SIDE))
DISC = np.hypot(XS - MIDDLE[0], YS - MIDDLE[1]) < RADIUS


def turned(degrees):
    """Coordinates along and across a line from the disc's middle."""
    cos, sin = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    x, y = XS - MIDDLE[0], YS - MIDDLE[1]
    return x * cos + y * sin, y * cos - x * sin


@pytest.mark.parametrize("degrees", [0, 30, 90, 200])
@pytest.mark.parametrize("shade", ["right across", "a wedge"])
def test_fills_the_shaded_end_of_a_strap(degrees, shade):
    along, across = turned(degrees)
    strap = (along > 0) & (along < 130) & (np.abs(across) < 28) & ~DISC
    deep = 16 if shade == "right across" else 16 * (across + 28) / 56
    dark = strap & (along < np.sqrt(np.maximum(RADIUS**2 - across**2, 0)) + deep)
    found = bridged(DISC | (strap & ~dark), ~(DISC | strap), (*MIDDLE, RADIUS))
    assert np.logical_xor(found, DISC | strap).sum() < 0.05 * dark.sum()


def test_sheet_between_stays_sheet():
    along, across = turned(0)
    strap = (along > 95) & (along < 150) & (np.abs(across) < 28)
    blank = DISC | strap
    assert np.array_equal(bridged(blank, ~blank, (*MIDDLE, RADIUS)), blank)


@pytest.mark.parametrize(("inner", "distance"), [(24, 112), (0, 125)])
def test_ring_or_disc_beside_in_one_shadow_is_no_strap(inner, distance):
    along, across = turned(45)
    away = np.hypot(along - distance, across)
    blank = DISC | ((away > inner) & (away < (32 if inner else 40)))
    assert np.array_equal(bridged(blank, np.zeros_like(blank), (*MIDDLE, RADIUS)), blank)
