"""Readings that go into the logbook join the deck's fault list."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import msgspec

from runstrue.faults.findings import Finding, checks_read, read_findings
from runstrue.faults.models import Evidence
from runstrue.faults.read import read_knowledge

if TYPE_CHECKING:
    from runstrue.cli.bench import Bench
    from runstrue.logbook import Logbook
    from runstrue.logbook.models import CaptureRecord, Deck, Visit

MEASURED_AGAIN = "measured again, and not sure either way"


@dataclass(frozen=True, slots=True)
class Joined:
    """What readings did to a fault list.

    Parameters
    ----------
    findings : tuple of Finding
        Those that point to a fault.
    cleared : tuple of Finding
        Those that answer well what pointed to a fault before.
    """

    findings: tuple[Finding, ...] = ()
    cleared: tuple[Finding, ...] = ()

    def and_also(self, other: Joined) -> Joined:
        """Return both together."""
        return Joined((*self.findings, *other.findings), (*self.cleared, *other.cleared))


def keep_findings(book: Logbook, deck: Deck, visit: Visit | None, record: CaptureRecord) -> Joined:
    """Keep what the readings of a pass say, each with the reading that it came from.

    What they clear is kept too. A check that earlier readings answered, and these could have
    answered but are not sure of, is open again.
    """
    measured = record.measured
    standing = {one.evidence.key: one.evidence for one in book.evidence(deck, visit)}
    numbers = {id(one.result): one.id for one in record.readings}
    passes = [
        (one.facts.position, one.measured)
        for one in book.captures(deck)
        if one.visit_id == record.visit_id and one.facts.position and one.id <= record.id
    ]
    found = read_findings(
        measured,
        [one.verdict for one in record.verdicts],
        passes=passes if record.facts.position else (),
    )
    for one in found:
        number = next(
            (numbers[id(result)] for result in one.results if id(result) in numbers), None
        )
        book.add_evidence(deck, visit, msgspec.structs.replace(one.evidence, reading_id=number))
    answered = {one.evidence.key for one in found}
    for check in checks_read(measured):
        if check not in answered and _was_read(standing.get(check)):
            again = Evidence(kind="check", key=check, answer="unknown", because=MEASURED_AGAIN)
            book.add_evidence(deck, visit, again)
    return Joined(
        tuple(one for one in found if one.points),
        tuple(
            one for one in found if not one.points and _points(standing.get(one.evidence.key))
        ),
    )  # fmt: skip


def keep_anew(book: Logbook, record: CaptureRecord) -> None:
    """Let all readings of a pass's visit join the fault list again, once one was withdrawn."""
    for deck in book.decks(hidden=True):
        if deck.id == record.deck_id:
            visit = next((one for one in book.visits(deck) if one.id == record.visit_id), None)
            for one in book.captures(deck):
                if one.visit_id == record.visit_id:
                    keep_findings(book, deck, visit, one)


def joined_lines(bench: Bench, deck: str, joined: Joined) -> Iterator[str]:
    """What the readings did to the fault list, and what is likeliest now."""
    from runstrue.cli.fault_bench import FaultBench
    from runstrue.cli.fault_find import finder_of
    from runstrue.cli.fault_list import chance_of
    from runstrue.cli.keep import quoted
    from runstrue.cli.layout import bold, wrapped

    if not (joined.findings or joined.cleared):
        return
    yield ""
    yield bold("Fault list")
    for one in joined.findings:
        yield from wrapped(f"{_capital(one.evidence.because)}.", "    ", first="  ")
    for one in joined.cleared:
        yield from wrapped(f"Cleared: {one.evidence.because}.", "    ", first="  ")
    held = FaultBench.open(bench, deck)
    suspects = finder_of(held).posterior(held.evidence).suspects
    if suspects:
        first = suspects[0]
        yield from wrapped(
            f"Likeliest now: {first.cause.name} ({chance_of(first)}); see runstrue fault "
            f"{quoted(deck)}.", "  ",
        )  # fmt: skip
    else:
        yield "  Nothing that is known points to a fault any more."


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _was_read(evidence: Evidence | None) -> bool:
    """Whether what stands came from a reading, and says something."""
    return evidence is not None and evidence.reading_id is not None and evidence.answer != "unknown"


def _points(evidence: Evidence | None) -> bool:
    """Whether what stands points to a cause."""
    if evidence is None or evidence.kind != "check":
        return False
    check = read_knowledge().checks.get(evidence.key)
    return check is not None and any(
        one.id == evidence.answer and one.points_to for one in check.outcomes
    )
