"""Invented boundaries as dense rings, for tests. Counter-clockwise, unclosed, y up."""

import numpy as np
import shapely


def dense(polygon, *, spacing):
    """Resample a polygon's outer ring evenly, counter-clockwise."""
    ring = shapely.get_coordinates(shapely.geometry.polygon.orient(polygon).exterior)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(ring, axis=0).T))])
    count = round(along[-1] / spacing)
    wanted = along[-1] * np.arange(count) / count
    return np.column_stack([np.interp(wanted, along, column) for column in ring.T])


def disc(radius=500.0, centre=(0.0, 0.0)):
    return shapely.Point(centre).buffer(radius, quad_segs=2000)


def disc_with_tab(radius=500.0, *, half_width_deg, length=1.0, loop=0.25):
    """A disc whose tab hides 2 * half_width_deg of its rim, with a loop at the tab's end."""
    half = np.deg2rad(half_width_deg)
    width = radius * np.sin(min(half, np.pi / 2))
    top = radius * (1 + length)
    strap = shapely.box(-width, 0, width, top)
    return shapely.union_all([disc(radius), strap, disc(loop * radius, (0, top))])


def stadium(radius, straight):
    return shapely.LineString([(-straight / 2, 0), (straight / 2, 0)]).buffer(
        radius, quad_segs=2000
    )


def rounded_rectangle(width, height, corner):
    return shapely.box(
        corner - width / 2, corner - height / 2, width / 2 - corner, height / 2 - corner
    ).buffer(corner, quad_segs=1000)


def regular(sides, radius=500.0):
    angle = 2 * np.pi * np.arange(sides) / sides
    return shapely.Polygon(radius * np.column_stack([np.cos(angle), np.sin(angle)]))


def constant_width(sides, width=1000.0, rounding=0.0):
    """A Reuleaux polygon: arcs about the opposite corners; optionally rounded by an offset."""
    inner = width - 2 * rounding
    corner_radius = inner / 2 / np.cos(np.pi / 2 / sides)
    angle = 2 * np.pi * np.arange(sides) / sides
    corners = corner_radius * np.column_stack([np.cos(angle), np.sin(angle)])
    body = shapely.intersection_all([disc(inner, corner) for corner in corners])
    return body.buffer(rounding, quad_segs=500) if rounding else body


def leaf(length, arc_deg):
    """Two equal arcs that meet in points."""
    half = np.deg2rad(arc_deg) / 2
    radius = length / 2 / np.sin(half)
    rise = radius * np.cos(half)
    return disc(radius, (0, rise)).intersection(disc(radius, (0, -rise)))


def heart(side):
    """A square on its corner with a half disc on each upper side."""
    square = shapely.Polygon([(0, 0), (side, side), (0, 2 * side), (-side, side)])
    lobe = side / np.sqrt(2)
    return shapely.union_all(
        [square, disc(lobe, (side / 2, 1.5 * side)), disc(lobe, (-side / 2, 1.5 * side))]
    )


def oval(long, short):
    return shapely.affinity.scale(disc(1.0), long, short)


def letter_l(size):
    return shapely.box(0, 0, size, size / 3).union(shapely.box(0, 0, size / 3, size))


def d_shape(radius, cut=0.0):
    return disc(radius).intersection(shapely.box(-radius, -radius, radius, cut * radius))
