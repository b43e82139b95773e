import numpy as np
import pytest

from blanktrace.calibrate import Board, calibrate_lens, find_board
from blanktrace.errors import LensError
from blanktrace.photo import Photo, read_photo
from blanktrace.pipeline import make_lens
from tests.trace.boards import (
    COLUMNS,
    ROWS,
    board_of,
    board_photograph,
    corners_of,
    lens_of,
    poses,
)

NOISE_PX = 0.05


def boards(lens, found=None, *, noise_px=NOISE_PX, seed=0):
    rng = np.random.default_rng(seed)
    return [board_of(lens, pose, noise_px=noise_px, rng=rng) for pose in found or poses()]


def test_recovers_a_lens_from_exact_corners():
    lens = lens_of()
    found = calibrate_lens(boards(lens, noise_px=0.0))
    assert found.focal_px == pytest.approx(lens.focal_px, rel=1e-4)
    assert found.centre_px == pytest.approx(lens.centre_px, abs=0.02)
    assert found.radial == pytest.approx(lens.radial, abs=1e-4)
    assert found.decentring == pytest.approx(lens.decentring, abs=1e-5)
    assert (found.photos, found.points) == (10, 10 * COLUMNS * ROWS)


def test_its_covariance_is_how_it_scatters():
    lens = lens_of()
    found = [calibrate_lens(boards(lens, seed=seed)) for seed in range(30)]

    def unknowns(one):
        return [one.focal_px, *one.centre_px, *one.radial, *one.decentring]

    scatter = np.std([unknowns(one) for one in found], axis=0)
    stated = np.sqrt(np.mean([np.diag(one.covariance) for one in found], axis=0))
    # 30 draws tell a standard deviation to 13 %; three times that either way.
    assert np.all(np.abs(np.log(scatter / stated)) < 0.4)
    assert np.mean([one.rms_px for one in found]) == pytest.approx(NOISE_PX * np.sqrt(2), rel=0.15)


def test_finds_a_lens_in_photographs():
    lens = lens_of()
    pictures = [board_photograph(lens, pose) for pose in poses(7)]
    found, left_out = make_lens([*pictures, np.full((450, 600, 3), 200, np.uint8)])
    corners = np.array([[0.0, 0.0], [599.0, 0.0], [0.0, 449.0], [599.0, 449.0]])
    bend = np.hypot(*(lens.bend(corners) - corners).T)
    assert bend.min() > 4
    left = found.straighten(lens.bend(corners)) - corners
    # A little of it is a whole picture moved, which tells nothing of the bend.
    assert np.hypot(*(left - left.mean(axis=0)).T).max() < 0.15 * bend.min()
    assert found.radial[0] == pytest.approx(lens.radial[0], abs=0.004)
    assert len(left_out) == 1
    assert "No checkerboard" in left_out[0]


@pytest.mark.parametrize("turns", [0, 1])
def test_corners_are_told_as_the_sensor_lay(turns):
    lens = lens_of()
    stored = board_photograph(lens, poses()[1])
    upright = read_photo(np.rot90(stored, -turns).copy())
    board = find_board(
        Photo(upright.rgb, None, upright.focal_source, upright.name, quarter_turns=turns)
    )
    _, true = corners_of(lens, *poses()[1])
    assert board.size_px == lens.size_px
    gaps = np.hypot(*(board.corners_px[:, None] - true[None]).transpose(2, 0, 1))
    assert gaps.min(axis=1).max() < 0.25


def shrunk(board):
    middle = (np.array(board.size_px) - 1) / 2
    return Board(middle + 0.5 * (board.corners_px - middle), board.squares, board.size_px)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        pytest.param(lambda lens: boards(lens)[:4], "found in 4 photos", id="few"),
        pytest.param(
            lambda lens: boards(lens, poses(tilt_deg=3.0)), "face the same way", id="alike"
        ),
        pytest.param(lambda lens: [shrunk(b) for b in boards(lens)], "% of the way", id="small"),
        pytest.param(lambda lens: boards(lens, noise_px=1.5), "flat", id="curled or shaken"),
        pytest.param(
            lambda lens: [*boards(lens), *boards(lens_of((800, 600)))], "differ in size", id="mixed"
        ),
    ],
)
def test_refusals_say_what_to_do(make, words):
    with pytest.raises(LensError, match=words):
        calibrate_lens(make(lens_of()))
