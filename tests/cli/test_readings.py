"""A slip at the bench can be put right; nothing is deleted by it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

Call = Any


@pytest.fixture
def deck(call: Call, recordings: Path) -> str:
    """A deck with one recording as found and one figure typed wrongly."""
    call("deck", "add", "C-14")
    call("measure", recordings / "new-belt.flac", "--deck", "C-14", "--stage", "found")
    call("enter", "C-14", "take-up", "4,2±0.1", "g·cm", "--stage", "found")
    return "C-14"


def test_a_figure_typed_wrongly_is_replaced(call: Call, deck: str) -> None:
    done = call("enter", deck, "take-up", "42±2", "g·cm", "--stage", "found", "--replaces", "2")
    assert done.code == 0
    shown = call("deck", "show", deck).out
    # 42 gf·cm × 0.0980665 mN·m (standard gravity) = 4.12 mN·m
    assert "4.12 mN·m" in shown
    assert "0.41" not in shown


def test_a_reading_is_moved_withdrawn_and_restored(call: Call, deck: str) -> None:
    assert "as left, side B" in call("reading", "move", "1", "--stage", "left", "--side", "B").out
    assert "1  as left" in call("deck", "show", deck).out
    assert call("reading", "withdraw", "1").code == 0
    assert "new-belt.flac" not in call("deck", "show", deck).out
    assert call("reading", "restore", "1").code == 0
    assert "new-belt.flac" in call("deck", "show", deck).out


def test_a_number_that_is_not_there_is_refused(call: Call, deck: str) -> None:
    done = call("reading", "withdraw", "77")
    assert done.code == 1
    assert "no capture with the number 77" in done.err


def test_nothing_to_correct_is_wrong_usage(call: Call, deck: str) -> None:
    assert call("reading", "move", "1").code == 2


def test_the_same_recording_twice_in_a_visit_is_told(
    call: Call, deck: str, recordings: Path
) -> None:
    done = call("measure", recordings / "new-belt.flac", "--deck", deck, "--stage", "left")
    assert "very same recording" in " ".join(done.out.split())


@pytest.mark.parametrize(
    ("value", "words"),
    [("-5±1", "cannot be below zero"), ("42±-1", "zero or more"), ("nan", "given as a figure")],
)
def test_impossible_figures_are_refused(call: Call, deck: str, value: str, words: str) -> None:
    done = call("enter", deck, "take-up", value, "g·cm", "--stage", "found")
    assert done.code == 1
    assert words in done.err


def test_a_speed_that_the_deck_does_not_have_is_refused(call: Call, recordings: Path) -> None:
    call("deck", "add", "R-8", "--speeds", "9.5, 19")
    done = call(
        "measure", recordings / "new-belt.flac", "--deck", "R-8", "--stage", "found",
        "--speed", "4.76",
    )  # fmt: skip
    assert done.code == 1
    assert "9.5 and 19 cm/s" in done.err


def test_a_sheet_file_that_is_not_there_is_told(call: Call, recordings: Path) -> None:
    done = call("measure", recordings / "new-belt.flac", "--sheet", "missing.txt")
    assert done.code == 1
    assert "'missing.txt' was not found" in done.err


def test_without_a_sheet_the_speed_still_gets_bench_words(call: Call, recordings: Path) -> None:
    shown = " ".join(call("measure", recordings / "new-belt.flac").out.split())
    assert "The speed: leave it alone." in shown
