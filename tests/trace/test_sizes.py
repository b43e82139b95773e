"""Overall sizes, and whose size set the scale."""

from dataclasses import replace

import pytest

from blanktrace.outline import Scale
from blanktrace.sizes import measured_itself, overall_mm
from tests.trace.test_overlay import outline


def test_with_a_disc_the_length_runs_along_the_tab():
    """20 mm of disc below the centre and 32 mm of tab above it; 40 mm across."""
    assert overall_mm(outline()) == pytest.approx((52, 40), abs=0.02)


def test_without_one_it_is_the_smallest_rectangle_s():
    """Askew, the rectangle meets the tab's corner and the disc: less than 52 mm long."""
    length_mm, width_mm = overall_mm(replace(outline(), rim=None))
    assert 39.9 < width_mm <= length_mm < 50


@pytest.mark.parametrize(
    ("measured", "size_mm", "expected"),
    [("disc", 40.0, True), ("disc", 25.0, False), ("width", 40.0, True), ("width", 20.0, False)],
)
def test_whose_size_it_is(measured, size_mm, expected):
    scaled = replace(outline(), scale=Scale(0.1, measured, size_mm))
    assert measured_itself(scaled) is expected


def test_a_blank_without_a_disc_was_not_measured_by_one():
    assert not measured_itself(replace(outline(), rim=None))
