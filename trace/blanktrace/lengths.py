"""Read a length as people write it, and write it as they read it.

Lengths pass here once, at the door; inside, everything is millimetres. A text
must say its unit and have one meaning: a size misread by 25.4 is found only
once the wood is cut. Texts are computed as fractions, so that 7/64 in comes out
as exactly as a float can hold it.
"""

from __future__ import annotations

import difflib
import math
import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction
from numbers import Real
from typing import Literal

from blanktrace.errors import LengthError

MIN_MM, MAX_MM = 0.01, 5000.0
"""A caliper's step, and more than any sheet a workshop cuts."""

SIZES = ("length", "width", "disc", "tab", "loop", "hole")
"""Sizes that calipers take: of the whole, the diameters of parts, and a tab's width."""
PARTS = ("disc", "tab", "loop", "body")
"""The parts of a blank that can have a height of their own."""

MM_PER_INCH = 25.4
_IN_MM = Fraction(str(MM_PER_INCH))
_UNITS_MM = {
    Fraction(1): ("mm", "millimetre", "millimetres", "millimeter", "millimeters"),
    Fraction(10): ("cm", "centimetre", "centimetres", "centimeter", "centimeters"),
    Fraction(1000): ("m", "metre", "metres", "meter", "meters"),
    _IN_MM: ("in", "inch", "inches", '"'),
    _IN_MM * 12: ("ft", "foot", "feet", "'"),
    _IN_MM / 1000: ("thou",),
}
_UNIT_MM = {word: size for size, words in _UNITS_MM.items() for word in words}
_TWO_MEANINGS = ("mil", "mils")

_SHEETS_MM = {
    # ISO 216
    "a0": (841.0, 1189.0),
    "a1": (594.0, 841.0),
    "a2": (420.0, 594.0),
    "a3": (297.0, 420.0),
    "a4": (210.0, 297.0),
    "a5": (148.0, 210.0),
    "a6": (105.0, 148.0),
    # ANSI/ASME Y14.1 A and B; legal is 8.5 x 14 in by custom.
    "letter": (215.9, 279.4),
    "legal": (215.9, 355.6),
    "tabloid": (279.4, 431.8),
}

_SAME = {"″": '"', "“": '"', "”": '"', "„": '"', "‟": '"', "′": "'", "’": "'", "‘": "'", "‛": "'"}
_SAME |= {"⁄": "/", "∕": "/", "−": "-", "–": "-", "‐": "-", "‑": "-", "×": "x"}
_TERM = re.compile(
    r"""(?:(?:(?P<whole>[0-9]{1,9})[ -]+)?(?P<over>[0-9]{1,9})\ ?/\ ?(?P<under>[0-9]{1,9})
         |(?P<decimal>[0-9]{1,9}(?:[.,][0-9]{1,30})?|[.,][0-9]{1,30}))
        \ ?(?P<unit>["']|[^\W\d_]+\.?|)[ ]?""",
    re.VERBOSE,
)
_GROUPED = re.compile(r"[1-9][0-9]{0,2},[0-9]{3}")
_LAST_UNIT = re.compile(r"""["']$|[^\W\d_]+\.?$""")
_BETWEEN_SIDES = re.compile(r" ?(?:x|\bby\b) ?")


def parse_length_mm(
    length: str | float | Real, *, what: str = "length", most_mm: float = MAX_MM
) -> float:
    """Read one length.

    Parameters
    ----------
    length : str or number
        Text with its unit: mm, cm, m, in (or ``"``), ft (or ``'``) or thou; a
        decimal point or comma; inch fractions as ``2 7/16``, ``2-7/16`` or
        ``2½``; feet with inches. A number means millimetres.
    what : str
        What is being read, to open the message with.
    most_mm : float
        The longest that makes sense.

    Returns
    -------
    float
        The length in mm, from `MIN_MM` to `most_mm`.

    Raises
    ------
    LengthError
        If the text has no unit, more than one meaning or none, or if the length
        is out of range.
    TypeError
        If `length` is neither text nor number.

    References
    ----------
    The inch is 25.4 mm: National Bureau of Standards Circular 572, addendum, 1959.

    Examples
    --------
    >>> parse_length_mm("2 7/16 in")
    61.9125
    >>> parse_length_mm("6,2 cm")
    62.0
    """
    if isinstance(length, str):
        mm = _from_text(_normal(length), what)
        shown = length.strip()
    elif isinstance(length, Real) and not isinstance(length, bool):
        mm = float(length)
        shown = f"{mm:g} mm"
    else:
        raise TypeError(f"{what} must be text or a number of mm, got {type(length).__name__}")
    if not math.isfinite(mm) or mm <= 0:
        raise LengthError(f"{what}: {shown} is not above zero. Write a length such as 62mm.")
    if not MIN_MM <= mm <= most_mm:
        limit = f"less than {MIN_MM:g} mm" if mm < MIN_MM else f"more than {most_mm:g} mm"
        raise LengthError(f"{what}: {shown} is {limit}. Check the number and its unit.")
    return mm


def parse_size_mm(size: str, *, what: str = "sheet") -> tuple[float, float]:
    """Read a sheet's width and height, or its name.

    Parameters
    ----------
    size : str
        ``a0`` to ``a6``, ``letter``, ``legal`` or ``tabloid``, all upright; or
        two lengths with ``x``, ``×`` or ``by`` between them. A unit at the end
        serves both.
    what : str
        What is being read, to open the message with.

    Returns
    -------
    width_mm, height_mm : float

    Raises
    ------
    LengthError
        If the name is unknown, or a side is not a length.

    References
    ----------
    ISO 216:2007 (A sizes); ANSI/ASME Y14.1 (letter and tabloid).

    Examples
    --------
    >>> parse_size_mm("A4")
    (210.0, 297.0)
    >>> parse_size_mm("18 x 10 in")
    (457.2, 254.0)
    """
    text = _normal(size)
    if text in _SHEETS_MM:
        return _SHEETS_MM[text]
    sides = _BETWEEN_SIDES.split(text)
    if len(sides) != 2 or not text[:1].isdigit():  # noqa: PLR2004
        raise LengthError(
            f"{what}: {size.strip() or 'nothing'} is not a sheet size"
            f"{_nearest(text, _SHEETS_MM)}. Write width x height, such as 210x297mm, "
            f"or one of {', '.join(_SHEETS_MM)}."
        )
    width, height = sides
    unit = _LAST_UNIT.search(height)
    if unit and not _LAST_UNIT.search(width):
        width += unit.group()
    return parse_length_mm(width, what=what), parse_length_mm(height, what=what)


def parse_thick_mm(
    thick: str | float | Sequence[str] | Mapping[str, str | float],
) -> dict[str, float]:
    """Read how high each part of a blank stands above the sheet.

    Parameters
    ----------
    thick : length, texts or mapping
        One length for all parts; or texts such as ``disc=4mm`` (one text without
        a part serves the parts not named); or a mapping from part to length.

    Returns
    -------
    dict
        Heights in mm by part; parts without a height are left out.

    Raises
    ------
    LengthError
        If a part is unknown or given twice, or a length cannot be read.

    Examples
    --------
    >>> parse_thick_mm(["4mm", "tab=2.4mm"])
    {'disc': 4.0, 'tab': 2.4, 'loop': 4.0, 'body': 4.0}
    """
    if isinstance(thick, str | float | int | Real):
        return dict.fromkeys(PARTS, parse_length_mm(thick, what="thick"))
    heights: dict[str, float] = {}
    for part, length in thick.items() if isinstance(thick, Mapping) else map(_named, thick):
        name = part.strip().casefold()
        if name and name not in PARTS:
            raise LengthError(
                f"thick: {part.strip()} is not a part{_nearest(name, PARTS)}. "
                f"Use {', '.join(PARTS)}, such as disc=4mm."
            )
        if name in heights:
            raise LengthError(f"thick: {name or 'one height for all'} is given twice. Keep one.")
        heights[name] = parse_length_mm(length, what=f"thick {name}".strip())
    everywhere = heights.pop("", None)
    if everywhere is None:
        return heights
    return dict.fromkeys(PARTS, everywhere) | heights


def parse_also_mm(also: Sequence[str] | Mapping[str, str | float]) -> dict[str, float]:
    """Read sizes that were measured besides the one that sets the scale.

    Parameters
    ----------
    also : texts or mapping
        Texts such as ``length=118mm``, or a mapping from name to length.

    Returns
    -------
    dict
        Sizes in mm by name.

    Raises
    ------
    LengthError
        If a size is not known by that name or given twice, or a length cannot be read.

    Examples
    --------
    >>> parse_also_mm(["length=118mm", "hole=4 mm"])
    {'length': 118.0, 'hole': 4.0}
    """
    sizes: dict[str, float] = {}
    for given, length in also.items() if isinstance(also, Mapping) else map(_named, also):
        name = given.strip().casefold()
        if name not in SIZES:
            raise LengthError(
                f"also: {given.strip() or length} does not say which size"
                f"{_nearest(name, SIZES)}. Use {', '.join(SIZES)}, such as length=118mm."
            )
        if name in sizes:
            raise LengthError(f"also: {name} is given twice. Keep one.")
        sizes[name] = parse_length_mm(length, what=f"also {name}")
    return sizes


def format_length(mm: float, *, units: Literal["mm", "in"] = "mm") -> str:
    """Write a length for people, in both systems.

    Parameters
    ----------
    mm : float
        The length.
    units : {"mm", "in"}
        Which comes first.

    Returns
    -------
    str
        Millimetres to 0.01, a caliper's step, and inches to 0.001.

    Examples
    --------
    >>> format_length(62)
    '62.00 mm (2.441 in)'
    >>> format_length(62, units="in")
    '2.441 in (62.00 mm)'
    """
    # Adding 0 turns a rounded minus zero into zero.
    metric = f"{round(mm, 2) + 0:.2f} mm"
    inches = f"{round(mm / float(_IN_MM), 3) + 0:.3f} in"
    return f"{metric} ({inches})" if units == "mm" else f"{inches} ({metric})"


def _normal(text: str) -> str:
    """Bring quotes, dashes, fractions, spaces and case to one form."""
    spelt = "".join(_spelt(character) for character in text)
    return " ".join(spelt.replace("''", '"').casefold().split())


def _spelt(character: str) -> str:
    if unicodedata.decomposition(character).startswith("<fraction>"):
        # With a space, lest 2½ read 21/2.
        return " " + unicodedata.normalize("NFKC", character).replace("⁄", "/")
    return _SAME.get(character, character)


def _from_text(text: str, what: str) -> float:
    if not text:
        raise LengthError(f"{what}: nothing is given. Write a length such as 62mm or 2 7/16 in.")
    if text.startswith("-") and _TERM.match(text, 1):
        raise LengthError(f"{what}: {text} is not above zero. Write a length such as 62mm.")
    terms = _terms(text, what)
    sizes_mm = [_unit_mm(term, what) for term in terms]
    mm = [_number(term, what) * size for term, size in zip(terms, sizes_mm, strict=True)]
    if len(terms) > 1:
        feet_and_inches = sizes_mm == [_IN_MM * 12, _IN_MM]
        if not feet_and_inches or mm[0] % sizes_mm[0] or mm[1] >= sizes_mm[0]:
            raise _nonsense(text, what)
    return float(sum(mm))


def _terms(text: str, what: str) -> list[re.Match[str]]:
    """Split a text into its numbers with their units: one, or feet and inches."""
    terms: list[re.Match[str]] = []
    at = 0
    while at < len(text):
        # A dash may stand between feet and inches: 1'-2".
        at += bool(terms) and text[at] == "-"
        term = _TERM.match(text, at)
        if term is None or (terms and not terms[-1]["unit"]):
            raise _nonsense(text, what)
        terms.append(term)
        at = term.end()
    return terms


def _unit_mm(term: re.Match[str], what: str) -> Fraction:
    unit = term["unit"].removesuffix(".")
    number = term.group()[: term.start("unit") - term.start()].strip()
    if not unit:
        raise LengthError(f"{what}: {number} has no unit. Write {number}mm or {number}in.")
    if unit in _TWO_MEANINGS:
        raise LengthError(
            f"{what}: {unit} can mean a thousandth of an inch or a millimetre. "
            f"Write {number}thou or {number}mm."
        )
    if unit not in _UNIT_MM:
        raise LengthError(
            f"{what}: {unit} is not a unit of length known here{_nearest(unit, _UNIT_MM)}. "
            "Use mm, cm, m, in, ft or thou."
        )
    return _UNIT_MM[unit]


def _number(term: re.Match[str], what: str) -> Fraction:
    if decimal := term["decimal"]:
        if _GROUPED.fullmatch(decimal):
            point, none = decimal.replace(",", "."), decimal.replace(",", "")
            unit = term["unit"]
            raise LengthError(
                f"{what}: {decimal} can be read as {point} or as {none}. "
                f"Write {point}{unit} or {none}{unit}."
            )
        return Fraction(decimal.replace(",", "."))
    whole, over, under = int(term["whole"] or 0), int(term["over"]), int(term["under"])
    if under == 0 or (term["whole"] and over >= under):
        raise _nonsense(term.group().strip(), what)
    return whole + Fraction(over, under)


def _nonsense(text: str, what: str) -> LengthError:
    return LengthError(
        f"{what}: {text} is not a length. "
        "Write one number and its unit, such as 62mm, 6.2 cm or 2 7/16 in."
    )


def _named(text: str) -> tuple[str, str]:
    part, equals, length = text.partition("=")
    return (part, length) if equals else ("", text)


def _nearest(word: str, known: Iterable[str]) -> str:
    near = difflib.get_close_matches(word, known, n=1)
    return f" (did you mean {near[0]}?)" if near else ""
