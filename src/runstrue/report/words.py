"""How readings, chances, dates and conditions are put into words, the same everywhere here."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime

from runstrue.catalogue import KINDS, METHODS, Kind
from runstrue.quantity import Quantity, number_text
from runstrue.report.glyphs import printable
from runstrue.result import Result
from runstrue.verdict.models import Outcome

MARKS: dict[Outcome, str] = {
    "meets": "✔",
    "does not meet": "✘",
    "too close to call": "≈",
    "cannot be compared": "–",
}

# Units at the end of the names of conditions, and how they are printed.
_UNITS = {
    "cm_s": "cm/s", "hz": "Hz", "s": "s", "min": "min", "db": "dB", "percent": "%", "ppm": "ppm",
    "khz": "kHz", "ms": "ms", "us": "µs",
}  # fmt: skip


MOST_PAIRS = 6
"""Of a table that is printed in words; a longer one is looked at, not read."""

_NUMBER_AND_UNIT = re.compile(
    r"(?<=\d) (?=(?:%|′|(?:k?Hz|dBV?|ppm|mN·m|m?V|m?N|mm|cents|µs|ms|s|min|cm/s)\b))"
)


def name_of(quantity_id: str) -> str:
    """Name of a quantity in plain words; an id of a later program stands as it is."""
    kind = KINDS.get(quantity_id)
    return kind.name if kind else quantity_id


def method_of(key: str) -> tuple[str, str]:
    """Short words and source of a method."""
    method = METHODS.get(key)
    return (method.words, method.source) if method else (key, "not known to this program")


def figure_of(quantity: Quantity, quantity_id: str) -> str:
    """Print a reading with unit, rounded by its own uncertainty.

    Examples
    --------
    >>> figure_of(Quantity(0.1468, "%", 0.0121), "flutter.weighted_peak")
    '±0.147 %'
    >>> figure_of(Quantity(0.31, "%", 0.11), "speed.deviation")
    '+0.31 %'
    """
    kind = KINDS.get(quantity_id)
    if kind is not None and kind.plus_minus:
        return f"±{quantity.value_text()} {quantity.unit}"
    return f"{quantity.value_text(signed=is_signed(kind))} {quantity.unit}"


def is_signed(kind: Kind | None) -> bool:
    """Whether a plus sign is printed: for what should be near zero and may lie on both sides."""
    return kind is not None and kind.wanted == "near zero"


def within_of(quantity: Quantity) -> str:
    """Print the half-width of the 95 % interval with as many decimals as the reading."""
    if quantity.u == 0:
        return ""
    return f"±{number_text(quantity.expanded(), quantity.decimals())} {quantity.unit}"


def range_of(result: Result) -> str:
    """Print lowest, middle and highest of what never stands still."""
    spread, quantity = result.spread, result.quantity
    if spread is None:
        return ""
    unit = quantity.unit if quantity else (KINDS[result.id].unit if result.id in KINDS else "")
    top = max(abs(spread.low), abs(spread.high))
    decimals = quantity.decimals() if quantity else max(0, 2 - math.floor(math.log10(top or 1)))
    low, middle, high = (
        number_text(value, decimals) for value in (spread.low, spread.middle, spread.high)
    )
    return f"moves from {low} over {middle} to {high} {unit}"


def table_of(result: Result) -> str:
    """Print a quantity over another one as pairs."""
    table = result.table
    if table is None:
        return ""
    if len(table.x) > MOST_PAIRS:
        ends = f"{plain_value(table.x[0])} to {plain_value(table.x[-1])} {table.x_unit}"
        return f"{len(table.x)} points from {ends}, drawn in the figure"
    pairs = (
        f"{plain_value(x)} {table.x_unit}: {Quantity(y, table.y_unit, u).value_text(signed=True)}"
        f" {table.y_unit}"
        for x, y, u in zip(table.x, table.y, table.u, strict=True)
    )
    return "; ".join(pairs)


def date_words(stamp: str) -> str:
    """Print the day of an ISO 8601 time: '14 March 2026'; other text stands as it is."""
    try:
        day = datetime.fromisoformat(stamp)
    except ValueError:
        return printable(stamp)
    return f"{day.day} {_MONTHS[day.month - 1]} {day.year}"


def span_words(stamps: Sequence[str]) -> str:
    """Print the days from the first to the last of these times: '11 to 14 March 2026'."""
    days = [date_words(stamp) for stamp in sorted(stamps)]
    if not days or days[0] == days[-1]:
        return days[0] if days else ""
    first, last = days[0].split(" "), days[-1].split(" ")
    return f"{_without_shared_end(first, last)} to {' '.join(last)}"


def keep_together(text: str) -> str:
    """Tie a number to its unit, so that no line ends between them."""
    return _NUMBER_AND_UNIT.sub("\u00a0", text)


def condition_words(conditions: Mapping[str, str | float | bool]) -> str:
    """Print conditions in one line: 'tone 3150 Hz; duration 56.8 s; self recorded'."""
    said = []
    for key, value in conditions.items():
        if value == "" or value is False:
            continue
        if key in _IN_WORDS:
            said.append(_IN_WORDS[key](value))
            continue
        name, unit = _split_unit(key)
        if value is True:
            said.append(name)
        elif isinstance(value, str):
            said.append(f"{name}: {value}")
        elif math.isfinite(value):
            said.append(f"{name} {plain_value(value)} {unit}".rstrip())
    return printable("; ".join(said))


_IN_WORDS: dict[str, Callable[[str | float | bool], str]] = {
    "tone_to_hiss_db": lambda value: f"the tone stands {float(value):.0f} dB above the hiss",
    "tone_reason": lambda value: (
        f"the tone was taken {value}" if value == "as named" else f"tone: {value}"
    ),
    "duration_s": lambda value: f"{float(value):.0f} s recorded",
    "used_s": lambda value: f"{float(value):.1f} s used",
    "self_recorded": lambda value: "recorded and played on the same deck",
}


def plain_value(value: float) -> str:
    """Print a condition's number with at most four figures and no exponent."""
    if value == 0 or not math.isfinite(value):
        return "0" if value == 0 else "not known"
    decimals = min(9, max(0, 3 - math.floor(math.log10(abs(value)))))
    text = number_text(value, decimals)
    return text.rstrip("0").rstrip(".") if "." in text else text


def _without_shared_end(first: list[str], last: list[str]) -> str:
    """Leave out of the first day the year, or month and year, that the last one has too."""
    kept = list(first)
    other = list(last)
    while len(kept) > 1 and len(other) > 1 and kept[-1] == other[-1]:
        kept.pop()
        other.pop()
    return " ".join(kept)


def _split_unit(key: str) -> tuple[str, str]:
    for ending, unit in _UNITS.items():
        if key.endswith("_" + ending):
            return key.removesuffix("_" + ending).replace("_", " "), unit
    return key.replace("_", " "), ""


_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December",
)  # fmt: skip
