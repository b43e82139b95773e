import numpy as np
import pytest
import shapely

from blanktrace.chain import chain_ring
from blanktrace.deviation import path_deviation_mm

TOLERANCE_MM = 0.05


def blob(seed, noise_mm=0.0):
    """A smooth closed curve about 30 mm across, a point every 0.1 mm or so."""
    rng = np.random.default_rng(seed)
    t = np.linspace(0, 2 * np.pi, 2000, endpoint=False)
    r = 30 + sum(rng.normal(0, 3 / k) * np.cos(k * t + rng.uniform(0, 6)) for k in (2, 3, 4, 5))
    ring = np.column_stack([r * np.cos(t), r * np.sin(t)])
    return ring + rng.normal(0, noise_mm, ring.shape)


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("noise_mm", [0.0, 0.008])
def test_a_blob_is_followed_by_few_pieces(seed, noise_mm):
    ring = blob(seed, noise_mm)
    path = chain_ring(ring, tolerance_mm=TOLERANCE_MM)
    assert path_deviation_mm(path, ring) < 1.05 * TOLERANCE_MM
    assert len(path.points_mm) < 60
    assert shapely.Polygon(path.flattened(0.01)).is_valid


def test_a_square_is_lines_and_a_circle_arcs():
    side = np.arange(0, 20, 0.1)
    square = np.concatenate(
        [
            np.column_stack([side, 0 * side]),
            np.column_stack([0 * side + 20, side]),
            np.column_stack([20 - side, 0 * side + 20]),
            np.column_stack([0 * side, 20 - side]),
        ]
    )
    path = chain_ring(square, tolerance_mm=TOLERANCE_MM)
    assert path.signed_area_mm2 == pytest.approx(400, abs=20 * TOLERANCE_MM * 4)
    assert len(path.points_mm) <= 5
    t = np.linspace(0, 2 * np.pi, 900, endpoint=False)
    circle = chain_ring(20 * np.column_stack([np.cos(t), np.sin(t)]), tolerance_mm=TOLERANCE_MM)
    assert len(circle.points_mm) <= 4
    assert circle.signed_area_mm2 == pytest.approx(np.pi * 400, rel=1e-3)
