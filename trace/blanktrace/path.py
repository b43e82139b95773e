"""Hold a boundary as straight lines and true circular arcs.

One record, :class:`Path`, serves the traced outline, the pockets cut from it and
every line that a writer puts into a file. An arc is carried by its *bulge*, the
tangent of a quarter of its angle, which is also what a DXF polyline stores, so
that no arc is lost on the way from photograph to machine.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

CLOSE_MM = 1e-9
"""Vertices nearer than this are one point: a thousandth of a micrometre's thousandth."""


@dataclass(frozen=True, eq=False)
class Path:
    """A chain of straight lines and circular arcs in the plane.

    Parameters
    ----------
    points_mm : array_like, shape (N, 2)
        Vertices, y up. A closed path is stored without repeating the first.
    bulges : array_like, shape (N,), optional
        tan(angle / 4) of the arc from each vertex to the next: 0 a straight
        line, positive an arc that turns left (counter-clockwise), 1 a half
        circle. The last entry of an open path is not used and must be 0.
    closed : bool
        Whether the last vertex joins the first.

    Raises
    ------
    ValueError
        If shapes disagree, a number is not finite, or too few points are given.

    Examples
    --------
    >>> round(Path.circle((0, 0), radius_mm=10).signed_area_mm2, 6)
    314.159265
    """

    points_mm: FloatArray
    bulges: FloatArray
    closed: bool

    def __init__(
        self, points_mm: ArrayLike, bulges: ArrayLike | None = None, *, closed: bool = True
    ) -> None:
        points = np.array(points_mm, dtype=np.float64)
        turns = np.zeros(len(points)) if bulges is None else np.array(bulges, dtype=np.float64)
        if points.ndim != 2 or points.shape[1] != 2 or len(points) < 2:  # noqa: PLR2004
            raise ValueError(f"points_mm must be (N, 2) with N of 2 or more, got {points.shape}")
        if turns.shape != (len(points),):
            raise ValueError(f"bulges must be ({len(points)},) to match, got {turns.shape}")
        if not (np.isfinite(points).all() and np.isfinite(turns).all()):
            raise ValueError("points_mm and bulges must be finite")
        if not closed and turns[-1] != 0:
            raise ValueError("the last bulge of an open path must be 0")
        points.flags.writeable = turns.flags.writeable = False
        object.__setattr__(self, "points_mm", points)
        object.__setattr__(self, "bulges", turns)
        object.__setattr__(self, "closed", closed)

    @classmethod
    def circle(cls, centre_mm: ArrayLike, *, radius_mm: float) -> Path:
        """Make a full circle, counter-clockwise, as two half circles."""
        if not radius_mm > 0:
            raise ValueError(f"radius_mm must be above 0, got {radius_mm}")
        x, y = np.asarray(centre_mm, dtype=np.float64)
        return cls([(x + radius_mm, y), (x - radius_mm, y)], [1.0, 1.0])

    @property
    def as_circle(self) -> tuple[float, float, float] | None:
        """The centre and radius (x, y, r) in mm where the path is one full circle."""
        if not (self.closed and len(self.points_mm) == 2 and np.all(np.abs(self.bulges) == 1)):  # noqa: PLR2004
            return None
        if self.bulges[0] != self.bulges[1]:
            return None
        (x0, y0), (x1, y1) = self.points_mm
        return (x0 + x1) / 2, (y0 + y1) / 2, float(np.hypot(x1 - x0, y1 - y0)) / 2

    @property
    def segments(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Starts (M, 2), ends (M, 2) and bulges (M,) of the path's M segments."""
        if self.closed:
            return self.points_mm, np.roll(self.points_mm, -1, axis=0), self.bulges
        return self.points_mm[:-1], self.points_mm[1:], self.bulges[:-1]

    @property
    def length_mm(self) -> float:
        """Length along lines and arcs."""
        starts, ends, bulges = self.segments
        chords = np.hypot(*(ends - starts).T)
        angles = 4 * np.arctan(np.abs(bulges))
        # arc = chord * (angle/2) / sin(angle/2); sinc keeps straight lines exact.
        return float(np.sum(chords / np.sinc(angles / 2 / np.pi)))

    @property
    def signed_area_mm2(self) -> float:
        """Enclosed area, positive where the path runs counter-clockwise.

        Notes
        -----
        The polygon's area plus each arc's circular segment.
        """
        starts, ends, bulges = self.segments
        polygon = 0.5 * float(np.sum(starts[:, 0] * ends[:, 1] - ends[:, 0] * starts[:, 1]))
        bent = bulges != 0
        chords = np.hypot(*(ends - starts)[bent].T)
        b = bulges[bent]
        angles = 4 * np.arctan(b)
        radii = chords * (1 + b**2) / (4 * np.abs(b))
        return polygon + float(np.sum(radii**2 / 2 * (angles - np.sin(angles))))

    def reversed(self) -> Path:
        """Run the same path the other way."""
        points = self.points_mm[::-1]
        if self.closed:
            return Path(points, -np.roll(self.bulges[::-1], -1), closed=True)
        return Path(points, np.append(-self.bulges[-2::-1], 0.0), closed=False)

    def moved(self, *, angle_rad: float = 0.0, x_mm: float = 0.0, y_mm: float = 0.0) -> Path:
        """Turn counter-clockwise about the origin, then move."""
        cos, sin = np.cos(angle_rad), np.sin(angle_rad)
        turned = self.points_mm @ np.array([[cos, sin], [-sin, cos]])
        return Path(turned + (x_mm, y_mm), self.bulges, closed=self.closed)

    def flattened(
        self, tolerance_mm: float, *, side: Literal["on", "left", "right"] = "on"
    ) -> FloatArray:
        """Replace arcs by chords.

        Parameters
        ----------
        tolerance_mm : float
            Largest distance between arc and chord.
        side : {"on", "left", "right"}
            ``"on"`` puts the new vertices on the arc. ``"left"`` and ``"right"``
            keep every chord on that side of the arc or touching it, so that a
            counter-clockwise ring flattened to the right never loses area.

        Returns
        -------
        ndarray, shape (M, 2)
            Vertices; a closed path's are not repeated at the end.

        Raises
        ------
        ValueError
            If the tolerance is not above 0.
        """
        if not tolerance_mm > 0:
            raise ValueError(f"tolerance_mm must be above 0, got {tolerance_mm}")
        if not self.bulges.any():
            return self.points_mm
        starts, ends, bulges = self.segments
        vertices = _vertices(_complex(starts), _complex(ends), bulges, tolerance_mm, side)
        flat = np.column_stack([vertices.real, vertices.imag])
        return flat if self.closed else np.concatenate([flat, self.points_mm[-1:]])


def _complex(points: FloatArray) -> NDArray[np.complex128]:
    return points[:, 0] + 1j * points[:, 1]


def _vertices(
    start: NDArray[np.complex128],
    end: NDArray[np.complex128],
    bulge: FloatArray,
    tolerance_mm: float,
    side: str,
) -> NDArray[np.complex128]:
    """Return the vertices of all segments, each one's start included and its end left out."""
    chord = end - start
    arc = (bulge != 0) & (np.abs(chord) >= CLOSE_MM)
    b = np.where(arc, bulge, 1.0)
    centre = (start + end) / 2 + 1j * chord * (1 - b**2) / (4 * b)
    radius = np.where(arc, np.abs(chord) * (1 + b**2) / (4 * np.abs(b)), 1.0)
    sweep = 4 * np.arctan(b)
    keep_out = ((b > 0) == (side == "right")) & (side != "on")
    # The sagitta of a chord inside, or of a tangent polygon outside, bounds the step.
    ratio = np.where(keep_out, radius / (radius + tolerance_mm), 1 - tolerance_mm / radius)
    most = np.minimum(2 * np.arccos(np.clip(ratio, -1, 1)), np.pi / 2)
    count = np.maximum(np.ceil(np.abs(sweep) / most), 1)
    # Chords end on the arc; tangents touch it at even steps, its own ends among them.
    emitted = np.where(arc, count + keep_out, 1).astype(np.intp)
    owner = np.repeat(np.arange(len(start)), emitted)
    step = np.arange(len(owner)) - np.repeat(np.cumsum(emitted) - emitted, emitted)
    away = np.where(keep_out, 1 / np.cos(sweep / count / 2), 1.0)[owner]
    turn = sweep[owner] * (step - 0.5 * keep_out[owner]) / count[owner]
    on_arc = centre[owner] + (start - centre)[owner] * away * np.exp(1j * turn)
    return np.where(step == 0, start[owner], on_arc)


def arc_of(
    start: FloatArray, end: FloatArray, bulge: float
) -> tuple[FloatArray, float, float, float]:
    """Turn a chord and its bulge into centre, radius, start angle and swept angle.

    Returns
    -------
    centre : ndarray, shape (2,)
    radius : float
    first_rad, sweep_rad : float
        Start angle, and the signed angle to the end (positive counter-clockwise).

    Raises
    ------
    ValueError
        If the bulge is 0: a straight line has no centre.

    Notes
    -----
    radius = c (1 + b²) / (4 |b|) for chord c and bulge b.
    """
    if bulge == 0:
        raise ValueError("a straight segment (bulge 0) is no arc")
    chord = end - start
    normal = np.array([-chord[1], chord[0]])
    centre = (start + end) / 2 + normal * (1 - bulge**2) / (4 * bulge)
    radius = float(np.hypot(*chord)) * (1 + bulge**2) / (4 * abs(bulge))
    first = float(np.arctan2(*(start - centre)[::-1]))
    return centre, radius, first, float(4 * np.arctan(bulge))
