"""From a logbook record to what the printed sheet says: words and rounded figures only.

The template computes nothing; whatever is counted, rounded or chosen happens here, where it
can be tested.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, fields
from typing import Any

from runstrue.logbook.models import CaptureRecord, DeckRecord
from runstrue.quantity import Quantity
from runstrue.report.cautions import CAUTIONS
from runstrue.report.glyphs import printable, unprintable
from runstrue.report.paper import (
    Fact,
    Paper,
    Pass,
    Picture,
    Stay,
    Way,
)
from runstrue.report.select import (
    Group,
    Judgement,
    groups_of,
    judgements_of,
    place_of,
    place_words,
    places_among,
    shown_captures,
)
from runstrue.report.tables import (
    FOUND,
    LEFT,
    culprit_rows,
    judged_row,
    peak_rows,
    reading_rows,
    share_rows,
)
from runstrue.report.told_parts import is_of_parts, repair_sentences, told_parts
from runstrue.report.words import (
    MARKS,
    condition_words,
    date_words,
    keep_together,
    method_of,
    name_of,
    span_words,
    within_of,
)
from runstrue.verdict.models import Outcome

# Conditions that have a place of their own on the sheet.
TOLD_ELSEWHERE = ("tape", "duration_s", "used_s")
HASH_LENGTH = 12  # of 64 digits: enough to tell the captures of a bench apart


def paper_of(
    record: DeckRecord, pictures: Sequence[tuple[str, str]] = (), *, title: str | None = None
) -> Paper:
    """Return the context of the printed sheet.

    Parameters
    ----------
    record : DeckRecord
    pictures : sequence of (str, str)
        Key of each figure and what it shows.
    title : str, optional
        Heading; else 'Bench record'.
    """
    captures = shown_captures(record)
    every = groups_of(record, captures)
    groups = [group for group in every if not is_of_parts(group.any().reading.result)]
    on_sheet, others = judgements_of(record, captures)
    several = len(places_among(captures)) > 1
    return _printable(
        Paper(
            title=title or "Bench record",
            deck=shorten(record.deck.title, 90),
            running=shorten(_with_serial(record), 80),
            made=date_words(record.read_at),
            program=f"Runstrue {record.program_version}".strip(),
            facts=_facts(record),
            summary=_summary(on_sheet, groups),
            stays=[
                Stay(_dates(visit.begun_at, visit.ended_at), visit.reason, visit.notes)
                for visit in record.visits
            ],
            judged=[
                *(judged_row(row, several, on_sheet=True) for row in on_sheet),
                *(judged_row(row, several, on_sheet=False) for row in others),
            ],
            sheet_source=_sheet_source(record),
            rule=next(
                (verdict.rule for row in on_sheet for verdict, _ in row.verdicts.values()), ""
            ),
            unread=[piece.words for piece in record.sheet.sheet.unread] if record.sheet else [],
            readings=reading_rows(groups, several),
            peaks=peak_rows(groups, several),
            culprits=culprit_rows(every, several),
            repairs=_repairs(record, captures),
            pictures=[Picture(key, told) for key, told in pictures],
            passes=[_pass(capture) for capture in captures],
            equipment=_equipment(record, captures),
            quotes=[Fact(one.words, one.quote) for one in record.papers if one.quote],
            ways=_ways(every),
            shares=share_rows(groups, several),
            doubts=_doubts(captures, several),
            cautions=list(CAUTIONS),
            lost="",
        )
    )


def _with_serial(record: DeckRecord) -> str:
    deck = record.deck
    return deck.title + (f", serial number {deck.serial}" if deck.serial else "")


def _facts(record: DeckRecord) -> list[Fact]:
    deck = record.deck
    speeds = ", ".join(f"{speed:g}" for speed in deck.speeds_cm_s)
    rows = (
        ("maker", deck.maker),
        ("model", deck.model),
        ("serial number", deck.serial),
        ("year", str(deck.year or "")),
        ("kind", deck.kind),
        ("speeds", f"{speeds} cm/s" if speeds else ""),
        ("heads", str(deck.heads or "")),
        ("wells", str(deck.wells or "")),
        ("mains setting", deck.mains),
        ("known here as", deck.name),
        ("notes", deck.notes),
    )
    return [Fact(label, value) for label, value in rows if value]


def _summary(on_sheet: Sequence[Judgement], groups: Sequence[Group]) -> list[str]:
    """Say first what whoever is handed this paper wants to know."""
    said = []
    stages = [stage for stage in (FOUND, LEFT) if any(stage in row.verdicts for row in on_sheet)]
    for stage in stages:
        judged = [row for row in on_sheet if stage in row.verdicts]
        outcomes = [row.verdicts[stage][0].outcome for row in judged]
        lines = len({row.limit.words for row in judged})
        counts = [(outcomes.count(outcome), outcome) for outcome in MARKS]
        parts = [f"{count} {_SUMMARY[outcome]}" for count, outcome in counts if count]
        figures = f"{lines} {'figure' if lines == 1 else 'figures'} of the sheet"
        of_what = (
            f"{figures} that were judged"
            if lines == len(outcomes)
            else f"{len(outcomes)} verdicts on {figures}, at more than one place of the deck"
        )
        said.append(f"{stage.capitalize()}, of {of_what}: {', '.join(parts)}.")
    missing = sum(not row.verdicts for row in on_sheet)
    if missing:
        noun = "figure of the sheet was" if missing == 1 else "figures of the sheet were"
        said.append(f"{missing} {noun} not measured.")
    if not on_sheet:
        said.append(
            "Nothing on a sheet to judge against: the readings stand for themselves."
            if groups
            else "Nothing has been measured yet."
        )
    return said


_SUMMARY: dict[Outcome, str] = {
    "meets": "met",
    "does not meet": "not met",
    "too close to call": "too close to call",
    "cannot be compared": "that cannot be compared",
}


def _pass(capture: CaptureRecord) -> Pass:
    facts = capture.facts
    tape = f"tape {facts.tape}" if facts.tape else ""
    position = f"at {facts.position}" if facts.position else ""
    where = [place_words(place_of(facts)), tape, position, facts.remark]
    names = dict.fromkeys(name_of(reading.result.id) for reading in capture.readings)
    kept = capture.sha256[:HASH_LENGTH]
    if not kept:
        kept = "typed in" if capture.source == "typed" else "no recording kept"
    elif capture.file_name:
        kept = f"{kept} {capture.file_name}"
    return Pass(
        stage=facts.stage,
        when=date_words(capture.made_at),
        where=", ".join(part for part in where if part),
        said=capture.summary or ", ".join(names),
        conditions=condition_words(
            {key: said for key, said in capture.conditions.items() if key not in TOLD_ELSEWHERE}
        ),
        kept=kept,
    )


def _equipment(record: DeckRecord, captures: Sequence[CaptureRecord]) -> list[Fact]:
    listened = [capture for capture in captures if capture.source != "typed"]
    rows = [Fact("test tape", said) for said in dict.fromkeys(map(_tape_words, listened))]
    card = record.sound_card
    if card is not None and listened:
        clock = Quantity(card.clock_ppm, "ppm", card.u_ppm)
        remark = f"; {card.remark}" if card.remark else ""
        rows.append(
            Fact(
                "sound card",
                f"{card.name}: clock off by {clock.value_text(signed=True)} ppm, "
                f"95 % within {within_of(clock) or '±0 ppm'}{remark}",
            )
        )
    return rows


def _tape_words(capture: CaptureRecord) -> str:
    """Say what is known of the test tape that was played."""
    tape = capture.tape
    if tape is None:
        return "not described"
    level = f"{tape.level:g} dB" if isinstance(tape.level, float | int) else tape.level
    if tape.speed_known_percent is not None and tape.speed_known_u_percent is not None:
        known = Quantity(tape.speed_known_percent, "%", tape.speed_known_u_percent)
        off = known.value_text(signed=True)
        speed = f"its speed off by {off} %, 95 % within {within_of(known) or '±0 %'}"
    else:
        speed = f"its speed within ±{tape.speed_tolerance_percent:g} %"
    own = f"its own flutter ±{tape.own_flutter_percent:g} % weighted peak"
    if tape.own_flutter_u_percent is not None:
        own += f", u = {tape.own_flutter_u_percent:g} %"
    return "; ".join(
        part
        for part in (
            tape.name + (f", batch {tape.batch}" if tape.batch else ""),
            "recorded at home" if tape.kind == "home" else "",
            f"tone {tape.tone_hz:g} Hz" if tape.tone_hz else "",
            level,
            speed,
            own,
            tape.remark,
        )
        if part
    )


def _ways(groups: Sequence[Group]) -> list[Way]:
    keys = dict.fromkeys(group.any().reading.result.method for group in groups)
    return [Way(*method_of(key)) for key in keys]


def _doubts(captures: Sequence[CaptureRecord], several: bool) -> list[str]:
    """List doubts once each, with the stage they hold for."""
    said: dict[str, list[str]] = {}
    for capture in captures:
        place = place_words(place_of(capture.facts)) if several else ""
        where = ", ".join(part for part in (capture.facts.stage, place) if part)
        own = [doubt for reading in capture.readings for doubt in reading.result.doubts]
        for doubt in dict.fromkeys((*capture.doubts, *own)):
            if where not in said.setdefault(doubt, []):
                said[doubt].append(where)
    return [f"{doubt} ({'; '.join(where)})" for doubt, where in said.items()]


def _sheet_source(record: DeckRecord) -> str:
    sheet = record.sheet
    if sheet is None:
        return "No sheet was entered for this deck."
    source = f" ({sheet.source})" if sheet.source else ""
    return f"As the sheet prints it{source}, entered {date_words(sheet.entered_at)}."


def _repairs(record: DeckRecord, captures: Sequence[CaptureRecord]) -> list[str]:
    """Say of the last pass of each stage which part is to be put right first."""
    said = []
    limits = record.sheet.limits if record.sheet else ()
    for stage in (FOUND, LEFT):
        told = [
            (parts, results)
            for capture in captures
            if capture.facts.stage == stage
            for results in ([reading.result for reading in capture.readings],)
            if (parts := told_parts(results)) is not None
        ]
        for parts, results in told[-1:]:
            sentences = repair_sentences(parts, results, limits)
            said += [f"{stage.capitalize()}: {words[0].lower()}{words[1:]}" for words in sentences]
    return said


def _dates(begun: str, ended: str) -> str:
    return span_words([begun, ended]) if ended else f"since {date_words(begun)}"


def shorten(text: str, width: int) -> str:
    """Cut a name that is too long for its place; the whole of it stands in the facts."""
    text = " ".join(text.split())
    return text if len(text) <= width else text[: width - 2].rstrip() + " …"


def _printable(paper: Paper) -> Paper:
    """Replace what the fonts lack, and say so."""
    lost = 0

    def walk(value: Any) -> Any:
        nonlocal lost
        if isinstance(value, str):
            lost += unprintable(value)
            return keep_together(printable(value))
        if isinstance(value, list):
            return [walk(one) for one in value]
        return type(value)(**{one.name: walk(getattr(value, one.name)) for one in fields(value)})

    shown: Paper = walk(paper)
    if not lost:
        return shown
    shown_dict = {one.name: getattr(shown, one.name) for one in fields(shown)}
    shown_dict["lost"] = (
        "An open box stands for a character that the fonts of this program do not hold; the "
        "logbook keeps it."
    )
    return Paper(**shown_dict)


def plain_of(paper: Paper) -> Mapping[str, Any]:
    """Return the context as plain values, as the template gets them."""
    return asdict(paper)
