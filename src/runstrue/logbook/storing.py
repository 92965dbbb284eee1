"""Writing one pass down: capture, analysis, readings, curves, judgement, verdicts.

Every function here runs inside a transaction that its caller holds.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Mapping, Sequence

from runstrue import __version__
from runstrue.errors import LogbookError
from runstrue.logbook import rows
from runstrue.logbook.models import CaptureFacts, Source
from runstrue.logbook.recordings import Incoming
from runstrue.result import Measured, Result, Trace, occasion_of
from runstrue.stimulus.testtape import TestTape
from runstrue.verdict.models import Verdict

ReadingKey = tuple[str, str, str, str]


def insert_capture(
    connection: sqlite3.Connection,
    *,
    deck_id: int,
    visit_id: int | None,
    facts: CaptureFacts,
    source: Source,
    incoming: Incoming | None,
    now: str,
) -> int:
    """Write down a pass and the recording it left; return its number."""
    if incoming:
        connection.execute(
            "INSERT INTO recording SELECT ?, ?, ?, ? "
            "WHERE NOT EXISTS (SELECT 1 FROM recording WHERE sha256 = ?)",
            (
                incoming.sha256,
                incoming.stored_name,
                incoming.size_bytes,
                now,
                incoming.sha256,
            ),
        )
    names = ", ".join(rows.FACTS)
    return insert(
        connection,
        "capture",
        f"deck, visit, source, recording, file_name, stored_at, {names}",
        (
            deck_id,
            visit_id,
            source,
            incoming.sha256 if incoming else None,
            incoming.file_name if incoming else "",
            now,
            *rows.facts_values(facts),
        ),
    )


def insert_analysis(
    connection: sqlite3.Connection,
    capture_id: int,
    measured: Measured,
    *,
    tape: TestTape | None,
    replaces: Mapping[ReadingKey, int],
    now: str,
) -> int:
    """Write down what one run of the program said about a pass; return its number.

    Parameters
    ----------
    replaces : mapping
        Earlier readings by `reading_key`, for those that are measured again.
    """
    analysis = insert(
        connection,
        "analysis",
        "capture, summary, conditions, doubts, test_tape, made_at, program_version",
        (
            capture_id,
            measured.summary,
            rows.encoded(dict(measured.conditions)),
            rows.encoded(list(measured.doubts)),
            None if tape is None else rows.encoded(tape),
            now,
            __version__,
        ),
    )
    # Each earlier reading has one successor at most, should two results bear one key.
    free = dict(replaces)
    for result in measured.results:
        _insert_reading(connection, analysis, result, free.pop(reading_key(result), None), now)
    _insert_traces(connection, analysis, None, measured.traces)
    if measured.deviation is not None:
        insert(
            connection,
            "deviation",
            "analysis, rate_hz, nominal_hz, channels, samples, crc32, percent_f4",
            (analysis, *rows.deviation_values(measured.deviation)),
        )
    return analysis


def insert_additions(
    connection: sqlite3.Connection,
    analysis: int,
    results: Sequence[Result],
    *,
    basis: str,
    replaces: Mapping[ReadingKey, int],
    now: str,
) -> None:
    """Write down what methods said about an analysis later, one addition for each of them."""
    free = dict(replaces)
    additions: dict[str, int] = {}
    for result in results:
        method = method_name(result)
        if method not in additions:
            additions[method] = insert(
                connection,
                "addition",
                "analysis, method, basis, made_at, program_version",
                (analysis, method, basis, now, __version__),
            )
        replaced = free.pop(reading_key(result), None)
        reading = _insert_reading(connection, analysis, result, replaced, now)
        insert(connection, "added_reading", "reading, addition", (reading, additions[method]))


def insert_judgement(
    connection: sqlite3.Connection,
    analysis: int,
    verdicts: Sequence[Verdict],
    *,
    sheet_id: int | None,
    now: str,
) -> None:
    """Write down one look at an analysis with a sheet."""
    judgement = insert(
        connection,
        "judgement",
        "analysis, sheet, judged_at, program_version",
        (analysis, sheet_id, now, __version__),
    )
    readings = {
        (row["quantity"], row["method"], row["channel"]): row["id"]
        for row in connection.execute(
            "SELECT id, quantity, method, channel FROM standing_reading WHERE analysis = ? "
            "ORDER BY id DESC",
            (analysis,),
        )
    }
    for verdict in verdicts:
        insert(
            connection,
            "verdict",
            "judgement, reading, quantity, method, channel, words, outcome, chance, rule, whole",
            (
                judgement,
                readings.get((verdict.id, verdict.method, verdict.channel)),
                verdict.id,
                verdict.method,
                verdict.channel,
                verdict.words,
                verdict.outcome,
                verdict.chance,
                verdict.rule,
                rows.encoded(verdict),
            ),
        )


def stored_name(connection: sqlite3.Connection, incoming: Incoming) -> str:
    """Return the name of a recording: the one it has, where its bytes are kept already."""
    row = connection.execute(
        "SELECT stored_name FROM recording WHERE sha256 = ?", (incoming.sha256,)
    ).fetchone()
    return incoming.stored_name if row is None else str(row[0])


def reading_key(result: Result) -> ReadingKey:
    """Return what a reading and its successor share: the method's version may differ."""
    return result.id, method_name(result), result.channel, occasion_of(result)


def method_name(result: Result) -> str:
    """Return the method of a reading without its version."""
    return result.method.partition("/")[0]


def latest_analysis(connection: sqlite3.Connection, capture_id: int) -> int:
    """Return the number of the analysis of a capture that counts.

    Raises
    ------
    LogbookError
        When there is no such capture.
    """
    row = connection.execute(
        "SELECT max(id) FROM analysis WHERE capture = ?", (capture_id,)
    ).fetchone()
    if row[0] is None:
        raise LogbookError(
            f"There is no capture with the number {capture_id} in this logbook",
            "the number of a capture that it holds is needed",
        )
    return int(row[0])


def insert(
    connection: sqlite3.Connection, table: str, columns: str, values: Iterable[object]
) -> int:
    """Add a row and return its number."""
    filled = tuple(values)
    marks = ", ".join("?" * len(filled))
    cursor = connection.execute(f"INSERT INTO {table} ({columns}) VALUES ({marks})", filled)
    return int(cursor.lastrowid or 0)


def _insert_reading(
    connection: sqlite3.Connection, analysis: int, result: Result, replaces: int | None, now: str
) -> int:
    reading = insert(
        connection,
        "reading",
        f"analysis, {rows.RESULT_COLUMNS}, made_at, program_version, replaces",
        (analysis, *rows.result_values(result), now, __version__, replaces),
    )
    _insert_traces(connection, analysis, reading, result.traces)
    return reading


def _insert_traces(
    connection: sqlite3.Connection, analysis: int, reading: int | None, traces: Iterable[Trace]
) -> None:
    for trace in traces:
        insert(
            connection,
            "trace",
            f"analysis, reading, {rows.TRACE_COLUMNS}",
            (analysis, reading, *rows.trace_values(trace)),
        )
