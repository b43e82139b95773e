import numpy as np
import pytest
import shapely

from blanktrace.errors import (
    BlurError,
    ContrastError,
    CutOffError,
    LengthError,
    LensError,
    NoBlankError,
    NoDiscError,
    SeveralBlanksError,
)
from blanktrace.lens_file import lens_text
from blanktrace.pipeline import trace_photo
from tests.trace.boards import lens_of
from tests.trace.pictures import (
    SHEET,
    box_level,
    disc_level,
    grid,
    jpeg,
    photograph,
    tag_photograph,
)

SIZE = (640, 480)
RADIUS_PX = 110.0
DISC_MM = 44.0
MM_PER_PX = DISC_MM / 2 / RADIUS_PX


@pytest.fixture(scope="module")
def tag():
    rgb, centre = tag_photograph()
    return trace_photo(rgb, disc=DISC_MM), centre


def true_tag():
    half, reach = 0.3 * DISC_MM / 2, 1.6 * DISC_MM / 2
    return (
        shapely.Point(0, 0)
        .buffer(DISC_MM / 2, quad_segs=200)
        .union(shapely.box(-half, 0, half, reach))
    )


def gap_mm(found, truth):
    """Mean distance between two boundaries, by the area between them."""
    return found.symmetric_difference(truth).area / truth.length


def test_disc_with_tab_in_its_own_frame(tag):
    outline, centre = tag
    # The centre at the origin, the tab towards +y, though it points up in the photograph
    # where y runs down: a mirrored outline would not fit an unlike one, see below.
    assert gap_mm(outline.polygon, true_tag()) < 0.05
    assert outline.polygon.exterior.is_ccw
    assert outline.scale.mm_per_px == pytest.approx(MM_PER_PX, rel=2e-3)
    # A degree of doubt about the camera's tilt moves the centre's image by half a pixel here.
    assert outline.rim.centre_px == pytest.approx(tuple(centre), abs=1.0)
    assert [part.kind for part in outline.parts] == ["disc", "tab"]
    assert outline.parts[1].width_mm == pytest.approx(0.6 * DISC_MM / 2, abs=0.15)


def test_path_keeps_to_the_polygon(tag):
    outline, _ = tag
    flat = shapely.Polygon(outline.path[0].flattened(0.01))
    assert gap_mm(flat, outline.polygon) < 0.05
    assert len(outline.path[0].points_mm) < 20


def test_warns_of_what_it_was_not_told(tag):
    said = " ".join(tag[0].quality.warnings)
    assert "focal length" in said
    assert "--thick" in said
    assert 0 < tag[0].quality.u95_mm < 5


def test_the_tilt_is_told_as_surely_as_it_is_known(tag):
    """Photographed square on, of which a disc so small tells hardly more than a box."""
    x, y = grid(*SIZE)
    box = trace_photo(photograph(box_level(x, y, (200, 120), (300, 360), 1.0)), length=24.0)
    told, taken = tag[0].stance, box.stance
    assert told.tilt_deg < told.tilt_u95_deg < 8
    # A phone held level by eye leans by 3 degrees or so, along and across.
    assert (taken.tilt_deg, taken.tilt_u95_deg) == (0.0, pytest.approx(6.0))


@pytest.mark.parametrize(("slipped", "cm"), [(0.1, "0.96"), (22.0, "211")])
def test_a_slipped_decimal_point_or_unit_shows_in_the_cameras_height(tag, slipped, cm):
    """A phone is held neither 1 cm nor 2 m above a blank (common practice)."""
    rgb, _ = tag_photograph()
    (said,) = (
        one
        for one in trace_photo(rgb, disc=slipped * DISC_MM).quality.warnings
        if "decimal point" in one
    )
    assert f"camera was {cm}" in said
    assert not any("decimal point" in one for one in tag[0].quality.warnings)


def test_not_mirrored():
    x, y = grid(*SIZE)
    low, high = np.array([200.0, 120.0]), np.array([260.0, 360.0])
    foot = box_level(x, y, (200, 300), (420, 360), 1.0)
    level = np.maximum(box_level(x, y, low, high, 1.0), foot)
    outline = trace_photo(photograph(level), length=24.0)
    # As the photograph shows it: an L, long leg up and foot to the right. The smallest
    # rectangle is 240 px long, and turned by half a turn at most.
    upright = shapely.union_all([shapely.box(0, 0, 6, 24), shapely.box(0, 0, 22, 6)])
    upright = shapely.affinity.translate(upright, *-np.array(upright.centroid.coords[0]))
    turned = shapely.affinity.rotate(upright, 180, origin=(0, 0))
    gaps = [gap_mm(outline.polygon, truth) for truth in (upright, turned)]
    assert min(gaps) < 0.06


def test_bytes_and_pixels_give_the_same_size():
    rgb, _ = tag_photograph(shift=(3.3, -2.7))
    outline = trace_photo(jpeg(rgb), disc="44 mm")
    assert gap_mm(outline.polygon, true_tag()) < 0.06


def test_same_photo_same_text(tag):
    rgb, _ = tag_photograph()
    assert trace_photo(rgb, disc=DISC_MM).to_json() == tag[0].to_json()


def disc(place=(320, 240), radius=90.0, blur=1.0, **kw):
    x, y = grid(*SIZE)
    return photograph(disc_level(x, y, place, radius, blur), **kw)


def square():
    x, y = grid(*SIZE)
    return photograph(box_level(x, y, (220, 140), (420, 340), 1.0))


def pair():
    x, y = grid(*SIZE)
    left, right = (disc_level(x, y, (cx, 240), 80.0, 1.0) for cx in (180, 460))
    return photograph(np.maximum(left, right))


@pytest.mark.parametrize(
    ("picture", "errors", "words"),
    [
        pytest.param(
            lambda: photograph(np.zeros((480, 640))), NoBlankError, "stands out", id="no blank"
        ),
        pytest.param(lambda: disc(place=(40, 240)), CutOffError, "left edge", id="cut off"),
        pytest.param(pair, SeveralBlanksError, "--at", id="two blanks"),
        pytest.param(square, NoDiscError, "--length", id="no disc"),
        pytest.param(lambda: disc(blur=9.0), BlurError, "Hold the phone still", id="blurred"),
        pytest.param(
            lambda: disc(blank=SHEET * 0.985, noise=0.02),
            (ContrastError, NoBlankError),
            "paper of another tint",
            id="faint",
        ),
    ],
)
def test_refusals_say_what_to_do(picture, errors, words):
    with pytest.raises(errors, match=words):
        trace_photo(picture(), disc=40.0)


def test_exactly_one_size():
    with pytest.raises(TypeError, match="exactly one"):
        trace_photo(disc(), disc=40.0, length=40.0)
    with pytest.raises(TypeError, match="exactly one"):
        trace_photo(disc())


def test_another_size_is_compared(tag):
    rgb, _ = tag_photograph()
    reach = 2.6 * DISC_MM / 2
    also = {"length": reach + 6.0, "tab": 0.6 * DISC_MM / 2}
    outline = trace_photo(rgb, disc=DISC_MM, thick="0.2 mm", also=also)
    length, tab_width = outline.quality.checks
    assert length.found_mm == pytest.approx(reach, abs=0.3)
    assert tab_width.agrees
    assert not length.agrees
    assert "You measured a length" in outline.quality.warnings[0]


@pytest.mark.parametrize(
    ("also", "words"),
    [(["disc=44mm"], "sets the scale already"), (["lenght=44mm"], "did you mean length")],
    ids=["the scale's own", "misspelt"],
)
def test_a_size_that_cannot_check(also, words):
    with pytest.raises(LengthError, match=words):
        trace_photo(disc(), disc=40.0, also=also)


def test_a_length_without_a_unit_is_refused():
    with pytest.raises(LengthError):
        trace_photo(disc(), disc="forty")


def bent_tag(lens, middle):
    """A tag off the middle of a photograph, as a bent lens shows it, the camera square on."""
    width, height = lens.size_px
    x, y = grid(width, height)
    at = lens.straighten(np.column_stack([x.ravel(), y.ravel()]))
    x, y = at.T.reshape(2, height, width) - np.reshape(middle, (2, 1, 1))
    radius = 75.0
    tab = box_level(x, y, (-0.3 * radius, -1.6 * radius), (0.3 * radius, 0.0), 1.0)
    return photograph(np.maximum(disc_level(x, y, (0, 0), radius, 1.0), tab))


@pytest.fixture(scope="module")
def bent():
    lens = lens_of(SIZE, radial=(-0.12, 0.0))
    return bent_tag(lens, (150.0, 160.0)), lens


def test_a_lens_file_undoes_the_bend(bent, tmp_path):
    picture, lens = bent
    (tmp_path / "lens.json").write_text(lens_text(lens))
    with_file = trace_photo(picture, disc=DISC_MM, lens=tmp_path / "lens.json")
    without = trace_photo(picture, disc=DISC_MM)
    assert gap_mm(with_file.polygon, true_tag()) < 0.06
    assert gap_mm(without.polygon, true_tag()) > 2 * gap_mm(with_file.polygon, true_tag())
    bends = [
        next(c.u95_mm for c in outline.quality.contributions if "lens" in c.cause)
        for outline in (with_file, without)
    ]
    assert bends[0] < 0.5 * bends[1]
    assert not any("focal length" in warning for warning in with_file.quality.warnings)


def test_the_check_picture_still_lies_on_the_photo(bent):
    picture, lens = bent
    outline = trace_photo(picture, disc=DISC_MM, lens=lens)
    centre = lens.bend(np.array([[150.0, 160.0]]))[0]
    assert outline.rim.centre_px == pytest.approx(tuple(centre), abs=1.5)
    # Every boundary point lies half way from sheet to blank in the photograph itself.
    x, y = np.rint(outline.rings_px[0]).astype(int).T
    red = picture[..., 0].astype(float)
    low, high = red[150:170, 140:160].mean(), np.median(red)
    assert low + 0.1 * (high - low) < np.median(red[y, x]) < high - 0.1 * (high - low)


def test_a_lens_file_that_is_not_there(bent, tmp_path):
    with pytest.raises(LensError, match="cannot be opened"):
        trace_photo(bent[0], disc=DISC_MM, lens=tmp_path / "none.json")


def test_a_ring_is_not_taken_for_the_disc_that_was_lost():
    x, y = grid(640, 480)
    ring = disc_level(x, y, (220, 240), 90, 1.0) - disc_level(x, y, (220, 240), 64, 1.0)
    rgb = photograph(np.maximum(ring, box_level(x, y, (300, 200), (470, 280), 1.0)))
    with pytest.raises(
        ContrastError, match=r"hole of 7\d% of its size.*seems to be the blank's ring"
    ):
        trace_photo(rgb, disc=45.0)
