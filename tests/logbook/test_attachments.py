"""Photos and papers: kept by what they hold, corrected, hidden, quoted; never lost."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

from runstrue.errors import InputError, LogbookError
from runstrue.logbook import Logbook
from runstrue.logbook.models import Deck
from runstrue.report.context import paper_of

PAPER = b"%PDF-1.4\nreview\n%%EOF\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "bench"


def test_the_bytes_lie_under_the_name_of_what_they_hold(folder: Path) -> None:
    with Logbook.open(folder, create=True) as book:
        deck = book.add_deck(Deck(name="C-14"))
        visit = book.open_visit(deck)
        kept = book.add_file(deck, visit, PAPER, "application/pdf", kind="review", name="r.pdf")
        again = book.add_file(deck, None, PAPER, "application/pdf", kind="review")
        assert book.file_path(kept) == book.file_path(again)
        assert book.file_path(kept).name == hashlib.sha256(PAPER).hexdigest() + ".pdf"
        assert book.file_path(kept).read_bytes() == PAPER
        assert (kept.visit_id, again.visit_id) == (visit.id, None)
    assert len(list((folder / "attachments").iterdir())) == 1


def test_it_is_captioned_quoted_hidden_and_brought_back(folder: Path) -> None:
    with Logbook.open(folder, create=True) as book:
        deck = book.add_deck(Deck(name="C-14"))
        kept = book.add_file(deck, None, PAPER, "application/pdf", kind="review", name="r.pdf")
        assert kept.words == "r.pdf"
        kept = book.caption_file(kept, "A review of 1980", "It runs true.")
        paper = paper_of(book.deck_record(deck))
        assert [(one.label, one.value) for one in paper.quotes] == [
            ("A review of 1980", "It runs true.")
        ]
        assert book.hide_file(kept).hidden
        assert book.files_of(deck) == ()
        assert len(book.files_of(deck, hidden=True)) == 1
        assert paper_of(book.deck_record(deck)).quotes == []
        assert not book.hide_file(kept, hidden=False).hidden


def test_other_kinds_are_refused_and_nothing_is_written(folder: Path) -> None:
    with Logbook.open(folder, create=True) as book:
        deck = book.add_deck(Deck(name="C-14"))
        with pytest.raises(InputError, match="JPEG, PNG or PDF"):
            book.add_file(deck, None, b"<html>", "text/html")
        with pytest.raises(LogbookError, match="no photo or paper 7"):
            book.file(7)
    assert not (folder / "attachments").exists()


def test_a_file_that_is_gone_is_told(folder: Path) -> None:
    with Logbook.open(folder, create=True) as book:
        deck = book.add_deck(Deck(name="C-14"))
        kept = book.add_file(deck, None, PAPER, "application/pdf", kind="sheet")
        book.file_path(kept).unlink()
        with pytest.raises(LogbookError, match="is gone from the logbook's folder"):
            book.file_path(kept)
