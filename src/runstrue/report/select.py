"""What of a deck's record the report shows: one visit's readings, grouped as they belong.

The latest visit with captures is shown (captures without a visit where there is none). Within
it readings are grouped by quantity, method, channel and place on the deck, because an
auto-reverse or double deck has a reading for each; the latest one of a stage counts.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from runstrue.logbook.models import (
    CaptureFacts,
    CaptureRecord,
    Change,
    DeckRecord,
    ReadingRecord,
    Stage,
)
from runstrue.result import occasion_of
from runstrue.verdict.models import Limit, Verdict

Place = tuple[str, str, str, float | None, str]  # well, side, direction, speed, noise reduction
CHANNELS = ("", "both", "mono", "left", "right")
NO_PLACE: Place = ("", "", "", None, "")


@dataclass(frozen=True, slots=True)
class Shown:
    """One reading with the capture it belongs to."""

    reading: ReadingRecord
    capture: CaptureRecord


@dataclass(slots=True)
class Group:
    """All readings of one quantity by one method at one place, oldest first, by stage."""

    place: Place
    stages: dict[Stage, list[Shown]] = field(default_factory=dict)
    change: Change | None = None

    def latest(self, stage: Stage) -> Shown | None:
        """Return the reading that counts at this stage."""
        return self.stages[stage][-1] if self.stages.get(stage) else None

    def any(self) -> Shown:
        """Return one reading, for what all of them share."""
        return next(iter(self.stages.values()))[-1]


@dataclass(frozen=True, slots=True)
class Judgement:
    """One figure of the sheet with the verdict of each stage, at one place of the deck."""

    limit: Limit
    place: Place
    verdicts: dict[Stage, tuple[Verdict, Shown | None]]


def shown_captures(record: DeckRecord) -> tuple[CaptureRecord, ...]:
    """Return the captures of the latest visit that has any, oldest first."""
    for visit in reversed(record.visits):
        captures = record.captures_of(visit)
        if captures:
            return captures
    return record.captures_of(None)


def place_of(facts: CaptureFacts) -> Place:
    """Where on the deck a pass was made."""
    return (facts.well, facts.side, facts.direction, facts.speed_cm_s, facts.noise_reduction)


def groups_of(record: DeckRecord, captures: Sequence[CaptureRecord]) -> list[Group]:
    """Group readings, in the order in which they were first met."""
    groups: dict[tuple[str, str, str, Place, str], Group] = {}
    replaced = {reading.replaces for capture in captures for reading in capture.readings}
    for capture in captures:
        place = place_of(capture.facts)
        for reading in capture.readings:
            if reading.id in replaced:
                continue
            result = reading.result
            key = (result.id, result.method, result.channel, place, occasion_of(result))
            group = groups.setdefault(key, Group(place))
            group.stages.setdefault(capture.facts.stage, []).append(Shown(reading, capture))
    changes = {
        change.left[-1].id: change for change in record.changes if change.left and change.found
    }
    for group in groups.values():
        left = group.latest("as left")
        group.change = changes.get(left.reading.id) if left else None
    return _ordered(groups)


def _ordered(groups: dict[tuple[str, str, str, Place, str], Group]) -> list[Group]:
    """Put channels and places of one quantity and method beside each other, both first."""
    first: dict[tuple[str, str], int] = {}
    for index, key in enumerate(groups):
        first.setdefault(key[:2], index)
    places = list(dict.fromkeys(key[3] for key in groups))

    def rank(key: tuple[str, str, str, Place, str]) -> tuple[int, int, int]:
        channel = CHANNELS.index(key[2]) if key[2] in CHANNELS else len(CHANNELS)
        return first[key[:2]], places.index(key[3]), channel

    return [groups[key] for key in sorted(groups, key=rank)]


def judgements_of(
    record: DeckRecord, captures: Sequence[CaptureRecord]
) -> tuple[list[Judgement], list[Judgement]]:
    """Return the verdicts on the sheet's figures, and those against other limits.

    A figure that was judged nowhere still has its row, so that nobody takes it for met. The
    second list holds limits that are not on the sheet in force: standards offered for
    comparison, and figures of an earlier sheet.
    """
    on_sheet = list(record.sheet.limits) if record.sheet else []
    others: list[Limit] = []
    for capture in captures:
        for stored in capture.verdicts:
            limit = stored.verdict.limit
            if limit not in on_sheet and limit not in others:
                others.append(limit)
    sheet = [row for limit in on_sheet for row in _rows(limit, captures, always=True)]
    rest = [row for limit in others for row in _rows(limit, captures, always=False)]
    return sheet, rest


def places_among(captures: Iterable[CaptureRecord]) -> set[Place]:
    """Return the different places; with one alone, none needs to be named."""
    return {place_of(capture.facts) for capture in captures if capture.source != "typed"}


def place_words(place: Place) -> str:
    """Say a place in words: 'well A, side B, reverse, 4.76 cm/s'."""
    well, side, direction, speed, noise_reduction = place
    return ", ".join(
        part
        for part in (
            f"well {well}" if well else "",
            f"side {side}" if side else "",
            direction,
            f"{speed:g} cm/s" if speed else "",
            f"noise reduction {noise_reduction}" if noise_reduction else "",
        )
        if part
    )


def _rows(limit: Limit, captures: Sequence[CaptureRecord], *, always: bool) -> list[Judgement]:
    found: dict[Place, dict[Stage, tuple[Verdict, Shown | None]]] = {}
    for capture in captures:
        readings = {reading.id: reading for reading in capture.readings}
        for stored in capture.verdicts:
            if stored.verdict.limit != limit or stored.verdict.reason == "not measured":
                continue
            reading = readings.get(stored.reading_id or 0)
            shown = Shown(reading, capture) if reading else None
            stages = found.setdefault(place_of(capture.facts), {})
            stages[capture.facts.stage] = (stored.verdict, shown)
    if found or not always:
        return [Judgement(limit, place, stages) for place, stages in found.items()]
    return [Judgement(limit, NO_PLACE, {})]
