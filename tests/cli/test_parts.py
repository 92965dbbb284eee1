"""`runstrue parts` at the keyboard."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from tests.cli.conftest import Call

from runstrue.cli.layout import shown_width


def too_wide(text: str) -> list[str]:
    return [line for line in text.splitlines() if shown_width(line) > 80]


@pytest.mark.parametrize(
    "rate", ["0.06", "0.4 Hz", "1.38±0.01 Hz", "3.8", "6.4 Hz", "379 rpm", "40 Hz", "240 Hz"]
)
@pytest.mark.parametrize("speed", ["", "19.05", "3 3/4 in/s"])
def test_a_line_of_an_unknown_deck_is_told_within_80_columns(
    call: Call, rate: str, speed: str
) -> None:
    ran = call("parts", "--line", rate, *(["--speed", speed] if speed else []))
    assert ran.code == 0, ran.err
    assert too_wide(ran.out) == []
    assert ("No part of a usual size" in ran.out) != ("95 % within" in ran.out)


def test_a_line_gives_sizes_and_tests(call: Call) -> None:
    told = call("parts", "--line", "6.4 Hz").out
    assert "2.37 mm" in told  # 47.625 / (π 6.4)
    assert "64 times in 10 s" in " ".join(told.split())
    assert "unplug the deck" in told
    # 60/2.4 · 47.625 / 6.4 = 186 mm
    told = call("parts", "--line", "6.4 Hz", "--capstan", "2.4 mm", "--flywheel", "60 mm").out
    assert "186" in told


def test_sizes_for_a_script(call: Call) -> None:
    told = json.loads(call("parts", "--line", "6.4 Hz", "--json").out)
    assert told["format"] == "runstrue-line/1"
    capstan = next(one for one in told["parts"] if one["kind"] == "capstan")
    assert capstan["value"] == pytest.approx(2.3687, abs=1e-4)
    assert capstan["unit"] == "mm"
    assert {kind for one in told["tests"] for kind in one["kinds"]} == {
        one["kind"] for one in told["parts"]
    }


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (["--line", "quick"], 1, "holds no number|was read as a rate"),
        (["--line", "6.4 mm"], 1, "has the unit 'mm'"),
        (["--line", "900 Hz"], 1, "0.05 to 400 Hz"),
        (["--line", "6.4 Hz", "--speed", "fast"], 1, "was read as a tape speed"),
        (["--line", "6.4 Hz", "--speed", "0"], 1, "above zero"),
        (["--line", "6.4 Hz", "--capstan", "2.4 mm"], 2, "both --capstan and --flywheel"),
        (["--line", "6.4 Hz", "--capstan", "60 mm", "--flywheel", "2.4 mm"], 1, "1 to 100 times"),
        ([], 2, "Name a recording"),
    ],
)
def test_what_cannot_be_a_line_is_refused_in_one_sentence(
    call: Call, arguments: list[str], code: int, words: str
) -> None:
    import re

    ran = call("parts", *arguments)
    assert ran.code == code
    assert ran.out == ""
    assert len(ran.sentences) == 1
    assert re.search(words, ran.err), ran.err


def test_a_practised_deck_is_explained_from_end_to_end(call: Call, tmp_path: Path) -> None:
    """Bent capstan: 0.33 % once a turn, as the virtual deck's truth says; the capstan alone."""
    recording = tmp_path / "side-a.flac"
    assert call("practice", "bent-capstan", "-o", str(recording)).code == 0
    described = str(tmp_path / "c-14.toml")
    ran = call("parts", str(recording), "--transport", described, "--sheet", "W&F 0.14 % DIN")
    assert ran.code == 0, ran.err
    assert too_wide(ran.out) == []
    assert ran.out.split("capstan shaft")[1].splitlines()[0].endswith("matters")
    told = json.loads(call("parts", str(recording), "--transport", described, "--json").out)[
        "recordings"
    ][0]
    first = told["parts"][0]
    assert first["ids"] == ["capstan"]
    assert first["harmonics"][0]["peak"]["value"] == pytest.approx(0.33, rel=0.05)

    assert call("deck", "add", "C-14").code == 0
    assert call("transport", "keep", described, "--deck", "C-14").code == 0
    call("measure", str(recording), "--deck", "C-14", "--stage", "found")
    kept = call("parts", "--deck", "C-14")
    assert "capstan shaft" in kept.out
    call("intake", "C-14", "--running")
    assert "Capstan bent" in call("fault", "list", "C-14").out


def test_parts_of_a_recording_need_a_transport(call: Call, tmp_path: Path) -> None:
    recording = tmp_path / "side-a.flac"
    call("practice", "bent-capstan", "-o", str(recording))
    ran = call("parts", str(recording))
    assert ran.code == 2
    assert len(ran.err.strip().split("\n\n")) == 1
    assert "--transport" in ran.err
