import cv2
import numpy as np
import pytest

from blanktrace.cast import shed_cast
from blanktrace.evidence import Evidence

WIDTH, HEIGHT = 360, 280


def drawn(draw, dx=0, dy=0):
    canvas = np.zeros((HEIGHT, WIDTH), dtype=np.uint8)
    draw(canvas, dx, dy)
    return canvas > 0


def disc(canvas, dx, dy):
    cv2.circle(canvas, (170 + dx, 130 + dy), 75, 1, cv2.FILLED)


def tag(canvas, dx, dy):
    corners = np.array([[90, 70], [260, 100], [245, 190], [75, 160]])
    cv2.fillPoly(canvas, [corners + (dx, dy)], 1)


def swept(draw, move):
    steps = np.arange(1 + max(map(abs, move))) / max(map(abs, move))
    return np.any(
        [drawn(draw, round(t * move[0]), round(t * move[1])) for t in steps.tolist()], axis=0
    )


def seen(draw, move, *, blank=0.93, shadow=0.87, streaks=0.0):
    """Evidence of a grey blank in hard light, its shadow nearly as dark."""
    rng = np.random.default_rng(3)
    loss = np.where(swept(draw, move), shadow, 0.0)
    grain = streaks * np.sin(np.arange(WIDTH) * 0.9) * rng.normal(1, 0.3, WIDTH)
    loss = np.where(drawn(draw), blank + grain[None], loss)
    loss = loss[..., None] + rng.normal(0, 0.006, (HEIGHT, WIDTH, 3))
    nothing = np.zeros((HEIGHT, WIDTH), dtype=bool)
    smooth = cv2.GaussianBlur(loss.astype(np.float32), (0, 0), 1.0)
    return Evidence(
        smooth, np.zeros((HEIGHT, WIDTH), np.float32), nothing, smooth[..., 0] > 0.1, 0.01
    )


@pytest.mark.parametrize("draw", [disc, tag])
@pytest.mark.parametrize("move", [(14, 10), (-12, 3), (0, -20)], ids=str)
def test_a_shadow_nearly_as_dark_as_the_blank_comes_off(draw, move):
    found = shed_cast(swept(draw, move), seen(draw, move))
    # Within a pixel of the blank, all the way round.
    wrong = found ^ drawn(draw)
    rim = cv2.morphologyEx(drawn(draw).astype(np.uint8), cv2.MORPH_GRADIENT, np.ones((5, 5)))
    assert not (wrong & (rim == 0)).any()


@pytest.mark.parametrize("draw", [disc, tag])
@pytest.mark.parametrize("streaks", [0.0, 0.02], ids=["smooth", "brushed"])
def test_a_blank_without_a_shadow_stays_whole(draw, streaks):
    whole = drawn(draw)
    evidence = seen(draw, (1, 0), blank=0.8, streaks=streaks)
    assert np.array_equal(shed_cast(whole, evidence), whole)
