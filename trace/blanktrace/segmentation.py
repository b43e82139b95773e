"""Share a dense ring out among few lines and circular arcs.

Pieces grow greedily from the sharpest place on, each as long as one line or one
arc still fits within the tolerance, which needs the fewest pieces of any split
from that place. A greedy piece overruns its true end, though, until the
tolerance is used up; so joints are then moved to where the squared distances to
the two neighbours' curves are least in sum, and pieces that have become
superfluous are dropped.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blanktrace.curve import Curve, fit_arc, fit_line
from blanktrace.turns import turns_rad

FloatArray = NDArray[np.float64]

FEWEST_POINTS = 4
"""A piece holds at least this many points; fewer say nothing about its shape."""

MOST_FITTED = 240
"""Points that a fit looks at while pieces grow; all are checked against it."""

LINE_SHARE = 0.75
"""A line is preferred where it reaches this far along the best arc: a flat arc, given
its extra freedom, always creeps a little farther round the next corner."""

WIDEST_ARC = 0.995 * 2 * np.pi
BACKTRACK = 2.0
"""In tolerances: noise may step back along a piece, a piece may not run back on itself."""

RELOCATIONS = 12
TURN_WINDOW_MM = 1.0


@dataclass(frozen=True, eq=False)
class Segmentation:
    """A ring's pieces: piece k owns points joints[k] to joints[k + 1] - 1, round the ring.

    Parameters
    ----------
    ring : ndarray, shape (N, 2)
    joints : tuple of int
        Rising; the last piece ends at joints[0] + N.
    curves : tuple of Curve
        One for each piece.
    """

    ring: FloatArray
    joints: tuple[int, ...]
    curves: tuple[Curve, ...]

    def span(self, piece: int) -> tuple[int, int]:
        """Give a piece's first point and the one after its last."""
        ends = (*self.joints[1:], self.joints[0] + len(self.ring))
        return self.joints[piece], ends[piece]

    def points(self, piece: int) -> FloatArray:
        """Give a piece's points."""
        return take(self.ring, *self.span(piece))

    def owner(self) -> NDArray[np.intp]:
        """Give the piece of each of the ring's points, shape (N,)."""
        owner = np.empty(len(self.ring), dtype=np.intp)
        for piece in range(len(self.joints)):
            owner[np.arange(*self.span(piece)) % len(self.ring)] = piece
        return owner

    def halved(self, pieces: NDArray[np.intp]) -> Segmentation:
        """Cut some pieces in two; those of a few points into single ones."""
        joints, curves = [], []
        for piece, curve in enumerate(self.curves):
            start, stop = self.span(piece)
            if piece not in pieces:
                joints.append(start)
                curves.append(curve)
                continue
            step = (stop - start) // 2 if stop - start >= 2 * FEWEST_POINTS else 1
            firsts = [start, start + step] if step > 1 else list(range(start, stop))
            for first, last in zip(firsts, [*firsts[1:], stop], strict=True):
                points = take(self.ring, first, max(last, first + 2))
                joints.append(first)
                curves.append(
                    fit_line(points) if curve.a == 0 else fit_arc(points) or fit_line(points)
                )
        return Segmentation(self.ring, tuple(joints), tuple(curves))


def segment_ring(ring: FloatArray, *, tolerance_mm: float) -> Segmentation:
    """Split a closed ring into few pieces that a line or an arc each follows.

    Parameters
    ----------
    ring : ndarray, shape (N, 2)
        Densely and about evenly spaced points, unclosed.
    tolerance_mm : float
        Largest distance of a point from its piece's curve, before joints settle.

    Returns
    -------
    Segmentation
        Two pieces or more.
    """
    joints, curves = _grown(ring, _sharpest(ring), tolerance_mm)
    split = _relocated(Segmentation(ring, joints, curves), tolerance_mm)
    while (fewer := _with_one_dropped(split, tolerance_mm)) is not None:
        split = fewer
    return split


def take(ring: FloatArray, start: int, stop: int) -> FloatArray:
    """Take points start to stop - 1, going round the ring."""
    return ring.take(np.arange(start, stop), axis=0, mode="wrap")


def _sharpest(ring: FloatArray) -> int:
    """Find the point where the ring turns most over a millimetre to either side."""
    steps = np.hypot(*(np.roll(ring, -1, axis=0) - ring).T)
    reach = int(np.clip(round(TURN_WINDOW_MM / float(np.median(steps))), 1, len(ring) // 8))
    return int(np.argmax(np.abs(turns_rad(ring, reach))))


def _grown(
    ring: FloatArray, start: int, tolerance: float
) -> tuple[tuple[int, ...], tuple[Curve, ...]]:
    """Grow pieces from a start once round the ring."""
    end = start + len(ring)
    joints, curves = [], []
    while start < end:
        # One piece can never be the whole ring: a whole circle is known before this.
        room = min(end, start + len(ring) - FEWEST_POINTS)
        line_stop, line = _reach(ring, start, room, tolerance, fit_line)
        arc_stop, arc = _reach(ring, start, room, tolerance, fit_arc)
        flat = line_stop - start >= LINE_SHARE * (arc_stop - start)
        joints.append(start)
        curves.append(line if flat else arc)
        start = line_stop if flat else arc_stop
    return tuple(joints), tuple(curves)


def _reach(
    ring: FloatArray,
    start: int,
    end: int,
    tolerance: float,
    fit: Callable[[FloatArray], Curve | None],
) -> tuple[int, Curve]:
    """Find how far from the start one curve can follow the ring."""
    stop = min(start + FEWEST_POINTS, end)
    points = take(ring, start, stop)
    best = fit(points) or fit_line(points)
    good, bad, step = stop, end + 1, FEWEST_POINTS
    # Twice as far each time while it fits, then halve the interval in doubt.
    while bad - good > 1:
        trial = min(good + step, end) if bad > end else (good + bad) // 2
        curve = _followed(take(ring, start, trial), tolerance, fit)
        if curve is None:
            bad = trial
        else:
            good, best, step = trial, curve, 2 * step
        if good == end:
            break
    return good, best


def _followed(
    points: FloatArray, tolerance: float, fit: Callable[[FloatArray], Curve | None]
) -> Curve | None:
    """Fit one curve to points, or give None where it does not follow them."""
    curve = fit(points[:: max(len(points) // MOST_FITTED, 1)])
    if curve is None or np.max(np.abs(curve.distances(points))) > tolerance:
        return None
    along = curve.along(points)
    if along[-1] < along[0]:
        along = -along
    back = float(np.max(np.maximum.accumulate(along) - along))
    if back > BACKTRACK * tolerance:
        return None
    return None if abs(along[-1] - along[0]) * 2 * abs(curve.a) > WIDEST_ARC else curve


def _fitted(points: FloatArray, tolerance: float) -> Curve | None:
    """Fit the simpler of line and arc that follows the points, or None."""
    line = _followed(points, tolerance, fit_line)
    arc = _followed(points, tolerance, fit_arc)
    if line is None or arc is None:
        return line or arc
    chord = float(np.hypot(*(points[-1] - points[0])))
    sagitta = abs(arc.a) * chord**2 / 4
    return line if sagitta < tolerance / 2 else arc


def _relocated(split: Segmentation, tolerance: float) -> Segmentation:
    """Move joints and refit pieces in turn until neither changes."""
    for attempt in range(RELOCATIONS):
        joints = settled_joints(split)
        moved = Segmentation(split.ring, joints, split.curves)
        curves = []
        for piece, old in enumerate(split.curves):
            if attempt and moved.span(piece) == split.span(piece):
                curves.append(old)
                continue
            points = moved.points(piece)
            fresh = _fitted(points, tolerance)
            # A piece that strains at the tolerance is refitted as what it was.
            fresh = fresh or (fit_line(points) if old.a == 0 else fit_arc(points))
            curves.append(fresh or old)
        if joints == split.joints:
            return Segmentation(split.ring, joints, tuple(curves))
        split = Segmentation(split.ring, joints, tuple(curves))
    return split


def settled_joints(split: Segmentation) -> tuple[int, ...]:
    """Put each joint where its two curves' squared distances are least in sum."""
    count = len(split.joints)
    joints = list(split.joints)
    for piece in range(count):
        start = joints[piece - 1] - (len(split.ring) if piece == 0 else 0)
        stop = joints[piece + 1] if piece + 1 < count else joints[0] + len(split.ring)
        joints[piece] = _best_joint(
            split.ring, start, stop, split.curves[piece - 1], split.curves[piece]
        )
    return tuple(joints)


def _best_joint(ring: FloatArray, start: int, stop: int, left: Curve, right: Curve) -> int:
    """Choose the joint between two curves over the points start to stop - 1."""
    points = take(ring, start, stop)
    lefts = np.concatenate([[0.0], np.cumsum(left.distances(points) ** 2)])
    rights = np.concatenate([[0.0], np.cumsum(right.distances(points) ** 2)])
    total = lefts + rights[-1] - rights
    room = min(FEWEST_POINTS, len(points) // 2)
    return start + room + int(np.argmin(total[room : len(total) - room]))


def _with_one_dropped(split: Segmentation, tolerance: float) -> Segmentation | None:
    """Drop one piece, the shortest that its neighbours can do without, or give None."""
    count = len(split.joints)
    if count <= 2:  # noqa: PLR2004 - one piece is no ring
        return None
    lengths = [stop - start for start, stop in map(split.span, range(count))]
    for piece in np.argsort(lengths, kind="stable"):
        dropped = _merged(split, int(piece), tolerance) or _shared(split, int(piece), tolerance)
        if dropped is not None:
            return _relocated(dropped, tolerance)
    return None


def _merged(split: Segmentation, piece: int, tolerance: float) -> Segmentation | None:
    """Join a piece with the next one, if one curve follows both."""
    count = len(split.joints)
    after = (piece + 1) % count
    start, middle = split.span(piece)
    length = split.span(after)[1] - split.span(after)[0]
    curve = _fitted(take(split.ring, start, middle + length), tolerance)
    if curve is None:
        return None
    kept = [k for k in range(count) if k != after]
    curves = [curve if k == piece else split.curves[k] for k in kept]
    return Segmentation(split.ring, tuple(split.joints[k] for k in kept), tuple(curves))


def _shared(split: Segmentation, piece: int, tolerance: float) -> Segmentation | None:
    """Share a piece out between its two neighbours, if both can still follow all."""
    count, size = len(split.joints), len(split.ring)
    before, after = (piece - 1) % count, (piece + 1) % count
    if before == after:
        return None
    start, stop = split.span(piece)
    first = start - (split.span(before)[1] - split.span(before)[0])
    last = stop + split.span(after)[1] - split.span(after)[0]
    left, right = split.curves[before], split.curves[after]
    joint = _best_joint(split.ring, first, last, left, right)
    for _ in range(2):
        fits = (
            _fitted(take(split.ring, first, joint), tolerance),
            _fitted(take(split.ring, joint, last), tolerance),
        )
        if fits[0] is None or fits[1] is None:
            return None
        left, right = fits[0], fits[1]
        joint = _best_joint(split.ring, first, last, left, right)
    others = {k: (split.joints[k], split.curves[k]) for k in range(count) if k != piece}
    others[before] = (others[before][0], left)
    others[after] = (joint, right)
    base = split.joints[0] if piece else split.joints[1]
    placed = sorted(
        (((at - base) % size + base, curve) for at, curve in others.values()),
        key=lambda pair: pair[0],
    )
    return Segmentation(
        split.ring, tuple(at for at, _ in placed), tuple(curve for _, curve in placed)
    )
