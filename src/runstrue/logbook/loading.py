"""Reading passes back. Every function here runs inside one read transaction."""

from __future__ import annotations

import sqlite3
from collections import defaultdict
from collections.abc import Iterable
from typing import Any

from runstrue.logbook import rows
from runstrue.logbook.models import (
    Addition,
    CaptureRecord,
    Deck,
    ReadingRecord,
    SheetEntry,
    SoundCard,
    VerdictRecord,
    Visit,
)
from runstrue.result import Condition, Deviation, Trace
from runstrue.verdict.models import Verdict

# The setting under which figures of sound cards are kept.
SOUND_CARD = "sound card"


def load_captures(
    connection: sqlite3.Connection, where: str, values: Iterable[object], *, curves: bool
) -> tuple[CaptureRecord, ...]:
    """Return captures with the analysis and judgement that count, oldest first.

    Parameters
    ----------
    where : str
        A condition on `capture`, written in this package, with ? for the values.
    curves : bool
        Whether to read deviations and traces, which may be many megabytes.
    """
    found = connection.execute(
        f"""
        SELECT capture.*, analysis.id AS analysis, analysis.summary, analysis.conditions,
               analysis.doubts, analysis.test_tape, analysis.made_at, analysis.program_version
        FROM capture JOIN analysis ON analysis.id = (
            SELECT max(later.id) FROM analysis AS later WHERE later.capture = capture.id
        )
        WHERE {where} ORDER BY capture.id
        """,
        tuple(values),
    ).fetchall()
    return tuple(_capture(connection, row, curves) for row in found)


def load_readings(
    connection: sqlite3.Connection, analysis: int, traces: dict[int | None, list[Trace]]
) -> tuple[ReadingRecord, ...]:
    """Return the readings of one analysis that stand, in the order in which they were made."""
    found = connection.execute(
        "SELECT * FROM standing_reading WHERE analysis = ? ORDER BY id", (analysis,)
    )
    return tuple(_reading(row, tuple(traces.get(row["id"], ()))) for row in found)


def load_superseded(connection: sqlite3.Connection, analysis: int) -> tuple[ReadingRecord, ...]:
    """Return the readings of one analysis for which an addition stands, oldest first."""
    found = connection.execute(
        "SELECT reading.*, added_reading.addition FROM reading "
        "LEFT JOIN added_reading ON added_reading.reading = reading.id "
        "WHERE analysis = ?1 AND id NOT IN "
        "(SELECT id FROM standing_reading WHERE analysis = ?1) ORDER BY id",
        (analysis,),
    )
    return tuple(_reading(row) for row in found)


def load_decks(connection: sqlite3.Connection) -> tuple[Deck, ...]:
    """Return all decks, hidden ones too, in the order in which they came."""
    return tuple(rows.deck_from(row) for row in connection.execute("SELECT * FROM deck"))


def load_sheets(connection: sqlite3.Connection, deck_id: int) -> tuple[SheetEntry, ...]:
    """Return the sheets of a deck, oldest first; all but the last are superseded."""
    found = connection.execute(
        "SELECT * FROM sheet WHERE deck = ? ORDER BY id", (deck_id,)
    ).fetchall()
    return tuple(rows.sheet_from(row, row is not found[-1]) for row in found)


def load_visits(connection: sqlite3.Connection, deck_id: int) -> tuple[Visit, ...]:
    """Return the visits of a deck, oldest first."""
    found = connection.execute("SELECT * FROM visit WHERE deck = ? ORDER BY id", (deck_id,))
    return tuple(rows.visit_from(row) for row in found)


def load_sound_cards(connection: sqlite3.Connection) -> tuple[SoundCard, ...]:
    """Return what was entered about sound cards, oldest first."""
    found = connection.execute(
        "SELECT value FROM setting WHERE name = ? ORDER BY id", (SOUND_CARD,)
    )
    return tuple(rows.decoded(row["value"], SoundCard) for row in found)


def _reading(row: sqlite3.Row, traces: tuple[Trace, ...] = ()) -> ReadingRecord:
    return ReadingRecord(
        id=row["id"],
        result=rows.result_from(row, traces),
        made_at=row["made_at"],
        program_version=row["program_version"],
        replaces=row["replaces"],
        addition_id=row["addition"],
    )


def _capture(connection: sqlite3.Connection, row: sqlite3.Row, curves: bool) -> CaptureRecord:
    analysis = row["analysis"]
    traces = _traces(connection, analysis) if curves else {}
    conditions: dict[str, Condition] = rows.decoded(row["conditions"], dict[str, Any])
    return CaptureRecord(
        id=row["id"],
        deck_id=row["deck"],
        visit_id=row["visit"],
        facts=rows.facts_from(row),
        source=row["source"],
        readings=load_readings(connection, analysis, traces),
        verdicts=_verdicts(connection, analysis),
        made_at=row["made_at"],
        program_version=row["program_version"],
        stored_at=row["stored_at"],
        file_name=row["file_name"],
        sha256=row["recording"] or "",
        tape=None if row["test_tape"] is None else rows.tape_from(row["test_tape"]),
        summary=row["summary"],
        conditions=conditions,
        doubts=tuple(rows.decoded(row["doubts"], list[str])),
        additions=_additions(connection, analysis),
        deviation=_deviation(connection, analysis) if curves else None,
        traces=tuple(traces.get(None, ())),
        hidden=row["hidden_at"] is not None,
    )


def _traces(connection: sqlite3.Connection, analysis: int) -> dict[int | None, list[Trace]]:
    """Return the curves of an analysis by the reading that they belong to."""
    traces: dict[int | None, list[Trace]] = defaultdict(list)
    for row in connection.execute(
        "SELECT * FROM trace WHERE analysis = ? ORDER BY id", (analysis,)
    ):
        traces[row["reading"]].append(rows.trace_from(row))
    return traces


def _additions(connection: sqlite3.Connection, analysis: int) -> tuple[Addition, ...]:
    found = connection.execute("SELECT * FROM addition WHERE analysis = ? ORDER BY id", (analysis,))
    return tuple(
        Addition(
            id=row["id"],
            method=row["method"],
            basis=row["basis"],
            made_at=row["made_at"],
            program_version=row["program_version"],
        )
        for row in found
    )


def _deviation(connection: sqlite3.Connection, analysis: int) -> Deviation | None:
    row = connection.execute("SELECT * FROM deviation WHERE analysis = ?", (analysis,)).fetchone()
    return None if row is None else rows.deviation_from(row)


def _verdicts(connection: sqlite3.Connection, analysis: int) -> tuple[VerdictRecord, ...]:
    """Return the verdicts of the latest judgement of an analysis."""
    found = connection.execute(
        """
        SELECT verdict.*, judgement.sheet, judgement.judged_at, judgement.program_version
        FROM verdict JOIN judgement ON judgement.id = verdict.judgement
        WHERE judgement.id = (SELECT max(id) FROM judgement WHERE analysis = ?)
        ORDER BY verdict.id
        """,
        (analysis,),
    )
    return tuple(
        VerdictRecord(
            id=row["id"],
            verdict=rows.decoded(row["whole"], Verdict),
            reading_id=row["reading"],
            sheet_id=row["sheet"],
            judged_at=row["judged_at"],
            program_version=row["program_version"],
        )
        for row in found
    )
