"""Written files, read back by soundfile and the standard library."""

from __future__ import annotations

import json
import subprocess
import sys
import wave
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

from runstrue import __version__
from runstrue.errors import FileError, InputError
from runstrue.stimulus.tone import Tone
from runstrue.virtualdeck.play import Performance
from runstrue.virtualdeck.presets import PRESETS
from runstrue.virtualdeck.write import read_truth, truth_path, write_recording


def _performance(level_dbfs: float = -6.0, **more: float) -> Performance:
    deck = PRESETS["perished-belt"].deck
    return Performance(deck, Tone(3150, level_dbfs), **{"duration_s": 3.0, "seed": 4, **more})


@pytest.mark.parametrize(
    ("name", "depth", "rate_hz", "subtype"),
    [
        ("side-a.flac", "16", 44_100, "PCM_16"),
        ("side-a.flac", "24", 192_000, "PCM_24"),
        ("side a – Übung.wav", "16", 48_000, "PCM_16"),
        ("side-a.wav", "24", 8_000, "PCM_24"),
        ("SIDE-A.WAV", "float", 96_000, "FLOAT"),
    ],
)
def test_file_holds_what_was_played(
    tmp_path: Path, name: str, depth: str, rate_hz: int, subtype: str
) -> None:
    performance = _performance(rate_hz=rate_hz)
    path = tmp_path / name
    truth = write_recording(performance, path, depth=depth)
    wanted = np.concatenate(list(performance.blocks(10_000)), axis=1).T
    read, rate = soundfile.read(path)
    assert (rate, soundfile.info(path).subtype, read.shape) == (rate_hz, subtype, wanted.shape)
    # half a step of rounding; with dither at 16 bits one step more; float32 half of 2^-24
    limit = {"16": 1.5 * 2**-15, "24": 0.5 * 2**-23, "float": 2**-25}[depth]
    assert np.abs(read - wanted).max() <= limit
    assert truth == truth_path(path)
    assert sorted(one.name for one in tmp_path.iterdir()) == sorted([name, truth.name])


def test_truth_beside_the_file_is_plain_json_with_units_in_its_names(tmp_path: Path) -> None:
    performance = _performance()
    write_recording(performance, tmp_path / "side-a.flac")
    plain = json.loads((tmp_path / "side-a.truth.json").read_text(encoding="utf-8"))
    assert plain == read_truth(tmp_path / "side-a.truth.json")
    assert plain["program_version"] == __version__
    assert plain["seed"] == 4
    assert plain["deck"]["preset"] == "perished-belt"
    assert plain["deck"]["speed_error_percent"] == -1.9
    assert plain["tone_hz"] == 3150
    assert plain["steady_from_s"] == pytest.approx(0.9, abs=1e-4)
    # against the mean of many instants: 20,001 of a deviation within ±1 % and up to 40 Hz leave
    # less than 1e-4 % of trapezoid error over the steady 2 s
    instants_s = np.linspace(plain["steady_from_s"], plain["steady_to_s"], 20_001)
    deviation = performance.motion.deviation_percent(instants_s)
    mean = np.trapezoid(deviation, instants_s) / (instants_s[-1] - instants_s[0])
    assert plain["mean_deviation_percent"] == pytest.approx(mean, abs=1e-3)


def test_dither_at_16_bits_is_triangular_and_leaves_the_error_white(tmp_path: Path) -> None:
    deck = replace(PRESETS["healthy"].deck, hiss=None)
    performance = Performance(deck, Tone(3150), duration_s=4.0)
    write_recording(performance, tmp_path / "a.wav", depth="16")
    with wave.open(str(tmp_path / "a.wav")) as file:
        read = np.frombuffer(file.readframes(file.getnframes()), dtype="<i2").reshape(-1, 2)
    error = read[:, 0] - performance.clean(0, performance.frames)[0] * 2**15
    # Lipshitz, Wannamaker & Vanderkooy 1992: with triangular dither the total error has the
    # variance 3/12 of a step squared whatever the signal. 192 000 samples: 0.3 % a sigma
    assert np.var(error) == pytest.approx(0.25, rel=0.015)
    assert abs(np.corrcoef(error[:-1], error[1:])[0, 1]) < 4 / np.sqrt(192_000)


def test_sound_that_passes_full_scale_is_refused_and_leaves_nothing(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"24 bits cannot hold.*lower the level"):
        write_recording(_performance(level_dbfs=1.0), tmp_path / "loud.flac")
    assert list(tmp_path.iterdir()) == []
    write_recording(_performance(level_dbfs=1.0), tmp_path / "loud.wav", depth="float")
    assert np.abs(soundfile.read(tmp_path / "loud.wav")[0]).max() > 1


@pytest.mark.parametrize(
    ("name", "depth", "rate_hz"),
    [
        ("side-a.mp3", "16", 48_000),
        ("side-a", "16", 48_000),
        ("side-a.flac", "float", 48_000),
        ("side-a.wav", "32", 48_000),
        ("side-a.flac", "24", 700_000),
        ("side-a.wav", "24", 48_000.5),
    ],
)
def test_what_does_not_go_together_is_refused(
    tmp_path: Path, name: str, depth: str, rate_hz: float
) -> None:
    performance = _performance(rate_hz=rate_hz, duration_s=1.5)
    with pytest.raises(InputError, match=r"needed|possible"):
        write_recording(performance, tmp_path / name, depth=depth)
    assert list(tmp_path.iterdir()) == []


def test_folder_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="cannot be written"):
        write_recording(_performance(), tmp_path / "no" / "side-a.flac")


@pytest.mark.parametrize("name", ["side-a.wav", "side-a.flac"])
def test_disk_that_takes_no_more_is_told_and_leaves_nothing(tmp_path: Path, name: str) -> None:
    # in a process of its own that may write 100 kB to a file; the system refuses the rest
    code = f"""
import resource, signal
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, 100_000))
from runstrue.errors import FileError
from runstrue.stimulus.tone import Tone
from runstrue.virtualdeck.play import Performance
from runstrue.virtualdeck.presets import PRESETS
from runstrue.virtualdeck.write import write_recording
performance = Performance(PRESETS["healthy"].deck, Tone(3150), duration_s=3)
try:
    write_recording(performance, {str(tmp_path / name)!r})
except FileError as error:
    print(error)
"""
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert "cannot be written" in told.stdout
    assert "disk is full" in told.stdout
    assert list(tmp_path.iterdir()) == []


def test_stop_in_the_middle_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    performance = _performance()

    def interrupted(size: int):  # type: ignore[no-untyped-def]
        yield np.zeros((2, size))
        raise KeyboardInterrupt

    monkeypatch.setattr(performance, "blocks", interrupted)
    with pytest.raises(KeyboardInterrupt):
        write_recording(performance, tmp_path / "side-a.flac")
    assert list(tmp_path.iterdir()) == []


def test_other_json_is_no_truth(tmp_path: Path) -> None:
    (tmp_path / "a.truth.json").write_text('{"format": "else"}')
    with pytest.raises(FileError, match="not the truth"):
        read_truth(tmp_path / "a.truth.json")
    (tmp_path / "a.truth.json").write_text("no json")
    with pytest.raises(FileError, match="not the truth"):
        read_truth(tmp_path / "a.truth.json")
