"""The check picture: where lines land, what is written, whether it fits."""

from dataclasses import replace

import numpy as np
import pytest
from PIL import ImageFont
from shapely import Polygon

from blanktrace.outline import Contribution, Outline, Quality, Rim, Scale, Stance
from blanktrace.overlay import OUTLINE_COLOUR, draw_check
from blanktrace.overlay_text import _lines, _wrapped
from blanktrace.parts import Part
from blanktrace.path import Path
from blanktrace.plane_map import to_photo_map, transfer

MM_PER_PX = 0.1
CENTRE_PX = np.array([700.0, 500.0])
CAUSES = tuple(Contribution(f"cause {n}", 0.1 / n, f"remedy {n}") for n in range(1, 6))


def boundary_mm():
    """A disc of 40 mm across with a tab of 8 mm, up to 32 mm from its centre."""
    start = np.arcsin(4 / 20)
    turn = np.pi / 2 + np.linspace(start, 2 * np.pi - start, 400)
    disc = 20 * np.column_stack([np.cos(turn), np.sin(turn)])
    side = np.linspace(20, 32, 20)
    right, left = np.full(20, 4.0), np.full(20, -4.0)
    return np.vstack([disc, np.column_stack([right, side]), np.column_stack([left, side[::-1]])])


def in_photo(points_mm, turn_deg=0.0):
    turn = np.radians(turn_deg)
    spin = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    return CENTRE_PX + (points_mm @ spin) * (1, -1) / MM_PER_PX


def outline(*, turn_deg=0.0, parts=(), warnings=(), rings=True):
    ring = boundary_mm()
    return Outline(
        Polygon(ring),
        (Path(ring),),
        (
            Part("disc", (0.0, 0.0), diameter_mm=40.0),
            Part("tab", (0.0, 26.0), width_mm=8.0),
            *parts,
        ),
        Rim(40.0, tuple(CENTRE_PX), (200.0, 200.0), 0.1),
        Scale(MM_PER_PX, "disc", 40.0),
        Stance(1.2, "the disc's ellipse", 390.0),
        Quality(0.12, CAUSES, tuple(warnings)),
        (in_photo(ring, turn_deg),) if rings else (),
    )


def paper(height=1000, width=1400, dtype=np.uint8):
    return np.full((height, width, 3), np.iinfo(dtype).max, dtype)


def colour(text):
    return np.array([int(text[i : i + 2], 16) for i in (1, 3, 5)])


def test_the_line_lies_on_the_boundary():
    """The disc's rightmost point, at (900, 500) px, is coloured; 4 px beside it is white."""
    picture = np.asarray(draw_check(paper(), outline())).astype(int)
    near = np.abs(picture - colour(OUTLINE_COLOUR)).sum(axis=2) < 60
    rows, columns = np.nonzero(near[: picture.shape[0] // 2])
    ring = in_photo(boundary_mm())
    drawn = np.ptp(np.column_stack([columns, rows]), axis=0)
    assert drawn[0] / drawn[1] == pytest.approx(np.ptp(ring[:, 0]) / np.ptp(ring[:, 1]), abs=0.3)


@pytest.mark.parametrize("size", [(420, 500), (1000, 1400), (3000, 4000)], ids=str)
def test_the_picture_is_of_a_size_to_look_at(size):
    picture = draw_check(paper(*size), outline())
    assert 1000 < max(picture.size) <= 1800


def test_a_narrow_photo_leaves_room_for_words():
    """Only 480 px of width are in view about a blank of 520 px of length."""
    picture = draw_check(paper(3000, 940)[:, 460:], shifted(outline(), -460))
    assert picture.width >= 760 + 600


def shifted(traced, by_px):
    ring = traced.rings_px[0] + (by_px, 0)
    rim = replace(traced.rim, centre_px=(CENTRE_PX[0] + by_px, CENTRE_PX[1]))
    return replace(traced, rings_px=(ring,), rim=rim)


def test_photos_of_sixteen_bits_look_the_same():
    eight, sixteen = (draw_check(paper(dtype=kind), outline()) for kind in (np.uint8, np.uint16))
    assert eight.tobytes() == sixteen.tobytes()


def test_an_outline_read_back_cannot_be_drawn():
    with pytest.raises(ValueError, match="rings_px"):
        draw_check(paper(), outline(rings=False))


def test_the_column_says_everything_in_both_units():
    said = " ".join(line.text for line in _lines(outline(warnings=["Mind this."])))
    for words in ("40.00 mm (1.575 in)", "length: 52.00 mm", "8.00 mm (0.315 in)",
                  "390 mm (15.4 in)", "0.1000 mm (0.00394 in)", "±0.12 mm", "tilt: 1.2", "cause 1",
                  "remedy 3", "Mind this."):  # fmt: skip
        assert words in said
    assert "cause 4" not in said


def test_the_tilt_is_said_with_its_doubt_where_that_is_known():
    one = outline()
    doubtful = replace(one, stance=replace(one.stance, tilt_u95_deg=0.84))
    assert "tilt: 1.2° ±0.8°, undone by the disc's ellipse" in [x.text for x in _lines(doubtful)]
    assert "tilt: 1.2°, undone by the disc's ellipse" in [x.text for x in _lines(one)]


@pytest.mark.parametrize(
    ("tilt_deg", "u95_deg", "said"),
    [(0.0, 4.98, "0° and 5°"), (8.1, 5.2, "2° and 14°"), (1.2, 1.04, "0° and 3°")],
)
def test_a_tilt_not_known_to_a_degree_is_no_single_angle(tilt_deg, u95_deg, said):
    one = outline()
    vague = replace(one, stance=replace(one.stance, tilt_deg=tilt_deg, tilt_u95_deg=u95_deg))
    assert f"tilt: between {said}, undone by the disc's ellipse" in [x.text for x in _lines(vague)]


def test_another_blank_s_size_is_called_so():
    other = replace(outline(), scale=Scale(MM_PER_PX, "disc", 25.0))
    said = [line.text for line in _lines(other)]
    assert "disc: 25.00 mm (0.984 in), of another blank" in said
    assert "disc: 40.00 mm (1.575 in) across" in said


def test_many_holes_do_not_make_the_column_endless():
    holes = [Part("hole", (x, 0), diameter_mm=2.0) for x in range(30)]
    said = [line.text for line in _lines(outline(parts=holes))]
    assert "and 21 more, in outline.json" in said


def test_no_row_is_wider_than_the_column():
    warning = "A long sentence that has to be broken between its words to stay in the column. " * 3
    for line in _lines(outline(warnings=[warning])):
        for row in _wrapped(line, 400):
            font = ImageFont.load_default(size=row.size_px)
            assert row.indent_px + font.getlength(row.text) <= 400


@pytest.mark.parametrize("turn_deg", [0, 37, 90, 181, 275])
def test_the_map_finds_the_way_the_blank_lies(turn_deg):
    tab = np.array([[0.0, 26.0]])
    found = transfer(to_photo_map(outline(turn_deg=turn_deg)), tab)
    assert found == pytest.approx(in_photo(tab, turn_deg), abs=3.0)  # a name needs no more


def test_the_map_of_the_rim_alone_puts_the_circle_on_it():
    mapped = to_photo_map(outline(turn_deg=37), within_mm=20.2, beyond_mm=19.8)
    turn = np.linspace(0, 2 * np.pi, 50)
    circle = transfer(mapped, 20 * np.column_stack([np.cos(turn), np.sin(turn)]))
    assert np.hypot(*(circle - CENTRE_PX).T) == pytest.approx(200, abs=0.2)
