"""Reading back what fault-finding keeps. Every function runs inside one read transaction."""

from __future__ import annotations

import sqlite3
from typing import Literal

from runstrue.faults.models import Evidence
from runstrue.logbook.bench_records import (
    EvidenceRecord,
    IntakeAnswer,
    RepairRecord,
    TransportEntry,
)

# Rows of one visit, with None of those that belong to no visit, or of all visits.
OfVisit = int | None | Literal["all visits"]


def load_transports(connection: sqlite3.Connection, deck_id: int) -> tuple[TransportEntry, ...]:
    """Return the descriptions of a deck's transport, oldest first."""
    found = connection.execute("SELECT * FROM transport WHERE deck = ? ORDER BY id", (deck_id,))
    return tuple(
        TransportEntry(
            id=row["id"],
            deck_id=row["deck"],
            name=row["name"],
            text=row["text"],
            speed_cm_s=row["speed_cm_s"],
            entered_at=row["entered_at"],
            program_version=row["program_version"],
        )
        for row in found
    )


def load_intake(
    connection: sqlite3.Connection, deck_id: int, visit: OfVisit = "all visits"
) -> tuple[IntakeAnswer, ...]:
    """Return the answers that stand, one a question and visit, in the order of first asking."""
    latest: dict[tuple[int | None, str], IntakeAnswer] = {}
    for row in _of(connection, "SELECT * FROM intake", deck_id, visit):
        latest[row["visit"], row["question"]] = IntakeAnswer(
            id=row["id"],
            deck_id=row["deck"],
            visit_id=row["visit"],
            question=row["question"],
            answer=row["answer"],
            answered_at=row["answered_at"],
            program_version=row["program_version"],
        )
    return tuple(latest.values())


def load_evidence(
    connection: sqlite3.Connection,
    deck_id: int,
    visit: OfVisit = "all visits",
    *,
    every: bool = False,
) -> tuple[EvidenceRecord, ...]:
    """Return what was seen: what stands in the order of first seeing, or everything by age."""
    found = [
        EvidenceRecord(
            id=row["id"],
            deck_id=row["deck"],
            visit_id=row["visit"],
            evidence=Evidence(
                kind=row["kind"],
                key=row["key"],
                answer=row["answer"],
                because=row["because"],
                reading_id=row["reading"],
            ),
            seen_at=row["seen_at"],
            program_version=row["program_version"],
            taken_back_at=row["taken_at"] or "",
        )
        for row in _of(
            connection,
            "SELECT evidence.*, taken_back.taken_at FROM evidence "
            "LEFT JOIN taken_back ON taken_back.evidence = evidence.id",
            deck_id,
            visit,
        )
    ]
    if every:
        return tuple(found)
    latest: dict[tuple[int | None, str, str], EvidenceRecord] = {}
    for one in found:
        if not one.taken_back_at:
            latest[one.visit_id, one.evidence.kind, one.evidence.key] = one
    return tuple(latest.values())


def load_repairs(
    connection: sqlite3.Connection, deck_id: int | None = None, *, every: bool = False
) -> tuple[RepairRecord, ...]:
    """Return the repairs of a deck, or of all decks, oldest first."""
    found = connection.execute(
        "SELECT repair.*, repair_taken_back.taken_at FROM repair "
        "LEFT JOIN repair_taken_back ON repair_taken_back.repair = repair.id "
        "WHERE (?1 IS NULL OR deck = ?1) AND (?2 OR taken_at IS NULL) ORDER BY id",
        (deck_id, every),
    )
    return tuple(
        RepairRecord(
            id=row["id"],
            deck_id=row["deck"],
            visit_id=row["visit"],
            cause=row["cause"],
            words=row["words"],
            minutes=row["minutes"],
            parts=row["parts"],
            done_at=row["done_at"],
            program_version=row["program_version"],
            taken_back_at=row["taken_at"] or "",
        )
        for row in found
    )


def _of(
    connection: sqlite3.Connection, select: str, deck_id: int, visit: OfVisit
) -> list[sqlite3.Row]:
    """Return the rows of a deck in one visit or all, oldest first."""
    if visit == "all visits":
        return connection.execute(f"{select} WHERE deck = ? ORDER BY id", (deck_id,)).fetchall()
    return connection.execute(
        f"{select} WHERE deck = ? AND visit IS ? ORDER BY id", (deck_id, visit)
    ).fetchall()
