"""Join lines and arcs that each follow a stretch of a ring into one path."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from blanktrace.path import Path
from blanktrace.polish import polish_path
from blanktrace.segmentation import Segmentation

FloatArray = NDArray[np.float64]

SMOOTH_RAD = np.deg2rad(12.0)
"""Curves that meet at less than this are taken to run on smoothly."""

MOST_POLISHED = 1000
"""Points that the joint fit looks at; all are checked afterwards."""


def join_pieces(
    split: Segmentation, *, stiffness_mm: float, doubt_mm: FloatArray | None = None
) -> Path:
    """Join a ring's pieces at common vertices and fit them together.

    Parameters
    ----------
    split : Segmentation
    stiffness_mm : float
        Residual that a kink of one radian counts as where pieces should run on smoothly.
    doubt_mm : ndarray, shape (N,), optional
        Standard uncertainties of the ring's points; residuals and stiffness then
        count in these. Left out, all points count alike.

    Returns
    -------
    Path
        Closed; a segment for each piece.
    """
    count = len(split.joints)
    vertices, smooth = np.empty((count, 2)), np.zeros(count, dtype=np.bool_)
    for piece in range(count):
        joint = split.joints[piece] % len(split.ring)
        corner = split.ring[[joint, joint - 1]].mean(axis=0)
        before, here = split.curves[piece - 1], split.curves[piece]
        vertices[piece] = np.mean([one.nearest(corner[None])[0] for one in (before, here)], axis=0)
        cosine = _heading(split, piece - 1, corner) @ _heading(split, piece, corner)
        bends = before.a != 0 or here.a != 0
        smooth[piece] = bends and cosine > np.cos(SMOOTH_RAD)
    bulges = np.array([_bulge(split, k, vertices) for k in range(count)])
    stride = max(len(split.ring) // MOST_POLISHED, 1)
    spans = [np.arange(*split.span(k)) % len(split.ring) for k in range(count)]
    chosen = [span[_thinned(len(span), stride)] for span in spans]
    at = np.concatenate(chosen)
    return polish_path(
        Path(vertices, bulges),
        split.ring[at],
        np.repeat(np.arange(count), [len(few) for few in chosen]),
        smooth=smooth,
        doubt_mm=np.ones(len(at)) if doubt_mm is None else doubt_mm[at],
        stiffness_mm=stiffness_mm,
    )


def _thinned(count: int, stride: int) -> NDArray[np.intp]:
    """Choose every so many, but some of however few."""
    kept = max(count // stride, min(count, 8))
    return np.linspace(0, count - 1, kept).round().astype(np.intp)


def _heading(split: Segmentation, piece: int, place: FloatArray) -> FloatArray:
    """Give the unit direction in which a piece passes a place."""
    curve = split.curves[piece]
    along = curve.along(split.points(piece % len(split.joints)))
    return curve.direction(place) * (1.0 if along[-1] >= along[0] else -1.0)


def _bulge(split: Segmentation, piece: int, vertices: FloatArray) -> float:
    """Find the bulge that carries a piece's arc from vertex to vertex."""
    curve = split.curves[piece]
    if curve.centre is None:
        return 0.0
    points = split.points(piece)
    start, end = vertices[piece], vertices[(piece + 1) % len(vertices)]
    along = curve.along(np.vstack([start, points, end]))
    return float(np.tan((along[-1] - along[0]) * 2 * abs(curve.a) / 4))
