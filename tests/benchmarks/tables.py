"""Lay figures out as plain text."""

from __future__ import annotations

from collections.abc import Sequence


def text_table(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Line up columns, the first to the left, the others to the right."""
    widths = [max(len(row[i]) for row in [heads, *rows]) for i in range(len(heads))]
    lines = [heads, ["-" * width for width in widths], *rows]
    return "\n".join(
        "  ".join(
            cell.ljust(width) if i == 0 else cell.rjust(width)
            for i, (cell, width) in enumerate(zip(line, widths, strict=True))
        ).rstrip()
        for line in lines
    )


def figure(value: float | None, places: int = 3) -> str:
    """Write a number with fixed places, a dash for none."""
    return "-" if value is None else f"{value:.{places}f}"
