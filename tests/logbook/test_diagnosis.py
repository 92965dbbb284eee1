"""What fault-finding keeps: the later answer stands, what is taken back stays on record."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from runstrue.errors import InputError, LogbookError
from runstrue.faults.models import Evidence
from runstrue.logbook import Logbook
from runstrue.logbook.models import Deck


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
