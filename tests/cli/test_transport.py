"""`runstrue transport` at the keyboard: what a person at the bench would type, and mistype."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest
from tests.cli.conftest import Call

from runstrue.cli.layout import shown_width
from runstrue.transport.examples import example_names


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_from_flags_to_rates(call: Call, folder: Path) -> None:
    made = call("transport", "new", "c14.toml", "--capstan", "2.40±0.02 mm", "--flywheel", "60 mm",
                "--motor-pulley", "9.0 mm", "--belt-length", "300 mm", "--belt-thickness", "1.0 mm",
                "--roller", "11 mm", "--deck", "C-14")  # fmt: skip
    assert made.code == 0
    assert "runstrue transport show c14.toml" in made.out
    shown = call("transport", "show", "c14.toml")
    assert "Nothing contradicts anything else." in shown.out
    told = call("transport", "rates", "c14.toml").out
    # 47.625 / (π 2.4) = 6.316 Hz; 47.625 / (π 11) = 1.378 Hz; C90 and hub of 11 mm: 0.689 Hz empty
    assert "capstan shaft" in told
    assert "6.316 Hz" in told
    assert "1.378" in told or "1.38 Hz" in told
    assert "0.689 Hz" in told
    assert "The tape lasts" in told


@pytest.mark.parametrize("name", example_names())
def test_every_example_is_shown_within_80_columns(call: Call, folder: Path, name: str) -> None:
    assert call("transport", "examples", name, "-o", "a.toml").code == 0
    for words in (["show"], ["rates"], ["rates", "--played", "10", "--speed-error", "-1.5"]):
        ran = call("transport", *words, "a.toml")
        assert ran.code == 0, ran.err
        assert [line for line in ran.out.splitlines() if shown_width(line) > 80] == []
        assert "nan" not in ran.out


def test_examples_are_listed_and_printed(call: Call, folder: Path) -> None:
    listed = call("transport", "examples").out
    assert all(name in listed for name in example_names())
    assert call("transport", "examples", "one-belt").out.startswith("# Wrenholm C-14")
    wrong = call("transport", "examples", "seven-belts")
    assert wrong.code == 1
    assert "one of one-belt" in wrong.err


def test_two_speeds_are_shown_one_after_the_other_or_one(call: Call, folder: Path) -> None:
    call("transport", "examples", "idler-drive", "-o", "r4.toml")
    both = call("transport", "rates", "r4.toml").out
    assert "slow, 9.53 cm/s" in both
    assert "fast, 19.05 cm/s" in both
    for speed in ("fast", "19", "19.05", "19.05 cm/s"):
        one = call("transport", "rates", "r4.toml", "--speed", speed).out
        assert "fast, 19.05 cm/s" in one
        assert "slow" not in one
    none = call("transport", "rates", "r4.toml", "--speed", "38")
    assert none.code == 1
    assert "it has 'slow', 'fast'" in none.err


def test_the_drawing_is_written_as_svg_or_png(call: Call, folder: Path) -> None:
    call("transport", "examples", "one-belt", "-o", "c14.toml")
    assert call("transport", "draw", "c14.toml", "-o", "c14.svg").code == 0
    assert (folder / "c14.svg").read_bytes().startswith(b"<?xml")
    assert call("transport", "draw", "c14.toml", "-o", "c14.png", "--wide",
                "--speed-error", "0.3").code == 0  # fmt: skip
    assert (folder / "c14.png").read_bytes().startswith(b"\x89PNG")
    wrong = call("transport", "draw", "c14.toml", "-o", "c14.doc")
    assert wrong.code == 1
    assert "a name in .svg or .png is needed" in wrong.err
    call("transport", "examples", "open-reel", "-o", "r8.toml")
    several = call("transport", "draw", "r8.toml", "-o", "r8.svg")
    assert several.code == 1
    assert "name it with --speed" in several.err
    assert call("transport", "draw", "r8.toml", "-o", "r8.svg", "--speed", "19").code == 0


def test_json_says_what_the_table_says(call: Call, folder: Path) -> None:
    call("transport", "examples", "one-belt", "-o", "c14.toml")
    plain = json.loads(call("transport", "rates", "c14.toml", "--json", "--speed-error", "2",
                            "--played", "0").out)  # fmt: skip
    assert plain["format"] == "runstrue-transport/1"
    (one,) = plain["transports"]
    parts = {part["id"]: part for part in one["parts"]}
    assert one["tape_speed_mm_s"] == 47.625
    assert parts["capstan"]["rate_hz"] == pytest.approx(1.02 * 47.625 / (math.pi * 2.4), rel=1e-12)
    assert parts["take-up-hub"]["rate_hz"] == pytest.approx(
        1.02 * 47.625 / (2 * math.pi * 11), rel=1e-12
    )
    assert parts["take-up-hub"]["turns_with"] == "take-up"
    assert parts["capstan"]["places"][0]["um_per_percent"] == pytest.approx(12.0, rel=1e-12)
    assert one["disagreements"] == []


def test_what_does_not_agree_is_told_and_is_no_failure(call: Call, folder: Path) -> None:
    call("transport", "examples", "one-belt", "-o", "c14.toml")
    path = folder / "c14.toml"
    path.write_text(path.read_text().replace('"unknown"', '"6.0±0.1 mm"'))
    shown = call("transport", "show", "c14.toml")
    assert shown.code == 0
    assert "What does not agree" in shown.out
    assert "by its plate" in shown.out
    assert "apart" in shown.out
    rates = call("transport", "rates", "c14.toml").out
    assert "runstrue transport show says what" in rates.replace("\n", " ")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["new", "a.toml", "--capstan", "2.4"], "line 10, [shaft.capstan] capstan: '2.4' has no"),
        (["new", "a.toml", "--capstan", "2.4 in"], "a capstan has 0.5 mm to 30 mm"),
        (["new", "a.toml", "--name", " "], "a name is needed"),
        (["show", "gone.toml"], "'gone.toml' cannot be read (no such file or directory)"),
        (["rates", "."], "is a directory"),
        (["rates", "c14.toml", "--played", "600"], "are there on this tape"),
        (["rates", "c14.toml", "--played", "-1"], "are there on this tape"),
        (["rates", "c14.toml", "--speed-error", "-100"], "more than −100 % is needed"),
        (["rates", "c14.toml", "--speed-error", "nan"], "more than −100 % is needed"),
        (["new", "c14.toml"], "it is not written over"),
        (["examples", "one-belt", "-o", "c14.toml"], "it is not written over"),
    ],
)
def test_what_cannot_be_gets_one_sentence(
    call: Call, folder: Path, arguments: list[str], words: str
) -> None:
    call("transport", "examples", "one-belt", "-o", "c14.toml")
    before = (folder / "c14.toml").read_bytes()
    ran = call("transport", *arguments)
    assert ran.code == 1
    assert len(ran.sentences) == 1
    assert words in ran.sentences[0]
    assert ran.sentences[0].endswith(".")
    assert (folder / "c14.toml").read_bytes() == before
    assert not (folder / "a.toml").exists()


def test_a_file_that_knows_nothing_says_what_would_help(call: Call, folder: Path) -> None:
    call("transport", "new", "a.toml", "--tape", "some tape")
    told = call("transport", "rates", "a.toml").out
    assert "No rate is known or follows" in told
    shown = call("transport", "show", "a.toml").out
    assert "Not known: capstan shaft (turns, capstan, flywheel)" in shown


def test_description_is_kept_with_its_deck_and_read_from_there(call: Call, tmp_path: Path) -> None:
    bench = ["--bench", tmp_path / "bench"]
    file = tmp_path / "c14.toml"
    assert call("transport", "examples", "one-belt", "-o", file).code == 0
    call("deck", "add", "C-14", *bench)
    call("deck", "add", "C-32", *bench)
    assert "No transport is kept" in call("transport", "show", "--deck", "C-14", *bench).err
    text = file.read_text()
    file.write_text('deck = "C-14"\n' + text if "\ndeck" not in text else text)
    kept = call("transport", "keep", file, "--deck", "c-14", *bench)
    assert kept.code == 0, kept.err
    own = call("transport", "rates", "--deck", "C-14", *bench)
    assert own.out == call("transport", "rates", file).out
    # the transport of another deck is refused in one sentence
    other = call("transport", "keep", file, "--deck", "C-32", *bench)
    assert (other.code, len(other.sentences)) == (1, 1)
    assert "belongs to the deck" in other.err
    assert call("transport", "show").code == 2
    assert call("transport", "show", file, "--deck", "C-14", *bench).code == 2
