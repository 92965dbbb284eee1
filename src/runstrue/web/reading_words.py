"""Readings and verdicts of one recording, in the words and digits of the terminal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from runstrue.report.words import MARKS, figure_of, method_of, name_of, range_of, within_of
from runstrue.result import occasion_of

if TYPE_CHECKING:
    from runstrue.logbook.models import CaptureRecord, ReadingRecord


@dataclass(frozen=True, slots=True)
class ReadingWords:
    """One reading: what, how, on which channel, the figure and its 95 % half-width."""

    name: str
    how: str
    channel: str
    figure: str
    within: str
    doubts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class VerdictWords:
    """One verdict: the sheet's words, the outcome with its mark, and what to do."""

    limit: str
    mark: str
    outcome: str
    words: str
    advice: str


def readings_of(record: CaptureRecord) -> list[ReadingWords]:
    """All readings of a recording that are worth a line."""
    return [_words(one) for one in record.readings]


def earlier_of(readings: Sequence[ReadingRecord]) -> list[ReadingWords]:
    """Readings that were superseded."""
    return [_words(one) for one in readings]


def verdicts_of(record: CaptureRecord) -> list[VerdictWords]:
    """All verdicts on a recording."""
    from runstrue.cli.show_verdicts import outcome_and_advice

    found = []
    for one in record.verdicts:
        head, advice = outcome_and_advice(one.verdict)
        words = " ".join(one.verdict.limit.words.split())
        found.append(
            VerdictWords(words, MARKS[one.verdict.outcome], one.verdict.outcome, head, advice)
        )
    return found


def _words(reading: ReadingRecord) -> ReadingWords:
    result = reading.result
    figure, within = "", ""
    if result.quantity is not None:
        figure, within = figure_of(result.quantity, result.id), within_of(result.quantity)
    elif result.spread is not None:
        figure = range_of(result)
    occasion = occasion_of(result)
    name = name_of(result.id) + (f", {occasion}" if occasion else "")
    return ReadingWords(
        name, method_of(result.method)[0], result.channel, figure or "not known", within,
        tuple(result.doubts),
    )  # fmt: skip
