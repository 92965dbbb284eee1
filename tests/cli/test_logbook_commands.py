"""Decks, visits, sheets, typed readings, comparison, report: the logbook from the keyboard."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from tests.cli.conftest import Call

from runstrue.cli.bench import Bench, user_data_folder
from runstrue.logbook import Logbook


def test_a_deck_is_added_listed_changed_hidden_and_shown_again(call: Call, bench: Path) -> None:
    assert call("deck", "add", "R-8", "--maker", "Tarn & Aldous", "--kind", "reel",
                "--speeds", "9.5,19", "--heads", "3").code == 0  # fmt: skip
    with Logbook.open(bench) as book:
        deck = book.find_deck("R-8")
    assert (deck.kind, deck.speeds_cm_s, deck.heads) == ("open reel", (9.5, 19.0), 3)
    assert "Tarn & Aldous" in call("deck", "list").out
    assert call("deck", "change", "r-8", "--serial", "0471").code == 0
    assert "0471" in call("deck", "show", "R-8").out
    assert call("deck", "hide", "R-8").code == 0
    assert "R-8" not in call("deck", "list").out
    assert "R-8 (hidden)" in call("deck", "list", "--hidden").out
    assert call("deck", "unhide", "r-8").code == 0
    assert "R-8" in call("deck", "list").out


@pytest.mark.parametrize(
    ("text", "speeds"),
    [("4.76", (4.76,)), ("4,76", (4.76,)), ("9.5,19", (9.5, 19.0)), ("9.5 19", (9.5, 19.0)),
     ("9,19", (9.19,)), ("19; 38", (19.0, 38.0))],
)  # fmt: skip
def test_speeds_are_read_with_either_decimal_sign(
    call: Call, bench: Path, text: str, speeds: tuple[float, ...]
) -> None:
    assert call("deck", "add", "R-8", "--speeds", text).code == 0
    with Logbook.open(bench) as book:
        assert book.find_deck("R-8").speeds_cm_s == speeds


def test_a_misspelt_deck_is_asked_back_before_anything_is_measured(
    call: Call, tmp_path: Path
) -> None:
    call("deck", "add", "C-14")
    ran = call("measure", tmp_path / "gone.wav", "--deck", "C-15", "--stage", "found")
    assert ran.code == 1
    assert "did you mean 'C-14'" in ran.err
    assert "gone.wav" not in ran.err


def test_a_deck_of_several_speeds_asks_which_one_was_used(call: Call, recordings: Path) -> None:
    call("deck", "add", "R-8", "--speeds", "9.5,19")
    path = recordings / "new-belt.flac"
    ran = call("measure", path, "--deck", "R-8", "--stage", "found")
    assert (ran.code, "add --speed 9.5" in ran.err) == (1, True)
    assert call("measure", path, "--deck", "R-8", "--stage", "found", "--speed", "19").code == 0


def test_measuring_with_a_deck_stores_and_says_what_and_what_next(
    stored: Call, recordings: Path, bench: Path
) -> None:
    path = recordings / "new-belt.flac"
    ran = stored("measure", path, "--deck", "C-14", "--stage", "left", "--side", "A", "--json")
    told = json.loads(ran.out)["captures"][0]["stored"]
    assert told == {"deck": "C-14", "stage": "as left", "capture": 3, "logbook": str(bench)}
    with Logbook.open(bench) as book:
        first, _, third = book.captures(book.find_deck("C-14"), curves=True)
    assert (first.facts.stage, first.facts.side, first.source) == ("as found", "A", "file")
    assert first.deviation is not None
    readings = json.loads(ran.out)["captures"][0]["readings"]
    assert [one.result.quantity.value for one in third.readings if one.result.quantity] == [
        one["value"] for one in readings
    ]
    # the deck's own sheet was used, and each verdict kept with the sheet that it rests on
    judged = {one.verdict.id: one.sheet_id for one in third.verdicts}
    assert judged.keys() == {"flutter.weighted_peak", "speed.deviation"}
    assert None not in judged.values()
    shown = stored("measure", path, "--deck", "C-14", "--stage", "left", "--side", "A").out
    assert "C-14, as left: number 4" in shown
    assert "Next: runstrue compare C-14; runstrue report C-14." in shown


def test_starts_are_stored_each_and_as_one(call: Call, recordings: Path, bench: Path) -> None:
    call("deck", "add", "C-14")
    files = [recordings / "new-belt.flac", recordings / "perished-belt.flac"]
    ran = call("measure", *files, "--tone", "3150", "--starts", "--deck", "C-14",
               "--stage", "found", "--jobs", "1")  # fmt: skip
    assert ran.code == 0
    with Logbook.open(bench) as book:
        captures = book.captures(book.find_deck("C-14"))
    assert [one.source for one in captures] == ["file", "file", "combined"]
    assert len({one.facts.starts_group for one in captures}) == 1


def test_found_and_left_are_compared_and_what_changed_is_called(stored: Call, bench: Path) -> None:
    ran = stored("compare", "C-14")
    assert ran.code == 0
    lines = ran.out.splitlines()
    (speed,) = [line for line in lines if line.startswith("speed, %")]
    assert speed.endswith("clearly better")
    with Logbook.open(bench) as book:
        changes = book.compare(book.find_deck("C-14"))
    change = next(
        one for one in changes if (one.id, one.method, one.channel)
        == ("speed.deviation", "bell-mean/1", "both")
    )  # fmt: skip
    assert change.difference is not None
    moved = change.difference.quantity
    assert moved.value_text(signed=True) in speed
    # the tape's tolerance of ±0.5 %, in both readings, has cancelled: GUM 5.2.2, equation 16
    assert moved.expanded() < 0.5
    assert all(len(line) <= 80 for line in lines)
    assert not any("r.m.s., left" in line for line in lines)
    assert "weighted r.m.s., left" in stored("compare", "C-14", "--channels").out


def test_two_readings_with_a_tape_nobody_named_do_not_cancel_and_that_is_told(
    call: Call, recordings: Path
) -> None:
    call("deck", "add", "C-14")
    for stage in ("found", "left"):
        call("measure", recordings / "new-belt.flac", "--deck", "C-14", "--stage", stage)
    flat = " ".join(call("compare", "C-14").out.split())
    assert "The test tape's error has not cancelled" in flat


def test_comparing_needs_both_stages_and_says_which_is_missing(
    call: Call, recordings: Path
) -> None:
    call("deck", "add", "C-14")
    call("measure", recordings / "new-belt.flac", "--deck", "C-14", "--stage", "found")
    ran = call("compare", "C-14")
    assert ran.code == 1
    assert "has no reading as left" in ran.err
    assert "--stage left" in ran.err


def test_a_typed_reading_is_judged_against_the_sheet_like_any_other(
    stored: Call, bench: Path
) -> None:
    low = stored("enter", "C-14", "take-up", "27", "g·cm", "--u", "2", "--stage", "found")
    assert "2.65 mN·m (entered as 27 g·cm)" in low.out  # 27 × 0.0980665 = 2.648
    assert "does not meet, more than 99 % sure" in low.out
    fine = stored("enter", "C-14", "take-up", "46±2", "g·cm", "--stage", "left")
    assert "meets, more than 99 % sure" in fine.out
    assert "take-up torque in play, mN·m" in stored("compare", "C-14").out
    with Logbook.open(bench) as book:
        typed = [one for one in book.captures(book.find_deck("C-14")) if one.source == "typed"]
    assert len(typed) == 2
    assert all(len(one.verdicts) == 1 for one in typed)


def test_a_negative_reading_can_be_typed_and_a_voltage_needs_its_point(stored: Call) -> None:
    ran = stored("enter", "C-14", "voltage.point", "-11.8", "V", "--u", "0.1", "--stage", "left")
    assert ran.code == 2
    assert "--point" in ran.err
    ran = stored("enter", "C-14", "voltage.point", "-11.8", "V", "--u", "0.1", "--point", "TP3",
                 "--stage", "left")  # fmt: skip
    assert "voltage at a point at TP3: −11.80 V" in ran.out


def test_a_visit_is_begun_noted_and_ended(call: Call, bench: Path) -> None:
    call("deck", "add", "C-14")
    assert call("visit", "begin", "C-14", "--reason", "plays flat").code == 0
    assert call("visit", "begin", "C-14").code == 1
    call("visit", "note", "C-14", "New belt")
    call("visit", "note", "C-14", "Speed trimmed")
    assert call("visit", "end", "C-14").code == 0
    assert call("visit", "end", "C-14").code == 1
    with Logbook.open(bench) as book:
        (visit,) = book.visits(book.find_deck("C-14"))
    assert (visit.reason, visit.notes) == ("plays flat", "New belt\nSpeed trimmed")
    assert visit.ended_at
    shown = call("deck", "show", "C-14").out
    assert "plays flat" in shown


def test_a_sheet_is_shown_as_understood_with_its_questions(call: Call) -> None:
    ran = call("sheet", "Wow and flutter 0.08 %; Gleichlauf ±0,2 % DIN; heads: 2")
    flat = " ".join(ran.out.split())
    assert "question By which method is the figure meant" in flat
    assert "allows ±0.2 %" in flat
    assert "Not understood heads: 2" in flat


def test_the_sheet_in_force_is_the_last_one(call: Call) -> None:
    call("deck", "add", "C-14")
    assert call("sheet", "--deck", "C-14").code == 1
    call("sheet", "Speed ±2 %", "--deck", "C-14")
    call("sheet", "Speed ±1.5 %", "--deck", "C-14")
    assert "±1.5 %" in call("sheet", "--deck", "C-14").out


def test_a_sheet_is_read_from_standard_input(shell: Call) -> None:
    assert "±1.5 %" in shell("sheet", "-", text="Speed ±1.5 %\n").out


def test_the_report_is_a_pdf_named_after_the_deck(
    stored: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert stored("report", "c-14").code == 0
    assert (tmp_path / "C-14.pdf").read_bytes().startswith(b"%PDF-")  # ISO 32000-1 7.5.2


def test_an_empty_deck_has_no_report(call: Call) -> None:
    call("deck", "add", "C-14")
    ran = call("report", "C-14")
    assert (ran.code, "has no readings" in ran.err) == (1, True)


def test_the_bench_is_named_by_option_variable_or_the_users_data_folder(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, call: Call
) -> None:
    named = tmp_path / "named"
    assert call("--bench", named, "deck", "add", "C-14").code == 0
    assert call("deck", "show", "C-14", "--bench", named).code == 0
    assert call("deck", "show", "C-14").code == 1  # the variable names another place
    monkeypatch.delenv("RUNSTRUE_BENCH")
    monkeypatch.setattr("sys.platform", "linux")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    assert Bench().folder == tmp_path / "data" / "runstrue"
    monkeypatch.setenv("XDG_DATA_HOME", "relative")  # XDG 0.8: relative paths are to be ignored
    assert user_data_folder() == Path.home() / ".local" / "share"


def test_check_tells_a_recording_that_has_changed(stored: Call, bench: Path) -> None:
    assert stored("check").out.startswith("1 deck, 2 captures, 2 recordings: all whole")
    kept = next((bench / "captures").rglob("*.flac"))
    kept.chmod(0o644)
    kept.write_bytes(kept.read_bytes()[:-1] + b"x")
    ran = stored("check")
    assert ran.code == 1
    assert len(ran.sentences) == 1
    assert "1 finding" in ran.out


def test_a_home_tape_is_described_from_the_latest_reading_as_left(
    stored: Call, tmp_path: Path
) -> None:
    from runstrue.stimulus.testtape import read_test_tape

    target = tmp_path / "home.toml"
    ran = stored("tape", "from-deck", "C-14", "-o", target)
    assert (ran.code, ran.err) == (0, "")
    tape = read_test_tape(target)
    assert (tape.kind, tape.tone_hz) == ("home", 3150.0)
    assert "as left" in ran.out
    again = stored("tape", "from-deck", "C-14", "-o", target)
    assert (again.code, "is not written over" in again.err) == (1, True)


def test_the_description_to_fill_in_is_a_description(call: Call, tmp_path: Path) -> None:
    from runstrue.stimulus.testtape import CAUTIOUS, read_test_tape

    target = tmp_path / "tape.toml"
    assert call("tape", "new", target).code == 0
    tape = read_test_tape(target)
    assert tape.speed_tolerance_percent == CAUTIOUS.speed_tolerance_percent
    assert tape.own_flutter_percent == CAUTIOUS.own_flutter_percent
    assert "speed" in call("tape", "show", target).out
    # every key of a description stands in it or in the one with sections, if only as a remark
    whole = tmp_path / "calibration.toml"
    assert call("tape", "new", whole, "--sections").code == 0
    both = target.read_text() + whole.read_text()
    assert [key for key in type(tape).__struct_fields__ if key not in both] == []
    assert call("tape", "new", target).code == 1


def test_practice_lists_decks_plays_one_and_never_writes_over_a_real_recording(
    call: Call, recordings: Path, tmp_path: Path
) -> None:
    assert "flattened-roller" in call("practice").out
    target = tmp_path / "a.wav"
    arguments = ["practice", "healthy", "-o", target, "--length", "15", "--depth", "16"]
    assert call(*arguments).code == 0
    assert (tmp_path / "a.truth.json").exists()
    assert call(*arguments).code == 0  # a virtual deck's own recording may be made again
    (tmp_path / "a.truth.json").unlink()
    before = target.read_bytes()
    ran = call(*arguments)
    assert (ran.code, "not written over" in ran.err) == (1, True)
    assert target.read_bytes() == before


def test_every_quantity_and_method_is_explained(call: Call) -> None:
    from runstrue.catalogue import KINDS, METHODS

    listed = call("words").out
    for quantity_id, kind in KINDS.items():
        assert quantity_id in listed
        assert kind.means.split()[0] in call("words", quantity_id).out
    for key, method in METHODS.items():
        assert key in listed
        assert method.source.split()[0] in call("words", key).out
    assert call("words", "warble").code == 1
