"""Say what the doubt about a lens does to an outline.

The measured size takes up whatever a wrong lens does to the scale where it was
measured; what is left moves the boundary.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from blanktrace.lens import Lens
from blanktrace.stance import Seen

Complex = NDArray[np.complex128]


def bend_cost_mm(lens: Lens, seen: Seen, *, reference: Seen) -> float:
    """Reckon how far the boundary may be off because the lens is known so far and no better.

    Parameters
    ----------
    lens : Lens
    seen : Seen
        The blank.
    reference : Seen
        The blank that was measured: this one, or one beside it.

    Returns
    -------
    float
        Standard uncertainty of the boundary in mm, root mean square along it.
    """
    points, moves = _moves(lens, seen)
    its_points, its_moves = _moves(lens, reference)
    scaling = _scaling(reference)
    total = 0.0
    for move, its_move in zip(moves, its_moves, strict=True):
        growth = _turned_and_grown(its_points[scaling], its_move[scaling]).real
        turn = _turned_and_grown(points, move).imag
        left = move - complex(growth, turn) * points
        total += float(np.mean(np.abs(left - left.mean()) ** 2))
    return float(np.sqrt(total))


def _moves(lens: Lens, seen: Seen) -> tuple[Complex, Complex]:
    """Boundary points (N,) and how each doubt moves them (K, N), as complex numbers in mm."""
    points_mm = np.concatenate(seen.rings_mm)
    straight_px = seen.view.to_photo(points_mm)
    moved_px = straight_px + lens.doubts(lens.bend(straight_px))
    moved = [seen.view.to_plane(one) - points_mm for one in moved_px]
    return _complex(points_mm), np.array([_complex(one) for one in moved])


def _complex(points: NDArray[np.float64]) -> Complex:
    return np.asarray(points[:, 0] + 1j * points[:, 1])


def _scaling(seen: Seen) -> NDArray[np.bool_]:
    """Boundary points that set the scale: the disc's rim, or all."""
    if seen.disc is None:
        return np.ones(sum(map(len, seen.rings_mm)), dtype=bool)
    return np.asarray(np.concatenate(seen.division.owners) == 0)


def _turned_and_grown(points: Complex, move: Complex) -> complex:
    """Fit move = a + b points, and return b: growth, and turn as its imaginary part."""
    columns = np.column_stack([np.ones(len(points)), points])
    return complex(np.linalg.lstsq(columns, move, rcond=None)[0][1])
