"""Verdicts for a person: the sheet's words, the outcome, what to do now."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from runstrue.cli.layout import bold, faint, shown_width, tinted, wrapped

if TYPE_CHECKING:
    from runstrue.result import Measured
    from runstrue.verdict.models import Outcome, Verdict

WORDS_WIDTH = 30
COLOURS: dict[str, str] = {
    "meets": "green",
    "does not meet": "red",
    "too close to call": "yellow",
    "cannot be compared": "blue",
}


def verdict_lines(verdicts: Sequence[Verdict], unread: Sequence[str] = ()) -> Iterator[str]:
    """Against the sheet: one row a limit, advice under it."""
    yield ""
    yield bold("Against the sheet")
    judged = [verdict for verdict in verdicts if verdict.reason != "not measured"]
    for verdict in judged:
        yield from one_verdict(verdict)
    if not judged:
        yield "  Nothing on the sheet speaks of what was measured here."
    others = [
        verdict.limit.words.strip() for verdict in verdicts if verdict.reason == "not measured"
    ]
    if others:
        text = "; ".join(dict.fromkeys(others))
        yield from wrapped(f"not measured here: {text}", "    ", first="  ")
    if unread:
        yield from wrapped(f"not understood: {'; '.join(unread)}", "    ", first="  ")


def one_verdict(verdict: Verdict, *, notes: bool = True) -> Iterator[str]:
    """One limit: its words on the left, the outcome on the right, advice and notes below."""
    head, advice = outcome_and_advice(verdict)
    words = " ".join(verdict.limit.words.split())
    indent = " " * (WORDS_WIDTH + 2)
    if shown_width(words) <= WORDS_WIDTH - 2:
        first = f"  {words}".ljust(WORDS_WIDTH + 2)
    else:
        yield from wrapped(words, "    ", first="  ")
        first = indent
    lines = wrapped(head, indent, first=first)
    yield _coloured(lines[0], verdict.outcome)
    yield from lines[1:]
    if advice:
        yield from wrapped(advice, indent)
    for note in verdict.notes if notes else ():
        for line in wrapped(note, indent):
            yield faint(line)


def outcome_and_advice(verdict: Verdict) -> tuple[str, str]:
    """Part a verdict's words into the outcome and what to do now."""
    words, advice = verdict.words, verdict.advice.rstrip(".")
    if advice and words.endswith(advice):
        return words[: -len(advice)].rstrip(": "), advice
    return words, verdict.advice if verdict.advice not in words else ""


def comparison_lines(measured: Measured) -> Iterator[str]:
    """Offer a standard's minimum where there is no sheet."""
    from runstrue.verdict.bench import speed_advice
    from runstrue.verdict.judge import judge
    from runstrue.verdict.standards import DIN_45500, for_comparison

    verdicts = judge(for_comparison(()), measured.results)
    told = [
        f"{verdict.limit.words}: {_short_outcome(verdict)}"
        for verdict in verdicts
        if verdict.reason != "not measured"
    ]
    yield ""
    yield bold("No sheet was named") + ' (--sheet "Wow and flutter 0.14 % DIN")'
    if told:
        yield from wrapped(f"For comparison, {DIN_45500}: {'; '.join(told)}.", "  ")
    speed = measured.find("speed.deviation")
    advice = speed_advice(speed) if speed is not None else ""
    if advice:
        yield from wrapped(f"The speed: {advice}.", "  ")


def _short_outcome(verdict: Verdict) -> str:
    head = outcome_and_advice(verdict)[0]
    return head if verdict.chance is not None else head.partition(":")[0]


def _coloured(line: str, outcome: Outcome) -> str:
    """Tint the outcome's own words."""
    return line.replace(outcome, tinted(outcome, COLOURS[outcome]), 1)
