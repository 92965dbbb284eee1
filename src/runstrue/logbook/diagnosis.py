"""The part of the logbook that fault-finding fills: transports, intake, evidence, repairs.

Rows are only ever added. What is taken back stays, with a row beside it that says so; of two
answers to one question the later one stands.
"""

from __future__ import annotations

import sqlite3

from runstrue import __version__
from runstrue.errors import InputError, LogbookError
from runstrue.faults.models import Evidence
from runstrue.logbook import diagnosis_rows, storing
from runstrue.logbook.bench_records import (
    EvidenceRecord,
    IntakeAnswer,
    RepairRecord,
    TransportEntry,
)
from runstrue.logbook.models import Deck, Visit
from runstrue.logbook.register import Register, deck_of, visit_of


class Diagnosis(Register):
    """Transports and fault-finding of an open database, on top of its decks."""

    def add_transport(
        self, deck: Deck, text: str, name: str, speed_cm_s: float | None = None
    ) -> TransportEntry:
        """Keep a description of a deck's transport; an earlier one stays, superseded.

        Parameters
        ----------
        deck : Deck
        text : str
            The whole description, as it was written.
        name : str
            Of the file that it came from.
        speed_cm_s : float, optional
            The tape speed that it holds for, above 0; else it holds for all.

        Raises
        ------
        InputError
            When nothing is in it, or the speed is none.
        """
        if not text.strip():
            raise InputError(f"The transport '{name}' is empty", "a description is needed")
        if speed_cm_s is not None and not 0 < speed_cm_s < 1000:
            raise InputError(
                f"A tape speed of {speed_cm_s:g} cm/s was given for the transport '{name}'",
                "it must be above 0 and below 1000 cm/s",
            )
        with self._database.writing() as connection:
            deck_of(connection, deck.id)
            storing.insert(
                connection,
                "transport",
                "deck, name, speed_cm_s, text, entered_at, program_version",
                (deck.id, name, speed_cm_s, text, self._database.now(), __version__),
            )
            return diagnosis_rows.load_transports(connection, deck.id)[-1]

    def transports(self, deck: Deck) -> tuple[TransportEntry, ...]:
        """Return all descriptions of a deck's transport, oldest first.

        `runstrue.logbook.bench_records.transport_for` says which of them counts at a speed.
        """
        with self._database.reading() as connection:
            return diagnosis_rows.load_transports(connection, deck.id)

    def add_intake_answer(
        self, deck: Deck, visit: Visit | None, question: str, answer: str
    ) -> IntakeAnswer:
        """Keep what was said to a question before power."""
        with self._database.writing() as connection:
            visit_id = _settled(connection, deck, visit)
            storing.insert(
                connection,
                "intake",
                "deck, visit, question, answer, answered_at, program_version",
                (deck.id, visit_id, question, answer, self._database.now(), __version__),
            )
            answers = diagnosis_rows.load_intake(connection, deck.id, visit_id)
            return max(answers, key=lambda one: one.id)

    def intake(self, deck: Deck, visit: Visit | None) -> tuple[IntakeAnswer, ...]:
        """Return the answers that stand, one a question, in the order of first asking."""
        with self._database.reading() as connection:
            return diagnosis_rows.load_intake(connection, deck.id, _id(visit))

    def add_evidence(self, deck: Deck, visit: Visit | None, evidence: Evidence) -> EvidenceRecord:
        """Keep one thing that was seen.

        Raises
        ------
        LogbookError
            When the deck has no such visit, or no such reading.
        """
        with self._database.writing() as connection:
            visit_id = _settled(connection, deck, visit)
            _refuse_strange_reading(connection, deck, evidence.reading_id)
            storing.insert(
                connection,
                "evidence",
                "deck, visit, kind, key, answer, because, reading, seen_at, program_version",
                (
                    deck.id,
                    visit_id,
                    evidence.kind,
                    evidence.key,
                    evidence.answer,
                    evidence.because,
                    evidence.reading_id,
                    self._database.now(),
                    __version__,
                ),
            )
            return diagnosis_rows.load_evidence(connection, deck.id, visit_id, every=True)[-1]

    def evidence(
        self, deck: Deck, visit: Visit | None, *, every: bool = False
    ) -> tuple[EvidenceRecord, ...]:
        """Return what was seen and stands, in the order of first seeing.

        Parameters
        ----------
        every : bool
            With what was answered again or taken back.
        """
        with self._database.reading() as connection:
            return diagnosis_rows.load_evidence(connection, deck.id, _id(visit), every=every)

    def take_back(self, record: EvidenceRecord | RepairRecord) -> None:
        """Take back what was seen or a repair; it stays on record, but no longer stands.

        With what was seen, what was said before it to the same question is gone too.

        Raises
        ------
        LogbookError
            When it was taken back before.
        """
        with self._database.writing() as connection:
            now = self._database.now()
            if isinstance(record, RepairRecord):
                every = diagnosis_rows.load_repairs(connection, record.deck_id, every=True)
                _refuse_taken_back(record, every, f"The repair of '{record.cause}'")
                storing.insert(
                    connection, "repair_taken_back", "repair, taken_at", (record.id, now)
                )
                return
            seen = diagnosis_rows.load_evidence(
                connection, record.deck_id, record.visit_id, every=True
            )
            key = record.evidence.key
            _refuse_taken_back(record, seen, f"What was said about '{key}'")
            for one in seen:
                alike = (one.evidence.kind, one.evidence.key) == (record.evidence.kind, key)
                if alike and one.id <= record.id and not one.taken_back_at:
                    storing.insert(connection, "taken_back", "evidence, taken_at", (one.id, now))

    def add_repair(
        self,
        deck: Deck,
        visit: Visit | None,
        cause: str,
        *,
        words: str = "",
        minutes: float | None = None,
        parts: str = "",
    ) -> RepairRecord:
        """Keep what it was, and what was done.

        Raises
        ------
        InputError
            When the minutes are not above 0.
        """
        if minutes is not None and not 0 < minutes < 100_000:
            raise InputError(
                f"{minutes:g} minutes were given for a repair", "more than 0 is needed"
            )
        with self._database.writing() as connection:
            visit_id = _settled(connection, deck, visit)
            storing.insert(
                connection,
                "repair",
                "deck, visit, cause, words, minutes, parts, done_at, program_version",
                (
                    deck.id,
                    visit_id,
                    cause,
                    words,
                    minutes,
                    parts,
                    self._database.now(),
                    __version__,
                ),
            )
            return diagnosis_rows.load_repairs(connection, deck.id, every=True)[-1]

    def repairs(self, deck: Deck | None = None, *, every: bool = False) -> tuple[RepairRecord, ...]:
        """Return the repairs of one deck, or of all of this bench, oldest first.

        Parameters
        ----------
        every : bool
            With what was taken back.
        """
        with self._database.reading() as connection:
            return diagnosis_rows.load_repairs(
                connection, None if deck is None else deck.id, every=every
            )

    def set_setting(self, name: str, value: str) -> None:
        """Write down a setting of the bench; earlier values stay."""
        with self._database.writing() as connection:
            storing.insert(
                connection, "setting", "name, value, set_at", (name, value, self._database.now())
            )

    def setting(self, name: str) -> str | None:
        """Return what was last set under this name, or None."""
        with self._database.reading() as connection:
            row = connection.execute(
                "SELECT value FROM setting WHERE name = ? ORDER BY id DESC LIMIT 1", (name,)
            ).fetchone()
        return None if row is None else str(row["value"])


def _id(visit: Visit | None) -> int | None:
    return None if visit is None else visit.id


def _settled(connection: sqlite3.Connection, deck: Deck, visit: Visit | None) -> int | None:
    """Return the number of the visit, after seeing that deck and visit belong together."""
    deck_of(connection, deck.id)
    if visit is not None and visit_of(connection, visit.id).deck_id != deck.id:
        raise LogbookError(
            "The visit that was named belongs to another deck",
            f"one of the deck '{deck.name}' is needed",
        )
    return _id(visit)


def _refuse_strange_reading(
    connection: sqlite3.Connection, deck: Deck, reading_id: int | None
) -> None:
    if reading_id is None:
        return
    row = connection.execute(
        "SELECT capture.deck FROM reading JOIN analysis ON analysis.id = reading.analysis "
        "JOIN capture ON capture.id = analysis.capture WHERE reading.id = ?",
        (reading_id,),
    ).fetchone()
    if row is None or row["deck"] != deck.id:
        raise LogbookError(
            f"There is no reading {reading_id} of the deck '{deck.name}'",
            "what is seen in a reading needs a reading of that deck",
        )


def _refuse_taken_back(
    record: EvidenceRecord | RepairRecord,
    every: tuple[EvidenceRecord, ...] | tuple[RepairRecord, ...],
    what: str,
) -> None:
    if not any(one.id == record.id and not one.taken_back_at for one in every):
        raise LogbookError(f"{what} was taken back before", "something that stands is needed")
