from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage
from shapely import LinearRing, Point, box, get_coordinates, points

from blanktrace.fair import fair_ring
from blanktrace.path import Path
from tests.trace.shapes import dense, leaf

SPACING_PX = 1.5


def ring_of(shape):
    line = shape.exterior
    return get_coordinates(line.interpolate(np.arange(0.0, line.length, SPACING_PX)))


def grain(count, sd_px, seed):
    """Errors that go together over a few neighbours, as grain makes them."""
    white = np.random.default_rng(seed).normal(size=count)
    smooth = ndimage.gaussian_filter1d(white, 3.0, mode="wrap")
    return smooth / smooth.std() * sd_px


def moved(ring, off):
    ahead = np.roll(ring, -1, axis=0) - np.roll(ring, 1, axis=0)
    ahead /= np.hypot(*ahead.T)[:, None]
    return ring + off[:, None] * np.column_stack([ahead[:, 1], -ahead[:, 0]])


def gaps(ring, shape):
    return shape.exterior.distance(points(ring))


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(
    "shape", [box(40, 60, 340, 220), Point(300, 200).buffer(120, quad_segs=200)]
)
def test_grain_along_sides_and_arcs_is_averaged_out(shape, seed):
    ring = ring_of(shape)
    noisy = moved(ring, grain(len(ring), 0.8, seed))
    faired = fair_ring(noisy, np.full(len(ring), 0.8), spacing_px=SPACING_PX)
    assert gaps(noisy, shape).std() > 0.3
    for laid in (faired.apart_px, faired.joined_px):
        assert np.sqrt(np.mean(gaps(laid, shape) ** 2)) < 0.45


def test_what_is_sharply_seen_stays():
    # Lobes of 3 px, seen to a quarter of a pixel.
    turn = np.linspace(0, 2 * np.pi, 700, endpoint=False)
    radius = 160 + 3 * np.cos(12 * turn)
    lobed = 300 + radius[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])
    faired = fair_ring(lobed, np.full(700, 0.25), spacing_px=SPACING_PX)
    assert np.hypot(*(faired.joined_px - lobed).T).max() < 0.75


def test_a_sharp_corner_keeps_its_place():
    ring = ring_of(box(0, 0, 150, 90))
    faired = fair_ring(ring, np.full(len(ring), 0.3), spacing_px=SPACING_PX)
    hull = LinearRing(faired.joined_px).envelope.bounds
    assert np.allclose(hull, (0, 0, 150, 90), atol=0.02)


def test_a_step_aside_is_not_drawn_into_its_neighbours():
    """A stretch that met another edge stays apart, so that a fit can leave it out."""
    ring = ring_of(Point(300, 200).buffer(120, quad_segs=200))
    off = np.zeros(len(ring))
    off[100:130] = 6.0
    faired = fair_ring(moved(ring, off), np.full(len(ring), 0.4), spacing_px=SPACING_PX)
    good = np.ones(len(ring), dtype=bool)
    good[96:134] = False
    assert np.abs(np.hypot(*(faired.apart_px[good] - (300, 200)).T) - 120).max() < 0.1


@pytest.mark.parametrize("doubt_px", [0.5, 2.5])
@pytest.mark.parametrize("seed", range(3))
def test_sides_of_a_crack_stay_apart(doubt_px, seed):
    crack = box(0, 0, 200, 120).difference(box(98.5, 20, 101.5, 130))
    ring = ring_of(crack)
    noisy = moved(ring, grain(len(ring), 0.3, seed))
    assert LinearRing(noisy).is_simple
    faired = fair_ring(noisy, np.full(len(ring), doubt_px), spacing_px=SPACING_PX).joined_px
    assert LinearRing(faired).is_simple
    assert np.hypot(*(faired - noisy).T).max() < 2 * doubt_px


def test_a_known_corner_keeps_its_tip():
    # A curved side makes one arc with its neighbour, if doubts are large; a tip is lost.
    blade = leaf(300.0, 40.0)
    ring = dense(blade, spacing=SPACING_PX)
    tips = get_coordinates(blade.minimum_rotated_rectangle.centroid) + [[-150, 0], [150, 0]]
    corners = tuple(sorted(int(np.argmin(np.hypot(*(ring - tip).T))) for tip in tips))
    noisy = moved(ring, grain(len(ring), 0.5, 1))
    noisy[list(corners)] = ring[list(corners)]
    doubt = np.full(len(ring), 2.0)
    held = fair_ring(noisy, doubt, corners=corners, spacing_px=SPACING_PX).joined_px
    for corner in corners:
        assert np.hypot(*(held - ring[corner]).T).min() < 1e-9
    assert np.sqrt(np.mean(gaps(held, blade) ** 2)) < 0.5


def test_a_ring_that_has_closed_up_stays_where_it_is():
    """A hole that was none: two lines upon each other."""
    along = np.concatenate([np.linspace(0, 9, 40), np.linspace(9, 0, 40)[1:-1]])
    ring = np.column_stack([along, np.where(np.arange(len(along)) < 40, 0.01, -0.01)])
    faired = fair_ring(
        ring, np.full(len(ring), 0.3), corners=np.array([], dtype=int), spacing_px=0.25
    )
    assert np.all(np.isfinite(faired.joined_px))
    assert np.abs(faired.joined_px - ring).max() < 1.0


def test_points_are_not_drawn_to_where_pieces_nearly_in_line_meet(monkeypatch):
    far = Path([(9.0, 0.0), (10.0, 0.0), (10.0, 1.0)], [0.0, 0.0, 0.0])
    monkeypatch.setattr("blanktrace.fair.join_pieces", lambda *_, **__: far)
    ring = ring_of(box(0, 0, 150, 90))
    faired = fair_ring(ring, np.full(len(ring), 0.3), spacing_px=SPACING_PX)
    assert np.abs(faired.joined_px - ring).max() < 1e-9
