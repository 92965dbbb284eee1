"""Counter and time as people write them: '100@4:58', '1:04:10', '298 s', or a CSV list."""

from __future__ import annotations

import csv
import math
import os
import re
from pathlib import Path

from runstrue.errors import FileError, InputError
from runstrue.quantity import Quantity, number_text
from runstrue.transport.counter import Pair

SAMPLE = "'100@4:58' (the counter, @, minutes:seconds since the beginning)"
COUNTS = ("counter", "count", "counts", "reading")
MINUTES_FROM_S = 59.5  # from this uncertainty on a time is told in minutes
TIMES = ("time", "played", "clock")


def read_pair(text: str) -> Pair:
    """Read one pair: '100@4:58'.

    Raises
    ------
    InputError
        When it is none.
    """
    count, at, time = text.partition("@")
    if not at or not count.strip() or not time.strip():
        raise InputError(f"'{text}' was read as a pair", f"{SAMPLE} is needed")
    return Pair(read_count(count), read_time_s(time))


def read_count(text: str) -> float:
    """Read what a counter shows: '456', '456.5'; '−1' for one short of 0.

    Raises
    ------
    InputError
        When it is no number.
    """
    plain = text.strip().replace("−", "-").replace(",", ".")
    if not re.fullmatch(r"[+-]?(\d{1,6}(\.\d*)?|\.\d+)", plain):
        raise InputError(
            f"'{text.strip()}' was read as a counter", "a number such as 456 is needed"
        )
    return float(plain)


def read_time_s(text: str) -> float:
    """Read a time: '4:58', '1:04:10', '298 s', '4.9 min'; in s.

    Raises
    ------
    InputError
        When it is none, or a bare number.
    """
    plain = text.strip().replace(",", ".")
    clock = re.fullmatch(r"(?:(\d{1,2}):)?(\d{1,3}):(\d{2}(?:\.\d+)?)", plain)
    if clock:
        hours, minutes, seconds = clock.groups()
        if float(seconds) < 60 and (hours is None or int(minutes) < 60):
            return 3600 * int(hours or 0) + 60 * int(minutes) + float(seconds)
    united = re.fullmatch(r"(\d+(?:\.\d+)?)\s*(s|sec|seconds|min|minutes)", plain)
    if united:
        return float(united[1]) * (60 if united[2].startswith("m") else 1)
    raise InputError(
        f"'{text.strip()}' was read as a time",
        "minutes:seconds such as 4:58 are needed, or 298 s, or 4.9 min",
    )


def read_pairs(path: str | os.PathLike[str]) -> list[Pair]:
    """Read a list of pairs.

    Parameters
    ----------
    path : path
        CSV in UTF-8, parted by commas, semicolons or tabs; a line of headings that names the
        columns 'counter' and 'time', or two columns in this order without one.

    Raises
    ------
    FileError
        When it cannot be read.
    InputError
        When a column or a line is not clear.
    """
    path = Path(path)
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(
            f"'{path}' is no text in UTF-8", "a CSV file is needed", "save the list as CSV, UTF-8"
        ) from None
    except OSError as error:
        raise FileError(
            f"'{path}' cannot be read ({(error.strerror or str(error)).lower()})",
            "a list of counter readings and times is needed",
        ) from None
    first = next((line for line in text.splitlines() if line.strip()), "")
    delimiter = max(";\t,", key=first.count)
    reader = csv.reader(text.splitlines(), delimiter=delimiter, skipinitialspace=True)
    rows = [(reader.line_num, [cell.strip() for cell in row]) for row in reader]
    rows = [(line, row) for line, row in rows if any(row)]
    if not rows:
        raise InputError(f"'{path}' is empty", "counter readings and times are needed")
    at_count, at_time = 0, 1
    if not re.match(r"[\d.]", rows[0][1][0]):
        headings = [cell.lower() for cell in rows[0][1]]
        at_count, at_time = _column(headings, COUNTS, path), _column(headings, TIMES, path)
        rows = rows[1:]
    return [_pair(row, at_count, at_time, f"'{path}', line {line}") for line, row in rows]


def clock_text(seconds: float) -> str:
    """Print a time as a clock shows it: '4:58', '1:04:10'.

    Examples
    --------
    >>> clock_text(298.4), clock_text(3850), clock_text(-0.2)
    ('4:58', '1:04:10', '0:00')
    """
    whole = round(abs(seconds))
    sign = "−" if seconds < 0 and whole else ""
    hours, rest = divmod(whole, 3600)
    minutes, shown = divmod(rest, 60)
    if hours:
        return f"{sign}{hours}:{minutes:02d}:{shown:02d}"
    return f"{sign}{minutes}:{shown:02d}"


def clock_within(time: Quantity) -> str:
    """Print a time with what it lies within, 95 % sure: '10:31 ±3 s', '46.2 ±1.4 min'."""
    half = time.expanded()
    if half < MINUTES_FROM_S:
        return f"{clock_text(time.value)} ±{span_text(half)}"
    decimals = 0 if half >= 570 else 1
    return f"{number_text(time.value / 60, decimals)} ±{span_text(half)}"


def span_text(seconds: float) -> str:
    """Print what a time lies within: '3 s', no less than the second of a clock; '1.4 min'."""
    if seconds < MINUTES_FROM_S:
        return f"{max(math.ceil(seconds - 0.05), 1)} s"
    return f"{number_text(seconds / 60, 0 if seconds >= 570 else 1)} min"


def _column(headings: list[str], words: tuple[str, ...], path: Path) -> int:
    found = [index for index, heading in enumerate(headings) if heading in words]
    if len(found) != 1:
        raise InputError(
            f"'{path}' has the columns {', '.join(repr(one) for one in headings)}",
            "one 'counter' and one 'time' are needed",
        )
    return found[0]


def _pair(row: list[str], at_count: int, at_time: int, where: str) -> Pair:
    if len(row) <= max(at_count, at_time):
        raise InputError(f"{where} holds one column", "a counter reading and a time are needed")
    try:
        return Pair(read_count(row[at_count]), read_time_s(row[at_time]))
    except InputError as error:
        raise InputError(f"{where}: {error.seen}", error.needed, error.next_step) from None
