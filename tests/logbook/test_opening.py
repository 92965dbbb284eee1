"""Opening: what is not a sound logbook is refused in one sentence and left as it is."""

from __future__ import annotations

import os
import sqlite3
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

from runstrue.errors import LogbookError
from runstrue.logbook import Logbook
from runstrue.logbook.models import CaptureFacts, Deck
from runstrue.result import Measured

MakePass = Callable[..., Measured]
MakeFacts = Callable[..., CaptureFacts]


@pytest.fixture
def bench(tmp_path: Path, whole_pass: MakePass, facts: MakeFacts) -> Path:
    """Return a bench folder with a logbook of some size, one file, closed."""
    folder = tmp_path / "Werkbank Nr. 1 – größer"
    with Logbook.open(folder) as book:
        deck = book.add_deck(Deck(name="Red"))
        for _ in range(3):
            book.store(deck, None, facts(), whole_pass(samples=3000))
    assert [path.name for path in folder.iterdir() if path.is_file()] == ["logbook.sqlite"]
    return folder


def refusal(folder: Path, **how: object) -> str:
    with pytest.raises(LogbookError) as error:
        Logbook.open(folder, **how)  # type: ignore[arg-type]
    sentence = str(error.value)
    assert sentence.endswith(".")
    assert "\n" not in sentence
    assert "Traceback" not in sentence
    return sentence


def test_no_logbook_is_begun_unless_asked_for(tmp_path: Path) -> None:
    assert "There is no logbook" in refusal(tmp_path / "nowhere", create=False)
    assert not (tmp_path / "nowhere").exists()


def test_a_text_file_in_its_place_is_refused_and_kept(tmp_path: Path) -> None:
    (tmp_path / "logbook.sqlite").write_text("my notes\n" * 400)
    assert "is not a database" in refusal(tmp_path)
    assert (tmp_path / "logbook.sqlite").read_text() == "my notes\n" * 400


def test_a_database_of_another_program_is_refused_and_kept(tmp_path: Path) -> None:
    path = tmp_path / "logbook.sqlite"
    with sqlite3.connect(path) as connection:
        connection.execute("CREATE TABLE songs (name)")
    connection.close()
    before = path.read_bytes()
    assert "of another program" in refusal(tmp_path)
    assert path.read_bytes() == before
    assert [name.name for name in tmp_path.iterdir()] == ["logbook.sqlite"]


def test_a_newer_logbook_is_refused_and_kept(bench: Path) -> None:
    path = bench / "logbook.sqlite"
    with sqlite3.connect(path) as connection:
        connection.execute("PRAGMA user_version = 41")
    connection.close()
    before = path.read_bytes()
    sentence = refusal(bench)
    assert "version 41" in sentence
    assert "install" in sentence
    assert path.read_bytes() == before


@pytest.mark.parametrize("share", [0.05, 0.5, 0.9])
def test_a_truncated_logbook_is_refused_and_kept(bench: Path, share: float) -> None:
    path = bench / "logbook.sqlite"
    whole = path.read_bytes()
    # Whole pages, as a file system leaves them.
    path.write_bytes(whole[: int(len(whole) * share) // 4096 * 4096])
    before = path.read_bytes()
    assert "damaged" in refusal(bench)
    assert path.read_bytes() == before


def test_a_scribbled_logbook_is_refused_and_kept(bench: Path) -> None:
    path = bench / "logbook.sqlite"
    whole = bytearray(path.read_bytes())
    whole[100:8192] = b"\xa5" * (8192 - 100)  # the schema itself
    path.write_bytes(whole)
    assert "damaged" in refusal(bench)
    assert path.read_bytes() == bytes(whole)


@pytest.mark.parametrize(
    ("table", "offset", "garbage"),
    [
        # A page begins with its kind, 2, 5, 10 or 13 (SQLite file format 1.6); this is none.
        ("deck", 0, b"\xff"),
        ("reading", 0, b"\xff"),
        # In a leaf the places of its rows begin at byte 8; this one lies beyond the page.
        ("deck", 8, b"\xff\xff"),
    ],
)
def test_a_table_with_a_damaged_page_is_refused_and_kept(
    bench: Path, table: str, offset: int, garbage: bytes
) -> None:
    path = bench / "logbook.sqlite"
    connection = sqlite3.connect(path)
    (page,) = connection.execute(
        "SELECT rootpage FROM sqlite_schema WHERE name = ?", (table,)
    ).fetchone()
    (page_bytes,) = connection.execute("PRAGMA page_size").fetchone()
    connection.close()
    whole = bytearray(path.read_bytes())
    start = (page - 1) * page_bytes + offset
    whole[start : start + len(garbage)] = garbage
    path.write_bytes(whole)
    assert "damaged" in refusal(bench)
    assert path.read_bytes() == bytes(whole)


def test_an_emptied_logbook_is_refused_where_captures_lie_beside_it(
    tmp_path: Path, whole_pass: MakePass, facts: MakeFacts, recording: Path
) -> None:
    bench = tmp_path / "bench"
    with Logbook.open(bench) as book:
        deck = book.add_deck(Deck(name="Red"))
        book.store(deck, None, facts(), whole_pass(), (), recording)
    (bench / "logbook.sqlite").write_bytes(b"")
    assert "it is empty" in refusal(bench)
    (bench / "logbook.sqlite").unlink()
    assert "but no 'logbook.sqlite'" in refusal(bench)
    assert not (bench / "logbook.sqlite").exists()


def test_the_refusal_of_a_damaged_logbook_names_the_newest_backup_which_opens(
    bench: Path, tmp_path: Path
) -> None:
    with Logbook.open(bench) as book:
        backup = book.back_up()
        assert len(book.deck_record(book.find_deck("Red")).captures) == 3
    (bench / "logbook.sqlite").write_bytes(b"SQLite format 3\x00" + bytes(8000))
    sentence = refusal(bench)
    assert str(backup) in sentence
    # What the sentence says to do, done.
    backup.replace(bench / "logbook.sqlite")
    with Logbook.open(bench) as book:
        assert len(book.deck_record(book.find_deck("Red")).captures) == 3
        assert book.check() == ()


def test_damage_in_a_curve_is_told_when_it_is_read_and_by_the_check(
    bench: Path, whole_pass: MakePass
) -> None:
    deviation = whole_pass(samples=3000).deviation
    assert deviation is not None
    path = bench / "logbook.sqlite"
    whole = bytearray(path.read_bytes())
    # A stretch of the blob's own bytes, well inside a page of the file.
    place = whole.find(deviation.percent.astype("<f4").tobytes()[9000:9100])
    assert place > 0
    whole[place] ^= 0xFF
    path.write_bytes(whole)
    with Logbook.open(bench) as book:
        deck = book.find_deck("Red")
        with pytest.raises(LogbookError, match="cannot be read"):
            book.deck_record(deck)
        assert len(book.deck_record(deck, curves=False).captures) == 3  # the figures are there


def test_a_file_in_the_folders_place_is_refused(tmp_path: Path) -> None:
    (tmp_path / "bench").write_text("")
    assert "cannot be used" in refusal(tmp_path / "bench")
    assert "cannot be used" in refusal(tmp_path / "bench" / "inner")


def test_a_logbook_that_another_holds_too_long_is_refused_in_time(bench: Path) -> None:
    other = sqlite3.connect(bench / "logbook.sqlite", isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    try:
        with Logbook.open(bench, busy_timeout_s=0.2) as book:
            assert len(book.decks()) == 1  # readers are not held up
            with pytest.raises(LogbookError, match=r"for more than 0\.2 s"):
                book.add_deck(Deck(name="Grey"))
            other.execute("ROLLBACK")
            assert book.add_deck(Deck(name="Grey")).id == 2
    finally:
        other.close()


def test_a_folder_that_may_not_be_written_is_refused(
    tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    root = os.geteuid() == 0
    # Rights do not bind root, so root gets a disk that cannot be written.
    place = request.getfixturevalue("small_disk")("size=4m") if root else tmp_path
    with Logbook.open(place / "bench") as book:
        book.add_deck(Deck(name="Red"))
    if root:
        subprocess.run(["mount", "-o", "remount,ro", str(place)], check=True)
    else:
        (place / "bench").chmod(0o500)
        place.chmod(0o500)
    try:
        assert "may not be written" in refusal(place / "bench")
        assert "cannot be used" in refusal(place / "new")
    finally:
        if not root:
            place.chmod(0o700)
            (place / "bench").chmod(0o700)
