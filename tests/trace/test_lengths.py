"""Lengths in: every way people write them has one meaning or is refused."""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from blanktrace.errors import LengthError
from blanktrace.lengths import (
    MAX_MM,
    MIN_MM,
    format_length,
    parse_length_mm,
    parse_size_mm,
    parse_thick_mm,
)

FORMS = {
    "62mm": 62,
    "62 mm": 62,
    "  62MM ": 62,
    "62 Millimetres": 62,
    "62.0 millimeters": 62,
    "6.2 cm": 62,
    "6.2 centimetres": 62,
    "2,44 cm": 24.4,
    "0,125 in": 3.175,
    "1234,567mm": 1234.567,
    ".5in": 12.7,
    "0.062m": 62,
    "0.062 Meters": 62,
    '2.44"': 61.976,
    "2.44 in": 61.976,
    "2.44 in.": 61.976,
    "2.44 inches": 61.976,
    "1 INCH": 25.4,
    "2 7/16 in": 61.9125,
    '2-7/16"': 61.9125,
    "2 7 / 16 in": 61.9125,
    '7/16"': 11.1125,
    "9/8 in": 28.575,
    "7/16″": 11.1125,
    "7/16”": 11.1125,
    "7/16''": 11.1125,
    "7⁄16 in": 11.1125,
    '2½"': 63.5,
    "2 ½ in": 63.5,
    "¼ in": 6.35,
    "⅜in": 9.525,
    "5½ cm": 55,
    "1' 2 1/2\"": 368.3,
    "1'2½\"": 368.3,
    "1′ 2½″": 368.3,
    "1’ 2 1/2”": 368.3,
    "1'-2 1/2\"": 368.3,
    "1 ft 2.5 in": 368.3,
    "1 foot": 304.8,
    "2 feet": 609.6,
    "1.5 ft": 457.2,
    "125 thou": 3.175,
    "62\u00a0mm": 62,
    "62\u202fmm": 62,
}


@pytest.mark.parametrize(("text", "expected"), FORMS.items(), ids=FORMS)
def test_reads_text(text: str, expected: float) -> None:
    assert parse_length_mm(text) == pytest.approx(expected, rel=1e-15)


@pytest.mark.parametrize(
    "number", [62, 62.0, np.float64(62), np.float32(62), np.int64(62), Fraction(62)], ids=repr
)
def test_a_number_means_mm(number: float) -> None:
    assert parse_length_mm(number) == 62.0


# 1 in = 25.4 mm exactly: addendum to National Bureau of Standards Circular 572 (1959).
# The table of 64ths is every handbook's; a few of its entries, in mm.
INCH_FRACTIONS = {
    "1/64": 0.396875,
    "1/32": 0.79375,
    "3/64": 1.190625,
    "1/16": 1.5875,
    "7/64": 2.778125,
    "1/8": 3.175,
    "3/16": 4.7625,
    "15/64": 5.953125,
    "1/4": 6.35,
    "19/64": 7.540625,
    "3/8": 9.525,
    "27/64": 10.715625,
    "1/2": 12.7,
    "37/64": 14.684375,
    "5/8": 15.875,
    "45/64": 17.859375,
    "3/4": 19.05,
    "25/32": 19.84375,
    "53/64": 21.034375,
    "7/8": 22.225,
    "61/64": 24.209375,
    "63/64": 25.003125,
    "1": 25.4,
}


@pytest.mark.parametrize(("fraction", "expected"), INCH_FRACTIONS.items(), ids=INCH_FRACTIONS)
def test_inch_fractions_are_exact(fraction: str, expected: float) -> None:
    assert parse_length_mm(f'{fraction}"') == expected


REFUSED = {
    "62": r"^length: 62 has no unit\. Write 62mm or 62in\.$",
    "2 7/16": r"2 7/16 has no unit\. Write 2 7/16mm or 2 7/16in\.",
    "6,2": r"6,2 has no unit",
    "": r"nothing is given\. Write",
    "   ": r"nothing is given",
    "0mm": r"0mm is not above zero",
    "0/4 in": r"not above zero",
    "-3mm": r"-3mm is not above zero\. Write",
    "−3 mm": r"-3 mm is not above zero",
    "0.001mm": r"0\.001mm is less than 0\.01 mm\. Check",
    "6m": r"6m is more than 5000 mm\. Check",
    "1,234mm": r"1,234 can be read as 1\.234 or as 1234\. Write 1\.234mm or 1234mm\.",
    "12,345 in": r"12\.345in or 12345in",
    "1,234.5mm": r"not a length\. Write one number",
    "1.234,5mm": r"not a length",
    "1 234 mm": r"not a length",
    "5 mil": r"thousandth of an inch or a millimetre\. Write 5thou or 5mm\.",
    "5mils": r"Write 5thou or 5mm",
    "62km": r"km is not a unit.*Use mm, cm, m, in, ft or thou",
    "62 milimeter": r"did you mean millimeter\?",
    "6 cm 2 mm": r"not a length",
    "2 in 1 ft": r"not a length",
    "1' 14\"": r"not a length",
    "1.5' 2\"": r"not a length",
    "1' 2": r"2 has no unit",
    "2 17/16 in": r"not a length",
    "1/0 in": r"not a length",
    "1/2/3 in": r"not a length",
    "1e3mm": r"not a length|not a unit",
    "nan mm": r"not a length",
    "inf": r"not a length",
    "mm": r"not a length",
    "62..0mm": r"not a length",
    "about 62mm": r"not a length",
    "62mm?": r"not a length",
    "9" * 5000 + "mm": r"not a length",
}


@pytest.mark.parametrize(("text", "expected"), REFUSED.items(), ids=[t[:20] for t in REFUSED])
def test_refuses_text(text: str, expected: str) -> None:
    with pytest.raises(LengthError, match=expected):
        parse_length_mm(text)


@pytest.mark.parametrize("number", [0, -1.0, math.nan, math.inf, 0.001, 5001], ids=repr)
def test_refuses_number(number: float) -> None:
    with pytest.raises(LengthError, match=r"^--disc: .* mm is "):
        parse_length_mm(number, what="--disc")


@pytest.mark.parametrize("value", [None, True, b"62mm", [62]], ids=repr)
def test_refuses_callers_mistake(value: object) -> None:
    with pytest.raises(TypeError, match="must be text or a number"):
        parse_length_mm(value)


# ISO 216 and ANSI/ASME Y14.1 (letter 8.5 x 11 in, tabloid 11 x 17 in); legal from memory.
SIZES = {
    "a0": (841, 1189),
    "A1": (594, 841),
    "a2": (420, 594),
    "a3": (297, 420),
    "A4": (210, 297),
    "a5": (148, 210),
    "a6": (105, 148),
    "letter": (215.9, 279.4),
    "Letter ": (215.9, 279.4),
    "legal": (215.9, 355.6),
    "TABLOID": (279.4, 431.8),
    "210x297mm": (210, 297),
    "210 X 297 mm": (210, 297),
    "210mm×297mm": (210, 297),
    "8.5x11in": (215.9, 279.4),
    "8½ x 11 in": (215.9, 279.4),
    '8 1/2" by 11"': (215.9, 279.4),
    "18 x 10 in": (457.2, 254),
    "1ft x 20 cm": (304.8, 200),
}


@pytest.mark.parametrize(("text", "expected"), SIZES.items(), ids=SIZES)
def test_reads_size(text: str, expected: tuple) -> None:
    assert parse_size_mm(text) == pytest.approx(expected, rel=1e-15)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("leter", r"^sheet: leter is not a sheet size \(did you mean letter\?\)\. Write"),
        ("a7", "not a sheet size"),
        ("", "nothing is not a sheet size"),
        ("210", "not a sheet size"),
        ("210x297", "210 has no unit"),
        ("210x297x3mm", "not a sheet size"),
        ("210x0mm", "not above zero"),
        ("210mm x 297", "297 has no unit"),
    ],
)
def test_refuses_size(text: str, expected: str) -> None:
    with pytest.raises(LengthError, match=expected):
        parse_size_mm(text)


ALL_4 = {"disc": 4.0, "tab": 4.0, "loop": 4.0, "body": 4.0}


@pytest.mark.parametrize(
    ("thick", "expected"),
    [
        (["4mm"], ALL_4),
        ("4mm", ALL_4),
        (4, ALL_4),
        (["disc=4mm", "tab=2.4mm"], {"disc": 4.0, "tab": 2.4}),
        (["4mm", "Tab = 3/32 in"], ALL_4 | {"tab": 2.38125}),
        ({"disc": 4.0, "loop": "2.2mm"}, {"disc": 4.0, "loop": 2.2}),
        ([], {}),
    ],
    ids=repr,
)
def test_reads_thick(thick: object, expected: dict) -> None:
    assert parse_thick_mm(thick) == expected


@pytest.mark.parametrize(
    ("thick", "expected"),
    [
        (["disk=4mm"], r"disk is not a part \(did you mean disc\?\)\. Use disc, tab, loop, body"),
        (["strap=4mm"], r"strap is not a part\. Use"),
        (["tab=2mm", "TAB=3mm"], r"tab is given twice"),
        (["2mm", "3mm"], r"one height for all is given twice"),
        (["tab=2"], r"^thick tab: 2 has no unit"),
        (["4"], r"^thick: 4 has no unit"),
    ],
    ids=repr,
)
def test_refuses_thick(thick: object, expected: str) -> None:
    with pytest.raises(LengthError, match=expected):
        parse_thick_mm(thick)


@pytest.mark.parametrize(
    ("mm", "units", "expected"),
    [
        (62, "mm", "62.00 mm (2.441 in)"),
        (25.4, "in", "1.000 in (25.40 mm)"),
        (0.03, "mm", "0.03 mm (0.001 in)"),
        (-1e-9, "mm", "0.00 mm (0.000 in)"),
    ],
)
def test_formats(mm: float, units: str, expected: str) -> None:
    assert format_length(mm, units=units) == expected


lengths_mm = st.floats(MIN_MM, MAX_MM)


@given(lengths_mm, st.sampled_from(["mm", "in"]))
def test_what_is_written_reads_back(mm: float, units: str) -> None:
    first, second = format_length(mm, units=units).removesuffix(")").split(" (")
    for text in (first, second):
        step_mm = 0.01 if text.endswith("mm") else 0.0254
        if not text.startswith("0.00"):
            assert abs(parse_length_mm(text) - mm) <= step_mm / 2 + 1e-9


@given(lengths_mm)
def test_decimals_read_back_exactly(mm: float) -> None:
    shortest = f"{mm:.15g}"
    assert parse_length_mm(f"{shortest} mm") == float(shortest)


@given(st.integers(0, 100), st.integers(0, 63), st.integers(0, 6), st.sampled_from(" -"))
def test_mixed_fractions_are_exact(whole: int, over: int, power: int, between: str) -> None:
    under = 2**power
    inches = whole + Fraction(over % under, under)
    if inches:
        text = f"{whole}{between}{over % under}/{under} in"
        assert parse_length_mm(text) == float(inches * Fraction("25.4"))


@given(st.text(alphabet="0123456789 .,/-'\"½″’mincftx×=a", max_size=12))
def test_any_text_is_a_length_or_refused(text: str) -> None:
    for read in (parse_length_mm, parse_size_mm, lambda t: parse_thick_mm([t])):
        try:
            read(text)
        except LengthError as error:
            assert str(error).endswith(".")
