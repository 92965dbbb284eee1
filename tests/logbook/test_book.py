"""The logbook as the command line and the report use it."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path

import msgspec
import numpy as np
import pytest

from runstrue.errors import FileError, InputError, LogbookError
from runstrue.logbook import Logbook
from runstrue.logbook.models import CaptureFacts, CaptureRecord, Deck, SoundCard
from runstrue.quantity import Quantity
from runstrue.result import Measured, Result, Trace, to_plain
from runstrue.stimulus.testtape import TestTape
from runstrue.verdict.models import Limit, Sheet, Unread, Verdict

MakePass = Callable[..., Measured]
MakeFacts = Callable[..., CaptureFacts]
MakeSpeed = Callable[..., Result]

C14 = Deck(
    name="Red C-14",
    maker="Wrenholm",
    model="C-14",
    serial="00417",
    year=1979,
    speeds_cm_s=(4.76,),
    heads=2,
    wells=1,
    mains="230 V, 50 Hz",
    notes="Sallowby repair club; „Löwe“ on a sticker",
)
TAPE = TestTape(
    name="Sallowby tape",
    tone_hz=3150.0,
    speed_tolerance_percent=0.5,
    own_flutter_percent=0.05,
    batch="7",
)


def same_curve(first: Trace, second: Trace) -> bool:
    """Whether two curves agree in every bit, gaps included."""
    return (
        first.x.tobytes() == second.x.tobytes()
        and first.y.tobytes() == second.y.tobytes()
        and first.x.dtype == second.x.dtype
        and first.y.dtype == second.y.dtype
        and dict(first.marks) == dict(second.marks)
        and (first.name, first.channel, first.x_unit)
        == (second.name, second.channel, second.x_unit)
    )


def test_a_pass_is_read_back_as_it_was_measured(
    tmp_path: Path, whole_pass: MakePass, facts: MakeFacts, speed_verdict: Verdict, recording: Path
) -> None:
    measured = whole_pass()
    said = facts("as found", side="A", well="left", noise_reduction="off", remark="1° start")
    sheet = Sheet(
        text="Speed ±1.5 %; blurb",
        limits=(speed_verdict.limit,),
        unread=(Unread(words="blurb", why="no figure"),),
    )
    with Logbook.open(tmp_path / "bench") as book:
        deck = book.add_deck(C14)
        visit = book.open_visit(deck, "plays slow, says the owner")
        entry = book.add_sheet(deck, sheet, "owner's manual, page 27")
        book.store(deck, visit, said, measured, [speed_verdict], recording, tape=TAPE, sheet=entry)
    with Logbook.open(tmp_path / "bench", create=False) as book:
        record = book.deck_record(book.find_deck("red c-14"))
    assert msgspec.structs.replace(record.deck, id=0, created_at="") == C14
    assert record.visits == (visit,)
    assert record.sheets == (entry,)
    assert record.sheet is not None
    assert record.sheet.sheet == sheet
    (capture,) = record.captures
    assert capture.facts == said
    assert capture.tape == TAPE
    assert capture.file_name == recording.name
    assert capture.summary == measured.summary
    assert dict(capture.conditions) == dict(measured.conditions)
    assert capture.doubts == measured.doubts
    assert [to_plain(reading.result) for reading in capture.readings] == [
        to_plain(result) for result in measured.results
    ]
    assert same_curve(capture.traces[0], measured.traces[0])
    assert same_curve(capture.readings[1].result.traces[0], measured.results[1].traces[0])
    assert capture.deviation is not None
    assert measured.deviation is not None
    assert capture.deviation.percent.dtype == np.float32
    assert capture.deviation.percent.tobytes() == measured.deviation.percent.tobytes()
    assert capture.deviation.channels == ("left", "right")
    (verdict,) = capture.verdicts
    assert verdict.verdict == speed_verdict
    assert verdict.reading_id == capture.readings[0].id
    assert verdict.sheet_id == entry.id


def test_the_stored_blob_is_plain_little_endian_float32(
    tmp_path: Path, whole_pass: MakePass, facts: MakeFacts
) -> None:
    # Read with numpy alone, as the schema's words say, by somebody who lost the program.
    measured = whole_pass()
    assert measured.deviation is not None
    with Logbook.open(tmp_path) as book:
        book.store(book.add_deck(C14), None, facts(), measured)
    with sqlite3.connect(tmp_path / "logbook.sqlite") as connection:
        blob, samples = connection.execute("SELECT percent_f4, samples FROM deviation").fetchone()
        row = connection.execute(
            "SELECT deck, stage, value, unit, u FROM readings WHERE quantity = 'speed.deviation'"
        ).fetchone()
    connection.close()
    found = np.frombuffer(blob, "<f4").reshape(2, samples)
    np.testing.assert_array_equal(found, measured.deviation.percent)
    assert row == ("Red C-14", "as found", -2.1, "%", measured.results[0].quantity.u)  # type: ignore[union-attr]


def test_a_name_is_found_whatever_its_capitals_and_accents_are_coded_as(tmp_path: Path) -> None:
    with Logbook.open(tmp_path) as book:
        # 'Ä' as one character and as A with a combining mark; 'ß' and 'SS' (Unicode casefold).
        book.add_deck(Deck(name="\u00c4lteste Stra\u00dfe"))
        assert book.find_deck("A\u0308LTESTE  STRASSE").id == 1
        with pytest.raises(LogbookError, match="already"):
            book.add_deck(Deck(name="\u00e4lteste strasse"))


def test_a_deck_that_is_not_there_is_refused_with_the_names_that_come_near(tmp_path: Path) -> None:
    with Logbook.open(tmp_path) as book:
        book.add_deck(C14)
        with pytest.raises(LogbookError, match="did you mean 'Red C-14'"):
            book.find_deck("red c14")
        with pytest.raises(LogbookError, match="list of decks") as refusal:
            book.find_deck("R-8")
        assert "did you mean" not in str(refusal.value)


def test_corrected_facts_of_a_deck_keep_the_old_ones(tmp_path: Path) -> None:
    with Logbook.open(tmp_path) as book:
        deck = book.add_deck(C14)
        later = book.update_deck(msgspec.structs.replace(deck, year=1981, name="Red"))
        assert (later.year, later.name) == (1981, "Red")
        assert book.update_deck(later) == later  # nothing new: no further entry
        (change,) = book.deck_history(deck)
        assert change.before == deck
        other = book.add_deck(Deck(name="Grey"))
        with pytest.raises(LogbookError, match="choose another name"):
            book.update_deck(msgspec.structs.replace(other, name="RED"))


def test_a_hidden_deck_comes_back_whole(
    tmp_path: Path, whole_pass: MakePass, facts: MakeFacts
) -> None:
    with Logbook.open(tmp_path) as book:
        deck = book.add_deck(C14)
        book.store(deck, None, facts(), whole_pass())
        book.hide_deck(deck)
        assert book.decks() == ()
        assert [hidden.name for hidden in book.decks(hidden=True)] == ["Red C-14"]
        with pytest.raises(LogbookError, match="hidden"):
            book.find_deck("red c-14")
        with pytest.raises(LogbookError, match="hidden"):
            book.add_deck(C14)
        book.show_deck(deck)
        assert len(book.deck_record(book.find_deck("red c-14")).captures) == 1


def test_a_hidden_capture_is_left_out_and_comes_back(
    tmp_path: Path, whole_pass: MakePass, facts: MakeFacts
) -> None:
    with Logbook.open(tmp_path) as book:
        deck = book.add_deck(C14)
        book.store(deck, None, facts("as found"), whole_pass(-2.1))
        good = book.store(deck, None, facts("as left"), whole_pass(0.1))
        spoilt = book.store(deck, None, facts("as left"), whole_pass(9.9))
        book.hide_capture(spoilt)
        assert [capture.id for capture in book.captures(deck)] == [1, good.id]
        assert book.compare(deck)[0].left[-1].result.quantity.value == 0.1  # type: ignore[union-attr]
        assert book.captures(deck, hidden=True)[-1].hidden
        book.show_capture(spoilt)
        assert book.compare(deck)[0].left[-1].result.quantity.value == 9.9  # type: ignore[union-attr]


def test_visits_open_once_and_close(tmp_path: Path, clock: Callable[..., object]) -> None:
    with Logbook.open(tmp_path, clock=clock) as book:  # type: ignore[arg-type]
        deck = book.add_deck(C14)
        assert book.current_visit(deck) is None
        visit = book.open_visit(deck, "eats tapes")
        assert book.current_visit(deck) == visit
        with pytest.raises(LogbookError, match="on the bench since 2024-05-01T09:30:00Z"):
            book.open_visit(deck)
        clock.forward(days=2)  # type: ignore[attr-defined]
        closed = book.close_visit(visit, "new belt")
        assert (closed.ended_at, closed.notes) == ("2024-05-03T09:30:00Z", "new belt")
        clock.forward(days=1)  # type: ignore[attr-defined]
        assert book.close_visit(visit) == closed
        assert book.current_visit(deck) is None
        again = book.note_visit(closed, reason="eats tapes", notes="new belt, cleaned")
        assert again.notes == "new belt, cleaned"
        assert book.open_visit(deck).id == 2
        assert len(book.visits(deck)) == 2


def test_an_earlier_sheet_stays_superseded(tmp_path: Path) -> None:
    with Logbook.open(tmp_path) as book:
        deck = book.add_deck(C14)
        book.add_sheet(deck, Sheet(text="0.2 %"), "brochure")
        book.add_sheet(deck, Sheet(text="0.14 % DIN"), "service manual")
        record = book.deck_record(deck)
    assert [(entry.sheet.text, entry.superseded) for entry in record.sheets] == [
        ("0.2 %", True),
        ("0.14 % DIN", False),
    ]
    assert record.sheet is not None
    assert record.sheet.source == "service manual"


def test_what_is_measured_again_counts_and_names_what_it_replaces(
    tmp_path: Path, whole_pass: MakePass, facts: MakeFacts, speed_verdict: Verdict
) -> None:
    with Logbook.open(tmp_path) as book:
        deck = book.add_deck(C14)
        first = book.store(deck, None, facts(), whole_pass(-2.1), [speed_verdict])
        second = book.measure_again(first, whole_pass(-2.0))
        assert second.id == first.id
        assert [reading.replaces for reading in second.readings] == [
            reading.id for reading in first.readings
        ]
        assert second.verdicts == ()  # verdicts on replaced readings no longer count
        assert [reading.id for reading in book.earlier_readings(second)] == [
            reading.id for reading in first.readings
        ]
        (kept,) = book.captures(deck)
        assert kept.find("speed.deviation").quantity.value == -2.0  # type: ignore[union-attr]


def test_what_is_judged_again_counts_and_leaves_the_readings(
    tmp_path: Path, whole_pass: MakePass, facts: MakeFacts, speed_verdict: Verdict
) -> None:
    with Logbook.open(tmp_path) as book:
        deck = book.add_deck(C14)
        first = book.store(deck, None, facts(), whole_pass(), [speed_verdict, speed_verdict])
        entry = book.add_sheet(deck, Sheet(text="speed ±3 %"))
        mild = msgspec.structs.replace(speed_verdict, outcome="meets", chance=0.99)
        second = book.judge_again(first, [mild], entry)
        assert [(record.verdict.outcome, record.sheet_id) for record in second.verdicts] == [
            ("meets", entry.id)
        ]
        assert [r.id for r in second.readings] == [r.id for r in first.readings]
    with sqlite3.connect(tmp_path / "logbook.sqlite") as connection:
        assert connection.execute("SELECT count(*) FROM verdict").fetchone() == (3,)
    connection.close()


def test_a_wrong_stage_can_be_corrected_and_the_old_words_stay(
    tmp_path: Path, whole_pass: MakePass, facts: MakeFacts
) -> None:
    with Logbook.open(tmp_path) as book:
        deck = book.add_deck(C14)
        wrong = book.store(deck, None, facts("as left"), whole_pass())
        right = book.correct_facts(wrong, facts("as found", side="B"))
        assert (right.facts.stage, right.facts.side) == ("as found", "B")
    with sqlite3.connect(tmp_path / "logbook.sqlite") as connection:
        (before,) = connection.execute("SELECT before FROM capture_history").fetchone()
    connection.close()
    assert '"as left"' in before


def test_a_typed_reading_is_stored_judged_and_corrected(tmp_path: Path, facts: MakeFacts) -> None:
    limit = Limit(ids=("torque.take_up",), unit="mN·m", words="35-60 g.cm", low=3.4, high=5.9)
    verdict = Verdict(
        id="torque.take_up", method="typed/1", limit=limit, outcome="meets", rule="", words=""
    )

    def typed(value: float) -> Result:
        return Result("torque.take_up", "typed/1", "", Quantity(value, "mN·m", 0.2))

    with Logbook.open(tmp_path) as book:
        deck = book.add_deck(C14)
        slip = book.store_typed(deck, facts("as found"), typed(44.0), [verdict])
        assert (slip.source, slip.verdicts[0].reading_id) == ("typed", slip.readings[0].id)
        right = book.store_typed(deck, facts("as found", well="B"), typed(4.4), corrects=slip)
        assert right.id == slip.id
        assert right.facts.well == "B"
        assert right.readings[0].replaces == slip.readings[0].id
        assert len(book.captures(deck)) == 1
        with pytest.raises(LogbookError, match="typed/1"):
            book.store_typed(deck, facts(), Result("torque.take_up", "typed/1", "", None))
        with pytest.raises(LogbookError, match="typed/1"):
            book.store_typed(
                deck, facts(), Result("speed.deviation", "bell-mean/1", "", Quantity(1, "%", 0))
            )


def test_the_sound_card_entered_last_counts(tmp_path: Path) -> None:
    with Logbook.open(tmp_path) as book:
        assert book.sound_card() is None
        book.set_sound_card(SoundCard(name="Blue box", clock_ppm=-31.0, u_ppm=5.0))
        book.set_sound_card(SoundCard(name="Built in", clock_ppm=80.0, u_ppm=20.0))
        book.set_sound_card(SoundCard(name="blue BOX", clock_ppm=-28.5, u_ppm=0.4, remark="GPS"))
        card = book.sound_card("Blue box")
        assert card is not None
        assert (card.clock_ppm, card.u_ppm, card.remark) == (-28.5, 0.4, "GPS")
        assert book.sound_card("built in").clock_ppm == 80.0  # type: ignore[union-attr]
        assert book.sound_card("other") is None
        record = book.deck_record(book.add_deck(C14))
    assert record.sound_card == card


def test_figures_that_are_not_finite_are_refused_and_nothing_is_stored(
    tmp_path: Path, speed_of: MakeSpeed, facts: MakeFacts
) -> None:
    with Logbook.open(tmp_path) as book:
        deck = book.add_deck(C14)
        bad = Measured("", (speed_of(1.0),), conditions={"snr_db": float("nan")})
        with pytest.raises(LogbookError, match="finite"):
            book.store(deck, None, facts(), bad)
        assert book.captures(deck) == ()
        assert book.store(deck, None, facts(), Measured("", (speed_of(1.0),))).id == 1


def test_visits_and_sheets_of_another_deck_are_refused(
    tmp_path: Path, whole_pass: MakePass, facts: MakeFacts
) -> None:
    with Logbook.open(tmp_path) as book:
        deck, other = book.add_deck(C14), book.add_deck(Deck(name="Grey C-32"))
        visit, entry = book.open_visit(other), book.add_sheet(other, Sheet(text=""))
        with pytest.raises(LogbookError, match="another deck"):
            book.store(deck, visit, facts(), whole_pass())
        with pytest.raises(LogbookError, match="another deck"):
            book.store(deck, None, facts(), whole_pass(), sheet=entry)
        with pytest.raises(LogbookError, match="no deck with the number 99"):
            book.store(msgspec.structs.replace(deck, id=99), None, facts(), whole_pass())
        with pytest.raises(LogbookError, match="no capture with the number 5"):
            book.capture(5)
        assert book.captures(deck) == ()


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"name": "  "}, "name"),
        ({"name": "a\nb"}, "name"),
        ({"name": "x", "kind": "wire"}, "'cassette', 'open reel'"),
        ({"name": "x", "year": 79}, "1930"),
        ({"name": "x", "heads": 0}, "1 or more"),
        ({"name": "x", "speeds_cm_s": (4.76, -1.0)}, "above 0"),
    ],
)
def test_facts_that_cannot_be_are_refused(wrong: dict[str, object], words: str) -> None:
    with pytest.raises(InputError, match=words):
        Deck(**wrong)  # type: ignore[arg-type]


def test_a_stage_that_is_none_is_refused() -> None:
    with pytest.raises(InputError, match="'as found', 'in between', 'as left'"):
        CaptureFacts(stage="broken")  # type: ignore[arg-type]
    with pytest.raises(InputError, match="cm/s"):
        CaptureFacts(stage="as found", speed_cm_s=0.0)


def test_a_file_that_changed_since_it_was_measured_is_refused(
    tmp_path: Path, whole_pass: MakePass, facts: MakeFacts, recording: Path
) -> None:
    with Logbook.open(tmp_path / "bench") as book:
        deck = book.add_deck(C14)
        with pytest.raises(FileError, match="has changed"):
            book.store(deck, None, facts(), whole_pass(), (), recording, "0" * 64)
        assert book.captures(deck) == ()
        assert list((tmp_path / "bench" / "captures").iterdir()) == []


def stored(book: Logbook, deck: Deck, said: CaptureFacts, *results: Result) -> CaptureRecord:
    return book.store(deck, None, said, Measured("", results))


def test_found_and_left_are_paired_by_place_and_the_latest_counts(
    tmp_path: Path, facts: MakeFacts, speed_of: MakeSpeed
) -> None:
    with Logbook.open(tmp_path) as book:
        deck = book.add_deck(C14)
        stored(book, deck, facts("as found", side="A"), speed_of(-2.0))
        stored(book, deck, facts("as found", side="B"), speed_of(-2.5))
        assert book.compare(deck) == ()  # a whole stage is missing
        stored(book, deck, facts("in between", side="A"), speed_of(-1.0))
        stored(book, deck, facts("as left", side="A"), speed_of(0.9))
        stored(book, deck, facts("as left", side="A"), speed_of(0.1))
        side_a, side_b = book.compare(deck)
        record = book.deck_record(deck)
    assert [(c.side, c.words) for c in record.changes] == [
        (c.side, c.words) for c in (side_a, side_b)
    ]
    assert (side_a.side, side_a.words) == ("A", "clearly better")
    assert [r.result.quantity.value for r in side_a.left] == [0.9, 0.1]  # type: ignore[union-attr]
    assert side_a.difference is not None
    assert side_a.difference.quantity.value == pytest.approx(2.1)
    # u by hand: the tape's 0.3 cancels, twice 0.01 remains: 0.01 √2.
    assert side_a.difference.quantity.u == pytest.approx(0.01 * np.sqrt(2))
    assert side_b.difference is None
    assert side_b.words.startswith("cannot be compared: read as found only")


def test_a_reading_without_a_figure_is_not_compared_and_says_why(
    tmp_path: Path, facts: MakeFacts, speed_of: MakeSpeed
) -> None:
    unknown = Result("speed.deviation", "bell-mean/1", "both", None, doubts=("Self-recorded.",))
    with Logbook.open(tmp_path) as book:
        deck = book.add_deck(C14)
        stored(book, deck, facts("as found"), speed_of(-2.0))
        stored(book, deck, facts("as left"), unknown)
        (change,) = book.compare(deck)
    assert change.words == "cannot be compared: it has no figure as left"


def test_each_visit_is_compared_on_its_own(
    tmp_path: Path, facts: MakeFacts, speed_of: MakeSpeed
) -> None:
    with Logbook.open(tmp_path) as book:
        deck = book.add_deck(C14)
        visits = []
        for found, left in ((-2.0, 0.1), (1.5, 0.2)):
            visit = book.open_visit(deck)
            for stage, value in (("as found", found), ("as left", left)):
                book.store(deck, visit, facts(stage), Measured("", (speed_of(value),)))
            visits.append(book.close_visit(visit))
        third = book.open_visit(deck)
        book.store(deck, third, facts("as found"), Measured("", (speed_of(9.0),)))
        latest, first = book.compare(deck), book.compare(deck, visits[0])
        assert book.compare(deck, third) == ()
    assert latest[0].found[0].result.quantity.value == 1.5  # type: ignore[union-attr]
    assert first[0].found[0].result.quantity.value == -2.0  # type: ignore[union-attr]


def test_starts_that_were_combined_do_not_count_singly(
    tmp_path: Path, facts: MakeFacts, speed_of: MakeSpeed, recording: Path
) -> None:
    with Logbook.open(tmp_path / "bench") as book:
        deck = book.add_deck(C14)
        for value in (-2.2, -1.8):
            book.store(
                deck, None, facts(starts_group="1"), Measured("", (speed_of(value),)), (), recording
            )
        both = stored(book, deck, facts(starts_group="1"), speed_of(-2.0))
        assert both.source == "combined"
        stored(book, deck, facts("as left"), speed_of(0.1))
        (change,) = book.compare(deck)
    assert [r.result.quantity.value for r in change.found] == [-2.0]  # type: ignore[union-attr]


def test_voltages_are_compared_point_by_point(tmp_path: Path, facts: MakeFacts) -> None:
    def volts(value: float, point: str) -> Result:
        return Result(
            "voltage.point", "typed/1", "", Quantity(value, "V", 0.05), conditions={"point": point}
        )

    with Logbook.open(tmp_path) as book:
        deck = book.add_deck(C14)
        for stage, first, second in (("as found", 11.9, 5.0), ("as left", 12.0, 5.0)):
            stored(book, deck, facts(stage), volts(first, "TP1"), volts(second, "TP2"))
        changes = {change.point: change for change in book.compare(deck)}
    assert changes["TP1"].difference.quantity.value == pytest.approx(0.1)  # type: ignore[union-attr]
    assert changes["TP2"].difference.quantity.value == 0  # type: ignore[union-attr]
