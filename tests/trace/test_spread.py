"""How much the blanks of one photograph differ."""

from dataclasses import replace

import numpy as np
import pytest
from shapely.affinity import scale

from blanktrace.budget import CALIPER_CAUSE, EDGE_CAUSE
from blanktrace.outline import Contribution
from blanktrace.outline_file import read_outline
from blanktrace.spread import add_spread
from tests.trace.test_overlay import outline


def grown(factor):
    plain = outline()
    return replace(
        plain,
        polygon=scale(plain.polygon, factor, factor, origin=(0, 0)),
        rim=replace(plain.rim, diameter_mm=40 * factor),
        quality=replace(
            plain.quality,
            contributions=(
                Contribution(CALIPER_CAUSE, 5.0, "measure again"),
                Contribution(EDGE_CAUSE, 0.1, "sharper"),
            ),
        ),
    )


def test_smallest_mean_and_largest():
    first, *_ = add_spread([grown(1.0), grown(1.01), grown(0.99), grown(1.02)])
    disc, length, width = first.spread
    assert [one.size for one in first.spread] == ["disc", "length", "width"]
    assert (disc.smallest_mm, disc.mean_mm, disc.largest_mm) == pytest.approx((39.6, 40.2, 40.8))
    assert (length.count, length.largest_mm) == (4, pytest.approx(52 * 1.02, rel=1e-3))
    assert width.largest_mm == pytest.approx(40.8, abs=0.02)


def test_what_is_wrong_with_all_alike_adds_no_difference():
    """Two ends of 0.1 each, of two blanks: 0.2 times the root of 2; the calipers' 5 mm do not."""
    first, _ = add_spread([grown(1.0), grown(1.01)])
    assert [one.photo_mm for one in first.spread] == pytest.approx([0.2 * np.sqrt(2)] * 3)


def test_only_blanks_of_one_kind_are_compared():
    first, alike, larger, odd = add_spread(
        [grown(1.0), grown(1.01), grown(1.4), replace(grown(1.0), rim=None)]
    )
    assert first.spread == alike.spread
    assert first.spread[0].count == 2
    assert larger.spread == odd.spread == ()


def test_one_blank_has_no_spread():
    assert add_spread([grown(1.0)])[0].spread == ()


def test_a_spread_is_stored_and_read_back():
    first, _ = add_spread([grown(1.0), grown(1.01)])
    text = first.to_json()
    assert read_outline(text).to_json() == text
