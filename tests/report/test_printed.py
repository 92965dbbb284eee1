"""The printed sheet, read back with programs that know nothing of this project.

`pdftotext`, `pdffonts` and `pdftoppm` are those of Debian's poppler-utils.
"""

from __future__ import annotations

import errno
import os
import re
import subprocess
import time
import unicodedata
from decimal import ROUND_HALF_EVEN, Decimal
from pathlib import Path

import numpy as np
import pytest
from matplotlib import image

from runstrue.errors import FileError
from runstrue.logbook.models import Deck, DeckRecord
from runstrue.report import files
from runstrue.report.cautions import CAUTIONS
from runstrue.report.context import paper_of
from runstrue.report.printed import write_pages, write_report

A4_POINTS = (595.28, 841.89)  # ISO 216: 210 × 297 mm
MARGIN = 2.0  # points: nothing but paper within this of the edge


def run(*words: str) -> str:
    return subprocess.run(words, check=True, capture_output=True, text=True, timeout=60).stdout


def text_of(path: Path) -> str:
    """Text of all pages with every run of white space, and breaks in words, as one space."""
    return " ".join(run("pdftotext", "-raw", str(path), "-").replace("\u200b", "").split())


def squeezed(text: str) -> str:
    """Leave out white space, so that line breaks inside long words do not matter.

    Ligatures and other presentation forms are taken apart, since a reader of PDF may give
    back either.
    """
    return "".join(unicodedata.normalize("NFKC", text).replace("\u200b", "").split())


def rounded(value: float, u: float) -> str:
    """Round by JCGM 100:2008 7.2.6 with decimal arithmetic: u to two figures, value alike."""
    exact = Decimal(repr(u))
    places = exact.adjusted() - 1
    if exact.quantize(Decimal(1).scaleb(places), ROUND_HALF_EVEN).adjusted() > exact.adjusted():
        places += 1
    step = Decimal(1).scaleb(min(places, 0))
    shown = Decimal(repr(value)).quantize(step, ROUND_HALF_EVEN)
    return f"{abs(shown):f}"


@pytest.fixture(scope="module")
def whole_sheet(
    whole_record: DeckRecord, tmp_path_factory: pytest.TempPathFactory, output_folder: Path
) -> Path:
    path = write_report(whole_record, tmp_path_factory.mktemp("sheet") / "deep" / "deck.pdf")
    (output_folder / "report-sheet.pdf").write_bytes(path.read_bytes())
    return path


@pytest.mark.debian("pdftotext")
def test_every_reading_is_printed_rounded_by_its_uncertainty(
    whole_record: DeckRecord, whole_sheet: Path
) -> None:
    text = text_of(whole_sheet)
    seen = 0
    for capture in whole_record.captures:
        for reading in capture.readings:
            quantity = reading.result.quantity
            assert quantity is not None
            figure = f"{rounded(quantity.value, quantity.u)} {quantity.unit}"
            assert re.search(rf"(?<![\d.]){re.escape(figure)}", text), figure
            seen += 1
    assert seen == 10


@pytest.mark.debian("pdftotext")
def test_every_number_with_a_unit_on_paper_is_one_of_the_record(
    whole_record: DeckRecord, whole_sheet: Path
) -> None:
    """What stands in the result columns can be traced to a stored figure, none is made up."""
    text = text_of(whole_sheet)
    start, end = text.index("All readings"), text.index("Lines of the flutter spectrum")
    known: set[str] = {"95"}  # '95 % within'
    for capture in whole_record.captures:
        for reading in capture.readings:
            quantity = reading.result.quantity
            assert quantity is not None
            known.add(rounded(quantity.value, quantity.u))
            known.add(_half_width(quantity.expanded(), quantity.u))
            spread = reading.result.spread
            if spread is not None:
                known |= {_half_width(v, quantity.u) for v in (spread.low, spread.middle,
                                                               spread.high)}  # fmt: skip
    for change in whole_record.changes:
        assert change.difference is not None
        moved = change.difference.quantity
        known |= {rounded(moved.value, moved.u), _half_width(moved.expanded(), moved.u)}
    names = re.sub(r"IEC\s+60386|0\.5 to 200 Hz", "", text[start:end])
    printed = set(re.findall(r"(?<![\w.])\d+(?:\.\d+)?", names.split("page 3")[0]))
    assert printed - known == set()
    assert len(printed) > 15


def _half_width(value: float, u: float) -> str:
    places = max(0, 1 - Decimal(repr(u)).adjusted())
    return f"{Decimal(repr(abs(value))).quantize(Decimal(1).scaleb(-places)):f}"


@pytest.mark.debian("pdftotext")
def test_no_number_is_printed_with_a_hyphen_for_a_minus_or_not_a_number(whole_sheet: Path) -> None:
    text = text_of(whole_sheet)
    assert "−0.890 %" in text  # speed: 0.05 − 0.94
    assert not re.search(r"(?:^|\s)-\d", text)
    assert not re.search(r"\b(nan|inf|None)\b", text)


@pytest.mark.debian("pdftotext")
def test_the_sheet_tells_verdicts_doubts_sources_and_cautions(whole_sheet: Path) -> None:
    text = text_of(whole_sheet)
    for words in (
        "does not meet", "chance less than 1 %", "too close to call", "chance 62 %",
        "≥ 56 dB", "not measured", "“Motor: 1 × DC servo”", "One dropout of 1.7 s was left out.",
        "IEC 60386 A1:1988 method 1", "tape T-3150 batch 7", "clearly better", "01c0ffee7dc0",
        "meets from 95 %, does not meet up to 5 %; JCGM 106:2012",
        "T-3150, batch 7; tone 3150 Hz; its speed within ±0.3 %",
        "Belt renewed, capstan and roller cleaned.", "11 to 14 March 2026",
    ):  # fmt: skip
        assert squeezed(words) in squeezed(text), words
    for caution in CAUTIONS:
        assert squeezed(caution) in squeezed(text)


def test_nothing_on_the_sheet_calls_a_deck_safe(any_record: DeckRecord) -> None:
    said = " ".join(paper_of(any_record).cautions)
    assert "does not say that the deck is safe" in said
    assert not re.search(r"\bis safe\b", said.replace("does not say that the deck is safe", ""))


@pytest.mark.debian("pdftotext")
def test_no_word_leaves_the_page_or_lies_on_another(any_record: DeckRecord, tmp_path: Path) -> None:
    path = write_report(any_record, tmp_path / "sheet.pdf")
    html = run("pdftotext", "-bbox", str(path), "-")
    pages = re.findall(r'<page width="([\d.]+)" height="([\d.]+)">(.*?)</page>', html, re.DOTALL)
    assert pages
    for width, height, content in pages:
        assert float(width) == pytest.approx(A4_POINTS[0], abs=0.1)
        assert float(height) == pytest.approx(A4_POINTS[1], abs=0.1)
        boxes = np.array(
            re.findall(r'xMin="(-?[\d.]+)" yMin="(-?[\d.]+)" xMax="(-?[\d.]+)" yMax="(-?[\d.]+)"',
                       content), dtype=float,
        )  # fmt: skip
        assert len(boxes)
        assert boxes[:, 0].min() >= MARGIN
        assert boxes[:, 1].min() >= MARGIN
        assert boxes[:, 2].max() <= A4_POINTS[0] - MARGIN
        assert boxes[:, 3].max() <= A4_POINTS[1] - MARGIN
        assert _overlaps(boxes) == 0


def _overlaps(boxes: np.ndarray) -> int:
    """Count pairs of words that share more than a sliver of paper.

    Boxes reach from ascender to descender, so neighbouring lines may touch by a fifth of
    their height; words beside each other may share a point of side bearing.
    """
    x0, y0, x1, y1 = boxes.T
    wide = np.minimum(x1[:, None], x1) - np.maximum(x0[:, None], x0)
    tall = np.minimum(y1[:, None], y1) - np.maximum(y0[:, None], y0)
    height = np.minimum((y1 - y0)[:, None], y1 - y0)
    both = (wide > 1.0) & (tall > 0.35 * height)
    return int(np.triu(both, 1).sum())


@pytest.mark.debian("pdftotext")
@pytest.mark.parametrize(
    "words",
    ['#import "x"', "[*_$@\\`<a>{}//~", "$x^2$ \\frac{1}{2} #{1/0}", "= Heading", "- list",
     "// comment", "/* comment */", "#panic()", "<label> @label", "~~ -- --- ...",
     "\"quoted\" 'so'", "https://example.org", "a&b <c>", "\\u{41}", "1. one", "% per cent"],
)  # fmt: skip
def test_hostile_words_are_printed_as_they_stand(words: str, tmp_path: Path) -> None:
    deck = Deck(name="blue one", maker=words, serial=words, notes=words)
    path = write_report(DeckRecord(deck=deck, read_at="2026-03-14T18:00:00Z"), tmp_path / "x.pdf")
    # Title, and the rows of maker, serial and notes.
    assert squeezed(text_of(path)).count(squeezed(words)) == 4


@pytest.mark.debian("pdftotext")
def test_names_of_many_scripts_are_printed_and_what_cannot_be_is_told(tmp_path: Path) -> None:
    deck = Deck(name="x", maker="Ренхольм Δέκα Łódź", model="日本", notes="fine")
    path = write_report(DeckRecord(deck=deck, read_at="2026-03-14T18:00:00Z"), tmp_path / "x.pdf")
    text = text_of(path)
    assert squeezed("Ренхольм Δέκα Łódź") in squeezed(text)
    assert "▯▯" in text
    assert "An open box stands for a character" in text
    deck = Deck(name="x", maker="Ренхольм")
    path = write_report(DeckRecord(deck=deck, read_at="2026-03-14T18:00:00Z"), tmp_path / "y.pdf")
    assert "An open box" not in text_of(path)


@pytest.mark.debian("pdftotext")
def test_only_shipped_fonts_are_used_and_all_are_embedded(whole_sheet: Path) -> None:
    rows = run("pdffonts", str(whole_sheet)).splitlines()[2:]
    assert rows
    for row in rows:
        assert "DejaVuSans" in row
        assert re.search(r"\byes\s+yes\s+yes\b", row), row  # embedded, subset, with text


@pytest.mark.debian("pdftoppm")
def test_pages_printed_in_grey_keep_ink_and_paper_apart(whole_sheet: Path, tmp_path: Path) -> None:
    run("pdftoppm", "-r", "60", "-gray", "-png", str(whole_sheet), str(tmp_path / "page"))
    pages = sorted(tmp_path.glob("page*.png"))
    assert len(pages) == 4
    for page in pages:
        grey = image.imread(page)
        assert grey.min() < 0.15
        assert grey.max() == pytest.approx(1.0)
        # Bands and fills are light: between a tenth and a half of full black there is little.
        assert 0.002 < (grey < 0.5).mean() < 0.2


def test_the_same_record_gives_the_same_bytes(whole_record: DeckRecord, tmp_path: Path) -> None:
    one = write_report(whole_record, tmp_path / "one.pdf").read_bytes()
    two = write_report(whole_record, tmp_path / "two.pdf").read_bytes()
    assert one == two


def test_a_report_with_figures_takes_less_than_five_seconds(
    whole_record: DeckRecord, tmp_path: Path
) -> None:
    begun = time.perf_counter()
    write_report(whole_record, tmp_path / "sheet.pdf")
    assert time.perf_counter() - begun < 5.0


def test_pages_come_as_pictures_too(
    whole_record: DeckRecord, tmp_path: Path, output_folder: Path
) -> None:
    pages = write_pages(whole_record, tmp_path, title="For the club at Sallowby")
    assert [page.name for page in pages] == [f"page-{n}.png" for n in range(1, 5)]
    for page in pages:
        shown = image.imread(page)
        assert shown.shape[0] / shown.shape[1] == pytest.approx(2**0.5, abs=0.002)  # ISO 216
        (output_folder / f"report-{page.name}").write_bytes(page.read_bytes())


def test_a_full_disk_leaves_the_earlier_file_and_no_litter(
    whole_record: DeckRecord, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "sheet.pdf"
    path.write_bytes(b"earlier")

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(files.os, "fsync", full)
    with pytest.raises(FileError, match=r"could not be written \(No space left on device\)"):
        write_report(whole_record, path)
    assert path.read_bytes() == b"earlier"
    assert [one.name for one in tmp_path.iterdir()] == ["sheet.pdf"]


def test_a_place_that_cannot_be_written_is_told_in_one_sentence(
    whole_record: DeckRecord, tmp_path: Path
) -> None:
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(FileError) as caught:
        write_report(whole_record, tmp_path / "file" / "sheet.pdf")
    assert str(caught.value).count(".") <= 2  # one sentence, and the dot of the file's ending
    folder = tmp_path / "taken.pdf"
    folder.mkdir()
    with pytest.raises(FileError, match="Is a directory"):
        write_report(whole_record, folder)
