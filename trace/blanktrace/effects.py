"""Say what doubts about view, heights and lens do to an outline.

Each doubt is tried: the boundary is brought to the sheet anew with one thing
changed by one standard uncertainty, and what remains is counted once the measured
size is right again and the blank lies as well on itself as it can. A doubt that
only makes everything larger costs nothing, because the calipers settle it; a rim
that was laid on the disc's circle stays round whatever is doubted.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blanktrace.lens import Lens
from blanktrace.rectify import View
from blanktrace.seen import Seen

FloatArray = NDArray[np.float64]
Complex = NDArray[np.complex128]
"""Places or moves in the sheet's plane, x + iy, in mm."""

WALL_SHARE = 0.29
"""Standard uncertainty of where on a wall in view the edge was found, as a share of its height:
anywhere from foot to face, a rectangle of full width 1 (JCGM 100:2008, 4.3.7)."""


@dataclass(frozen=True)
class Doubts:
    """What is doubted, each as a standard uncertainty.

    Attributes
    ----------
    lean_deg : float
        The angle between camera and sheet, along and across.
    mirrored_share : float
        How likely it is that the camera leaned the other of the two ways that a
        disc allows.
    height_mm : float
        How high each part's edge lies.
    focal_share : float
    """

    lean_deg: float
    mirrored_share: float
    height_mm: float
    focal_share: float


@dataclass(frozen=True)
class Effects:
    """What each doubt does to the boundary: standard uncertainties, root mean square along it."""

    tilt_mm: float
    height_mm: float
    focal_mm: float
    bend_mm: float


def effects_of(
    doubts: Doubts, seen: Seen, *, reference: Seen, lens: Lens, heights_mm: Mapping[str, float]
) -> Effects:
    """Reckon what doubts do to the boundary of a blank.

    Parameters
    ----------
    doubts : Doubts
    seen : Seen
        The blank.
    reference : Seen
        The blank that was measured: this one, or one beside it.
    lens : Lens
    heights_mm : mapping
        Heights that were given, by part.

    Returns
    -------
    Effects
    """

    def shared(move_of: Callable[[Seen], list[Complex]]) -> float:
        """Add up doubts that move both blanks alike."""
        pairs = zip(move_of(seen), move_of(reference), strict=True)
        return _total(seen, [(own, _growth(reference, other)) for own, other in pairs])

    moves = _by_height(seen, doubts.height_mm, heights_mm)
    if seen is reference:
        each = [(move, _growth(seen, move)) for move in moves]
    else:
        # Raised each for itself; and a wall that was taken for face makes a circle larger too.
        still = np.zeros_like(_places(seen))
        other = _by_height(reference, doubts.height_mm, heights_mm)
        each = [(move, 0.0) for move in (*moves, _by_rim_wall(seen, heights_mm))]
        each += [
            (still, _growth(reference, move))
            for move in (*other, _by_rim_wall(reference, heights_mm))
        ]
    return Effects(
        tilt_mm=shared(lambda one: _by_lean(one, doubts, about=reference)),
        height_mm=_total(seen, each),
        focal_mm=shared(lambda one: _by_focal(one, doubts.focal_share, heights_mm)),
        bend_mm=shared(lambda one: _by_bend(one, lens)),
    )


def _by_lean(seen: Seen, doubts: Doubts, *, about: Seen) -> list[Complex]:
    """Lean the camera further, along and across; and the other way, about a blank's disc."""
    step = np.tan(np.radians(doubts.lean_deg))
    further = [_seen_along(seen, seen.view.normal + step * axis) for axis in np.eye(3)[:2]]
    if not doubts.mirrored_share:
        return further
    # Either way a disc looks the same: as far to one side of the sight of it as to the other.
    u, v = (about.view.to_photo(about.origin_mm[None])[0] - about.view.centre_px).tolist()
    sight = np.array([u, v, about.view.focal_px])
    sight /= np.linalg.norm(sight)
    mirrored = 2 * (about.view.normal @ sight) * sight - about.view.normal
    return [*further, np.sqrt(doubts.mirrored_share) * _seen_along(seen, mirrored)]


def _seen_along(seen: Seen, normal: FloatArray) -> Complex:
    """Say how a boundary moves if the sheet has another normal."""
    view = View(
        focal_px=seen.view.focal_px,
        centre_px=seen.view.centre_px,
        normal=normal,
        height_mm=seen.view.height_mm,
    )
    photo = seen.view.to_photo(np.concatenate(seen.rings_mm))
    return _complex(view.to_plane(photo)) - _places(seen)


def _by_height(seen: Seen, height_mm: float, heights_mm: Mapping[str, float]) -> list[Complex]:
    """Raise one part after the other, and the edges of walls in view."""
    towards = _places(seen) / seen.view.height_mm
    kinds = _kinds(seen)
    owners = np.where(kinds == "hole", 0, np.concatenate(seen.division.owners))
    moves = [towards * height_mm * (owners == owner) for owner in np.unique(owners)]
    tops = np.array([heights_mm.get(kind, height_mm) for kind in _height_names(kinds)])
    # Laid on its circle, a rim that was measured shows no wall; and wire has none.
    walls = _faces_nadir(seen) & ~_on_rim(seen) & (kinds != "loop")
    return [*moves, towards * WALL_SHARE * tops * walls]


def _by_rim_wall(seen: Seen, heights_mm: Mapping[str, float]) -> Complex:
    """Raise the edge of the wall that is in view along a rim on its circle."""
    walls = _faces_nadir(seen) & _on_rim(seen)
    towards = _places(seen) / seen.view.height_mm
    return towards * WALL_SHARE * heights_mm.get("disc", 0.0) * walls


def _by_focal(seen: Seen, share: float, heights_mm: Mapping[str, float]) -> list[Complex]:
    """Take the focal length, and with it the camera's height, as larger."""
    photo = seen.view.to_photo(np.concatenate(seen.rings_mm))
    view = View(
        focal_px=seen.view.focal_px * (1 + share),
        centre_px=seen.view.centre_px,
        normal=seen.view.normal,
        height_mm=seen.view.height_mm * (1 + share),
    )
    places = _places(seen)
    tops = np.array([heights_mm.get(kind, 0.0) for kind in _height_names(_kinds(seen))])
    lowered = places * (tops - seen.top_mm) / seen.view.height_mm * share
    return [_complex(view.to_plane(photo)) - places - lowered]


def _by_bend(seen: Seen, lens: Lens) -> list[Complex]:
    """Bend the picture by each doubt about the lens."""
    straight = seen.view.to_photo(np.concatenate(seen.rings_mm))
    moves = lens.doubts(lens.bend(straight))
    return [_complex(seen.view.to_plane(straight + move)) - _places(seen) for move in moves]


def _total(seen: Seen, moves: list[tuple[Complex, float]]) -> float:
    return float(np.sqrt(sum(_left(seen, move, growth) ** 2 for move, growth in moves)))


def _left(seen: Seen, move: Complex, growth: float) -> float:
    """Root mean square of what is left of a move without the growth and at its best place."""
    rim = _on_rim(seen)
    # About its own middle: what a blank off to one side grows by is not how far it moves.
    places = _places(seen) - _places(seen).mean()
    left = move - growth * places
    if rim.any():
        # The circle moves, turns and grows, and stays a circle.
        shift, change = _fitted(places[rim], left[rim])
        left = np.where(rim, shift + change * places, left)
    shift, change = _fitted(places, left)
    return float(np.sqrt(np.mean(np.abs(left - shift - 1j * change.imag * places) ** 2)))


def _growth(reference: Seen, move: Complex) -> float:
    """By how much a move makes what sets the scale larger, as a share."""
    rim = _on_rim(reference)
    scaling = rim if rim.any() else np.ones(len(move), dtype=bool)
    return _fitted(_places(reference)[scaling], move[scaling])[1].real


def _fitted(places: Complex, moves: Complex) -> tuple[complex, complex]:
    """Fit moves = shift + b places; b is growth, and turn as its imaginary part."""
    columns = np.column_stack([np.ones(len(places)), places])
    shift, b = np.linalg.lstsq(columns, moves, rcond=None)[0]
    return complex(shift), complex(b)


def _places(seen: Seen) -> Complex:
    return _complex(np.concatenate(seen.rings_mm))


def _complex(points: FloatArray) -> Complex:
    return np.asarray(points[:, 0] + 1j * points[:, 1])


def _on_rim(seen: Seen) -> NDArray[np.bool_]:
    """Boundary points that belong to the disc's rim."""
    if seen.disc is None:
        return np.zeros(sum(map(len, seen.rings_mm)), dtype=bool)
    return np.asarray(np.concatenate(seen.division.owners) == 0)


def _kinds(seen: Seen) -> NDArray[np.str_]:
    """Kind of the part that each boundary point belongs to; of a plain blank, its body."""
    names = np.array([part.kind for part in seen.division.parts] + ["body"])
    # The boundary of a blank without a disc belongs to no part: -1, the last name.
    return np.asarray(names[np.concatenate(seen.division.owners)])


def _height_names(kinds: NDArray[np.str_]) -> NDArray[np.str_]:
    """Name the height that each kind of part lies at: a hole's is its body's."""
    whole = "body" if "body" in kinds else "disc"
    return np.where(kinds == "hole", whole, kinds)


def _faces_nadir(seen: Seen) -> NDArray[np.bool_]:
    """Boundary points whose wall faces the point below the camera."""
    found = []
    for index, ring in enumerate(seen.rings_mm):
        x, y = ring.T
        ahead = np.roll(ring, -1, axis=0) - np.roll(ring, 1, axis=0)
        area = np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y)
        # To the right of the way round, for a ring that turns to the left; holes the other way.
        outward = np.column_stack([ahead[:, 1], -ahead[:, 0]]) * np.sign(area)
        found.append((-1 if index else 1) * np.sum(outward * ring, axis=1) < 0)
    return np.concatenate(found)
