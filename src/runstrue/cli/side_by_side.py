"""Recordings of a test programme side by side: tape types, azimuths, before and after."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from runstrue.catalogue import KINDS
from runstrue.cli.layout import bold, columns, faint, wrapped
from runstrue.cli.show_many import short
from runstrue.report.words import is_signed, name_of
from runstrue.result import occasion_of

if TYPE_CHECKING:
    from runstrue.cli.measured import Done
    from runstrue.result import Result

NAME, COLUMN, ABREAST = 36, 12, 3
OTHERS = ("speed.", "flutter.", "dropout.")
"""Families that stand in the line of each recording, or say nothing of a programme."""

Key = tuple[str, str, str, str]


def side_by_side_lines(done: Sequence[Done]) -> Iterator[str]:
    """Figures that two recordings or more have in common, a column each, three abreast.

    Nothing where they hold no test programme.
    """
    good = [one for one in done if one.measured is not None]
    held = [_figures(one) for one in good]
    rows = [
        key for key in dict.fromkeys(key for one in held for key in one)
        if sum(key in one for one in held) > 1
    ]  # fmt: skip
    if not rows:
        return
    yield ""
    yield bold("Side by side")
    for first in range(0, len(good), ABREAST):
        if first:
            yield ""
        shown = range(first, min(first + ABREAST, len(good)))
        widths, aligned = (NAME, *[COLUMN] * len(shown)), "<" + ">" * len(shown)
        yield faint(
            columns(["", *(short(good[at].given, COLUMN) for at in shown)], widths, aligned)
        )
        for key in rows:
            cells = [_text(held[at].get(key)) for at in shown]
            if not any(cells):
                continue
            *before, last = wrapped(_name(held, key), "    ", first="  ", width=NAME)
            yield from before
            yield columns([last, *cells], widths, aligned)


def _figures(done: Done) -> dict[Key, Result]:
    """Results with a figure, by what makes them the same reading; the first of each."""
    assert done.measured is not None
    found: dict[Key, Result] = {}
    for one in done.measured.results:
        if one.quantity is not None and not one.id.startswith(OTHERS):
            found.setdefault((one.id, one.method, occasion_of(one), one.channel), one)
    return found


def _name(held: Sequence[dict[Key, Result]], key: Key) -> str:
    result = next(one[key] for one in held if key in one)
    return ", ".join(filter(None, (name_of(result.id), key[2], key[3])))


def _text(result: Result | None) -> str:
    if result is None or result.quantity is None:
        return ""
    at = ""
    if result.conditions.get("at least"):
        at = "≥ "
    elif "at most" in result.conditions:
        at = "≤ "
    quantity = result.quantity
    fine = 2 if quantity.unit.startswith("dB") else 3  # side by side, no finer than is heard
    text = quantity.value_text(
        signed=is_signed(KINDS.get(result.id)), decimals=min(quantity.decimals(), fine)
    )
    return f"{at}{text} {quantity.unit}"
