"""Figures as people write them: decimal comma or point, thousands by dot, comma, space or ’.

Nothing is guessed silently: '12.500' is kept with both of its meanings until its unit is
known (twelve thousand five hundred hertz, but twelve and a half kilohertz).
"""

from __future__ import annotations

import re
from dataclasses import dataclass

_SPACE = " \u00a0\u2009\u202f"
_FRACTIONS = {"¼": 0.25, "½": 0.5, "¾": 0.75, "⅛": 0.125, "⅜": 0.375, "⅝": 0.625, "⅞": 0.875}

# The longest form first; at most nine digits, since no sheet holds more and a string of a
# thousand digits is no number.
NUMBER = re.compile(
    rf"""(?P<whole>[0-9]{{1,2}})[{_SPACE}-]?(?P<vulgar>[{"".join(_FRACTIONS)}])
    |(?P<mixed>[0-9]{{1,2}})[{_SPACE}-](?P<top>[0-9])[/⁄](?P<bottom>[0-9]{{1,2}})(?![0-9/])
    |(?P<grouped>[1-9][0-9]{{0,2}}(?:(?P<mark>[{_SPACE}.,'’])[0-9]{{3}})(?:(?P=mark)[0-9]{{3}})*
        (?:[.,][0-9]{{1,4}})?)(?![0-9])
    |(?P<plain>[0-9]{{1,9}}(?:[.,][0-9]{{1,6}})?|[.,][0-9]{{1,6}})(?![0-9])""",
    re.VERBOSE,
)


@dataclass(frozen=True, slots=True)
class Numeral:
    """A figure with its one or two possible values.

    Parameters
    ----------
    value : float
        With a single dot or comma taken as the decimal mark.
    thousands : float or None
        With that mark taken to set thousands apart, where that is possible too.
    """

    value: float
    thousands: float | None = None


def read_numeral(found: re.Match[str]) -> Numeral:
    """Return what a match of `NUMBER` can mean."""
    if found["vulgar"]:
        return Numeral(int(found["whole"]) + _FRACTIONS[found["vulgar"]])
    if found["mixed"]:
        bottom = int(found["bottom"])
        whole = float(found["mixed"])
        return Numeral(whole + int(found["top"]) / bottom if bottom else whole)
    if found["grouped"]:
        return _read_grouped(found["grouped"], found["mark"])
    text = found["plain"].replace(",", ".")
    return Numeral(float(text))


def _read_grouped(text: str, mark: str) -> Numeral:
    pieces = text.split(mark)
    # '12.500' and '12,500' are open; '12 500', '1.234.567' and '12.500,5' are not
    if mark in ".," and len(pieces) == 2 and not set(pieces[1]) & set(".,"):
        return Numeral(float(".".join(pieces)), float("".join(pieces)))
    return Numeral(float("".join(pieces).replace(",", ".")))


def read_decibels(text: str) -> float | None:
    """Return the level that a text such as '-20 dB' or '0 dB' names, or None.

    Examples
    --------
    >>> read_decibels("−20 dB"), read_decibels("1 kHz")
    (-20.0, None)
    """
    plain = text.replace("−", "-")
    found = NUMBER.search(plain)
    if not found or "dB" not in plain:
        return None
    sign = -1 if plain[: found.start()].rstrip().endswith("-") else 1
    return sign * read_numeral(found).value
