"""Where the kind of surface changes, in profiles that anyone can draw."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import ndimage

from blanktrace.kind import surface_change
from blanktrace.strip import ACROSS, HALF_REACHES, Strip

REACH_PX = 4.0
OFFSETS = np.linspace(-HALF_REACHES, HALF_REACHES, ACROSS) * REACH_PX
GREEN, CHERRY = (0.045, 0.075, 0.045), (0.42, 0.22, 0.12)
LIT, SHADE = (1.0, 1.0, 1.0), (0.09, 0.09, 0.09)


def strip(inside, outside, *, edge, blur=1.0, count=60):
    """The same blurred profile for every point of a ring."""
    fine = np.arange(-16.0, 16.01, 0.05)
    light = np.where((fine < edge)[:, None], inside, outside(fine - edge))
    light = ndimage.gaussian_filter1d(light, blur / 0.05, axis=0)
    seen = np.column_stack([np.interp(OFFSETS, fine, light[:, k]) for k in range(3)])
    noise = np.random.default_rng(1).normal(0, 0.002, (count, len(OFFSETS), 3))
    level = np.column_stack([np.arange(count), np.zeros(count)]).astype(float)
    unknown = np.full((count, len(OFFSETS)), 0.5, np.float32)
    return Strip(level, np.tile([0.0, 1.0], (count, 1)), seen + noise, unknown, REACH_PX)


def even(light):
    return lambda away: np.broadcast_to(light, (len(away), 3))


def ramp(start, slope):
    """A soft shadow: grey, and the lighter the farther out."""
    return lambda away: np.clip(start + slope * away, 0, 1)[:, None] * np.ones(3)


def walled(wide, shaded, beyond):
    """A side of the blank in the shade, so many px wide, and then the sheet."""
    return lambda away: np.where((away < wide)[:, None], shaded, beyond)


@pytest.mark.parametrize("edge", [-1.5, 0.0, 1.5])
@pytest.mark.parametrize(
    ("inside", "outside"),
    [
        pytest.param(CHERRY, even(LIT), id="wood on lit sheet"),
        pytest.param(CHERRY, even(SHADE), id="wood beside its shadow"),
        pytest.param(GREEN, even(SHADE), id="dark strap beside a shadow as dark"),
        pytest.param(GREEN, ramp(0.06, 0.05), id="dark strap in a shadow that lightens outward"),
        pytest.param(
            CHERRY, walled(2.5, 0.3 * np.array(CHERRY), SHADE), id="wood, and its own shaded side"
        ),
    ],
)
def test_the_change_is_met_within_a_blur(inside, outside, edge):
    shift = surface_change(strip(inside, outside, edge=edge)).off_px
    assert np.median(shift) == pytest.approx(edge, abs=1.0)


def test_darkness_alone_tells_grey_from_lit_sheet():
    shift = surface_change(strip((0.2, 0.2, 0.2), even(LIT), edge=1.0)).off_px
    assert np.median(shift) == pytest.approx(1.0, abs=1.0)


def blended(wide):
    """A blank that fades into the sheet over so many px."""
    fine = np.arange(-16.0, 16.01, 0.05)
    seen = np.interp(OFFSETS, fine, np.interp(fine, (-wide / 2, wide / 2), (0.2, 1.0)))
    return replace(strip(CHERRY, even(LIT), edge=0), light=np.tile(seen[None, :, None], (60, 1, 3)))


def test_a_place_is_the_less_sure_the_less_the_blank_differs():
    clear = surface_change(strip(CHERRY, even(LIT), edge=0.5)).doubt_px
    faint = surface_change(strip((0.96, 0.95, 0.94), even(LIT), edge=0.5)).doubt_px
    faded = surface_change(blended(wide=8.0)).doubt_px
    assert clear.shape == (60,)
    assert np.median(clear) < 0.5
    assert np.median(faint) > 3 * np.median(clear)
    assert np.median(faded) > np.median(clear)
