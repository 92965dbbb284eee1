"""From a real logbook: what went in by its ordinary way comes out on paper and in figures."""

from __future__ import annotations

import subprocess
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from runstrue.logbook.book import Logbook
from runstrue.logbook.models import Deck, DeckRecord
from runstrue.report.context import paper_of, plain_of
from runstrue.report.figures import drawings_of, svg_of
from runstrue.report.printed import write_report


@pytest.fixture(scope="module")
def stored(whole_record: DeckRecord, tmp_path_factory: pytest.TempPathFactory) -> DeckRecord:
    """Store the invented record pass by pass, and read it back."""
    folder = tmp_path_factory.mktemp("bench")
    with Logbook.open(folder, clock=lambda: datetime(2026, 3, 12, 10, tzinfo=UTC)) as book:
        deck = book.add_deck(Deck(name="blue one", maker="Wrenholm", model="C-14", serial="0042"))
        assert whole_record.sheet is not None
        sheet = book.add_sheet(deck, whole_record.sheet.sheet, source="owner's manual, page 27")
        visit = book.open_visit(deck, reason="Sounds sour on piano.")
        for capture in whole_record.captures:
            verdicts = [stored.verdict for stored in capture.verdicts]
            if capture.source == "typed":
                result = capture.readings[0].result
                book.store_typed(deck, capture.facts, result, verdicts, visit=visit, sheet=sheet)
            else:
                book.store(deck, visit, capture.facts, capture.measured, verdicts,
                           tape=capture.tape, sheet=sheet)  # fmt: skip
        return book.deck_record(deck)


def test_the_logbook_gives_the_same_tables_as_the_record_that_went_in(
    stored: DeckRecord, whole_record: DeckRecord
) -> None:
    out, kept = plain_of(paper_of(stored)), plain_of(paper_of(whole_record))
    for part in ("summary", "judged", "readings", "peaks", "ways", "shares", "unread", "doubts",
                 "rule"):  # fmt: skip
        assert out[part] == kept[part], part


def test_the_logbook_gives_the_same_curves(stored: DeckRecord, whole_record: DeckRecord) -> None:
    first, second = (
        {drawing.key: drawing for drawing in drawings_of(record)}
        for record in (stored, whole_record)
    )
    assert first.keys() == second.keys() == {"summary", "speed", "spectrum", "histogram"}
    for capture, other in zip(stored.captures, whole_record.captures, strict=True):
        if other.deviation is not None:
            assert capture.deviation is not None
            np.testing.assert_array_equal(capture.deviation.percent, other.deviation.percent)


@pytest.mark.debian("pdftotext")
def test_the_logbook_gives_a_printed_sheet(stored: DeckRecord, tmp_path: Path) -> None:
    path = write_report(stored, tmp_path / "sheet.pdf")
    said = subprocess.run(["pdftotext", "-raw", str(path), "-"], check=True, capture_output=True,
                          text=True).stdout  # fmt: skip
    text = " ".join(said.split())
    for words in ("Sounds sour on piano.", "since 12 March 2026", "typed in", "too close to call",
                  "clearly better", "T-3150, batch 7"):  # fmt: skip
        assert words in text, words


def test_a_record_read_without_curves_has_its_tables_and_the_summary_figure(
    whole_record: DeckRecord, tmp_path: Path
) -> None:
    with Logbook.open(tmp_path) as book:
        deck = book.add_deck(Deck(name="blue one"))
        first = whole_record.captures[0]
        book.store(deck, None, first.facts, first.measured)
        record = book.deck_record(deck, curves=False)
    (drawing,) = drawings_of(record)
    assert drawing.key == "summary"
    assert svg_of(drawing.draw("page"))
    assert paper_of(record).readings
