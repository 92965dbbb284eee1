"""Recordings in files: what comes out is what is in them, and what is none is refused in words."""

from __future__ import annotations

import errno
import hashlib
import os
import subprocess
import threading
from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from runstrue.capture.file import FileSource, recordings_in
from runstrue.errors import FileError, InputError, RunstrueError, SignalError, Stopped
from runstrue.measure.tape_tone import TonePlan
from runstrue.runner import measure_file, measure_files

Array = NDArray[np.float64]
RATE_HZ = 48_000


def tone(duration_s: float = 12.0, channels: int = 2, rate_hz: int = RATE_HZ) -> Array:
    """Samples as files want them, shape (frame, channel)."""
    time_s = np.arange(round(duration_s * rate_hz)) / rate_hz
    return np.repeat(0.5 * np.sin(2 * np.pi * 3150 * time_s)[:, None], channels, axis=1)


def noise(frames: int, channels: int = 2) -> Array:
    return 0.3 * np.random.default_rng(2).standard_normal((frames, channels)).clip(-3, 3)


def read_all(path: Path) -> NDArray[np.float32]:
    return np.concatenate(list(FileSource(path).blocks()), axis=1)


@pytest.mark.parametrize(
    ("name", "subtype"),
    [
        ("a.wav", "PCM_16"),
        ("a.wav", "PCM_24"),
        ("a.wav", "FLOAT"),
        ("a.wav", "DOUBLE"),
        ("a.flac", "PCM_16"),
        ("a.flac", "PCM_24"),
        ("a.aiff", "PCM_24"),
        ("a.w64", "PCM_24"),
        ("a.rf64", "PCM_24"),
        ("a.caf", "PCM_24"),
    ],
)
def test_blocks_hold_the_samples_of_the_file(tmp_path: Path, name: str, subtype: str) -> None:
    path = tmp_path / name
    samples = noise(5 * RATE_HZ + 77)
    soundfile.write(path, samples, RATE_HZ, subtype)
    source = FileSource(path)
    assert (source.rate_hz, source.channels, source.frames) == (RATE_HZ, 2, len(samples))
    got = np.concatenate(list(source.blocks()), axis=1)
    # libsndfile may cut off where it could round: a step of the stored whole numbers, and half
    # a step of single precision, in which blocks come
    step = {"PCM_16": 2.0**-15, "PCM_24": 2.0**-23}.get(subtype, 2.0**-24)
    assert np.max(np.abs(got - samples.T)) <= step + 2.0**-24
    assert source.doubts == []


@pytest.mark.debian("ffmpeg")
def test_flac_decodes_as_another_decoder_says(tmp_path: Path) -> None:
    path = tmp_path / "a.flac"
    soundfile.write(path, noise(3 * RATE_HZ), RATE_HZ, "PCM_24")
    words = ["ffmpeg", "-v", "error", "-i", str(path), "-f", "f64le", "-c:a", "pcm_f64le", "-"]
    other = np.frombuffer(subprocess.run(words, capture_output=True, check=True).stdout)
    assert np.array_equal(read_all(path), other.reshape(-1, 2).T.astype(np.float32))


def test_the_hash_is_that_of_the_bytes(tmp_path: Path) -> None:
    path = tmp_path / "a.flac"
    soundfile.write(path, noise(RATE_HZ), RATE_HZ)
    origin = FileSource(path).origin()
    assert origin.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert (origin.kind, origin.name) == ("file", "a.flac")


def test_any_path_will_do(tmp_path: Path) -> None:
    folder = tmp_path / "Seite A · über Größen 磁帯"
    folder.mkdir()
    path = folder / "left & right (1).flac"
    soundfile.write(path, tone(), RATE_HZ)
    outcome = measure_file(path, TonePlan())
    assert outcome.error is None
    assert outcome.origin is not None
    assert outcome.origin.name == path.name


def test_taking_only_the_first_block_leaves_no_thread_behind(tmp_path: Path) -> None:
    path = tmp_path / "long.wav"
    soundfile.write(path, noise(40 * RATE_HZ), RATE_HZ, "PCM_16")
    source = FileSource(path)
    source.origin()
    before = threading.active_count()
    blocks = source.blocks()
    next(blocks)
    assert threading.active_count() > before
    blocks.close()  # type: ignore[attr-defined]  # a generator
    assert threading.active_count() == before


def test_the_user_can_stop(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    soundfile.write(path, tone(30), RATE_HZ, "PCM_16")
    heard: list[float] = []

    def progress(seconds: float) -> None:
        heard.append(seconds)
        if seconds > 10:
            raise Stopped

    with pytest.raises(Stopped):
        measure_file(path, TonePlan(), progress=progress)
    assert heard == sorted(heard)
    assert len(heard) >= 5


def test_a_file_that_ends_too_early_is_read_as_far_as_it_goes(tmp_path: Path) -> None:
    whole, cut = tmp_path / "whole.flac", tmp_path / "cut.flac"
    soundfile.write(whole, tone(40) * 0.9 + 1e-4 * noise(40 * RATE_HZ), RATE_HZ, "PCM_24")
    content = whole.read_bytes()
    cut.write_bytes(content[: len(content) * 6 // 10])
    outcome = measure_file(cut, TonePlan())
    assert outcome.error is None
    assert outcome.measured is not None
    assert any("cut short or damaged" in doubt for doubt in outcome.measured.doubts)
    assert 15 < float(outcome.measured.conditions["duration_s"]) < 30


BAD = {
    "empty.wav": b"",
    "text.flac": b"this is a letter, not a recording\n" * 50,
    "head-only.wav": b"RIFF\x24\x00\x00\x00WAVEfmt ",
    "noise.mp3": np.random.default_rng(1).bytes(4000),
    "head-only.flac": b"fLaC\x00\x00\x00\x22",
}


@pytest.mark.parametrize("name", sorted(BAD))
def test_what_is_no_recording_is_refused_in_one_sentence(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    path.write_bytes(BAD[name])
    error = _refusal(path)
    assert isinstance(error, FileError)
    assert name in str(error)


def test_a_recording_without_samples_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "nothing.wav"
    soundfile.write(path, np.zeros((0, 2)), RATE_HZ)
    assert "holds no sound" in str(_refusal(path))


def test_a_wrong_ending_does_not_matter(tmp_path: Path) -> None:
    right, wrong = tmp_path / "a.flac", tmp_path / "a.wav"
    soundfile.write(right, tone(), RATE_HZ)
    right.rename(wrong)
    assert measure_file(wrong, TonePlan()).error is None


def test_a_folder_and_a_missing_file_are_refused(tmp_path: Path) -> None:
    assert "is a folder" in str(_refusal(tmp_path))
    assert "cannot be read" in str(_refusal(tmp_path / "gone.wav"))


def test_a_file_that_may_not_be_read_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "secret.wav"
    soundfile.write(path, tone(1), RATE_HZ)

    def forbidden(*_: object, **__: object) -> None:  # root may read everything, so it is acted
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))

    monkeypatch.setattr(Path, "open", forbidden)
    assert "permission denied" in str(_refusal(path))


def test_eight_channels_are_refused_with_advice(tmp_path: Path) -> None:
    path = tmp_path / "eight.wav"
    soundfile.write(path, tone(1, channels=8), RATE_HZ)
    error = _refusal(path)
    assert isinstance(error, SignalError)
    assert "8 channels" in str(error)


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
def test_samples_that_are_no_numbers_are_refused_with_their_place(
    tmp_path: Path, value: float
) -> None:
    path = tmp_path / "broken.wav"
    samples = tone()
    samples[5 * RATE_HZ + 3, 1] = value
    soundfile.write(path, samples, RATE_HZ, "FLOAT")
    assert "5.000 s on the right channel is not a number" in str(_refusal(path))


def _two_tones() -> Array:
    time_s = np.arange(20 * RATE_HZ) / RATE_HZ
    both = np.sin(2 * np.pi * 3150 * time_s) + 0.9 * np.sin(2 * np.pi * 2900 * time_s)
    return 0.3 * np.stack((both, both), axis=1)


def _music() -> Array:
    """Chords of many partials that change twice a second."""
    draw = np.random.default_rng(12)
    time_s = np.arange(RATE_HZ // 2) / RATE_HZ
    bars = []
    for _ in range(40):
        notes = 110 * 2 ** (draw.integers(0, 36, 4) / 12)
        partials = sum(
            np.sin(2 * np.pi * note * k * time_s + draw.uniform(0, 6.28)) / k
            for note in notes
            for k in range(1, 25)
        )
        bars.append(partials * np.exp(-3 * time_s))
    sound = 0.1 * np.concatenate(bars)
    return np.stack((sound, sound), axis=1)


@pytest.mark.parametrize(
    ("what", "samples", "word"),
    [
        ("silence", np.zeros((20 * RATE_HZ, 2)), "silent"),
        ("a constant", np.full((20 * RATE_HZ, 2), 0.2), "constant offset"),
        ("hiss", 0.1 * noise(20 * RATE_HZ), "No single tone"),
        ("two tones", _two_tones(), "No single tone"),
        ("music", _music(), "tone"),
        ("half a second", tone(0.5), "0.5 s"),
        ("another tone", np.sin(np.arange(20 * RATE_HZ) * 0.06)[:, None] * 0.4, "tone"),
    ],
)
def test_what_holds_no_tone_is_refused_by_what_it_holds(
    tmp_path: Path, what: str, samples: Array, word: str
) -> None:
    path = tmp_path / "sound.wav"
    soundfile.write(path, samples, RATE_HZ, "PCM_24")
    error = _refusal(path)
    assert isinstance(error, SignalError), what
    assert word in str(error)


@pytest.mark.parametrize("rate_hz", [1, 4000, 10_000_000])
def test_impossible_sample_rates_are_refused(tmp_path: Path, rate_hz: int) -> None:
    path = tmp_path / "rate.wav"
    soundfile.write(path, noise(1000), rate_hz, "PCM_16")
    assert "samples a second" in str(_refusal(path))


def test_a_clipped_tone_is_read_and_told(tmp_path: Path) -> None:
    path = tmp_path / "hot.wav"
    soundfile.write(path, np.clip(3 * tone(20), -1, 1), RATE_HZ, "PCM_16")
    outcome = measure_file(path, TonePlan())
    assert outcome.measured is not None
    assert any("clipped" in doubt for doubt in outcome.measured.doubts)
    speed = outcome.measured.find("speed.deviation")
    assert speed is not None
    assert speed.quantity is not None
    # clipping is symmetric: odd harmonics, all far from the tone, and no change of its zeros
    assert abs(speed.quantity.value) < 1e-4


def test_one_bad_file_does_not_stop_the_others(tmp_path: Path) -> None:
    good, bad = tmp_path / "good.wav", tmp_path / "bad.wav"
    soundfile.write(good, tone(), RATE_HZ, "PCM_16")
    bad.write_bytes(b"no")
    outcomes = list(measure_files([bad, good, bad], TonePlan(), jobs=1))
    assert [outcome.error is None for outcome in outcomes] == [False, True, False]
    assert [outcome.path for outcome in outcomes] == [bad, good, bad]


def test_a_folder_lists_its_recordings_by_name(tmp_path: Path) -> None:
    for name in ("b.FLAC", "a.wav", "notes.txt", "c.ogg"):
        (tmp_path / name).write_bytes(b"x")
    assert [path.name for path in recordings_in(tmp_path)] == ["a.wav", "b.FLAC", "c.ogg"]
    with pytest.raises(FileError, match="holds no recordings"):
        recordings_in(_made(tmp_path / "nothing"))
    with pytest.raises(FileError, match="cannot be read"):
        recordings_in(tmp_path / "gone")


def _made(folder: Path) -> Path:
    folder.mkdir()
    return folder


def _refusal(path: Path) -> RunstrueError:
    """Return the one sentence with which a file is refused."""
    outcome = measure_file(path, TonePlan())
    assert outcome.measured is None
    error = outcome.error
    assert isinstance(error, InputError)
    text = str(error)
    assert text[0] in "'ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789"
    assert text.endswith(".")
    assert "\n" not in text
    assert "Traceback" not in text
    return error
