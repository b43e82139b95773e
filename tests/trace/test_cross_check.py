"""Sizes measured besides, held against the outline."""

import json
from dataclasses import replace

import numpy as np
import pytest

from blanktrace.budget import EDGE_CAUSE
from blanktrace.cross_check import cross_check
from blanktrace.outline import Contribution
from blanktrace.outline_file import read_outline
from blanktrace.parts import Part
from tests.trace.test_overlay import outline

HOLES = [Part("hole", (0.0, -10.0), diameter_mm=3.0), Part("hole", (5.0, 0.0), diameter_mm=6.0)]


def checked(*causes, **also_mm):
    plain = outline(parts=HOLES)
    made = tuple(Contribution(name, u95_mm, "do better") for name, u95_mm in causes)
    return cross_check(replace(plain, quality=replace(plain.quality, contributions=made)), also_mm)


@pytest.mark.parametrize(
    ("size", "measured_mm", "found_mm"),
    [
        ("length", 52.0, 52.0),
        ("width", 40.0, 40.0),
        ("disc", 40.0, 40.0),
        ("tab", 8.01, 8.0),
        ("hole", 5.9, 6.0),
        ("hole", 3.2, 3.0),
    ],
)
def test_finds_the_size_that_is_meant(size, measured_mm, found_mm):
    (check,) = checked(("the fit of the disc", 0.5), **{size: measured_mm}).quality.checks
    assert check.found_mm == pytest.approx(found_mm, abs=0.02)
    assert (check.size, check.measured_mm) == (size, measured_mm)


def test_the_edge_counts_twice_and_the_calipers_once():
    """Both ends of a size may err by 0.2; a reading by 0.03/sqrt(3), twice over (DIN 862)."""
    (check,) = checked((EDGE_CAUSE, 0.2), tab=8.0).quality.checks
    assert check.u95_mm == pytest.approx(np.hypot(0.4, 2 * 0.03 / np.sqrt(3)))


def test_a_wrong_scale_counts_by_how_far_a_size_spans():
    sizes = {"length": 52.0, "hole": 6.0}
    length, hole = checked(("the fit of the disc", 0.4), **sizes).quality.checks
    assert length.u95_mm == pytest.approx(hole.u95_mm * 52 / 6, rel=0.1)


def test_agreement_makes_no_fuss():
    result = checked((EDGE_CAUSE, 0.2), length=52.3)
    assert result.quality.checks[0].agrees
    assert result.quality.warnings == ()


def test_disagreement_is_said_plainly():
    result = checked((EDGE_CAUSE, 0.2), length=53.0)
    assert not result.quality.checks[0].agrees
    (said,) = result.quality.warnings
    assert said.startswith("You measured a length of 53.00 mm")
    assert "the outline says 52.00 mm" in said
    assert "check both readings" in said


def test_a_part_that_is_not_there_is_said():
    result = checked((EDGE_CAUSE, 0.2), loop=20.0)
    assert "no loop is found" in result.quality.warnings[0]


def test_checks_are_stored_and_read_back():
    text = checked((EDGE_CAUSE, 0.2), length=53.0, loop=20.0).to_json()
    stored = json.loads(text)["quality"]["checks"]
    assert [(check["size"], check["agrees"]) for check in stored] == [
        ("length", False),
        ("loop", False),
    ]
    assert read_outline(text).to_json() == text
