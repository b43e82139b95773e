"""The fastest of the benchmark's cases, so that accuracy once reached is kept."""

from __future__ import annotations

import pytest

from tests.benchmarks.compare import distance
from tests.benchmarks.plain import trace_plain
from tests.benchmarks.samples import sample_cases
from tests.benchmarks.score import Case, score


def sample(name: str) -> Case:
    return next(case for case in sample_cases() if case.name == name)


@pytest.mark.parametrize(("name", "rms_expected"), [("square_on.jpg", 0.10)])
def test_samples(name: str, rms_expected: float) -> None:
    scored = score(sample(name))
    assert scored.ours is not None, scored.said
    assert scored.plain is not None
    assert scored.ours.rms_mm < rms_expected
    assert scored.ours.rms_mm < scored.plain.rms_mm / 5
    assert scored.is_covered
    assert scored.scale_error == pytest.approx(0, abs=1e-3)


def test_plain_way_is_a_fair_rival() -> None:
    """On an easy photograph the plain way comes within a millimetre or so."""
    case = sample("square_on.jpg")
    assert case.outline is not None
    assert distance(trace_plain(case.jpeg, **case.measured), case.outline).rms_mm < 1.2
