"""What hangs on a disc and was not kept, against what is only shadow."""

import numpy as np
import pytest
import shapely

from blanktrace.lost import lost_parts
from tests.trace.pictures import grid

SIDE = 400
X, Y = grid(SIDE, SIDE)
DISC = shapely.Point(200, 250).buffer(90)
STRAP = shapely.box(170, 100, 230, 250)
RING = shapely.Point(200, 75).buffer(35).difference(shapely.Point(200, 75).buffer(25))
WHOLE = shapely.union_all([DISC, STRAP, RING])


def drawn(shape):
    return shapely.contains_xy(shape, X, Y)


def swept(shape, move):
    """The shadow on the floor of something whose top's shadow falls so far away."""
    steps = np.linspace(0, 1, 60)[:, None] * np.array(move)
    moved = [shapely.affinity.translate(shape, *step) for step in steps]
    return shapely.union_all(moved).buffer(1)


@pytest.mark.parametrize("move", [(60, -20), (-40, -50), (0, 70)], ids=str)
@pytest.mark.parametrize("lower", [1.0, 0.45], ids=["as high as its disc", "lower"])
def test_shadow_of_what_hangs_on_a_disc_is_not_lost(move, lower):
    """A shadow is as long as what casts it is high (geometry of parallel light)."""
    hanging = swept(STRAP.union(RING), lower * np.array(move))
    patch = swept(DISC, move).union(hanging)
    assert not lost_parts(drawn(WHOLE), drawn(patch)).any()


@pytest.mark.parametrize("kept", [DISC, DISC.union(STRAP)], ids=["strap and ring", "ring"])
def test_what_was_not_kept_is_lost(kept):
    lost = lost_parts(drawn(kept), drawn(swept(WHOLE, (30, 25))))
    assert (lost & drawn(RING)).sum() > 0.5 * drawn(RING).sum()


def test_nothing_is_lost_of_what_is_no_disc():
    bar = shapely.box(150, 50, 250, 350)
    assert not lost_parts(drawn(bar), drawn(bar.union(RING))).any()
