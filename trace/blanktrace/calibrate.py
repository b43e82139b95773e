"""Find a camera's lens from photographs of a printed checkerboard.

The board's size matters not, nor how many squares it has: a flat grid of equal
squares, seen from several sides, tells the focal length and the bend by itself.

References
----------
Z. Zhang, A flexible new technique for camera calibration, IEEE PAMI 22, 2000.
A. Duda and U. Frese, Accurate detection and localization of checkerboard corners
for calibration, British Machine Vision Conference, 2018.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from blanktrace.errors import LensError
from blanktrace.lens import UNKNOWNS, Lens
from blanktrace.photo import Photo

FloatArray = NDArray[np.float64]

LOOKED_AT_PX = 1600
"""Long side of the reduced photograph that corners are found in, to about a tenth of a pixel."""

LEAST_CORNERS = 20
"""Fewer corners are a tiled floor in the background as likely as a board."""

LEAST_BOARDS = 6
"""Fewer photographs leave bend and pose mixed up; ten or more are common practice."""

LEAST_TURN_DEG = 15.0
"""Boards that face within this of one another say nothing of the focal length."""

LEAST_REACH = 0.65
"""How far towards the photo's corners the board must come: bend grows with the third power."""

MOST_RMS_SHARE = 2e-4
LEAST_RMS_LIMIT_PX = 0.3
"""Residual, as a share of the photo's diagonal (1 px in 12 megapixels): a flat board gives a
fifth of it. The limit in a small picture, whose corners are found no better."""

ASK_FOR = (
    "Photograph the whole board flat, from ten places: square on and leaning by 20 to 30 degrees "
    "to each side, filling the photo and reaching into its corners."
)


@dataclass(frozen=True, eq=False)
class Board:
    """A checkerboard in a photograph.

    Attributes
    ----------
    corners_px : ndarray, shape (N, 2)
        Inner corners, as the file stores the photograph.
    squares : ndarray, shape (N, 2)
        The same on the board, counted in squares.
    size_px : (int, int)
        Width and height of the photograph as stored.
    """

    corners_px: FloatArray
    squares: FloatArray
    size_px: tuple[int, int]


def find_board(photo: Photo) -> Board:
    """Find the inner corners of a checkerboard.

    Parameters
    ----------
    photo : Photo

    Returns
    -------
    Board

    Raises
    ------
    LensError
        If no board shows.
    """
    # Corners are told as the sensor lay, because that is how the lens lies.
    rgb = np.rot90(photo.rgb, photo.quarter_turns)
    height, width = rgb.shape[:2]
    factor = min(1.0, LOOKED_AT_PX / max(height, width))
    size = (round(width * factor), round(height * factor))
    grey = cv2.resize(rgb.mean(axis=2, dtype=np.float32), size, interpolation=cv2.INTER_AREA)
    bytes_ = (grey / (1 if photo.bit_depth == 8 else 257)).astype(np.uint8)  # noqa: PLR2004
    found, corners, meta = cv2.findChessboardCornersSBWithMeta(
        bytes_, (4, 3), cv2.CALIB_CB_LARGER | cv2.CALIB_CB_ACCURACY
    )
    if not found or len(corners) < LEAST_CORNERS:
        raise LensError(
            f"No checkerboard of {LEAST_CORNERS} inner corners or more is found in {photo.name}. "
            "Show the whole board with its white border, sharp and evenly lit."
        )
    rows, columns = np.indices(meta.shape).reshape(2, -1)
    return Board(
        (corners.reshape(-1, 2).astype(np.float64) + 0.5) / factor - 0.5,
        np.column_stack([columns, rows]).astype(np.float64),
        (width, height),
    )


def calibrate_lens(boards: Sequence[Board]) -> Lens:
    """Find the lens that shows one flat grid as all these boards appear.

    Parameters
    ----------
    boards : sequence of Board
        From photographs of one camera at one zoom.

    Returns
    -------
    Lens

    Raises
    ------
    LensError
        If the boards are too few, of different cameras, too much alike, too far
        from the photo's corners, or do not fit one lens.
    """
    _check(boards)
    grids = [np.column_stack([b.squares, np.zeros(len(b.squares))]) for b in boards]
    rms, *found = cv2.calibrateCamera(
        [grid.astype(np.float32) for grid in grids],
        [b.corners_px.astype(np.float32) for b in boards],
        boards[0].size_px,
        np.eye(3),
        np.zeros(5),
        flags=cv2.CALIB_FIX_ASPECT_RATIO | cv2.CALIB_FIX_K3,
    )
    matrix, terms, turns, moves = (np.asarray(one, dtype=np.float64) for one in found)
    _check_turns(turns)
    k1, k2, p1, p2 = terms.ravel()[:4]
    limit_px = max(MOST_RMS_SHARE * float(np.hypot(*boards[0].size_px)), LEAST_RMS_LIMIT_PX)
    if rms > limit_px:
        raise LensError(
            f"The boards' corners lie {rms:.1f} px off any one lens ({limit_px:.1f} allowed). Glue "
            "the print to something flat, keep one zoom, and retake the photos sharp."
        )
    points = sum(len(b.squares) for b in boards)
    spread = rms**2 * points / (points - UNKNOWNS / 2 - 3 * len(boards))
    covariance = spread / 2 * _cofactor(grids, matrix, terms, turns, moves)
    return Lens(
        size_px=boards[0].size_px,
        focal_px=float(matrix[0, 0]),
        centre_px=matrix[:2, 2],
        radial=(float(k1), float(k2)),
        decentring=(float(p1), float(p2)),
        rms_px=float(rms),
        photos=len(boards),
        points=points,
        covariance=covariance,
    )


def _check(boards: Sequence[Board]) -> None:
    if len(boards) < LEAST_BOARDS:
        raise LensError(
            f"A checkerboard is found in {len(boards)} photos; {LEAST_BOARDS} or more are needed. "
            f"{ASK_FOR}"
        )
    sizes = sorted({b.size_px for b in boards})
    if len(sizes) > 1:
        listed = ", ".join(f"{width} x {height}" for width, height in sizes)
        raise LensError(
            f"The photos differ in size: {listed} px. Give photos from one camera at one setting, "
            "as the phone saved them."
        )
    half = (np.array(boards[0].size_px) - 1) / 2
    away = np.concatenate([np.hypot(*(b.corners_px - half).T) for b in boards])
    reach = float(away.max() / np.hypot(*half))
    if reach < LEAST_REACH:
        raise LensError(
            f"The board comes only {reach:.0%} of the way to the photos' corners "
            f"({LEAST_REACH:.0%} needed), where lenses bend most. {ASK_FOR}"
        )


def _check_turns(turns: FloatArray) -> None:
    """Refuse boards that all face the same way."""
    facing = np.array([cv2.Rodrigues(turn)[0][:, 2] for turn in turns])
    widest = float(np.degrees(np.arccos(np.clip(np.abs(facing @ facing.T).min(), 0, 1))))
    if widest < LEAST_TURN_DEG:
        raise LensError(
            f"The boards all face the same way, within {widest:.0f} degrees ({LEAST_TURN_DEG:.0f} "
            f"needed), and then bend and distance look alike. {ASK_FOR}"
        )


def _cofactor(
    grids: Sequence[FloatArray],
    matrix: FloatArray,
    terms: FloatArray,
    turns: FloatArray,
    moves: FloatArray,
) -> FloatArray:
    """Covariance of the lens's unknowns at unit variance, the boards' poses solved for."""
    normal = np.zeros((UNKNOWNS, UNKNOWNS))
    for grid, turn, move in zip(grids, turns, moves, strict=True):
        slopes = np.asarray(cv2.projectPoints(grid, turn, move, matrix, terms)[1])
        # OpenCV's columns: turn (3), move (3), focal lengths (2), centre (2), terms.
        pose, focal, rest = slopes[:, :6], slopes[:, 6:8].sum(axis=1), slopes[:, 8:14]
        lens = np.column_stack([focal, rest])
        mixed = pose.T @ lens
        normal += lens.T @ lens - mixed.T @ np.linalg.solve(pose.T @ pose, mixed)
    return np.asarray(np.linalg.inv(normal))
