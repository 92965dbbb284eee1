"""Where in a TOML file something is said: the library that reads it keeps no lines."""

from __future__ import annotations

import re

Path = tuple[str, ...]

_ONE = r"""(?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*')"""
_DOTTED = rf"{_ONE}(?:\s*\.\s*{_ONE})*"
_HEADER = re.compile(rf"\s*\[\[?\s*(?P<path>{_DOTTED})\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(rf"\s*(?P<key>{_DOTTED})\s*=")
_PART = re.compile(_ONE)


def lines_of(text: str) -> dict[Path, int]:
    """Return the line, from 1, of every table and key that stands at the beginning of a line.

    Parameters
    ----------
    text : str
        A TOML file that was read without fault.

    Returns
    -------
    dict of tuple of str to int
        By path: ('shaft', 'capstan', 'wheels'). What stands inside braces has the line of its key.
    """
    found: dict[Path, int] = {}
    table: Path = ()
    inside = ""  # the quotes that a text of several lines ends with
    for number, line in enumerate(text.splitlines(), 1):
        if inside:
            inside = "" if inside in line else inside
            continue
        header = _HEADER.match(line)
        if header:
            table = _parts(header["path"])
            for length in range(1, len(table) + 1):
                found.setdefault(table[:length], number)
            continue
        key = _KEY.match(line)
        if not key:
            continue
        path = (*table, *_parts(key["key"]))
        for length in range(len(table) + 1, len(path) + 1):
            found.setdefault(path[:length], number)
        for quotes in ('"""', "'''"):
            if line.count(quotes) % 2:
                inside = quotes
    return found


def line_of(lines: dict[Path, int], path: Path) -> int | None:
    """Return the line of the nearest thing above or at this path."""
    for length in range(len(path), 0, -1):
        if path[:length] in lines:
            return lines[path[:length]]
    return None


def _parts(path: str) -> Path:
    return tuple(part.strip("\"'") for part in _PART.findall(path))
