import cv2
import numpy as np
import pytest

from blanktrace.ring import find_ring

SIZE = (260, 200)
DISC = (80.0, 100.0, 60.0)


def scene(shine, shadow, ring=(178.0, 96.0, 30.0, 23.0)):
    """A ring beside a disc: light lost. It mirrors light and dark in turn, and casts a shadow."""
    x0, y0, outer, inner = ring
    y, x = np.mgrid[: SIZE[1], : SIZE[0]].astype(np.float32)

    def wire(cx, cy):
        away = np.hypot(x - cx, y - cy)
        return np.clip(0.5 + outer - away, 0, 1) * np.clip(0.5 + away - inner, 0, 1)

    fallen = shadow * cv2.GaussianBlur(wire(x0 + 4, y0 + 5), (0, 0), 1.5)
    turn = np.arctan2(y - y0, x - x0)
    own = wire(x0, y0)
    loss = own * shine * np.cos(3 * turn) + (1 - own) * fallen
    noise = np.random.default_rng(3).normal(0, 0.01, (*loss.shape, 3))
    return (loss[..., None] + noise).astype(np.float32), np.hypot(x - x0, y - y0)


@pytest.mark.parametrize(
    ("shine", "shadow"), [(0.25, 0.0), (0.25, 0.4), (0.12, 0.2)], ids=["bare", "shadow", "faint"]
)
def test_a_ring_as_light_as_the_paper_on_the_whole(shine, shadow):
    loss, away = scene(shine, shadow)
    ring = find_ring(loss, away < 45, away > 50, disc_px=DISC)
    assert ring is not None
    assert np.hypot(ring.x_px - 178, ring.y_px - 96) < 1.5
    assert ring.outer_px == pytest.approx(30, abs=1.5)
    assert ring.inner_px == pytest.approx(23, abs=1.5)


def test_bare_paper_and_straight_straps_have_no_ring():
    loss, away = scene(0.0, 0.0)
    assert find_ring(loss, away < 45, away > 50, disc_px=DISC) is None
    loss[80:112, 140:200] += 0.5
    assert find_ring(loss, away < 45, away > 50, disc_px=DISC) is None
