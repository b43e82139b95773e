import time

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from blanktrace.arcs import reduce_ring
from blanktrace.deviation import path_deviation_mm
from blanktrace.path import Path
from blanktrace.polish import kinks_rad
from tests.trace import shapes

TOLERANCE_MM = 0.05


def ring_of(polygon, *, spacing=0.1, noise=0.01, seed=3):
    points = shapes.dense(polygon, spacing=spacing)
    return points + np.random.default_rng(seed).normal(0, noise, points.shape)


def turned(points, angle):
    cos, sin = np.cos(angle), np.sin(angle)
    return points @ np.array([[cos, sin], [-sin, cos]])


def wobbly(seed, *, radius=30.0, waves=5):
    """A smooth blob: a circle with a few waves of random size and phase."""
    rng = np.random.default_rng(seed)
    t = np.linspace(0, 2 * np.pi, 3000, endpoint=False)
    r = np.full_like(t, radius)
    for k in range(2, waves + 1):
        r += radius * 0.2 / k * rng.normal() * np.cos(k * t + rng.uniform(0, 2 * np.pi))
    r = np.maximum(r, radius * 0.3)
    return shapely.Polygon(r[:, None] * np.column_stack([np.cos(t), np.sin(t)]))


def toothed(teeth):
    """A disc with square teeth: concave corners, long arcs cut into short ones."""
    tooth = shapely.box(28, -2, 34, 2)
    turns = [shapely.affinity.rotate(tooth, 360 * k / teeth, origin=(0, 0)) for k in range(teeth)]
    return shapely.union_all([shapes.disc(30.0), *turns])


# Lines and arcs of each shape, and its area in closed form.
SHAPES = {
    "square": (shapely.box(0, 0, 40, 40), 4, 0, 1600.0),
    "hexagon": (shapes.regular(6, 30.0), 6, 0, 1.5 * np.sqrt(3) * 900),
    "L": (shapes.letter_l(48.0), 6, 0, 48.0 * 48.0 - 32.0 * 32.0),
    "disc": (shapes.disc(32.0), 0, 2, np.pi * 32.0**2),
    "stadium": (shapes.stadium(15.0, 30.0), 2, 2, np.pi * 225 + 900),
    "rounded rectangle": (
        shapes.rounded_rectangle(60.0, 40.0, 5.0),
        4,
        4,
        2400 - (4 - np.pi) * 25,
    ),
    "half disc": (shapes.d_shape(30.0), 1, 1, np.pi * 450),
    "disc and tab": (
        shapes.disc(32.0).union(shapely.box(-8, 0, 8, 44)),
        3,
        1,
        # The disc less the segment under the tab, and the tab down to that chord.
        np.pi * 1024
        - 512 * (2 * np.arcsin(0.25) - np.sin(2 * np.arcsin(0.25)))
        + 16 * (44 - np.sqrt(1024 - 64)),
    ),
    "heart": (shapes.heart(30.0), 2, 2, 1800 + np.pi * 450),
    "leaf": (
        shapes.leaf(70.0, 100.0),
        0,
        2,
        (35 / np.sin(np.deg2rad(50))) ** 2 * (np.deg2rad(100) - np.sin(np.deg2rad(100))),
    ),
    "constant width": (
        shapes.constant_width(3, 40.0),
        0,
        3,
        # Reuleaux triangle: (pi - sqrt(3)) / 2 of the width squared.
        (np.pi - np.sqrt(3)) / 2 * 1600,
    ),
    "teeth": (toothed(8), 24, 8, None),
}


@pytest.mark.parametrize("noise", [0.0, 0.01, 0.03])
@pytest.mark.parametrize("name", SHAPES)
def test_shape_becomes_its_lines_and_arcs(name, noise):
    polygon, lines_expected, arcs_expected, area_expected = SHAPES[name]
    points = ring_of(polygon, noise=noise)
    path = reduce_ring(points)
    assert np.count_nonzero(path.bulges == 0) == lines_expected
    assert np.count_nonzero(path.bulges) == arcs_expected
    if area_expected is not None:
        # An edge shifted all round by a tenth of the noise.
        allowed = (noise / 10 + 1e-3) * path.length_mm
        assert path.signed_area_mm2 == pytest.approx(area_expected, abs=allowed)
    # Noise beyond a quarter of the tolerance widens it to five standard deviations.
    limit = TOLERANCE_MM if noise <= 0.01 else 5.3 * noise
    assert path_deviation_mm(path, points) <= limit
    assert shapely.Polygon(path.flattened(0.005)).is_valid


@pytest.mark.parametrize("name", ["stadium", "rounded rectangle"])
@pytest.mark.parametrize("noise", [0.0, 0.01])
def test_smooth_joints_have_no_kink(name, noise):
    path = reduce_ring(ring_of(SHAPES[name][0], noise=noise))
    assert np.abs(np.rad2deg(kinks_rad(path))).max() < 0.1


@pytest.mark.parametrize("name", ["square", "L", "hexagon"])
def test_corners_stay_sharp(name):
    polygon = SHAPES[name][0]
    path = reduce_ring(ring_of(polygon, noise=0.01))
    corners = shapely.get_coordinates(polygon.normalize().simplify(1e-9).exterior)[:-1]
    gaps = np.hypot(*(path.points_mm[:, None] - corners[None]).transpose(2, 0, 1)).min(axis=0)
    assert gaps.max() < 0.02


def test_disc_is_one_circle():
    path = reduce_ring(ring_of(shapes.disc(32.0, (5.0, -3.0))))
    assert_allclose(path.as_circle, (5.0, -3.0, 32.0), atol=2e-3)


@pytest.mark.parametrize("name", ["stadium", "disc and tab", "heart", "leaf", "disc", "teeth"])
def test_start_of_the_ring_does_not_matter(name):
    points = ring_of(SHAPES[name][0])
    path = reduce_ring(points)
    for shift in (1, 77, len(points) // 2):
        other = reduce_ring(np.roll(points, shift, axis=0))
        assert len(other.points_mm) == len(path.points_mm)
        assert path_deviation_mm(other, path.flattened(0.002)) < 0.01


@settings(max_examples=10, deadline=None)
@given(angle=st.floats(0, 2 * np.pi), mirror=st.booleans())
def test_turned_or_mirrored_ring_gives_the_same_path(angle, mirror):
    points = ring_of(shapes.disc(20.0).union(shapely.box(-5, 0, 5, 28)))
    flip = np.array([-1.0 if mirror else 1.0, 1.0])
    path, other = reduce_ring(points), reduce_ring(turned(points * flip, angle))
    assert len(other.points_mm) == len(path.points_mm)
    expected = turned(path.flattened(0.002) * flip, angle)
    assert path_deviation_mm(other, expected) < 0.01


@pytest.mark.parametrize("name", SHAPES)
def test_direction_is_kept(name):
    points = ring_of(SHAPES[name][0])
    assert reduce_ring(points).signed_area_mm2 > 0
    assert reduce_ring(points[::-1]).signed_area_mm2 < 0


@settings(max_examples=12, deadline=None)
@given(seed=st.integers(0, 10_000), noise=st.sampled_from([0.0, 0.005, 0.01]))
def test_any_blob_is_followed_within_tolerance(seed, noise):
    points = ring_of(wobbly(seed), spacing=0.15, noise=noise, seed=seed)
    path = reduce_ring(points)
    assert path_deviation_mm(path, points) <= TOLERANCE_MM
    assert shapely.Polygon(path.flattened(0.005)).is_valid
    assert path.signed_area_mm2 > 0
    assert len(path.points_mm) < 80
    assert path.signed_area_mm2 == pytest.approx(shapely.Polygon(points).area, rel=1e-3)


def test_few_points_with_long_edges_are_taken_as_drawn():
    path = reduce_ring([(0, 0), (40, 0), (40, 30), (0, 30)])
    assert path.signed_area_mm2 == pytest.approx(1200.0)
    assert not path.bulges.any()


def test_thin_sliver_keeps_its_two_sides():
    sliver = shapely.box(0, 0, 40, 0.15)
    points = ring_of(sliver, spacing=0.05, noise=0.0)
    path = reduce_ring(points)
    assert shapely.Polygon(path.flattened(0.005)).is_valid
    assert path.signed_area_mm2 == pytest.approx(6.0, rel=0.2)
    assert path_deviation_mm(path, points) <= TOLERANCE_MM


def test_shape_of_the_size_of_the_tolerance_does_not_fail():
    star = np.array([(0.1 if k % 2 else 0.05) * np.exp(1j * np.pi * k / 5) for k in range(10)])
    points = np.column_stack([star.real, star.imag])
    path = reduce_ring(points, tolerance_mm=0.01)
    assert path_deviation_mm(path, points) <= 0.01


def test_five_thousand_points_are_quick():
    points = ring_of(shapes.oval(60.0, 35.0), spacing=0.06)
    assert len(points) > 5_000
    start = time.process_time()
    reduce_ring(points)
    # 0.5 s where measured; a slower machine is allowed its pace.
    assert time.process_time() - start < 3.0


def test_deviation_counts_both_ways():
    square = shapes.dense(shapely.box(0, 0, 10, 10), spacing=0.1)
    assert path_deviation_mm(Path([(0, 0), (10, 0), (10, 10), (0, 10)]), square) < 1e-12
    # The path cuts a corner: ring points there are 5/sqrt(2) from it.
    cut = Path([(0, 0), (10, 0), (10, 5), (5, 10), (0, 10)])
    assert path_deviation_mm(cut, square) == pytest.approx(5 / np.sqrt(2))
    # The path has a spike that passes no ring point.
    spike = Path([(0, 0), (10, 0), (10, 10), (5, 10), (5, 12), (5, 10), (0, 10)])
    assert path_deviation_mm(spike, square) == pytest.approx(2.0)


def test_deviation_of_an_arc_is_exact():
    ring = shapes.dense(shapes.disc(20.0), spacing=0.05)
    circle = Path.circle((0, 0), radius_mm=20.25)
    assert path_deviation_mm(circle, ring) == pytest.approx(0.25, abs=1e-4)


@pytest.mark.parametrize(
    ("points", "message"),
    [
        ([(0, 0), (1, 1)], "N of 3 or more"),
        ([(0, 0), (1, 1), (2, 2)], "no area"),
        ([(0, 0), (1, 1), (np.inf, 2)], "finite"),
        ([(0, 0), (10, 0), (0, 10), (14, 10)], "cross"),
    ],
    ids=["two points", "line", "infinite", "bow tie"],
)
def test_what_is_no_ring_is_refused(points, message):
    with pytest.raises(ValueError, match=message):
        reduce_ring(points)


def test_tolerance_must_be_above_0():
    with pytest.raises(ValueError, match="tolerance_mm"):
        reduce_ring([(0, 0), (1, 0), (0, 1)], tolerance_mm=0.0)


def test_open_path_has_no_deviation_from_a_ring():
    with pytest.raises(ValueError, match="closed"):
        path_deviation_mm(Path([(0, 0), (1, 0)], closed=False), [(0, 0), (1, 0), (0, 1)])
