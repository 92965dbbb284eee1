"""`runstrue compare`: a deck as found against the same deck as left."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import click

from runstrue.catalogue import KINDS
from runstrue.cli.bench import Bench, bench_option
from runstrue.cli.teach import ExampleCommand
from runstrue.errors import LogbookError

if TYPE_CHECKING:
    from runstrue.logbook.models import Change, Deck, DeckRecord

WIDTHS, ALIGNED = (23, 8, 8, 17, 15), "<>>><"
FAMILY = "wow and flutter"
OF_PARTS = "flutter.part_"
"""Shares of parts are set side by side by `runstrue parts`."""
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
    shown = [
        change for change in record.changes
        if (channels or change.channel not in _ALONE) and not change.id.startswith(OF_PARTS)
    ]  # fmt: skip
    shown = _speed_once(shown or list(record.changes))
    for heading, changes in _sections(shown):
        yield ""
        yield bold(heading)
        alone = {change.words for change in changes}
        if all(change.difference is None for change in changes) and len(alone) == 1:
            yield from wrapped(f"{alone.pop()}.", "  ")  # one line for all of this place
            continue
        yield bold(columns(["", "found", "left", "change, 95 %", ""], WIDTHS, ALIGNED))
        flutter = False
        for change in changes:
            if change.id.startswith("flutter.") and not flutter:
                flutter = True
                yield f"{FAMILY}, %"
            yield from _rows(change, channels=channels)
    if all(change.difference is None for change in shown):
        return
    yield ""
    yield from wrapped(
        "Clearly: at least 99 % sure of the direction; probably: at least 95 %. "
        + (_SHARED if not _unshared_tape(shown) else _NOT_SHARED)
    )


_SHARED = (
    "What both readings share (the same test tape, the same sound card) has cancelled in the "
    "change."
)
_NOT_SHARED = (
    "The test tape's error has not cancelled, since it is not known that both readings were made "
    "with one tape: describe it (runstrue tape new) and measure with --tape."
)


def _unshared_tape(changes: Sequence[Change]) -> bool:
    """Whether the tape's error is still in a change."""
    return any(
        part.name.startswith("speed of the test tape, as")
        for change in changes
        if change.difference is not None
        for part in change.difference.budget
    )


_ALONE = ("left", "right")
NO_CHANGE = "no change that can be told from chance"


def _sections(changes: Sequence[Change]) -> Iterator[tuple[str, list[Change]]]:
    """Part what was recorded, place by place, from what was read off instruments."""
    typed = [change for change in changes if change.method.startswith("typed/")]
    places: dict[Place, list[Change]] = {}
    for change in changes:
        if change not in typed:
            places.setdefault(_place(change), []).append(change)
    for place, there in places.items():
        words = _place_words(place)
        yield (words[0].upper() + words[1:] if words else "From recordings"), there
    if typed:
        yield "Read off instruments", typed


def _speed_once(changes: Sequence[Change]) -> list[Change]:
    """Leave out the steadiest 30 s where the whole record is compared too."""
    methods = {change.method for change in changes}
    return [
        change
        for change in changes
        if not (change.method == "bell-mean-30s/1" and "bell-mean/1" in methods)
    ]


def _rows(change: Change, *, channels: bool) -> Iterator[str]:
    from runstrue.cli.layout import columns, shown_width, tinted, wrapped
    from runstrue.quantity import number_text
    from runstrue.report.words import is_signed

    name = _name(change, channels=channels)
    difference = change.difference
    found = change.found[-1].result.quantity if change.found else None
    left = change.left[-1].result.quantity if change.left else None
    if difference is None or found is None or left is None:
        yield from wrapped(f"{name}: {change.words}", "    ", first="")
        return
    moved = difference.quantity
    decimals = moved.decimals()
    signed = is_signed(KINDS.get(change.id))
    words = "no clear change" if change.words == NO_CHANGE else change.words
    colour = next((tint for word, tint in COLOURS.items() if word in words), "")
    cells = [
        name,
        number_text(found.value, decimals, signed=signed),
        number_text(left.value, decimals, signed=signed),
        f"{number_text(moved.value, decimals, signed=True)} "
        f"±{number_text(moved.expanded(), decimals)}",
        tinted(words, colour) if colour else words,
    ]
    if shown_width(name) > WIDTHS[0]:
        yield name
        cells[0] = ""
    yield columns(cells, WIDTHS, ALIGNED)


def _name(change: Change, *, channels: bool) -> str:
    """Name a row, with its unit unless the heading above says it."""
    from runstrue.report.words import name_of

    name = name_of(change.id)
    parts = [change.point] if change.point else []
    if channels and change.channel:
        parts.append(change.channel)
    if change.id.startswith("flutter."):
        return ", ".join(["  " + name.removeprefix(FAMILY + ", "), *parts])
    unit = KINDS[change.id].unit if change.id in KINDS else ""
    return ", ".join([name, *parts, unit]).rstrip(", ")


Place = tuple[str, str, str, float | None, str]


def _place(change: Change) -> Place:
    return (
        change.well, change.side, change.direction, change.speed_cm_s, change.noise_reduction
    )  # fmt: skip


def _place_words(place: Place) -> str:
    from runstrue.report.select import place_words

    return place_words(place)


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
