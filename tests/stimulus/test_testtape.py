"""The description of a test tape: read, written, and refused with file, key and line."""

from __future__ import annotations

import math
import os
from pathlib import Path

import pytest

from runstrue.errors import DescriptionError, FileError
from runstrue.stimulus.testtape import CAUTIOUS, TestTape, read_test_tape, write_test_tape

EXAMPLES = Path(__file__).parents[2] / "docs" / "examples"

GOOD = """\
# mine
name = "my tape"
tone_hz = 3150
speed_tolerance_percent = 0.3
own_flutter_percent = 0.03
"""


def _write(folder: Path, text: str) -> Path:
    path = folder / "tape.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_both_examples_of_the_documentation_are_read() -> None:
    bought = read_test_tape(EXAMPLES / "bought-tape.toml")
    home = read_test_tape(EXAMPLES / "home-tape.toml")
    assert (bought.kind, bought.tone_hz, bought.batch) == ("bought", 3150, "7")
    assert bought.source == "test tape 'Sallowby flutter tape', batch 7"
    # JCGM 100:2008 4.3.7: rectangular half-width a has the standard uncertainty a/√3
    assert bought.speed_u_percent == pytest.approx(0.3 / math.sqrt(3))
    assert bought.speed_correction_percent == 0
    assert (home.kind, home.speed_correction_percent, home.speed_u_percent) == ("home", -0.08, 0.11)


def test_what_was_written_is_read_back(tmp_path: Path) -> None:
    home = read_test_tape(EXAMPLES / "home-tape.toml")
    for tape in (home, CAUTIOUS, read_test_tape(_write(tmp_path, GOOD))):
        path = tmp_path / "ein Band – geprüft.toml"
        write_test_tape(tape, path)
        assert read_test_tape(path) == tape
    assert sorted(entry.name for entry in tmp_path.iterdir()) == [path.name, "tape.toml"]


def test_a_tape_that_nobody_named_shares_nothing() -> None:
    assert CAUTIOUS.source == ""
    assert CAUTIOUS.tone_hz is None
    # ±0.5 %: a professional deck's service manual; 0.05 %: upper end of typical residuals
    assert CAUTIOUS.speed_u_percent == pytest.approx(0.5 / math.sqrt(3))


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (GOOD.replace("3150", '"3150"'), ["line 3", "tone_hz", "'3150'", "a number"]),
        (GOOD.replace("3150", "31.5"), ["line 3", "tone_hz", "31.5", "300 to 15000 Hz"]),
        (GOOD.replace("3150", "nan"), ["line 3", "tone_hz", "nan"]),
        (GOOD.replace("0.3", "-0.3"), ["line 4", "speed_tolerance_percent", "-0.3"]),
        (GOOD.replace("0.03", "inf"), ["line 5", "own_flutter_percent", "inf"]),
        (GOOD.replace("tone_hz", "tone"), ["line 3", "'tone'", "no key", "tone_hz"]),
        (GOOD.replace('"my tape"', '""'), ["line 2", "name is empty"]),
        (GOOD.replace('name = "my tape"', ""), ["does not say 'name'"]),
        (GOOD + 'kind = "found"\n', ["line 6", "kind is 'found'", "'bought' or 'home'"]),
        (GOOD + "level = [1, 2]\n", ["line 6", "level", "decibels"]),
        (GOOD + "speed_known_percent = 0.1\n", ["speed_known_u_percent is missing", "both"]),
        (GOOD + "[tone_hz]\nhz = 2\n", ["not TOML"]),
        (GOOD + "[extra]\nhz = 2\n", ["line 6", "'extra'"]),
        ("name = my tape", ["not TOML", "line 1", 'name = "my tape"']),
        ("", ["does not say 'name'"]),
    ],
)
def test_a_wrong_description_is_refused_with_file_key_and_line(
    tmp_path: Path, text: str, told: list[str]
) -> None:
    path = _write(tmp_path, text)
    with pytest.raises(DescriptionError) as caught:
        read_test_tape(path)
    message = str(caught.value)
    assert "tape.toml" in message
    for words in told:
        assert words in message
    assert "\n" not in message


def test_what_is_no_readable_text_is_refused(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="cannot be read"):
        read_test_tape(tmp_path / "nothing.toml")
    with pytest.raises(FileError, match="cannot be read"):
        read_test_tape(tmp_path)
    (tmp_path / "sound.toml").write_bytes(b"\xff\xfe\x00RIFF")
    with pytest.raises(DescriptionError, match="not a text file"):
        read_test_tape(tmp_path / "sound.toml")


def test_a_folder_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="cannot be written"):
        write_test_tape(CAUTIOUS, tmp_path / "no" / "tape.toml")
    assert os.listdir(tmp_path) == []


def test_figures_out_of_range_are_refused_in_the_program_too() -> None:
    with pytest.raises(DescriptionError, match="own_flutter_percent"):
        TestTape(name="x", speed_tolerance_percent=0.1, own_flutter_percent=-1.0)
