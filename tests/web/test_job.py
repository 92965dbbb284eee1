"""The job on its card: what the pages do to the logbook, in the terminal's words and digits."""

from __future__ import annotations

import time
from pathlib import Path

import pytest
from tests.web.conftest import SHEET, Pages

from runstrue.cli.bench import Bench
from runstrue.cli.main import main
from runstrue.logbook import Logbook


def printed(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    """Return what the terminal prints, in one line."""
    capsys.readouterr()
    main(list(words))
    return " ".join(capsys.readouterr().out.split())


def words_of(text: str) -> str:
    """Return the words of a page, in one line."""
    import html
    import re

    plain = re.sub(r"<[^>]+>", " ", re.sub(r"<script.*?</script>", "", text, flags=re.DOTALL))
    return " ".join(html.unescape(plain).split())


def measured(pages: Pages, tape: Path, stage: str = "found", **more: str) -> str:
    """Drop a recording, wait until it is measured, and return the last page."""
    answer = pages.send(
        "/decks/C-14/measure", {"stage": stage, "tone": "3150", **more},
        files=[("recordings", (tape.name, tape.read_bytes(), "audio/flac"))],
    )  # fmt: skip
    deadline = time.monotonic() + 60
    while "http-equiv" in answer.text:
        assert time.monotonic() < deadline
        time.sleep(0.1)
        answer = pages.get(str(answer.url.path))
    return words_of(answer.text)


def test_an_empty_bench_teaches(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from starlette.testclient import TestClient
    from tests.web.conftest import BASE, PORT

    from runstrue.web.app import create_app

    with TestClient(create_app(Bench(tmp_path / "none"), PORT), base_url=BASE) as client:
        pages = Pages(client)
        assert "No deck is on the bench yet" in pages.get("/").text
        answer = pages.send("/decks/new", {"name": "C-14", "speeds": "4,76", "year": "1979"})
        assert answer.status_code == 200
        assert "&#39;C-14&#39; is on the bench" in answer.text
    with Logbook.open(tmp_path / "none") as book:
        deck = book.find_deck("C-14")
        assert (deck.speeds_cm_s, deck.year) == ((4.76,), 1979)
        assert book.current_visit(deck) is not None


def test_decks_are_found_hidden_and_brought_back(pages: Pages) -> None:
    pages.send("/decks/new", {"name": "R-8", "maker": "Tarn & Aldous"})
    assert "R-8" in pages.get("/?find=tarn").text
    assert "R-8" not in pages.get("/?find=wrenholm").text
    assert "No deck has" in pages.get("/?find=nothing+like+it").text
    assert "is hidden" in pages.send("/decks/R-8/hide", {}, page="/decks/R-8").text
    assert "R-8" not in pages.get("/").text
    told = pages.send("/decks/R-8/hide", {"show": "1"}, page="/?hidden=1").text
    assert "is on the lists again" in told


def test_what_was_typed_stays_when_it_is_refused(pages: Pages) -> None:
    answer = pages.send("/decks/new", {"name": "X-1", "year": "old", "maker": "Wrenholm"})
    assert answer.status_code == 400
    assert "&#39;old&#39; was typed; a number is needed" in answer.text
    assert 'value="X-1"' in answer.text
    assert 'value="Wrenholm"' in answer.text


def test_a_deck_is_corrected_and_the_old_facts_kept(pages: Pages, bench: Bench) -> None:
    pages.send("/decks/C-14/facts", {"name": "C-15", "serial": "0417"})
    with Logbook.open(bench.folder) as book:
        deck = book.find_deck("C-15")
        assert deck.serial == "0417"
        assert book.deck_history(deck)[0].before.name == "C-14"


def test_a_visit_is_noted_and_ended(pages: Pages, bench: Bench) -> None:
    pages.send("/decks/C-14/visit", {"what": "begin", "reason": "sways"}, page="/decks/C-14")
    pages.send("/decks/C-14/visit", {"what": "note", "reason": "sways", "notes": "belt renewed"},
               page="/decks/C-14")  # fmt: skip
    pages.send("/decks/C-14/visit", {"what": "end"}, page="/decks/C-14")
    with Logbook.open(bench.folder) as book:
        record = book.deck_record(book.find_deck("C-14"))
    (visit,) = record.visits
    assert (visit.reason, visit.notes, bool(visit.ended_at)) == ("sways", "belt renewed", True)


def test_a_sheet_is_read_in_the_terminals_words(
    pages: Pages, capsys: pytest.CaptureFixture[str]
) -> None:
    text = "Wow and flutter 0.14 % DIN\nTonhöhenschwankungen ±0,2 %\nweight 7 kg"
    tried = words_of(pages.send("/decks/C-14/sheet", {"text": text, "what": "try"}).text)
    typed = printed(capsys, "sheet", text)
    for word in ("wow and flutter, weighted peak", "±0.14 %", "weight 7 kg"):
        assert word in typed
        assert word in tried
    pages.send("/decks/C-14/sheet", {"text": text, "what": "enter", "source": "manual"})
    assert "From manual" in printed(capsys, "sheet", "--deck", "C-14")
    refused = pages.send("/decks/C-14/sheet", {"text": "lovely sound", "what": "enter"})
    assert "Nothing of that was understood" in refused.text
    assert "lovely sound" in refused.text


def test_the_intake_asks_as_the_terminal_does(
    pages: Pages, capsys: pytest.CaptureFixture[str]
) -> None:
    from runstrue.faults.intake import next_question

    first = next_question({})
    assert first is not None
    page = words_of(pages.get("/decks/C-14/intake").text)
    assert first.ask in page
    assert all(one.say in page for one in first.answers)
    answer = pages.send(
        "/decks/C-14/intake", {"question": first.id, "answer": first.answers[1].id}
    )  # fmt: skip
    second = next_question({first.id: first.answers[1].id})
    assert second is not None
    assert second.ask in words_of(answer.text)
    assert second.ask in printed(capsys, "intake", "C-14")
    assert "No answer was picked" in pages.send("/decks/C-14/intake", {"question": first.id}).text
    assert "passed over" in words_of(pages.send("/decks/C-14/intake", {"running": "1"}).text)


def test_faults_are_found_mended_and_taken_back(
    pages: Pages, bench: Bench, capsys: pytest.CaptureFixture[str]
) -> None:
    here = "/decks/C-14/faults"
    assert "No symptom" in pages.send(here, {"what": "symptom"}).text
    asked = pages.send(here, {"what": "say", "words": "motor spins but the spools stand still"})
    assert asked.status_code == 200
    pages.send(here, {"what": "symptom", "symptom": "motor_runs_no_play"})
    refused = pages.send(here, {"what": "answer", "check": "ck_look_belts", "outcome": "slack"})
    assert "The looks before power are not through" in refused.text
    pages.send("/decks/C-14/intake", {"running": "1"})
    pages.send(here, {"what": "answer", "check": "ck_look_belts", "outcome": "slack"})
    page = words_of(pages.get(here).text)
    listed = printed(capsys, "fault", "list", "C-14")
    first = listed.split("Likely causes 1 ")[1].split(" about ")[0].strip()
    assert first in page
    chance = listed.split(first)[1].split("2 ")[0].strip()
    assert chance in page, "the same chance, with what it rests on"
    pages.send(here, {"what": "done", "cause": "main_belt_slack", "minutes": "40"})
    with Logbook.open(bench.folder) as book:
        (repair,) = book.repairs()
    assert (repair.cause, repair.minutes) == ("main_belt_slack", 40.0)
    pages.send(here, {"what": "undone", "repair": str(repair.id)})
    with Logbook.open(bench.folder) as book:
        assert book.repairs() == ()
    pages.send(here, {"what": "back", "number": "2"})
    assert "belts hang slack" not in printed(capsys, "fault", "list", "C-14")


def test_a_dropped_recording_is_measured_judged_and_kept(
    pages: Pages, bench: Bench, tape: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    pages.send("/decks/C-14/sheet", {"text": SHEET, "what": "enter"})
    page = measured(pages, tape)
    assert "Measured and kept" in page
    typed = printed(capsys, "measure", str(tape), "--tone", "3150", "--sheet", SHEET)
    flutter = typed.split("two-sigma")[0].rsplit("±", 1)[0]
    with Logbook.open(bench.folder) as book:
        (record,) = book.captures(book.find_deck("C-14"))
    peak = record.find("flutter.weighted_peak")
    assert peak is not None
    assert peak.quantity is not None
    from runstrue.report.words import figure_of

    assert figure_of(peak.quantity, peak.id) in page
    assert figure_of(peak.quantity, peak.id).rstrip(" %") in typed
    assert "does not meet" in page
    assert flutter
    assert not list((bench.folder / "incoming").glob("*")), "the upload is gone"


def test_a_recording_is_corrected_left_out_and_brought_back(
    pages: Pages, bench: Bench, tape: Path
) -> None:
    measured(pages, tape)
    here = "/decks/C-14/captures/1"
    pages.send(here, {"what": "correct", "stage": "left", "side": "B"})
    with Logbook.open(bench.folder) as book:
        facts = book.capture(1).facts
    assert (facts.stage, facts.side) == ("as left", "B")
    assert "left out" in pages.send(here, {"what": "withdraw"}).text
    assert "None yet" in pages.get("/decks/C-14").text
    assert "It counts again" in pages.send(here, {"what": "restore"}).text


def test_found_and_left_stand_side_by_side(
    pages: Pages, bench: Bench, tape: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert "Nothing was measured yet" in pages.get("/decks/C-14/compare").text
    assert "nothing to hand over" in pages.get("/decks/C-14/report").text
    measured(pages, tape, "found")
    measured(pages, tape, "left")
    page = words_of(pages.get("/decks/C-14/compare").text)
    assert "no change that can be told from chance" in page
    drawing = pages.get("/decks/C-14/drawings/speed.svg")
    assert drawing.headers["content-type"] == "image/svg+xml"
    assert b"<svg" in drawing.content
    sheet = pages.send("/decks/C-14/report", {"title": "For the club"})
    assert sheet.headers["content-type"] == "application/pdf"
    assert sheet.content.startswith(b"%PDF-")
    del bench, capsys


def test_a_broken_recording_gets_its_sentence(pages: Pages, tmp_path: Path) -> None:
    broken = tmp_path / "broken.flac"
    broken.write_bytes(b"fLaC and no more")
    page = measured(pages, broken)
    assert "broken.flac:" in page
    assert "Measure another one" in page


def test_a_reading_is_typed(pages: Pages, bench: Bench) -> None:
    fields = {"quantity": "torque.take_up", "value": "42±2", "unit": "g·cm", "stage": "found"}
    answer = pages.send("/decks/C-14/enter", fields, page="/decks/C-14/measure")
    assert "mN·m" in answer.text
    refused = pages.send("/decks/C-14/enter", {**fields, "value": "42"}, page="/decks/C-14/measure")
    assert "has no uncertainty" in refused.text
    with Logbook.open(bench.folder) as book:
        assert len(book.captures(book.find_deck("C-14"))) == 1


def test_a_transport_is_kept_and_drawn(pages: Pages) -> None:
    from runstrue.transport.examples import example_text

    assert "not described yet" in pages.get("/decks/C-14/parts").text
    assert "capstan" in pages.get("/decks/C-14/parts?example=one-belt").text
    page = pages.send("/decks/C-14/parts", {"text": example_text("one-belt")})
    assert "6.316 ±0.030 Hz" in page.text
    assert b"<svg" in pages.get("/decks/C-14/parts/drawing.svg").content
    wrong = pages.send("/decks/C-14/parts", {"text": 'deck = "R-8"\nspeed = "4.76 cm/s"'})
    assert wrong.status_code == 400
    assert "6.316 ±0.030 Hz" in wrong.text, "what was kept stands"


def test_belts_are_the_terminals_own_words(
    pages: Pages, capsys: pytest.CaptureFixture[str]
) -> None:
    page = words_of(pages.get("/belts?what=belt&string=312+mm&section=square+1.2+mm").text)
    typed = printed(capsys, "belt", "size", "--string", "312 mm", "--section", "square 1.2 mm")
    assert typed in page
    refused = words_of(pages.get("/belts?what=belt&string=--json&section=x").text)
    assert "{" not in refused
    assert "was given" in refused or "needed" in refused


def test_settings_hold_for_the_bench_and_the_look_for_the_browser(
    pages: Pages, capsys: pytest.CaptureFixture[str]
) -> None:
    pages.send("/settings", {"trained": "1", "own_counts": "1", "tool": ["multimeter"]})
    told = printed(capsys, "fault", "settings")
    assert "you said that you are" in told
    pages.send("/settings", {"look": "dark"})
    assert 'data-look="dark"' in pages.get("/").text
    assert "Nothing is wrong" in pages.get("/settings?check=1").text


def test_papers_are_kept_with_what_is_quoted(pages: Pages, bench: Bench) -> None:
    here = "/decks/C-14/files"
    paper = b"%PDF-1.4\n1 0 obj\nendobj\n%%EOF\n"
    pages.send(
        here, {"kind": "review"}, files=[("files", ("review.pdf", paper, "application/pdf"))]
    )
    pages.send(f"{here}/1/change", {"caption": "1980", "quote": "runs true"}, page=here)
    assert "review.pdf" in pages.get(here).text
    sent = pages.get(f"{here}/1")
    assert sent.headers["content-disposition"] == "attachment"
    assert "Taken off" in pages.send(f"{here}/1/change", {"what": "hide"}, page=here).text
    assert "Put back" in pages.send(f"{here}/1/change", {"what": "show"}, page=here).text
    with Logbook.open(bench.folder) as book:
        (record,) = book.files_of(book.find_deck("C-14"))
    assert (record.quote, record.caption) == ("runs true", "1980")


def test_the_one_next_thing_goes_with_the_job(pages: Pages, tape: Path) -> None:
    def following() -> str:
        return words_of(pages.get("/decks/C-14").text).rsplit("Next ", 1)[1]

    assert following().startswith("Look it over before it gets power")
    pages.send("/decks/C-14/intake", {"running": "1"})
    assert following().startswith("Paste the lines of its sheet")
    pages.send("/decks/C-14/sheet", {"text": SHEET, "what": "enter"})
    assert following().startswith("Measure it as found")
    measured(pages, tape)
    assert following().startswith("Find what is wrong with it")
    pages.send("/decks/C-14/faults", {"what": "done", "cause": "main_belt_slack"})
    assert following().startswith("Measure it as left")
    measured(pages, tape, "left")
    assert following().startswith("Hand over its record")
