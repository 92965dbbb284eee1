"""Laying out text for a terminal: at most 80 columns, wrapped, colour only as an extra."""

from __future__ import annotations

import os
import re
import sys
import textwrap
import unicodedata
from collections.abc import Iterable, Sequence

import click

WIDTH = 79
"""One less than the 80 columns of a terminal, so that none breaks the line by itself."""


def wrapped(text: str, indent: str = "", first: str | None = None, width: int = WIDTH) -> list[str]:
    """Break a text into lines, the later ones indented; numbers stay with their unit.

    Parameters
    ----------
    text : str
        A space that must not be broken at is written as U+00A0.
    indent : str
        Of every line.
    first : str, optional
        Of the first line, where it differs.
    """
    lines = textwrap.wrap(
        _NUMBER_AND_UNIT.sub("\u00a0", text),
        width,
        initial_indent=indent if first is None else first,
        subsequent_indent=indent,
        break_on_hyphens=False,
    )
    return [line.replace("\u00a0", " ") for line in lines] or [
        (indent if first is None else first).rstrip()
    ]


def columns(cells: Sequence[str], widths: Sequence[int], aligned: str) -> str:
    """Set cells side by side.

    Parameters
    ----------
    cells : sequence of str
    widths : sequence of int
    aligned : str
        One of '<' and '>' for each cell.
    """
    parts = []
    for cell, width, side in zip(cells, widths, aligned, strict=True):
        room = " " * max(width - shown_width(cell), 0)
        parts.append(cell + room if side == "<" else room + cell)
    return "  ".join(parts).rstrip()


def shown_width(text: str) -> int:
    """Columns that a text takes: marks take none, wide characters two."""
    plain = click.unstyle(text)
    return sum(
        0 if unicodedata.combining(one) else 2 if unicodedata.east_asian_width(one) in "WF" else 1
        for one in plain
    )


def table(
    rows: Iterable[Sequence[str]], aligned: str, heading: Sequence[str] = (), indent: str = ""
) -> list[str]:
    """Set rows under a heading, every column as wide as its widest cell."""
    listed = [list(row) for row in rows]
    every = [list(heading), *listed] if heading else listed
    if not every:
        return []
    widths = [max(shown_width(row[index]) for row in every) for index in range(len(every[0]))]
    lines = [indent + columns(row, widths, aligned) for row in every]
    if heading:
        lines[0] = bold(lines[0])
    return [line.rstrip() for line in lines]


def coloured() -> bool:
    """Whether stdout may carry colour (https://no-color.org: any NO_COLOR forbids it)."""
    return (
        sys.stdout.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"
    )


def bold(text: str) -> str:
    """Emphasise, where the terminal can."""
    return click.style(text, bold=True) if coloured() else text


def tinted(text: str, colour: str) -> str:
    """Colour, where the terminal can; the words say the same without."""
    return click.style(text, fg=colour) if coloured() else text


def faint(text: str) -> str:
    """Hold back, where the terminal can."""
    return click.style(text, dim=True) if coloured() else text


def can_print(characters: str) -> bool:
    """Whether stdout's encoding has these characters."""
    try:
        characters.encode(sys.stdout.encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def out(lines: Iterable[str] | str = "") -> None:
    """Print lines; characters that the terminal's encoding lacks are replaced by plain ones."""
    for line in [lines] if isinstance(lines, str) else lines:
        click.echo(line if can_print(line) else plainer(line))


def plainer(text: str) -> str:
    """Write the signs of the trade with the letters that every terminal has."""
    for sign, plain in _PLAIN.items():
        text = text.replace(sign, plain)
    encoding = sys.stdout.encoding or "ascii"
    return text.encode(encoding, "replace").decode(encoding)


_NUMBER_AND_UNIT = re.compile(
    r"(?<=\d) (?=(?:%|′|(?:k?Hz|dBV?|ppm|mN·m|m?V|m?N|mm|cents|µs|ms|s|min|cm/s)\b))"
)
_PLAIN = {
    "−": "-", "±": "+/-", "≤": "<=", "≥": ">=", "≈": "~", "·": ".", "×": "x", "′": "'", "…": "...",
    "–": "-", "µ": "u", "√": "sqrt", "²": "2", "σ": "s", "\u00a0": " ",
}  # fmt: skip
