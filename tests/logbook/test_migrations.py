"""Tables that change: with a backup first, wholly or not at all; released ones open for good."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from runstrue.errors import LogbookError
from runstrue.logbook import Logbook, schema
from runstrue.logbook.models import CaptureFacts, Deck
from runstrue.result import Measured

RELEASED = Path(__file__).parent / "released"

GOOD = schema.Migration(
    "a colour for each deck",
    ("ALTER TABLE deck ADD COLUMN colour TEXT", "UPDATE deck SET colour = 'unknown'"),
)
BAD = schema.Migration(
    "a step that fails after it has changed something",
    ("ALTER TABLE deck ADD COLUMN weight_kg REAL", "SELECT no_such_column FROM deck"),
)


def version_of(path: Path) -> tuple[int, int, list[str]]:
    """Return schema version, number of migrations on record, and the columns of `deck`."""
    connection = sqlite3.connect(path)
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    (recorded,) = connection.execute("SELECT count(*) FROM migration").fetchone()
    columns = [row[1] for row in connection.execute("PRAGMA table_info(deck)")]
    connection.close()
    return version, recorded, columns


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    with Logbook.open(tmp_path) as book:
        book.add_deck(Deck(name="Red"))
    return tmp_path


def test_a_migration_is_recorded_and_the_old_state_is_in_the_backups(
    bench: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = version_of(bench / "logbook.sqlite")
    monkeypatch.setattr(schema, "MIGRATIONS", (*schema.MIGRATIONS, GOOD))
    with Logbook.open(bench) as book:
        assert book.find_deck("Red").id == 1
    version, recorded, columns = version_of(bench / "logbook.sqlite")
    assert (version, recorded) == (before[0] + 1, before[1] + 1)
    assert "colour" in columns
    (backup,) = (bench / "backups").iterdir()
    assert version_of(backup) == before
    with Logbook.open(bench):  # once is enough
        pass
    assert version_of(bench / "logbook.sqlite")[1] == recorded


def test_a_migration_that_fails_leaves_the_logbook_as_it_was(
    bench: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = version_of(bench / "logbook.sqlite")
    with monkeypatch.context() as patch:
        patch.setattr(schema, "MIGRATIONS", (*schema.MIGRATIONS, BAD))
        with pytest.raises(LogbookError, match="no_such_column"):
            Logbook.open(bench)
    assert version_of(bench / "logbook.sqlite") == before
    with Logbook.open(bench) as book:
        assert book.check() == ()


def test_a_backup_is_made_before_the_first_write_of_a_day_and_a_week_is_kept(
    tmp_path: Path, clock: Callable[..., object]
) -> None:
    backups = tmp_path / "backups"
    for day in range(10):
        for name in ("first", "second"):
            with Logbook.open(tmp_path, clock=clock) as book:  # type: ignore[arg-type]
                book.add_deck(Deck(name=f"{name} of day {day}"))
        clock.forward(days=1, minutes=1)  # type: ignore[attr-defined]
    names = sorted(path.name for path in backups.iterdir())
    assert len(names) == 7
    assert names[-1] == "logbook-20240510T093900Z-daily.sqlite"
    # Begun on the first day before it held anything, then once on each of nine days.
    connection = sqlite3.connect(backups / names[-1])
    assert connection.execute("SELECT count(*) FROM deck").fetchone() == (18,)
    connection.close()


def test_the_logbook_left_by_version_1_opens_and_reads(tmp_path: Path) -> None:
    # Written by released/make_v1.py; the figures are those that stand in that script.
    bench = tmp_path / "bench"
    shutil.copytree(RELEASED / "v1", bench)
    with Logbook.open(bench, create=False) as book:
        assert book.check() == ()
        deck = book.find_deck("demo c-14")
        record = book.deck_record(deck)
        change = record.changes[0]
        path = book.recording(record.captures[0])
    assert (deck.maker, deck.model, deck.year) == ("Wrenholm", "C-14", 1979)
    assert record.visits[0].notes == "new belt"
    assert record.sheet is not None
    assert record.sheet.limits[0].high == 1.5
    assert [capture.facts.stage for capture in record.captures] == [
        "as found",
        "as left",
        "as left",
    ]
    found, left, typed = record.captures
    assert found.find("speed.deviation").quantity.value == -2.125  # type: ignore[union-attr]
    assert left.find("speed.deviation").quantity.value == 0.25  # type: ignore[union-attr]
    assert typed.find("torque.take_up").quantity.unit == "mN·m"  # type: ignore[union-attr]
    assert left.verdicts[0].verdict.outcome == "meets"
    assert change.words == "clearly better"
    assert found.deviation is not None
    assert found.deviation.percent[1, :4].tolist() == [0.0, 0.015625, 0.03125, 0.046875]
    assert found.tape is not None
    assert found.tape.batch == "7"
    assert record.sound_card is not None
    assert record.sound_card.clock_ppm == -31.0
    assert path.read_bytes().startswith(b"RIFF")


def test_a_new_pass_can_be_added_to_the_logbook_left_by_version_1(
    tmp_path: Path, whole_pass: Callable[..., Measured], facts: Callable[..., CaptureFacts]
) -> None:
    bench = tmp_path / "bench"
    shutil.copytree(RELEASED / "v1", bench)
    with Logbook.open(bench, create=False) as book:
        deck = book.find_deck("Demo C-14")
        capture = book.store(deck, None, facts(), whole_pass())
        assert book.captures(deck)[-1].id == capture.id
        assert book.check() == ()


def test_the_logbook_left_by_version_2_opens_and_reads(tmp_path: Path) -> None:
    # Written by released/make_v2.py; what is asked stands in that script.
    bench = tmp_path / "bench"
    shutil.copytree(RELEASED / "v2", bench)
    with Logbook.open(bench, create=False) as book:
        assert book.check() == ()
        deck = book.find_deck("demo c-14")
        visit = book.current_visit(deck)
        assert [one.name for one in book.transports(deck)] == ["c-14.toml"]
        assert [one.answer for one in book.intake(deck, visit)] == ["sound"]
        assert [one.evidence.because for one in book.evidence(deck, visit)] == ["speed −2.1 %"]
        assert len(book.evidence(deck, visit, every=True)) == 2
        assert [(one.cause, one.minutes) for one in book.repairs()] == [("main_belt_slack", 40.0)]
        assert book.setting("faults.tools") == "multimeter"
        assert len(book.captures(deck)) == 3


def test_the_logbook_left_by_version_3_opens_and_reads(tmp_path: Path) -> None:
    # Written by released/make_v3.py; what is asked stands in that script.
    bench = tmp_path / "bench"
    shutil.copytree(RELEASED / "v3", bench)
    with Logbook.open(bench, create=False) as book:
        assert book.check() == ()
        deck = book.find_deck("demo c-14")
        record = book.deck_record(deck)
        assert [one.cause for one in record.repairs] == ["main_belt_slack"]
        mistaken = book.repairs(deck, every=True)[-1]
        assert (mistaken.cause, mistaken.taken_back_at) == ("idler_worn", "2026-05-02T09:30:00Z")
        found = record.captures[0]
        assert [one.basis[-4:] for one in found.additions] == ["0.11", "0.12"]
        (added,) = [one for one in found.readings if one.addition_id]
        assert added.result.quantity.value == 0.12  # type: ignore[union-attr]
        assert found.find("speed.deviation").quantity.value == -2.125  # type: ignore[union-attr]


def test_the_logbook_left_by_version_4_opens_and_reads(tmp_path: Path) -> None:
    # Written by released/make_v4.py; what is asked stands in that script.
    bench = tmp_path / "bench"
    shutil.copytree(RELEASED / "v4", bench)
    with Logbook.open(bench) as book:
        (paper,) = book.files_of(book.find_deck("Demo C-14"))
        assert (paper.kind, paper.caption, paper.quote) == (
            "receipt", "belts, two of them", "paid in full",
        )  # fmt: skip
        assert book.file_path(paper).read_bytes() == b"%PDF-1.4\n%%EOF\n"


@pytest.mark.parametrize("version", ["v1", "v2", "v3"])
def test_old_logbooks_are_copied_before_their_tables_change(tmp_path: Path, version: str) -> None:
    bench = tmp_path / "bench"
    shutil.copytree(RELEASED / version, bench)
    before = version_of(bench / "logbook.sqlite")
    with Logbook.open(bench, create=False) as book:
        deck = book.find_deck("Demo C-14")
        repair = book.add_repair(deck, book.current_visit(deck), "none of these")
        book.take_back(repair)
        capture = book.captures(deck)[0]
        again = book.add_results(capture, [capture.readings[0].result], basis="the same again")
        assert len(again.additions) == len(capture.additions) + 1
        assert book.check() == ()
    assert version_of(bench / "logbook.sqlite")[0] == len(schema.MIGRATIONS)
    (backup,) = (bench / "backups").glob(f"*before-version-{len(schema.MIGRATIONS)}*")
    assert version_of(backup) == before


@pytest.mark.parametrize("version", ["v1", "v2", "v3", "v4"])
def test_a_released_logbook_is_small(version: str) -> None:
    files = (path for path in (RELEASED / version).rglob("*") if path.is_file())
    # each table and each index takes a page of 4 kB at least
    assert sum(path.stat().st_size for path in files) < 300_000
