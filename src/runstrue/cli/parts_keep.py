"""Keeping an attribution with the capture that it was worked out from."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from runstrue.cli.bench import Bench
    from runstrue.cli.fault_keep import Joined
    from runstrue.cli.parts_work import Looked
    from runstrue.logbook.models import CaptureRecord, Deck


def keep_parts(bench: Bench, deck: Deck, looked: Looked) -> Joined:
    """Add the shares to the capture, and what they say to the deck's fault list.

    Raises
    ------
    LogbookError
        When the capture was measured again meanwhile.
    """
    from runstrue.cli.fault_keep import keep_findings
    from runstrue.measure.parts.kept import results_to_keep

    record = looked.heard.record
    assert record is not None
    results = results_to_keep(
        looked.attribution, looked.rounds,
        [one.what_if for one in looked.remedies if not one.asked],
    )  # fmt: skip
    with bench.open() as book:
        kept = book.add_results(record, results, basis=looked.drive.source)
        visit = next((one for one in book.visits(deck) if one.id == record.visit_id), None)
        return keep_findings(book, deck, visit, kept)


def kept_lines(bench: Bench, deck: Deck, record: CaptureRecord, joined: Joined) -> Iterator[str]:
    """Say what is in the logbook now."""
    from runstrue.cli.fault_keep import joined_lines
    from runstrue.cli.keep import quoted
    from runstrue.cli.layout import bold, wrapped

    yield ""
    yield bold("Stored")
    yield from wrapped(
        f"With number {record.id} of {deck.name}; the printed sheet shows it: "
        f"runstrue report {quoted(deck.name)}", "  ",
    )  # fmt: skip
    yield from joined_lines(bench, deck.name, joined)
