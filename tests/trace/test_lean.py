import numpy as np
import pytest
import shapely

from blanktrace.lean import CLEAR, USUAL_TILT_DEG, judge_lean
from tests.trace.test_parts import CENTRE_MM, RADIUS_MM, circle, divided, ring, strap

TAGGED = shapely.union_all([circle(2 * RADIUS_MM), strap(), ring()])


def leaned(rings, *, per_mm, towards_deg):
    """Boundaries as the wrong lean shows them: larger to one side, and squeezed along it.

    At 400 mm, a lean wrong by 4 degrees is a change of scale of 1.7e-4 a mm.
    """
    towards = np.deg2rad(towards_deg)
    along = np.array([np.cos(towards), np.sin(towards)])
    out = []
    for one in rings:
        offset = one - CENTRE_MM
        growth = 1 + per_mm * (offset @ along)
        out.append(CENTRE_MM + offset * growth[:, None])
    return tuple(out)


@pytest.mark.parametrize("towards_deg", [0.0, 55.0, 90.0, 180.0, 250.0])
def test_the_true_lean_is_the_likelier(towards_deg):
    division, rings = divided(TAGGED)
    wrong = leaned(rings, per_mm=3.5e-4, towards_deg=towards_deg)
    true, other = (
        judge_lean(r, division, centre_mm=CENTRE_MM, tilt_deg=4.0) for r in (rings, wrong)
    )
    assert other.cost > true.cost + CLEAR
    assert true.cost < 2.0


def test_witnesses_are_named():
    division, rings = divided(TAGGED)
    judged = judge_lean(rings, division, centre_mm=CENTRE_MM, tilt_deg=0.0)
    assert judged.witnesses == (
        "the loop's roundness",
        "the tab's symmetry",
        "the tab's parallel sides",
    )


def test_a_bare_disc_has_no_witness_but_the_lean_itself():
    division, rings = divided(circle(2 * RADIUS_MM))
    judged = judge_lean(rings, division, centre_mm=CENTRE_MM, tilt_deg=2 * USUAL_TILT_DEG)
    assert judged.witnesses == ()
    assert judged.cost == pytest.approx(4.0)
