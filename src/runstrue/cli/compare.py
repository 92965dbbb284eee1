"""`runstrue compare`: a deck as found against the same deck as left."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import click

from runstrue.cli.bench import Bench, bench_option
from runstrue.cli.teach import ExampleCommand
from runstrue.errors import LogbookError

if TYPE_CHECKING:
    from runstrue.logbook.models import Change, Deck, DeckRecord, ReadingRecord

WIDTHS, ALIGNED = (22, 13, 13, 13, 10), "<>>>>"
FAMILY = "wow and flutter"
COLOURS = {"better": "green", "worse": "red"}


@click.command(cls=ExampleCommand, short_help="Set a deck as found against the same deck as left.")
@click.argument("deck")
@click.option("--channels", is_flag=True, help="Left and right alone too.")
@bench_option
@click.pass_context
def compare(ctx: click.Context, deck: str, channels: bool) -> None:
    """Set a deck as found against the same deck as left.

      runstrue compare C-14

    What both readings share, the test tape's error and the clock's, cancels in the difference.
    """
    from runstrue.cli.keep import quoted
    from runstrue.cli.layout import out, wrapped

    with ctx.ensure_object(Bench).open() as book:
        found = book.find_deck(deck)
        record = book.deck_record(found, curves=False)
    if not record.changes:
        raise _nothing_to_compare(record)
    out(change_lines(record, channels=channels))
    out("")
    out(wrapped(f"Next: runstrue report {quoted(found.name)}"))


def change_lines(record: DeckRecord, *, channels: bool = False) -> Iterator[str]:
    """One row a quantity: found, left, the change with its 95 % interval, what it means."""
    from runstrue.cli.layout import bold, columns, wrapped

    deck = record.deck
    title = deck.name if deck.title in ("", deck.name) else f"{deck.name} ({deck.title})"
    yield from wrapped(f"{title}, as found against as left")
    shown = [change for change in record.changes if channels or change.channel not in _ALONE]
    if not shown:
        shown = list(record.changes)
    place = None
    for change in _speed_once(shown):
        here = _place_words(change, several=_several(shown))
        if here != place:
            place = here
            yield ""
            if here:
                yield bold(here[0].upper() + here[1:])
            heading = ["", "as found", "as left", "change", "95 %"]
            yield bold(columns(heading, WIDTHS, ALIGNED))
        yield from _rows(change, channels=channels)
    yield ""
    yield from wrapped(
        "Clearly: at least 99 % sure of the direction; probably: at least 95 %. What both "
        "readings share (the same test tape, the same sound card) has cancelled in the change."
    )


_ALONE = ("left", "right")


def _speed_once(changes: Sequence[Change]) -> list[Change]:
    """Leave out the steadiest 30 s where the whole record is compared too."""
    methods = {change.method for change in changes}
    return [
        change
        for change in changes
        if not (change.method == "bell-mean-30s/1" and "bell-mean/1" in methods)
    ]


def _rows(change: Change, *, channels: bool) -> Iterator[str]:
    from runstrue.cli.layout import columns, tinted, wrapped
    from runstrue.quantity import number_text
    from runstrue.report.words import name_of

    name = name_of(change.id).removeprefix(FAMILY + ", ")
    if change.point:
        name = f"{name} {change.point}"
    if channels and change.channel:
        name = f"{name}, {change.channel}"
    difference = change.difference
    if difference is None:
        yield from wrapped(f"{name}: {change.words}", "  ", first="")
        return
    moved = difference.quantity
    decimals = moved.decimals()
    unit = moved.unit
    cells = [
        name,
        _figure(change.found[-1]),
        _figure(change.left[-1]),
        f"{number_text(moved.value, decimals, signed=True)} {unit}",
        f"±{number_text(moved.expanded(), decimals)}",
    ]
    if len(name) > WIDTHS[0]:
        yield name
        cells[0] = ""
    yield columns(cells, WIDTHS, ALIGNED)
    colour = next((tint for word, tint in COLOURS.items() if word in change.words), "")
    yield "    " + (tinted(change.words, colour) if colour else change.words)


def _figure(reading: ReadingRecord) -> str:
    from runstrue.report.words import figure_of

    quantity = reading.result.quantity
    return figure_of(quantity, reading.result.id) if quantity else "no figure"


def _place(change: Change) -> tuple[str, str, str, float | None, str]:
    return (
        change.well, change.side, change.direction, change.speed_cm_s, change.noise_reduction
    )  # fmt: skip


def _several(changes: Sequence[Change]) -> bool:
    return len({_place(change) for change in changes}) > 1


def _place_words(change: Change, *, several: bool) -> str:
    from runstrue.report.select import place_words

    return (place_words(_place(change)) or "no place named") if several else ""


def _nothing_to_compare(record: DeckRecord) -> LogbookError:
    from runstrue.cli.keep import quoted

    deck: Deck = record.deck
    stages = {capture.facts.stage for capture in record.captures}
    missing = [stage for stage in ("as found", "as left") if stage not in stages]
    if missing:
        has = f"has no reading {' or '.join(missing)}"
    else:
        has = "was read as found and as left in different visits only"
    last = (missing or ["as left"])[-1].removeprefix("as ")
    return LogbookError(
        f"The deck '{deck.name}' {has}",
        "readings of both stages in one visit are needed",
        f"runstrue measure FILE --deck {quoted(deck.name)} --stage {last}",
    )
