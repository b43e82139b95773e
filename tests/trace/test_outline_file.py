"""A stored outline read back, and files that hold something else."""

import json

import pytest

from blanktrace.errors import OutlineFileError
from blanktrace.outline_file import read_outline
from tests.trace.test_overlay import outline


@pytest.fixture
def stored():
    return json.loads(outline(warnings=["Mind this."]).to_json())


def test_what_was_written_is_read_back_to_the_last_digit():
    text = outline(warnings=["Mind this."]).to_json()
    assert read_outline(text).to_json() == text


def test_a_file_that_does_not_tell_its_tilts_uncertainty_is_read(stored):
    del stored["view"]["tilt_u95_deg"]
    assert read_outline(json.dumps(stored)).stance.tilt_u95_deg is None


def test_bytes_are_as_good_as_text():
    text = outline().to_json()
    assert read_outline(text.encode()).to_json() == text


def test_a_blank_without_a_disc_is_read(stored):
    stored["disc"] = None
    assert read_outline(json.dumps(stored)).rim is None


@pytest.mark.parametrize("text", ["", "no json", "[]", "{}", '{"format": "other/1"}', b"\xff\xfe"])
def test_other_files_are_refused(text):
    with pytest.raises(OutlineFileError, match=r"tag\.json is not an outline file"):
        read_outline(text, name="tag.json")


BROKEN = {
    "no scale": (("scale",), None, "scale"),
    "negative scale": (("scale", "mm_per_px"), -1, "scale.mm_per_px"),
    "unknown part": (("parts",), [{"kind": "wing", "centre_mm": [0, 0]}], "parts.0.kind"),
    "no path": (("path",), [], "path"),
    "text for a number": (("disc", "diameter_mm"), "wide", "disc.diameter_mm"),
    "crossing itself": (
        ("outline", "coordinates"), [[[0, 0], [1, 1], [1, 0], [0, 1], [0, 0]]], "crosses itself",
    ),
}  # fmt: skip


@pytest.mark.parametrize(("where", "value", "said"), BROKEN.values(), ids=BROKEN)
def test_a_damaged_file_is_refused_by_the_name_of_what_is_wrong(stored, where, value, said):
    inside = stored
    for step in where[:-1]:
        inside = inside[step]
    inside[where[-1]] = value
    with pytest.raises(OutlineFileError, match=said):
        read_outline(json.dumps(stored))
