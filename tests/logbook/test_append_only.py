"""What was stored stays: held against SQLite itself, without the program's own code."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from runstrue.logbook import Logbook
from runstrue.logbook.models import CaptureFacts, Deck
from runstrue.result import Measured
from runstrue.verdict.models import Sheet, Verdict

NEVER_CHANGED = [
    ("migration", "words"),
    ("deck_history", "before"),
    ("sheet", "text"),
    ("recording", "bytes"),
    ("capture_history", "before"),
    ("analysis", "summary"),
    ("reading", "value"),
    ("deviation", "rate_hz"),
    ("trace", "name"),
    ("judgement", "judged_at"),
    ("verdict", "outcome"),
    ("setting", "value"),
    ("transport", "text"),
    ("intake", "answer"),
    ("evidence", "answer"),
    ("taken_back", "taken_at"),
    ("repair", "cause"),
    ("repair_taken_back", "taken_at"),
    ("addition", "basis"),
    ("added_reading", "addition"),
]


@pytest.fixture
def connection(
    tmp_path: Path,
    whole_pass: Callable[..., Measured],
    facts: Callable[..., CaptureFacts],
    speed_verdict: Verdict,
    recording: Path,
) -> Iterator[sqlite3.Connection]:
    """Return a plain connection to a logbook with at least one row in each table."""
    from msgspec.structs import replace

    from runstrue.faults.models import Evidence
    from runstrue.logbook.models import SoundCard

    with Logbook.open(tmp_path / "bench") as book:
        deck = book.update_deck(replace(book.add_deck(Deck(name="Red")), year=1980))
        visit = book.open_visit(deck)
        sheet = book.add_sheet(deck, Sheet(text="speed ±1.5 %"))
        capture = book.store(
            deck, visit, facts(), whole_pass(), [speed_verdict], recording, sheet=sheet
        )
        book.correct_facts(capture, facts("as left"))
        book.set_sound_card(SoundCard(name="Blue box", clock_ppm=1.0, u_ppm=1.0))
        book.add_transport(deck, 'tape_speed = "1 7/8 in/s"', "red.toml")
        book.add_intake_answer(deck, visit, "plug", "none")
        seen = Evidence(kind="symptom", key="wow", answer="present")
        book.take_back(book.add_evidence(deck, visit, seen))
        book.take_back(book.add_repair(deck, visit, "main_belt_slack", minutes=40))
        book.add_results(capture, [whole_pass().results[0]], basis="transport red.toml")
        book.add_file(deck, visit, b"%PDF-1.4 %%EOF", "application/pdf", kind="sheet")
    plain = sqlite3.connect(tmp_path / "bench" / "logbook.sqlite")
    yield plain
    plain.close()


@pytest.mark.parametrize(("table", "column"), NEVER_CHANGED)
def test_rows_refuse_to_be_changed(connection: sqlite3.Connection, table: str, column: str) -> None:
    assert connection.execute(f"SELECT count(*) FROM {table}").fetchone()[0] > 0
    with pytest.raises(sqlite3.IntegrityError, match="never changed"):
        connection.execute(f"UPDATE {table} SET {column} = {column}")


@pytest.mark.parametrize(
    "table", [*(table for table, _ in NEVER_CHANGED), "deck", "visit", "capture", "attachment"]
)
def test_rows_refuse_to_be_deleted_or_replaced(connection: sqlite3.Connection, table: str) -> None:
    assert connection.execute(f"SELECT count(*) FROM {table}").fetchone()[0] > 0
    with pytest.raises(sqlite3.IntegrityError, match="never deleted"):
        connection.execute(f"DELETE FROM {table}")
    with pytest.raises(sqlite3.IntegrityError, match="never replaced"):
        connection.execute(f"INSERT OR REPLACE INTO {table} SELECT * FROM {table}")


def test_every_table_is_strict_and_named_in_these_tests(connection: sqlite3.Connection) -> None:
    listed = connection.execute(
        "SELECT name, strict FROM pragma_table_list "
        "WHERE type = 'table' AND name NOT LIKE 'sqlite%'"
    ).fetchall()
    assert all(strict for _, strict in listed)
    guarded = {table for table, _ in NEVER_CHANGED} | {"deck", "visit", "capture", "attachment"}
    assert {name for name, _ in listed} == guarded


def test_the_database_is_whole_by_sqlites_own_checks(connection: sqlite3.Connection) -> None:
    assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
    assert connection.execute("PRAGMA journal_mode").fetchone() == ("wal",)


def test_no_blob_or_text_is_a_pickle(connection: sqlite3.Connection) -> None:
    # A pickle of protocol 2 and later begins with byte 0x80 and its protocol (PEP 307, 3154).
    tables = [table for table, _ in NEVER_CHANGED]
    for table in tables:
        for row in connection.execute(f"SELECT * FROM {table}"):
            for cell in row:
                raw = cell.encode() if isinstance(cell, str) else cell
                assert not (isinstance(raw, bytes) and raw[:1] == b"\x80" and raw[1:2] < b"\x06")
