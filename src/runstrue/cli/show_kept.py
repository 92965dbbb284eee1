"""What was stored, and what to do next."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from runstrue.cli.keep import Keeper, quoted
from runstrue.cli.layout import bold, wrapped

if TYPE_CHECKING:
    from runstrue.logbook.models import CaptureRecord

NEXT = {
    "as found": "mend it, measure again with --stage left",
    "in between": "measure again, at last with --stage left",
    "as left": "runstrue compare {deck}; runstrue report {deck}",
}


def kept_lines(keeper: Keeper, records: Sequence[CaptureRecord]) -> Iterator[str]:
    """Say what is in the logbook now."""
    if not records:
        return
    facts = records[0].facts
    numbers = ", ".join(str(record.id) for record in records)
    what = "number" if len(records) == 1 else "numbers"
    readings = sum(len(record.readings) for record in records)
    yield ""
    yield bold("Stored")
    yield from wrapped(
        f"{keeper.deck.name}, {facts.stage}: {what} {numbers} with {readings} "
        f"reading{'s' if readings != 1 else ''}.", "  ",
    )  # fmt: skip
    if keeper.alike:
        yield from wrapped(
            f"The very same recording stands in this visit already ({'; '.join(keeper.alike)}): "
            f"if that is a slip, runstrue reading withdraw {records[-1].id}.", "  ",
        )  # fmt: skip
    if keeper.begun_visit:
        yield from wrapped(
            "A visit was begun with it; runstrue visit note says what was done, visit end hands "
            "the deck back.", "  ",
        )  # fmt: skip
    if keeper.sheet is None:
        yield from wrapped(
            f'The deck has no sheet yet: runstrue sheet "…" --deck {quoted(keeper.deck.name)}', "  "
        )
    yield from wrapped(
        "Next: " + NEXT[facts.stage].format(deck=quoted(keeper.deck.name)) + ".", "  "
    )
    if keeper.joined is not None:
        from runstrue.cli.fault_keep import joined_lines

        yield from joined_lines(keeper.bench, keeper.deck.name, keeper.joined)
