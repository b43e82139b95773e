import numpy as np
import pytest
import shapely
from numpy.testing import assert_allclose
from shapely.affinity import rotate, translate

from blanktrace.parts import divide_disc_blank, hole_of
from tests.trace import shapes

RADIUS_MM = 32.0
CENTRE_MM = np.array([5.0, -3.0])
LOOP_MM = (24.0, 18.0)
LOOP_AT_MM = 60.0


def circle(diameter_mm, y_mm=0.0):
    return shapely.Point(0, y_mm).buffer(diameter_mm / 2, quad_segs=200)


def strap(width_mm=20.0, reach_mm=52.0):
    return shapely.box(-width_mm / 2, 0, width_mm / 2, reach_mm)


def ring():
    outer, inner = (circle(diameter, LOOP_AT_MM) for diameter in LOOP_MM)
    return outer.difference(inner)


def rings_of(polygon, turn_deg=0.0):
    """A blank about its own origin, turned and laid at the disc's centre, as dense rings."""
    placed = translate(rotate(polygon, turn_deg, origin=(0, 0)), *CENTRE_MM)
    holes = [shapes.dense(shapely.Polygon(ring), spacing=0.2)[::-1] for ring in placed.interiors]
    return (shapes.dense(shapely.Polygon(placed.exterior), spacing=0.2), *holes)


def divided(polygon, turn_deg=0.0):
    rings = rings_of(polygon, turn_deg)
    return divide_disc_blank(rings, centre_mm=CENTRE_MM, radius_mm=RADIUS_MM), rings


def kinds(division):
    return [part.kind for part in division.parts]


def test_plain_disc():
    division, _ = divided(circle(2 * RADIUS_MM))
    (disc,) = division.parts
    assert disc.kind == "disc"
    assert disc.diameter_mm == 2 * RADIUS_MM
    assert disc.centre_mm == tuple(CENTRE_MM)
    assert np.isnan(division.axis_rad)


@pytest.mark.parametrize("turn_deg", [0.0, 35.0, -140.0])
def test_disc_tab_and_loop(turn_deg):
    blank = shapely.union_all([circle(2 * RADIUS_MM), strap(), ring()])
    division, rings = divided(blank, turn_deg)
    assert kinds(division) == ["disc", "tab", "loop"]
    _, tab, loop = division.parts
    assert tab.width_mm == pytest.approx(20.0, abs=0.05)
    assert tab.reach_mm == pytest.approx(LOOP_AT_MM + LOOP_MM[0] / 2, abs=0.05)
    assert (loop.diameter_mm, loop.inner_mm) == pytest.approx(LOOP_MM, abs=0.2)
    axis = np.deg2rad(90 + turn_deg)
    towards = np.array([np.cos(axis), np.sin(axis)])
    assert_allclose(loop.centre_mm, CENTRE_MM + LOOP_AT_MM * towards, atol=0.1)
    assert np.cos(division.axis_rad - axis) == pytest.approx(1.0, abs=1e-4)
    # Each boundary point belongs to the part it lies on.
    distance = np.hypot(*(rings[0] - CENTRE_MM).T)
    owner = division.owners[0]
    assert (owner[distance < RADIUS_MM + 0.01] == 0).all()
    assert (owner[distance > LOOP_AT_MM + 5] == 2).all()
    middle = (distance > RADIUS_MM + 2) & (distance < LOOP_AT_MM - LOOP_MM[0] / 2 - 2)
    assert (owner[middle] == 1).all()


def test_main_tab_is_the_larger_of_two():
    small = rotate(strap(12.0, 42.0), 180, origin=(0, 0))
    division, _ = divided(shapely.union_all([circle(2 * RADIUS_MM), strap(), small]))
    assert kinds(division) == ["disc", "tab", "tab"]
    widths = [part.width_mm for part in division.parts[1:]]
    assert widths == pytest.approx([20.0, 12.0], abs=0.1)
    assert division.axis_rad == pytest.approx(np.pi / 2, abs=1e-3)


def test_drilled_hole():
    blank = circle(2 * RADIUS_MM).difference(circle(6.0, 25.0))
    division, _ = divided(blank)
    assert kinds(division) == ["disc", "hole"]
    assert_allclose(division.parts[1].centre_mm, CENTRE_MM + (0, 25.0), atol=1e-2)
    assert division.parts[1].diameter_mm == pytest.approx(6.0, abs=0.01)
    assert (division.owners[1] == 1).all()


def test_a_burr_is_no_tab():
    burr = strap(4.0, RADIUS_MM + 1.5)
    division, _ = divided(circle(2 * RADIUS_MM).union(burr))
    assert kinds(division) == ["disc"]


def test_a_hole_is_measured_by_its_area():
    hole = hole_of(np.array([(0.0, 0), (0, 4), (4, 4), (4, 0)]))
    assert hole.centre_mm == pytest.approx((2.0, 2.0))
    assert hole.diameter_mm == pytest.approx(2 * np.sqrt(16 / np.pi))


def test_the_same_parts_elsewhere():
    division, _ = divided(shapely.union_all([circle(2 * RADIUS_MM), strap(), ring()]))
    moved = division.moved(np.array([3.0, -4.0]))
    assert moved.loops == division.loops == 1
    assert kinds(moved) == kinds(division)
    for before, after in zip(division.parts, moved.parts, strict=True):
        assert_allclose(after.centre_mm, np.add(before.centre_mm, (3.0, -4.0)))
