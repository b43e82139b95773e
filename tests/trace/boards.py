"""Photographs of a checkerboard through a lens that is known, for tests."""

from __future__ import annotations

import cv2
import numpy as np

from blanktrace.calibrate import Board
from blanktrace.lens import Lens
from tests.trace.pictures import encoded, grid

COLUMNS, ROWS = 7, 5
"""Inner corners."""

FOCAL_35_MM = 26.0
DIAGONAL_35_MM = 43.267
FINER = 3
"""Samples a side of each pixel."""


def lens_of(size_px=(600, 450), *, radial=(-0.03, 0.004), decentring=(0.001, -0.0005), **kw):
    """A lens bent by a good two percent in the corners, its centre a little off the middle."""
    focal = FOCAL_35_MM / DIAGONAL_35_MM * float(np.hypot(*size_px))
    facts = {
        "size_px": size_px,
        "focal_px": focal,
        "centre_px": (np.array(size_px) - 1) / 2 + (2.5, -1.5),
        "radial": radial,
        "decentring": decentring,
        "rms_px": 0.05,
        "photos": 10,
        "points": 350,
        "covariance": np.diag([1.0, 0.5, 0.5, 1e-3, 2e-3, 1e-4, 1e-4]) ** 2,
    }
    return Lens(**(facts | kw))


def poses(count=10, *, tilt_deg=25.0, distance=8.2):
    """Turn and place of a board, one square on, the others leaning to all sides."""
    found = []
    for index in range(count):
        towards = 2 * np.pi * index / max(count - 1, 1)
        tilt = np.radians(tilt_deg if index else 0.0)
        axis = np.array([np.cos(towards), np.sin(towards), 0.0])
        turn = cv2.Rodrigues(tilt * axis)[0] @ cv2.Rodrigues(np.array([0, 0, 0.7 * index % 0.5]))[0]
        shift = np.array([1.2 * np.cos(2 * towards), 0.9 * np.sin(2 * towards), distance])
        found.append((turn, shift))
    return found


def corners_of(lens, turn, shift):
    """Where a board's inner corners (N, 2, in squares from its middle) are photographed."""
    rows, columns = np.indices((ROWS, COLUMNS)).reshape(2, -1)
    squares = np.column_stack([columns, rows]).astype(float)
    flat = np.column_stack([squares - (np.array([COLUMNS, ROWS]) - 1) / 2, np.zeros(len(squares))])
    seen = flat @ turn.T + shift
    straight = lens.centre_px + lens.focal_px * seen[:, :2] / seen[:, 2:]
    return squares, lens.bend(straight)


def board_of(lens, pose, *, noise_px=0.0, rng=None):
    squares, corners = corners_of(lens, *pose)
    if noise_px:
        corners = corners + noise_px * rng.standard_normal(corners.shape)
    return Board(corners, squares, lens.size_px)


def board_photograph(lens, pose, *, blur_px=0.8):
    """Draw a board as the lens shows it: every sample's ray meets the board's plane."""
    turn, shift = pose
    width, height = lens.size_px
    x, y = grid(width, height)
    straight = lens.straighten(np.column_stack([x.ravel(), y.ravel()])).reshape(height, width, 2)
    # The bend is so smooth that what lies between pixel centres can be read off between them.
    fine_size = (width * FINER, height * FINER)
    straight = cv2.resize(straight, fine_size, interpolation=cv2.INTER_LINEAR).reshape(-1, 2)
    rays = np.column_stack([(straight - lens.centre_px) / lens.focal_px, np.ones(len(straight))])
    rays = rays @ turn
    start = -shift @ turn
    at = start[:2] - rays[:, :2] * (start[2] / rays[:, 2])[:, None]
    column, row = np.floor(at + (np.array([COLUMNS, ROWS]) + 1) / 2).T
    on_board = (column >= 0) & (column <= COLUMNS) & (row >= 0) & (row <= ROWS)
    dark = on_board & ((column + row) % 2 == 0)
    fine = np.where(dark, 0.03, 0.75).astype(np.float32).reshape(fine_size[::-1])
    grey = cv2.resize(fine, lens.size_px, interpolation=cv2.INTER_AREA)
    return encoded(np.repeat(cv2.GaussianBlur(grey, (0, 0), blur_px)[..., None], 3, axis=2))
