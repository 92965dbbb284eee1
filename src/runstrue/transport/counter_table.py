"""The table that goes onto the deck: time played and left for every so many counts."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from runstrue.errors import InputError
from runstrue.quantity import Quantity
from runstrue.transport.counter_law import Law
from runstrue.transport.counter_pairs import clock_text

STEPS_S = (1.0, 5.0, 10.0, 30.0, 60.0)
STEPS = (10, 20, 25, 50, 100, 200, 250, 500, 1000)
USUAL_ROWS = 24
MOST_ROWS = 400


@dataclass(frozen=True, slots=True)
class Column:
    """Times for one tape.

    Parameters
    ----------
    name : str
    played, left : tuple of str
        One for each count; empty past the end of the tape, and `left` where its length is not
        known.
    played_half_s, left_half_s : float
        Largest half-width of the 95 % intervals in the column, in s.
    """

    name: str
    played: tuple[str, ...]
    left: tuple[str, ...]
    played_half_s: float
    left_half_s: float


@dataclass(frozen=True, slots=True)
class CounterTable:
    """Counts down the side, one column for each tape."""

    counts: tuple[int, ...]
    columns: tuple[Column, ...]


def counter_table(laws: Sequence[tuple[str, Law]], step: int | None = None) -> CounterTable:
    """Make a table.

    Parameters
    ----------
    laws : sequence of (str, Law)
        Name of the tape, and its law.
    step : int, optional
        Counts from row to row; else what gives about two dozen rows.

    Raises
    ------
    InputError
        When the step is no good.

    Notes
    -----
    A column is rounded no finer than it is known: to 1, 5, 10, 30 or 60 s.
    """
    ends = [law.middle_end() for _, law in laws]
    reached = [
        law.last_count if end is None else end for end, (_, law) in zip(ends, laws, strict=True)
    ]
    last = max(reached)
    if step is None:
        step = next((one for one in STEPS if last / one <= USUAL_ROWS), STEPS[-1])
    if step < 1 or last / step > MOST_ROWS:
        raise InputError(
            f"A row for every {step} counts was asked for",
            f"steps of 1 and more that give at most {MOST_ROWS} rows are needed",
        )
    counts = tuple(range(0, math.floor(last) + 1, step))
    columns = tuple(
        _column(name, law, counts, end) for (name, law), end in zip(laws, reached, strict=True)
    )
    return CounterTable(counts, columns)


def _column(name: str, law: Law, counts: tuple[int, ...], end: float) -> Column:
    inside = [count for count in counts if count <= end]
    played = [law.played(count) for count in inside]
    left = [law.left(count) for count in inside]
    known = [one for one in left if one is not None]
    gap = [""] * (len(counts) - len(inside))
    return Column(
        name,
        (*_rounded(played), *gap),
        (*(_rounded(known) if known else [""] * len(inside)), *gap),
        _widest(played),
        _widest(known),
    )


def _rounded(times: Sequence[Quantity]) -> list[str]:
    half = _widest(times)
    step = max((one for one in STEPS_S if one <= half), default=STEPS_S[0])
    rounded = [max(round(one.value / step) * step, 0.0) for one in times]
    if step == STEPS_S[-1]:
        return [f"{value / 60:.0f} min" for value in rounded]
    return [clock_text(value) for value in rounded]


def _widest(times: Sequence[Quantity]) -> float:
    return max((one.expanded() for one in times), default=0.0)
