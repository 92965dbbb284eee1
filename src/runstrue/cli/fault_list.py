"""Where fault-finding on a deck stands: what is known, the likely causes with why, what is next."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from runstrue.cli.fault_show import chance_words, heading_with, minutes_words
from runstrue.cli.layout import bold, faint, tinted, wrapped

if TYPE_CHECKING:
    from runstrue.faults.infer import CauseRow, Ranking
    from runstrue.faults.models import Evidence, Knowledge
    from runstrue.faults.next_check import NextChecks

SHOWN = 5
LEAST_SHOWN = 0.02
"""A cause with less is not worth a line, unless it is among the first three."""


def evidence_lines(evidence: Sequence[Evidence], knowledge: Knowledge) -> Iterator[str]:
    """What was said and seen, numbered, so that it can be taken back."""
    if not evidence:
        yield "Nothing was said or seen yet."
        return
    yield bold("What is known")
    for number, one in enumerate(evidence, 1):
        yield from wrapped(evidence_words(one, knowledge), " " * 6, first=f"{number:>4}  ")


def evidence_words(evidence: Evidence, knowledge: Knowledge) -> str:
    """Say one thing that was seen: what was looked at, what came of it, from which reading."""
    if evidence.kind == "symptom":
        name = knowledge.symptoms[evidence.key].name
        not_so = {"absent": "not so: ", "unknown": "not known: "}.get(evidence.answer, "")
        told = not_so + name
    else:
        check = knowledge.checks[evidence.key]
        seen = next((one.see for one in check.outcomes if one.id == evidence.answer), "")
        told = f"{check.name}: {evidence.because or seen or 'could not be told'}"
    return told + (f" (reading {evidence.reading_id})" if evidence.reading_id is not None else "")


def ranking_lines(
    ranking: Ranking,
    knowledge: Knowledge,
    *,
    why: bool = True,
    ids: bool = False,
    basis: bool = True,
    count: int = SHOWN,
) -> Iterator[str]:
    """The likely causes in order, each with its chance, what that rests on, and why.

    Parameters
    ----------
    why : bool
        What spoke for and against each.
    ids : bool
        The id by which each is named.
    basis : bool
        The sentence that says what chances rest on; each chance has its own word in any case.
    count : int
    """
    yield bold("Likely causes")
    for number, row in enumerate(shown_rows(ranking, count), 1):
        yield from _row_lines(number, row, ids=ids)
        if why:
            yield from why_lines(row, knowledge)
            for line in wrapped(rests_on(row), " " * 15, first="      rests on ".ljust(15)):
                yield faint(line)
    if not ranking.suspects:
        yield "      Nothing that was said or seen points to any cause yet."
        return
    yield heading_with("      none of these", chance_words(ranking.none_of_these))
    for conflict in ranking.conflicts:
        for line in wrapped(conflict.words, "    ", first="  ? "):
            yield tinted(line, "yellow")
    for line in wrapped(BASIS, "  ") if basis else ():
        yield faint(line)


def _row_lines(number: int, row: CauseRow, *, ids: bool) -> Iterator[str]:
    yield heading_with(f"{number:>4}  {row.cause.name}", chance_of(row))
    if ids:
        yield faint(f"      {row.cause.id}")


BASIS = (
    "Chances rest on how often parts are named in open repair counts, on this bench's own "
    "repairs, and on judgement, as said beside each; they order the work and prove nothing."
)


def shown_rows(ranking: Ranking, count: int = SHOWN) -> tuple[CauseRow, ...]:
    """Return the causes that are worth a line."""
    rows = ranking.suspects[:count]
    return tuple(row for number, row in enumerate(rows) if number < 3 or row.chance >= LEAST_SHOWN)


def chance_of(row: CauseRow) -> str:
    """Print a chance with what it rests on."""
    return f"{chance_words(row.chance)}, {row.basis}"


def rests_on(row: CauseRow) -> str:
    """Say what a chance rests on, and how far it goes with that."""
    low, high = (5 * round(20 * one) for one in (row.low, row.high))
    span = f"; {low} to {high} % with it" if low != high else ""
    return f"{row.origin.words}{span}"


def why_lines(row: CauseRow, knowledge: Knowledge) -> Iterator[str]:
    """Which evidence spoke for a cause, and which against it."""
    for word, spokes in (("for", row.for_), ("against", row.against)):
        said = "; ".join(
            f"{short_words(one.evidence, knowledge)} ({one.strength})" for one in spokes
        )
        if said:
            yield from wrapped(said, " " * 15, first=f"      {word + ':':<9}")


def short_words(evidence: Evidence, knowledge: Knowledge) -> str:
    """Say one thing that was seen in few words."""
    if evidence.because:
        return evidence.because
    if evidence.kind == "symptom":
        name = knowledge.symptoms[evidence.key].name
        return name if evidence.answer == "present" else f"not so: {name}"
    return evidence_words(evidence, knowledge)


def next_lines(found: NextChecks, knowledge: Knowledge) -> Iterator[str]:
    """The next best checks in a line each, and what was held back, and why."""
    if found.suggestions:
        yield bold("Next best checks")
    else:
        yield "No check that is left would tell more."
    for number, one in enumerate(found.suggestions, 1):
        beside = f"{minutes_words(one.minutes)}; {one.check.power}"
        yield heading_with(f"{number:>4}  {one.check.name}", beside)
        yield from wrapped(f"{one.why} ({one.check.id})", " " * 6)
    yield from held_back_lines(found)


def held_back_lines(found: NextChecks) -> Iterator[str]:
    """What would have been offered, and why it was not: one sentence a reason."""
    by_reason: dict[str, list[str]] = {}
    for one in found.held_back:
        by_reason.setdefault(HELD_BACK.get(one.kind, one.reason), []).append(one.check.name)
    for reason, names in by_reason.items():
        told = "; ".join(names[:3]) + (f"; and {len(names) - 3} more" if len(names) > 3 else "")
        for line in wrapped(f"Not offered, {reason}: {told}.", "    ", first="  - "):
            yield faint(line)


HELD_BACK = {
    "mains": (
        "since its electrical risk is for somebody who is trained for mains work, and says so "
        "(runstrue fault settings)"
    ),
    "looks before power": "since it needs power, and the looks before power are not through",
}
"""One reason for several checks; others have each their own."""
