"""The part of the logbook that is measured: passes with their readings and verdicts.

All of a pass is stored or nothing of it. Readings and verdicts are only ever added: what is
measured or judged again stands beside what it replaces.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path

from runstrue import __version__
from runstrue.errors import LogbookError
from runstrue.logbook import loading, rows, storing
from runstrue.logbook.database import Database
from runstrue.logbook.diagnosis import Diagnosis
from runstrue.logbook.models import (
    CaptureFacts,
    CaptureRecord,
    Deck,
    ReadingRecord,
    SheetEntry,
    Source,
    Visit,
)
from runstrue.logbook.recordings import Incoming, Recordings
from runstrue.logbook.register import deck_of, visit_of
from runstrue.result import Measured, Result
from runstrue.samples import Signal
from runstrue.stimulus.testtape import TestTape
from runstrue.verdict.models import Verdict


class Passes(Diagnosis):
    """Passes of an open database, on top of its decks and what is known of them."""

    def __init__(self, database: Database) -> None:
        super().__init__(database)
        self._recordings = Recordings(database.folder)
        self._recordings.clear_stale()

    def store(
        self,
        deck: Deck,
        visit: Visit | None,
        facts: CaptureFacts,
        measured: Measured,
        verdicts: Sequence[Verdict] = (),
        file: Path | None = None,
        sha256: str = "",
        *,
        signal: Signal | None = None,
        tape: TestTape | None = None,
        sheet: SheetEntry | None = None,
    ) -> CaptureRecord:
        """Keep one pass: its recording, readings and verdicts, all of it or nothing.

        Parameters
        ----------
        deck : Deck
        visit : Visit or None
        facts : CaptureFacts
        measured : Measured
            Its deviation and traces are kept too.
        verdicts : sequence of Verdict
        file : Path or None
            The recording; its bytes are copied as they are, once however often it is stored.
            None where there is none: several starts combined (`facts.starts_group` says
            which), or a recording that is not to be kept.
        sha256 : str
            Of the bytes that were measured, 64 hexadecimal digits; a file that has changed
            since is refused. Empty: not checked.
        signal : Signal, optional
            What was measured where there is no file; kept as FLAC of 24 bit.
        tape : TestTape, optional
            The test tape as it is described now.
        sheet : SheetEntry, optional
            The sheet that the verdicts rest on.

        Returns
        -------
        CaptureRecord
            Without curves; `capture` reads those.

        Raises
        ------
        FileError
            When the file cannot be read or has changed.
        LogbookError
            When it cannot be stored; nothing of it is stored then.
        """
        source: Source = "not kept"
        with ExitStack() as stack:
            incoming: Incoming | None = None
            if file is not None:
                source = "file"
                incoming = stack.enter_context(self._recordings.incoming_file(file, sha256))
            elif signal is not None:
                source = signal.origin.kind
                incoming = stack.enter_context(self._recordings.incoming_signal(signal))
            elif facts.starts_group:
                source = "combined"
            return self._store(
                deck, visit, facts, measured, verdicts, source, incoming, tape, sheet
            )

    def store_typed(
        self,
        deck: Deck,
        facts: CaptureFacts,
        result: Result,
        verdicts: Sequence[Verdict] = (),
        *,
        visit: Visit | None = None,
        sheet: SheetEntry | None = None,
        corrects: CaptureRecord | None = None,
    ) -> CaptureRecord:
        """Keep a reading that was read off an instrument: torque, force, voltage, needle.

        Parameters
        ----------
        result : Result
            With a method 'typed/…', a quantity and its standard uncertainty.
        corrects : CaptureRecord, optional
            The typed reading that this one replaces; the old one stays, with its successor.

        Raises
        ------
        LogbookError
            When the result is not a typed one, or has no figure.
        """
        if not result.method.startswith("typed/") or result.quantity is None:
            raise LogbookError(
                f"A reading of {result.id} by the method '{result.method}' was to be typed in",
                "a figure with its uncertainty and the method 'typed/1' are needed",
            )
        measured = Measured(summary="", results=(result,))
        if corrects is None:
            return self._store(deck, visit, facts, measured, verdicts, "typed", None, None, sheet)
        if corrects.source != "typed" or corrects.deck_id != deck.id:
            raise LogbookError(
                f"The capture {corrects.id} was to be corrected by a typed reading",
                f"a typed reading of the deck '{deck.name}' is needed",
            )
        return self.measure_again(corrects, measured, verdicts, sheet=sheet, facts=facts)

    def measure_again(
        self,
        capture: CaptureRecord,
        measured: Measured,
        verdicts: Sequence[Verdict] = (),
        *,
        tape: TestTape | None = None,
        sheet: SheetEntry | None = None,
        facts: CaptureFacts | None = None,
    ) -> CaptureRecord:
        """Keep what a later run says about a capture; from now on it counts.

        The earlier readings stay; each new one names the one that it replaces.

        Parameters
        ----------
        facts : CaptureFacts, optional
            Corrected with it, where they were wrong.
        """
        now = self._database.now()
        with self._database.writing() as connection:
            if facts is not None:
                _correct_facts(connection, capture.id, facts, now)
            earlier = storing.latest_analysis(connection, capture.id)
            replaces = by_key(loading.load_readings(connection, earlier, {}))
            analysis = storing.insert_analysis(
                connection, capture.id, measured, tape=tape, replaces=replaces, now=now
            )
            judge(connection, capture.deck_id, analysis, verdicts, sheet, now)
            return one_capture(connection, capture.id, curves=False)

    def correct_facts(self, capture: CaptureRecord, facts: CaptureFacts) -> CaptureRecord:
        """Correct what was said about a pass (its stage, its side); the old words are kept."""
        with self._database.writing() as connection:
            _correct_facts(connection, capture.id, facts, self._database.now())
            return one_capture(connection, capture.id, curves=False)

    def hide_capture(self, capture: CaptureRecord) -> CaptureRecord:
        """Leave a capture out of lists, comparison and report; nothing of it is lost."""
        return self._hide_capture(capture, self._database.now())

    def show_capture(self, capture: CaptureRecord) -> CaptureRecord:
        """Bring a hidden capture back."""
        return self._hide_capture(capture, None)

    def capture(self, number: int, *, curves: bool = True) -> CaptureRecord:
        """Return the capture with this number, hidden or not."""
        with self._database.reading() as connection:
            return one_capture(connection, number, curves=curves)

    def captures(
        self, deck: Deck, *, curves: bool = False, hidden: bool = False
    ) -> tuple[CaptureRecord, ...]:
        """Return the captures of a deck, oldest first, with `hidden` also hidden ones."""
        where = "capture.deck = ?" + ("" if hidden else " AND capture.hidden_at IS NULL")
        with self._database.reading() as connection:
            return loading.load_captures(connection, where, (deck.id,), curves=curves)

    def recording(self, capture: CaptureRecord) -> Path:
        """Return where the recording of a capture lies, after checking its bytes.

        Raises
        ------
        LogbookError
            When none was kept, or it is missing or changed.
        """
        if not capture.sha256:
            raise LogbookError(
                f"No recording was kept with capture {capture.id}",
                "a capture that was stored with its file is needed",
            )
        with self._database.reading() as connection:
            row = connection.execute(
                "SELECT stored_name FROM recording WHERE sha256 = ?", (capture.sha256,)
            ).fetchone()
        return self._recordings.verified(row["stored_name"], capture.sha256)

    def _store(
        self,
        deck: Deck,
        visit: Visit | None,
        facts: CaptureFacts,
        measured: Measured,
        verdicts: Sequence[Verdict],
        source: Source,
        incoming: Incoming | None,
        tape: TestTape | None,
        sheet: SheetEntry | None,
    ) -> CaptureRecord:
        now = self._database.now()
        new: list[Incoming] = []

        def take_back() -> None:
            for recording in new:
                self._recordings.drop(recording)

        with self._database.writing(take_back) as connection:
            deck_of(connection, deck.id)
            if visit is not None and visit_of(connection, visit.id).deck_id != deck.id:
                raise _of_another_deck("visit", deck)
            if incoming:
                incoming = replace(incoming, stored_name=storing.stored_name(connection, incoming))
                if self._recordings.keep(incoming):
                    new.append(incoming)
            capture = storing.insert_capture(
                connection,
                deck_id=deck.id,
                visit_id=visit.id if visit else None,
                facts=facts,
                source=source,
                incoming=incoming,
                now=now,
            )
            analysis = storing.insert_analysis(
                connection, capture, measured, tape=tape, replaces={}, now=now
            )
            judge(connection, deck.id, analysis, verdicts, sheet, now)
            return one_capture(connection, capture, curves=False)

    def _hide_capture(self, capture: CaptureRecord, hidden_at: str | None) -> CaptureRecord:
        with self._database.writing() as connection:
            connection.execute(
                "UPDATE capture SET hidden_at = ? WHERE id = ?", (hidden_at, capture.id)
            )
            return one_capture(connection, capture.id, curves=False)


def _correct_facts(
    connection: sqlite3.Connection, capture_id: int, facts: CaptureFacts, now: str
) -> None:
    before = one_capture(connection, capture_id, curves=False).facts
    if facts == before:
        return
    storing.insert(
        connection,
        "capture_history",
        "capture, changed_at, before, program_version",
        (capture_id, now, rows.encoded(before), __version__),
    )
    settings = ", ".join(f"{name} = ?" for name in rows.FACTS)
    connection.execute(
        f"UPDATE capture SET {settings} WHERE id = ?", (*rows.facts_values(facts), capture_id)
    )


def by_key(readings: Sequence[ReadingRecord]) -> dict[storing.ReadingKey, int]:
    """Return the numbers of readings by what they share with their successors."""
    return {storing.reading_key(reading.result): reading.id for reading in readings}


def judge(
    connection: sqlite3.Connection,
    deck_id: int,
    analysis: int,
    verdicts: Sequence[Verdict],
    sheet: SheetEntry | None,
    now: str,
) -> None:
    """Write down what a look at an analysis says, with a sheet of the same deck."""
    if sheet is not None and sheet.deck_id != deck_id:
        raise _of_another_deck("sheet", deck_of(connection, deck_id))
    storing.insert_judgement(
        connection, analysis, verdicts, sheet_id=sheet.id if sheet else None, now=now
    )


def one_capture(connection: sqlite3.Connection, number: int, *, curves: bool) -> CaptureRecord:
    """Return one capture, hidden or not."""
    storing.latest_analysis(connection, number)  # refuses a number that is not there
    return loading.load_captures(connection, "capture.id = ?", (number,), curves=curves)[0]


def _of_another_deck(what: str, deck: Deck) -> LogbookError:
    return LogbookError(
        f"The {what} that was named belongs to another deck",
        f"one of the deck '{deck.name}' is needed",
    )
