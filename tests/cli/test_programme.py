"""`runstrue programme`, as a person at the keyboard meets it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import soundfile
from tests.cli.conftest import Call

from runstrue.stimulus.programmes import KEYS, programme


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    from runstrue.cli.main import main

    path = tmp_path_factory.mktemp("programme") / "quick-look.flac"
    assert main(["programme", "write", "quick-look", "-o", str(path)]) == 0
    return path


def test_the_file_has_the_programmes_length_and_depth(written: Path) -> None:
    info = soundfile.info(written)
    plan = programme("quick-look")
    assert info.frames == pytest.approx(plan.lasts_s * 48_000, abs=1)
    assert (info.channels, info.subtype) == (2, "PCM_24")


def test_what_was_written_is_told(call: Call, tmp_path: Path) -> None:
    ran = call("programme", "write", "erasure", "-o", str(tmp_path / "e.wav"), "--depth", "16")
    assert ran.code == 0
    text = " ".join(ran.out.split())
    # 4 dB over a reference 12 dB under full scale
    assert "Its highest peak lies 8.0 dB under full scale" in text
    assert "set the deck's record level" in text
    again = call("programme", "write", "erasure", "-o", str(tmp_path / "e.wav"))
    assert again.code == 1
    assert "is there already" in again.err


def test_a_written_programme_is_found(call: Call, written: Path) -> None:
    ran = call("programme", "find", str(written), "--programme", "quick-look")
    assert ran.code == 0
    assert "24 of 24 sections found" in ran.out
    assert max(len(line) for line in ran.out.splitlines()) < 80
    told = json.loads(
        call("programme", "find", str(written), "--programme", "quick-look", "--json").out
    )
    assert told["trusted"] is True
    assert [one["section"] for one in told["found"]] == [
        one.id for one in programme("quick-look").sections
    ]
    assert told["missing"] == []


def test_another_programme_is_one_sentence(call: Call, written: Path) -> None:
    ran = call("programme", "find", str(written), "--programme", "tape-types")
    assert (ran.code, len(ran.sentences), ran.out) == (1, 1, "")
    assert "This looks like the programme 'quick look'" in ran.err
    told = call("programme", "find", str(written), "--programme", "tape-types", "--json")
    assert told.code == 1
    assert json.loads(told.out)["trusted"] is False


@pytest.mark.parametrize("key", KEYS)
def test_every_programme_is_shown_in_80_columns(call: Call, key: str) -> None:
    for command in ("show", "timing"):
        ran = call("programme", command, key)
        assert ran.code == 0
        assert max(len(line) for line in ran.out.splitlines()) < 80
    assert f"  {key}" in call("programme", "list").out


def test_a_calibration_tape_is_written_down_shown_and_refused(call: Call, tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    assert call("tape", "new", str(path), "--sections").code == 0
    shown = call("programme", "show", str(path))
    assert "0 dB is 250 nWb/m on the ANSI/AES scale" in shown.out
    assert "sections        4" in call("tape", "show", str(path)).out
    path.write_text(path.read_text().replace("lasts_s = 8 ", "last_s = 8 "))
    path.write_text(path.read_text().replace('what = "tones"', 'what = "tunes"'))
    ran = call("programme", "show", str(path))
    assert (ran.code, len(ran.sentences)) == (1, 1)
    assert "section 3" in ran.err


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("show", "nothing"), "There is no programme 'nothing'"),
        (("write", "quick-look", "-o", "x.mp3"), "'.wav' or '.flac'"),
        (("write", "quick-look", "-o", "no/such/folder.wav"), "cannot be written"),
        (("write", "quick-look", "-o", "x.wav", "--rate", "8000"), "more than 32000 Hz"),
        (("find", "missing.flac", "--programme", "quick-look"), "cannot be read"),
    ],
)
def test_wrong_input_is_one_sentence(
    call: Call, arguments: tuple[str, ...], words: str, tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    monkeypatch.chdir(tmp_path)
    ran = call("programme", *arguments)
    assert (ran.code, len(ran.sentences)) == (1, 1)
    assert words in ran.err
    assert list(tmp_path.glob("*.*")) == []
