"""What fault-finding keeps: the later answer stands, what is taken back stays on record."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from runstrue.errors import InputError, LogbookError
from runstrue.faults.models import Evidence
from runstrue.logbook import Logbook
from runstrue.logbook.bench_records import transport_for
from runstrue.logbook.models import CaptureFacts, Deck
from runstrue.result import Measured


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Logbook]:
    with Logbook.open(tmp_path) as opened:
        yield opened


def symptom(key: str, answer: str = "present") -> Evidence:
    return Evidence(kind="symptom", key=key, answer=answer)


def test_later_answer_stands_in_the_place_of_the_first(book: Logbook) -> None:
    deck = book.add_deck(Deck(name="Red"))
    visit = book.open_visit(deck)
    for one in (symptom("wow"), symptom("hum"), symptom("wow", "absent")):
        book.add_evidence(deck, visit, one)
    assert [(one.evidence.key, one.evidence.answer) for one in book.evidence(deck, visit)] == [
        ("wow", "absent"), ("hum", "present"),
    ]  # fmt: skip
    assert len(book.evidence(deck, visit, every=True)) == 3


def test_what_is_taken_back_is_gone_with_what_it_replaced_but_stays_on_record(
    book: Logbook,
) -> None:
    deck = book.add_deck(Deck(name="Red"))
    visit = book.open_visit(deck)
    book.add_evidence(deck, visit, symptom("wow"))
    again = book.add_evidence(deck, visit, symptom("wow", "absent"))
    book.take_back(again)
    assert book.evidence(deck, visit) == ()
    assert len(book.evidence(deck, visit, every=True)) == 2
    with pytest.raises(LogbookError, match="taken back before"):
        book.take_back(again)
    book.add_evidence(deck, visit, symptom("wow"))
    assert len(book.evidence(deck, visit)) == 1


def test_visits_and_decks_are_kept_apart(book: Logbook) -> None:
    red, blue = book.add_deck(Deck(name="Red")), book.add_deck(Deck(name="Blue"))
    first = book.open_visit(red)
    book.add_evidence(red, first, symptom("wow"))
    book.close_visit(first)
    second = book.open_visit(red)
    assert book.evidence(red, second) == ()
    assert len(book.evidence(red, first)) == 1
    assert book.evidence(blue, None) == ()


def test_evidence_travels_whole_with_its_reason(book: Logbook) -> None:
    deck = book.add_deck(Deck(name="Red"))
    one = Evidence(kind="check", key="ms_speed", answer="slow", because="speed −2.00 ±0.34 %")
    assert book.add_evidence(deck, None, one).evidence == one
    assert book.evidence(deck, None)[0].evidence == one


def test_intake_keeps_the_latest_answer_to_each_question(book: Logbook) -> None:
    deck = book.add_deck(Deck(name="Red"))
    for question, answer in (("plug", "none"), ("fuse", "blown"), ("plug", "sound")):
        book.add_intake_answer(deck, None, question, answer)
    assert [(one.question, one.answer) for one in book.intake(deck, None)] == [
        ("plug", "sound"), ("fuse", "blown"),
    ]  # fmt: skip


def test_repairs_of_the_whole_bench_are_counted(book: Logbook) -> None:
    red, blue = book.add_deck(Deck(name="Red")), book.add_deck(Deck(name="Blue"))
    book.add_repair(red, None, "main_belt_slack", words="new belt", minutes=45, parts="belt")
    book.add_repair(blue, None, "main_belt_slack")
    assert [one.cause for one in book.repairs()] == ["main_belt_slack"] * 2
    (of_red,) = book.repairs(red)
    assert (of_red.words, of_red.minutes, of_red.parts) == ("new belt", 45, "belt")
    with pytest.raises(InputError, match="more than 0"):
        book.add_repair(red, None, "main_belt_slack", minutes=0)


def test_settings_and_transports_keep_what_stood_before(book: Logbook) -> None:
    deck = book.add_deck(Deck(name="Red"))
    assert book.setting("faults.tools") is None
    book.set_setting("faults.tools", "multimeter")
    book.set_setting("faults.tools", "all")
    assert book.setting("faults.tools") == "all"
    book.add_transport(deck, "first", "a.toml")
    book.add_transport(deck, "second", "b.toml", 9.5)
    assert [(one.text, one.speed_cm_s) for one in book.transports(deck)] == [
        ("first", None), ("second", 9.5),
    ]  # fmt: skip


def test_repair_that_is_taken_back_no_longer_counts_but_stays_on_record(book: Logbook) -> None:
    deck = book.add_deck(Deck(name="Red"))
    wrong = book.add_repair(deck, None, "idler_worn")
    book.add_repair(deck, None, "main_belt_slack")
    book.take_back(wrong)
    assert [one.cause for one in book.repairs()] == ["main_belt_slack"]
    assert [one.cause for one in book.repairs(deck)] == ["main_belt_slack"]
    first, second = book.repairs(deck, every=True)
    assert (first.cause, bool(first.taken_back_at)) == ("idler_worn", True)
    assert second.taken_back_at == ""
    with pytest.raises(LogbookError, match="repair of 'idler_worn' was taken back before"):
        book.take_back(wrong)


def test_what_is_taken_back_says_when(book: Logbook) -> None:
    deck = book.add_deck(Deck(name="Red"))
    seen = book.add_evidence(deck, None, symptom("wow"))
    assert seen.taken_back_at == ""
    book.take_back(seen)
    (one,) = book.evidence(deck, None, every=True)
    assert one.taken_back_at > "2020"


def test_record_of_a_deck_carries_all_of_it_over_its_visits(book: Logbook) -> None:
    red, blue = book.add_deck(Deck(name="Red")), book.add_deck(Deck(name="Blue"))
    for deck in (red, blue):
        for _ in range(2):
            visit = book.open_visit(deck)
            book.add_intake_answer(deck, visit, "plug", "none")
            book.add_intake_answer(deck, visit, "plug", "sound")
            book.add_evidence(deck, visit, symptom("wow"))
            book.take_back(book.add_evidence(deck, visit, symptom("hum")))
            book.add_repair(deck, visit, "main_belt_slack")
            book.close_visit(visit)
        book.add_transport(deck, f"of {deck.name}", "a.toml")
    record = book.deck_record(red)
    assert [one.text for one in record.transports] == ["of Red"]
    assert record.transport_at() == record.transports[0]
    assert [one.answer for one in record.intake] == ["sound", "sound"]
    assert [one.evidence.key for one in record.evidence] == ["wow", "wow"]
    assert {one.visit_id for one in record.evidence} == {visit.id for visit in book.visits(red)}
    assert len(record.repairs) == 2


def test_transport_of_the_speed_counts_else_the_one_for_all(book: Logbook) -> None:
    deck = book.add_deck(Deck(name="Red"))
    for text, speed in (("slow 1", 4.76), ("all 1", None), ("fast", 9.53), ("slow 2", 4.7625)):
        book.add_transport(deck, text, "a.toml", speed)
    entries = book.transports(deck)
    assert [one.text for one in entries] == ["slow 1", "all 1", "fast", "slow 2"]

    def text(speed: float | None) -> str | None:
        found = transport_for(entries, speed)
        return None if found is None else found.text

    assert text(4.76) == "slow 2"  # 1 7/8 in/s, however it is written
    assert text(9.525) == "fast"
    assert text(19.05) == "all 1"
    assert text(None) == "all 1"
    assert transport_for(entries[:1]) == entries[0]
    assert transport_for((entries[0], entries[2])) is None  # which of two, nobody said
    assert transport_for(()) is None


@pytest.mark.parametrize(("text", "speed"), [("  ", None), ("a", 0.0), ("a", float("nan"))])
def test_transport_of_nothing_or_at_no_speed_is_refused(
    book: Logbook, text: str, speed: float | None
) -> None:
    deck = book.add_deck(Deck(name="Red"))
    with pytest.raises(InputError, match=r"transport 'a\.toml'"):
        book.add_transport(deck, text, "a.toml", speed)
    assert book.transports(deck) == ()


def test_visits_and_readings_of_other_decks_are_refused_in_a_sentence(
    book: Logbook, whole_pass: Callable[..., Measured], facts: Callable[..., CaptureFacts]
) -> None:
    red, blue = book.add_deck(Deck(name="Red")), book.add_deck(Deck(name="Blue"))
    visit = book.open_visit(blue)
    for add in (
        lambda: book.add_evidence(red, visit, symptom("wow")),
        lambda: book.add_intake_answer(red, visit, "plug", "none"),
        lambda: book.add_repair(red, visit, "main_belt_slack"),
    ):
        with pytest.raises(LogbookError, match="belongs to another deck"):
            add()
    number = book.store(blue, visit, facts(), whole_pass()).readings[0].id
    for reading_id in (number, 4711):
        seen = Evidence(kind="check", key="ms_speed", answer="slow", reading_id=reading_id)
        with pytest.raises(LogbookError, match=f"no reading {reading_id} of the deck 'Red'"):
            book.add_evidence(red, None, seen)
    assert book.evidence(red, None) == ()
    gone = Deck(id=99, name="Gone")
    with pytest.raises(LogbookError, match="no deck with the number 99"):
        book.add_repair(gone, None, "main_belt_slack")
