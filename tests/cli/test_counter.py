"""`runstrue counter` at the keyboard: what a person at the bench would type, and mistype."""

from __future__ import annotations

import json
import sqlite3
from pathlib import Path

import pytest
from tests.cli.conftest import Call

from runstrue.cli.layout import shown_width

# By t = (2π r₀ n + π h n²) / v with r₀ 11 mm, h 12 µm, v 47.625 mm/s, one turn a count.
PAIRS = ("200@5:22", "500@15:24", "900@32:27", "1145@44:59")
ONE = " ".join(PAIRS)
TAPE = ("--tape", "C90")


@pytest.fixture
def deck(call: Call) -> Call:
    """Return the call, on a bench with a deck whose pairs are kept."""
    assert call("deck", "add", "C-14").code == 0
    end = ("--end", PAIRS[-1])
    ran = call("counter", "fit", *PAIRS, *TAPE, *end, "--hub", "22.0 mm", "--deck", "C-14")
    assert ran.code == 0, ran.err
    return call


def test_fit_tells_law_pairs_and_constants_within_80_columns(call: Call) -> None:
    ran = call("counter", "fit", *PAIRS, *TAPE)
    assert ran.code == 0
    assert "goes by     the take-up reel" in ran.out
    assert "The pairs lie on the law as well as they can be read." in ran.out
    assert "turns a count" in ran.out
    assert "of a usual C90" in ran.out
    assert max(shown_width(line) for line in ran.out.splitlines()) <= 79


def test_without_tape_or_hub_the_fit_says_what_is_missing(call: Call) -> None:
    ran = call("counter", "fit", *PAIRS)
    assert ran.code == 0
    assert "does not tell hub, tape thickness and turns a count" in ran.out
    ran = call("counter", "time", "456", "--pairs", ONE, "--cassette", "C60")
    assert ran.code == 1
    assert len(ran.sentences) == 1
    assert "name the tape" in ran.err
    assert ran.out == ""


def test_time_by_a_deck_by_pairs_and_by_a_list(deck: Call, tmp_path: Path) -> None:
    file = tmp_path / "pairs.csv"
    file.write_text("counter,time\n" + "\n".join(one.replace("@", ",") for one in PAIRS))
    # 2π · 11 · 456 / 47.625 + π · 0.012 · 456² / 47.625 = 826.4 s; 2699.4 s at 1145
    for source in (("--deck", "c-14"), ("--pairs", ONE), ("--pairs", file)):
        ran = deck("counter", "time", "456", *source, "--json")
        assert ran.code == 0, ran.err
        (reading,) = json.loads(ran.out)["readings"]
        assert reading["played_s"]["value"] == pytest.approx(826.4, abs=0.5)  # of whole seconds
        if "--deck" in source:
            assert reading["left_s"]["value"] == pytest.approx(2699.4 - 826.4, abs=1.0)
    assert "13:47 ±2 s  31:12 ±3 s" in deck("counter", "time", "456", "--deck", "C-14").out
    assert "not known" in deck("counter", "time", "456", "--pairs", ONE).out


def test_reading_at_a_time_and_another_cassette(deck: Call) -> None:
    ran = deck(
        "counter", "time", "456", "--at", "20:00", "--cassette", "C60,C90", "--deck", "C-14",
        "--json",
    )  # fmt: skip
    told = json.loads(ran.out)
    assert told["format"] == "runstrue-counter/1"
    by = {(one["tape"], "left_s" in one): one for one in told["readings"]}
    # C60 of 17 µm: 661.7 + π · 0.017 · 456² / 47.625 = 661.7 + 233.2 = 894.9 s; a C90's thickness
    # is taken for 11.5 ± 0.5 µm where it is 12, and hub and thickness together tell 11.9.
    c60 = by["C60", True]["played_s"]
    assert abs(c60["value"] - 894.9) < 2 * c60["u"]
    assert by["C90", False]["count"]["value"] == pytest.approx(618.0, abs=1.0)  # 1200 s


def test_kept_pairs_are_shown_and_those_before_stay_on_record(deck: Call, bench: Path) -> None:
    first = deck("counter", "fit", "--deck", "C-14")
    assert "1145" in first.out
    assert "Kept" not in first.out
    assert deck("counter", "fit", *PAIRS[:3], "--deck", "C-14").code == 0
    assert "1145" not in deck("counter", "fit", "--deck", "C-14").out
    plain = sqlite3.connect(bench / "logbook.sqlite")
    rows = plain.execute("SELECT value FROM setting WHERE name LIKE 'counter%'").fetchall()
    plain.close()
    assert len(rows) == 2
    assert json.loads(rows[0][0])["end"] == 1145


def test_pairs_that_do_not_fit_are_not_kept_in_silence(call: Call) -> None:
    ran = call("counter", "fit", "200@5:22", "500@15:54", "900@32:27", "1145@44:59")
    assert ran.code == 0
    told = " ".join(ran.out.split())
    assert "! The pairs scatter about the law" in told
    assert "Without 500@15:54 the others lie on one" in told


def test_table_on_screen_and_as_a_label(deck: Call, tmp_path: Path) -> None:
    ran = deck("counter", "table", "--deck", "C-14", "--step", "100")
    assert ran.code == 0
    lines = ran.out.splitlines()
    assert max(shown_width(line) for line in lines) <= 79
    row = next(line.split() for line in lines if line.strip().startswith("500 "))
    assert "15:24" in row
    assert "C60 played" in lines[1]
    assert "C120 played" in lines[1]
    for name in ("label.svg", "label.png"):
        target = tmp_path / name
        assert deck("counter", "table", "--deck", "C-14", "-o", target).code == 0
        assert target.stat().st_size > 10_000
    assert deck("counter", "fit", "--deck", "C-14", "-o", tmp_path / "fit.svg").code == 0
    assert b"<svg" in (tmp_path / "fit.svg").read_bytes()


def test_returns_with_a_minus_and_in_seconds_of_tape(deck: Call) -> None:
    ran = deck("counter", "returns", "0", "1", "-1", "0", "2")
    assert ran.code == 0
    assert "between −3.1 and +3.9 counts" in ran.out
    assert "name --deck or --pairs" in ran.out
    ran = deck("counter", "returns", "0", "1", "-1", "0", "2", "--deck", "C-14", "--json")
    told = json.loads(ran.out)
    assert told["seconds_per_count"] == pytest.approx(1.451, abs=0.01)  # 2π · 11 / 47.625
    assert told["next"]["high"] == pytest.approx(3.87, abs=0.01)


WRONG: list[tuple[list[str], int, str]] = [
    (["fit"], 2, "Pairs such as 100@4:58 are needed"),
    (["fit", *PAIRS[:2]], 1, "three or more are needed"),
    (["fit", *PAIRS, "--tape", "C75"], 1, "one of C46, C60, C90, C120"),
    (["fit", *PAIRS, "--hub", "11 mm"], 1, "give the diameter, twice the radius"),
    (["fit", *PAIRS, "--hub", "22 furlongs"], 1, "has the unit 'furlongs'"),
    (["fit", *PAIRS, "--hub", "-22 mm"], 1, "above zero is needed"),
    (["fit", *PAIRS, "--turns", "0"], 1, "turns a count were given"),
    (["fit", *PAIRS, "--tape-length", "129 m"], 1, "both are needed"),
    (["fit", *PAIRS, "--tape-length", "129", "--tape-thickness", "12 µm"], 1, "has no unit"),
    (["fit", *PAIRS, "--time-error", "soon"], 2, "no number"),
    (["fit", *PAIRS, "--time-error", "0", "--count-error", "0"], 1, "not zero for both"),
    (["fit", *PAIRS, "-o", "fit.pdf"], 1, ".svg or .png"),
    (["fit", "none.csv"], 1, "no such file"),
    (["fit", "--deck", "R-8"], 1, "There is no"),
    (["time", "--pairs", ONE], 2, "What the counter shows is needed"),
    (["time", "456"], 2, "Name either a --deck"),
    (["time", "456", "--pairs", ONE, "--deck", "C-14"], 2, "Name either a --deck"),
    (["time", "4x6", "--pairs", ONE], 1, "read as a counter"),
    (["time", "1400", "--pairs", ONE, *TAPE], 1, "A reading of 1400 was given"),
    (["time", "--at", "90:00", "--pairs", ONE, *TAPE], 1, "90 min of playing"),
    (["table", "--pairs", ONE, "--step", "0"], 1, "steps of 1 and more"),
    (["time", "456", "--deck", "C-14", "--tape", "C60"], 2, "--tape belongs to the pairs"),
    (["fit", "--deck", "C-14", "--not-zeroed"], 2, "--not-zeroed belongs to the pairs"),
    (["table", "--deck", "C-14", "--time-error", "2"], 2, "--time-error belongs to the pairs"),
    (["returns"], 2, "after each return is needed"),
    (["returns", "0", "1"], 1, "three or more"),
    (["returns", "999", "0", "0"], 1, "one short of 0 (999) is -1"),
    (["returns", "0", "0", "0", "--dekc", "C-14"], 2, "No such option: --dekc"),
]


@pytest.mark.parametrize(("arguments", "code", "words"), WRONG)
def test_what_cannot_be_is_one_sentence(
    call: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, arguments: list[str], code: int,
    words: str,
) -> None:  # fmt: skip
    monkeypatch.chdir(tmp_path)
    ran = call("counter", *arguments)
    assert ran.code == code, ran.err
    assert words in ran.err
    assert (len(ran.sentences), ran.out) == (1, "")
    assert list(tmp_path.glob("*.*")) == []


def test_a_deck_without_pairs_says_how_to_give_them(call: Call) -> None:
    call("deck", "add", "C-32")
    ran = call("counter", "time", "456", "--deck", "C-32")
    assert (ran.code, len(ran.sentences)) == (1, 1)
    assert "runstrue counter fit 100@4:58" in ran.err


def test_what_a_newer_program_kept_is_refused(deck: Call, bench: Path) -> None:
    from runstrue.logbook import Logbook

    with Logbook.open(bench) as book:
        held = book.find_deck("C-14")
        book.set_setting(f"counter.deck_{held.id}", '{"pairs": "many"}')
    ran = deck("counter", "time", "456", "--deck", "C-14")
    assert (ran.code, len(ran.sentences)) == (1, 1)
    assert "give the pairs again" in ran.err


def test_open_reel_with_a_tape_of_its_own(call: Call) -> None:
    # hub 60 mm, 35 µm, 190.5 mm/s: 2π · 30 / 190.5 = 0.9895 s a turn, π · 0.035 / 190.5 =
    # 0.000577 s a turn²; at 500, 1000 and 1500 turns 639.0, 1566.7 and 2783.0 s.
    ran = call(
        "counter", "fit", "500@10:39", "1000@26:07", "1500@46:23", "--speed", "7 1/2 in/s",
        "--tape", "thin", "--tape-length", "540 m", "--tape-thickness", "35 µm", "--json",
    )  # fmt: skip
    assert ran.code == 0, ran.err
    hub = json.loads(ran.out)["constants"]["hub_diameter_mm"]
    assert abs(hub["value"] - 60) < 2 * hub["u"]
    assert "C60" not in call(
        "counter", "table", "--pairs", "500@10:39 1000@26:07 1500@46:23", "--speed", "7 1/2 in/s",
        "--tape", "thin", "--tape-length", "540 m", "--tape-thickness", "35 µm",
    ).out  # fmt: skip
