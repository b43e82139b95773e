import json

import pytest

from blanktrace.errors import LensError
from blanktrace.lens_file import lens_text, read_lens
from tests.trace.boards import lens_of


def test_what_is_written_is_read_back():
    lens = lens_of()
    read = read_lens(lens_text(lens))
    assert lens_text(read) == lens_text(lens)
    assert read.centre_px == pytest.approx(lens.centre_px)
    assert read.covariance == pytest.approx(lens.covariance)
    assert (read.radial, read.decentring) == (lens.radial, lens.decentring)


def test_the_file_names_its_form_and_its_terms():
    plain = json.loads(lens_text(lens_of()))
    assert plain["format"] == "blankfit-lens/1"
    assert plain["bend"].keys() == {"k1", "k2", "p1", "p2"}


def damaged(**changes):
    return json.dumps(json.loads(lens_text(lens_of())) | changes)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        pytest.param("{", "not a lens file", id="no json"),
        pytest.param(damaged(format="blankfit-outline/1"), "format", id="an outline"),
        pytest.param(damaged(focal_px=-3), "focal_px", id="behind the camera"),
        pytest.param(damaged(covariance=[[1.0]]), "covariance", id="covariance too small"),
    ],
)
def test_refuses_what_is_none(text, words):
    with pytest.raises(LensError, match=words):
        read_lens(text, name="lens.json")
