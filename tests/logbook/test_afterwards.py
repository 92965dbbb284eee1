"""What is worked out later from a pass: beside what was read, and plain where it came from."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from runstrue.errors import LogbookError
from runstrue.logbook import Logbook
from runstrue.logbook.models import CaptureFacts, CaptureRecord, Deck
from runstrue.quantity import Quantity
from runstrue.result import Measured, Result, Trace
from runstrue.verdict.models import Verdict


def share(part: str, percent: float) -> Result:
    """Return what one part of a transport does, as a later look would say it."""
    curve = Trace("once round", np.arange(3.0), np.arange(3.0), "turn", "", "deviation", "%")
    return Result(
        "flutter.weighted_peak", "by-part/1", "both", Quantity(percent, "%", 0.01),
        conditions={"part": part}, traces=(curve,),
    )  # fmt: skip


def shares(capture: CaptureRecord) -> dict[str, float]:
    return {
        str(one.result.conditions["part"]): one.result.quantity.value
        for one in capture.readings
        if one.addition_id is not None and one.result.quantity is not None
    }


@pytest.fixture
def deck_and_pass(
    tmp_path: Path,
    whole_pass: Callable[..., Measured],
    facts: Callable[..., CaptureFacts],
    clock: Callable[..., object],
) -> Iterator[tuple[Logbook, Deck, CaptureRecord]]:
    with Logbook.open(tmp_path, clock=clock) as book:  # type: ignore[arg-type]
        deck = book.add_deck(Deck(name="Red"))
        stored = book.store(deck, None, facts(), whole_pass())
        clock.forward(hours=2)  # type: ignore[attr-defined]
        yield book, deck, book.capture(stored.id)


def test_added_results_join_a_pass_whose_recording_is_not_heard_again(
    deck_and_pass: tuple[Logbook, Deck, CaptureRecord],
) -> None:
    book, _, before = deck_and_pass
    assert before.deviation is not None  # what a later look goes by
    assert before.source == "not kept"  # and there is no recording
    book.add_results(
        before, [share("belt", 0.11), share("capstan", 0.02)], basis="transport r.toml"
    )
    after = book.capture(before.id)
    kept = after.readings[: len(before.readings)]
    assert [one.id for one in kept] == [one.id for one in before.readings]
    assert [one.made_at for one in kept] == ["2024-05-01T09:30:00Z"] * len(kept)
    added = after.readings[len(kept) :]
    assert [one.made_at for one in added] == ["2024-05-01T11:30:00Z"] * 2
    assert shares(after) == {"belt": 0.11, "capstan": 0.02}
    assert [one.result.traces[0].name for one in added] == ["once round"] * 2
    (addition,) = after.additions
    assert (addition.method, addition.basis) == ("by-part", "transport r.toml")
    assert {one.addition_id for one in added} == {addition.id}
    assert after.made_at == before.made_at
    assert after.deviation is not None
    np.testing.assert_array_equal(after.deviation.percent, before.deviation.percent)


def test_a_second_look_stands_for_all_that_its_method_said_before(
    deck_and_pass: tuple[Logbook, Deck, CaptureRecord],
) -> None:
    book, _, capture = deck_and_pass
    book.add_results(capture, [share("belt", 0.11), share("idler", 0.05)], basis="wrong file")
    later = book.add_results(capture, [share("belt", 0.12)], basis="right file")
    assert shares(later) == {"belt": 0.12}  # the idler is not left standing
    assert [one.basis for one in later.additions] == ["wrong file", "right file"]
    gone = book.earlier_readings(capture)
    assert [one.result.conditions["part"] for one in gone] == ["belt", "idler"]
    (belt,) = [one for one in later.readings if one.addition_id]
    assert belt.replaces == gone[0].id
    assert later.find("speed.deviation") is not None  # other methods are untouched


def test_an_addition_by_the_method_of_a_reading_stands_for_it(
    deck_and_pass: tuple[Logbook, Deck, CaptureRecord], speed_of: Callable[..., Result]
) -> None:
    book, _, capture = deck_and_pass
    newer = replace(speed_of(-1.9), method="bell-mean/2")
    after = book.add_results(capture, [newer], basis="the tape's certificate")
    (speed,) = [one for one in after.readings if one.result.id == "speed.deviation"]
    assert speed.result.quantity is not None
    assert speed.result.quantity.value == -1.9
    assert [one.result.id for one in book.earlier_readings(after)] == ["speed.deviation"]


def test_measuring_again_begins_without_what_was_added(
    deck_and_pass: tuple[Logbook, Deck, CaptureRecord], whole_pass: Callable[..., Measured]
) -> None:
    book, _, capture = deck_and_pass
    added = book.add_results(capture, [share("belt", 0.11)], basis="transport r.toml")
    again = book.measure_again(added, whole_pass(-2.0))
    assert (shares(again), again.additions) == ({}, ())
    assert len(book.earlier_readings(again)) == len(added.readings)
    with pytest.raises(LogbookError, match="was measured again since it was read"):
        book.add_results(added, [share("belt", 0.11)], basis="transport r.toml")
    assert shares(book.add_results(again, [share("belt", 0.1)], basis="t")) == {"belt": 0.1}


def test_nothing_to_add_is_refused_and_nothing_is_stored_by_halves(
    deck_and_pass: tuple[Logbook, Deck, CaptureRecord],
) -> None:
    book, _, capture = deck_and_pass
    with pytest.raises(LogbookError, match="at least one result"):
        book.add_results(capture, [], basis="transport r.toml")
    broken = Result(
        "flutter.weighted_peak", "by-part/1", "both", None, conditions={"rate": float("inf")}
    )
    with pytest.raises(LogbookError):
        book.add_results(capture, [share("belt", 0.11), broken], basis="transport r.toml")
    assert book.capture(capture.id).additions == ()
    assert len(book.capture(capture.id).readings) == len(capture.readings)


def test_verdicts_stay_unless_they_are_given_anew(
    deck_and_pass: tuple[Logbook, Deck, CaptureRecord], speed_verdict: Verdict
) -> None:
    book, _, capture = deck_and_pass
    book.judge_again(capture, [speed_verdict])
    kept = book.add_results(capture, [share("belt", 0.11)], basis="one")
    assert [one.verdict.outcome for one in kept.verdicts] == ["does not meet"]
    anew = book.add_results(capture, [share("belt", 0.11)], basis="two", verdicts=())
    assert anew.verdicts == ()


def test_the_view_for_other_programs_counts_only_what_stands(
    deck_and_pass: tuple[Logbook, Deck, CaptureRecord],
) -> None:
    book, _, capture = deck_and_pass
    book.add_results(capture, [share("belt", 0.11)], basis="wrong file")
    book.add_results(capture, [share("belt", 0.12)], basis="right file")
    plain = sqlite3.connect(book.folder / "logbook.sqlite")
    rows = plain.execute(
        "SELECT value, counts FROM readings WHERE method = 'by-part/1' ORDER BY id"
    ).fetchall()
    others = plain.execute("SELECT min(counts) FROM readings WHERE method <> 'by-part/1'")
    assert (rows, others.fetchone()) == ([(0.11, 0), (0.12, 1)], (1,))
    plain.close()
