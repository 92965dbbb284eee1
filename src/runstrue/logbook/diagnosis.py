"""The part of the logbook that fault-finding fills: transports, intake, evidence, repairs.

Rows are only ever added. What is taken back stays, with a row beside it that says so; of two
answers to one question the later one stands.
"""

from __future__ import annotations

import sqlite3

from runstrue import __version__
from runstrue.errors import InputError, LogbookError
from runstrue.faults.models import Evidence
from runstrue.logbook import storing
from runstrue.logbook.bench_records import (
    EvidenceRecord,
    IntakeAnswer,
    RepairRecord,
    TransportEntry,
)
from runstrue.logbook.models import Deck, Visit
from runstrue.logbook.register import Register, deck_of


class Diagnosis(Register):
    """Transports and fault-finding of an open database, on top of its decks."""

    def add_transport(
        self, deck: Deck, text: str, name: str, speed_cm_s: float | None = None
    ) -> TransportEntry:
        """Keep a description of a deck's transport; an earlier one stays, superseded."""
        with self._database.writing() as connection:
            deck_of(connection, deck.id)
            storing.insert(
                connection,
                "transport",
                "deck, name, speed_cm_s, text, entered_at, program_version",
                (deck.id, name, speed_cm_s, text, self._database.now(), __version__),
            )
            return _transports(connection, deck)[-1]

    def transports(self, deck: Deck) -> tuple[TransportEntry, ...]:
        """Return the descriptions of a deck's transport, oldest first; the last of each counts."""
        with self._database.reading() as connection:
            return _transports(connection, deck)

    def add_intake_answer(
        self, deck: Deck, visit: Visit | None, question: str, answer: str
    ) -> IntakeAnswer:
        """Keep what was said to a question before power."""
        with self._database.writing() as connection:
            number = storing.insert(
                connection,
                "intake",
                "deck, visit, question, answer, answered_at, program_version",
                (deck.id, _id(visit), question, answer, self._database.now(), __version__),
            )
            row = connection.execute("SELECT * FROM intake WHERE id = ?", (number,)).fetchone()
            return _intake(row)

    def intake(self, deck: Deck, visit: Visit | None) -> tuple[IntakeAnswer, ...]:
        """Return the answers that stand, one a question, in the order of first asking."""
        with self._database.reading() as connection:
            found = connection.execute(
                "SELECT * FROM intake WHERE deck = ? AND visit IS ? ORDER BY id",
                (deck.id, _id(visit)),
            ).fetchall()
        latest: dict[str, IntakeAnswer] = {}
        for row in found:
            latest[row["question"]] = _intake(row)
        return tuple(latest.values())

    def add_evidence(self, deck: Deck, visit: Visit | None, evidence: Evidence) -> EvidenceRecord:
        """Keep one thing that was seen."""
        with self._database.writing() as connection:
            number = storing.insert(
                connection,
                "evidence",
                "deck, visit, kind, key, answer, because, reading, seen_at, program_version",
                (
                    deck.id, _id(visit), evidence.kind, evidence.key, evidence.answer,
                    evidence.because, evidence.reading_id, self._database.now(), __version__,
                ),
            )  # fmt: skip
            row = connection.execute("SELECT * FROM evidence WHERE id = ?", (number,)).fetchone()
            return _evidence(row)

    def take_back(self, record: EvidenceRecord) -> None:
        """Take back what was seen; what was said before it to the same question is gone too.

        Raises
        ------
        LogbookError
            When it was taken back before.
        """
        with self._database.writing() as connection:
            (taken,) = connection.execute(
                "SELECT count(*) FROM taken_back WHERE evidence = ?", (record.id,)
            ).fetchone()
            if taken:
                raise LogbookError(
                    f"What was said about '{record.evidence.key}' was taken back before",
                    "something that stands is needed",
                )
            alike = connection.execute(
                "SELECT id FROM evidence WHERE deck = ? AND visit IS ? AND kind = ? AND key = ? "
                "AND id <= ? AND id NOT IN (SELECT evidence FROM taken_back)",
                (record.deck_id, record.visit_id, record.evidence.kind, record.evidence.key,
                 record.id),
            ).fetchall()  # fmt: skip
            for row in alike:
                storing.insert(
                    connection, "taken_back", "evidence, taken_at",
                    (row["id"], self._database.now()),
                )  # fmt: skip

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
            found = connection.execute(
                "SELECT evidence.*, taken_back.id IS NOT NULL AS taken FROM evidence "
                "LEFT JOIN taken_back ON taken_back.evidence = evidence.id "
                "WHERE deck = ? AND visit IS ? ORDER BY evidence.id",
                (deck.id, _id(visit)),
            ).fetchall()
        if every:
            return tuple(_evidence(row) for row in found)
        latest: dict[tuple[str, str], EvidenceRecord] = {}
        for row in found:
            if not row["taken"]:
                latest[row["kind"], row["key"]] = _evidence(row)
        return tuple(latest.values())

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
            number = storing.insert(
                connection,
                "repair",
                "deck, visit, cause, words, minutes, parts, done_at, program_version",
                (
                    deck.id, _id(visit), cause, words, minutes, parts, self._database.now(),
                    __version__,
                ),
            )  # fmt: skip
            row = connection.execute("SELECT * FROM repair WHERE id = ?", (number,)).fetchone()
            return _repair(row)

    def repairs(self, deck: Deck | None = None) -> tuple[RepairRecord, ...]:
        """Return the repairs of one deck, or of all of this bench, oldest first."""
        with self._database.reading() as connection:
            found = connection.execute("SELECT * FROM repair ORDER BY id").fetchall()
        return tuple(_repair(row) for row in found if deck is None or row["deck"] == deck.id)

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


def _transports(connection: sqlite3.Connection, deck: Deck) -> tuple[TransportEntry, ...]:
    found = connection.execute(
        "SELECT * FROM transport WHERE deck = ? ORDER BY id", (deck.id,)
    ).fetchall()
    return tuple(
        TransportEntry(
            id=row["id"], deck_id=row["deck"], name=row["name"], text=row["text"],
            speed_cm_s=row["speed_cm_s"], entered_at=row["entered_at"],
            program_version=row["program_version"],
        )
        for row in found
    )  # fmt: skip


def _intake(row: sqlite3.Row) -> IntakeAnswer:
    return IntakeAnswer(
        id=row["id"], deck_id=row["deck"], visit_id=row["visit"], question=row["question"],
        answer=row["answer"], answered_at=row["answered_at"],
    )  # fmt: skip


def _evidence(row: sqlite3.Row) -> EvidenceRecord:
    evidence = Evidence(
        kind=row["kind"], key=row["key"], answer=row["answer"], because=row["because"],
        reading_id=row["reading"],
    )  # fmt: skip
    return EvidenceRecord(
        id=row["id"], deck_id=row["deck"], visit_id=row["visit"], evidence=evidence,
        seen_at=row["seen_at"],
    )  # fmt: skip


def _repair(row: sqlite3.Row) -> RepairRecord:
    return RepairRecord(
        id=row["id"], deck_id=row["deck"], visit_id=row["visit"], cause=row["cause"],
        words=row["words"], minutes=row["minutes"], parts=row["parts"], done_at=row["done_at"],
    )  # fmt: skip
