"""Which characters the shipped fonts can print, so that nothing vanishes without a word.

Paper and pictures use DejaVu Sans, which comes with matplotlib (licence: Bitstream Vera,
free to embed). It holds Latin, Greek, Cyrillic, Hebrew, Arabic and more, but neither the
scripts of East Asia nor emoji; what it lacks is printed as an open box and told below.
"""

from __future__ import annotations

import unicodedata
from functools import cache
from pathlib import Path

BOX = "▯"


def printable(text: str) -> str:
    """Return the text with an open box for every character that the fonts lack.

    Control characters and those that only steer the direction of writing become spaces or
    nothing; line breaks stay.
    """
    return "".join(_shown(character) for character in unicodedata.normalize("NFC", text))


def unprintable(text: str) -> int:
    """Count the characters that `printable` shows as a box."""
    return sum(_shown(character) == BOX != character for character in text)


def font_folder() -> Path:
    """Folder of the fonts that come with matplotlib."""
    import matplotlib as mpl

    return Path(mpl.get_data_path()) / "fonts" / "ttf"


@cache
def _shown(character: str) -> str:
    if character == "\n":
        return character
    if character in "\t\r\v\f" or unicodedata.category(character) in ("Zl", "Zp"):
        return " "
    if unicodedata.category(character) in ("Cc", "Cf", "Cs"):
        return ""
    return character if ord(character) in _charmap() else BOX


@cache
def _charmap() -> frozenset[int]:
    from matplotlib.ft2font import FT2Font

    return frozenset(FT2Font(str(font_folder() / "DejaVuSans.ttf")).get_charmap())
