import numpy as np
import pytest
from shapely import MultiPoint, Point, Polygon, box
from shapely.affinity import rotate, scale

from blanktrace.rectangle import rectangle_about


def corners_of(shape):
    return np.asarray(shape.exterior.coords)


@pytest.mark.parametrize("turn_deg", [0.0, 17.0, 90.0, 133.0])
@pytest.mark.parametrize(
    "shape",
    [
        box(0, 0, 60, 38),
        box(0, 0, 60, 38).buffer(-9).buffer(9),
        scale(Point(0, 0).buffer(1.0, quad_segs=64), 40, 22),
        Polygon([(0, 0), (16, 0), (16, 11), (50, 11), (50, 22), (0, 22)]),
    ],
    ids=["tag", "rounded tag", "oval", "L"],
)
def test_it_is_the_smallest_one(shape, turn_deg):
    """Against shapely's."""
    points = corners_of(rotate(shape, turn_deg, origin=(5, 3)))
    expected = corners_of(MultiPoint(points).minimum_rotated_rectangle)
    sides = np.diff(expected[:3], axis=0)
    short, long = sorted(np.hypot(*sides.T))
    found = rectangle_about(points)
    assert (found.long, found.short) == pytest.approx((long, short))
    along = sides[np.argmax(np.hypot(*sides.T))]
    off = np.cross(np.append(along, 0), [np.cos(found.axis_rad), np.sin(found.axis_rad), 0])[2]
    assert off == pytest.approx(0, abs=0.03 * long)  # an oval of chords has several as small


@pytest.mark.parametrize("seed", range(6))
def test_a_triangle_lies_on_its_longest_side(seed):
    """Its three rectangles are twice its area, each: noise must not choose between them."""
    rng = np.random.default_rng(seed)
    corners = np.array([(0.0, 0.0), (55.0, 0.0), (20.0, 37.0)])
    outline = Polygon(corners).buffer(1.5).segmentize(0.3)
    found = rectangle_about(corners_of(outline) + rng.normal(0, 0.05, corners_of(outline).shape))
    assert (found.long, found.short) == pytest.approx((58.0, 40.0), abs=0.5)
    assert abs(np.sin(found.axis_rad)) < 0.01


def test_points_along_a_line_have_no_width():
    found = rectangle_about(np.array([(0.0, 0.0), (3.0, 4.0), (6.0, 8.0)]))
    assert (found.long, found.short) == pytest.approx((10.0, 0.0))
