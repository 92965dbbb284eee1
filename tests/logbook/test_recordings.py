"""Recordings: kept byte for byte, once, or not at all."""

from __future__ import annotations

import errno
import hashlib
import os
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile

from runstrue.errors import FileError, LogbookError
from runstrue.logbook import Logbook
from runstrue.logbook.models import CaptureFacts, Deck
from runstrue.result import Measured
from runstrue.samples import Origin, Signal

MakePass = Callable[..., Measured]
MakeFacts = Callable[..., CaptureFacts]

RED = Deck(name="Red")


def kept(bench: Path) -> list[str]:
    """Return everything in the folder of captures, hidden files too."""
    return sorted(os.listdir(bench / "captures"))


def test_a_file_is_kept_byte_for_byte_under_its_hash(
    tmp_path: Path, whole_pass: MakePass, facts: MakeFacts, recording: Path
) -> None:
    digest = hashlib.sha256(recording.read_bytes()).hexdigest()
    with Logbook.open(tmp_path / "bench") as book:
        deck = book.add_deck(RED)
        capture = book.store(deck, None, facts(), whole_pass(), (), recording, digest)
        assert capture.sha256 == digest
        assert book.recording(capture).read_bytes() == recording.read_bytes()
    assert kept(tmp_path / "bench") == [f"{digest}.flac"]


def test_the_same_bytes_are_kept_once(
    tmp_path: Path, whole_pass: MakePass, facts: MakeFacts, recording: Path
) -> None:
    twin = tmp_path / "copy.wav"
    twin.write_bytes(recording.read_bytes())
    with Logbook.open(tmp_path / "bench") as book:
        deck = book.add_deck(RED)
        first = book.store(deck, None, facts(), whole_pass(), (), recording)
        second = book.store(deck, None, facts(), whole_pass(), (), twin)
        assert book.recording(first) == book.recording(second)
        assert (first.file_name, second.file_name) == (recording.name, "copy.wav")
    assert len(kept(tmp_path / "bench")) == 1


def test_a_recording_that_changed_or_went_is_told_and_mended_by_storing_it_again(
    tmp_path: Path, whole_pass: MakePass, facts: MakeFacts, recording: Path
) -> None:
    with Logbook.open(tmp_path / "bench") as book:
        deck = book.add_deck(RED)
        capture = book.store(deck, None, facts(), whole_pass(), (), recording)
        path = book.recording(capture)
        path.write_bytes(path.read_bytes()[:-1] + b"?")
        with pytest.raises(LogbookError, match="no longer what was stored"):
            book.recording(capture)
        assert len(book.check()) == 1
        book.store(deck, None, facts(), whole_pass(), (), recording)
        assert book.check() == ()
        path.unlink()
        with pytest.raises(LogbookError, match="cannot be read"):
            book.recording(capture)
        book.store(deck, None, facts(), whole_pass(), (), recording)
        assert book.check() == ()


def test_a_capture_without_a_recording_says_so(
    tmp_path: Path, whole_pass: MakePass, facts: MakeFacts
) -> None:
    with Logbook.open(tmp_path) as book:
        capture = book.store(book.add_deck(RED), None, facts(), whole_pass())
        assert capture.source == "not kept"
        with pytest.raises(LogbookError, match="No recording was kept"):
            book.recording(capture)


def test_a_missing_file_and_a_folder_are_refused(
    tmp_path: Path, whole_pass: MakePass, facts: MakeFacts
) -> None:
    with Logbook.open(tmp_path / "bench") as book:
        deck = book.add_deck(RED)
        for path in (tmp_path / "nothing.flac", tmp_path):
            with pytest.raises(FileError, match="cannot be read"):
                book.store(deck, None, facts(), whole_pass(), (), path)
        assert book.captures(deck) == ()


def signal(samples: np.ndarray, rate_hz: float = 48_000.0) -> Signal:
    return Signal(samples, rate_hz, Origin("device", "Blue box"))


def test_a_live_signal_of_24_bits_is_kept_exactly_as_flac(
    tmp_path: Path, whole_pass: MakePass, facts: MakeFacts
) -> None:
    steps = np.random.default_rng(3).integers(-(2**23), 2**23, (2, 150_000))
    steps[:, 0], steps[:, 1] = -(2**23), 2**23 - 1  # both ends of the scale
    heard = signal((steps / 2**23).astype(np.float64))
    with Logbook.open(tmp_path) as book:
        capture = book.store(book.add_deck(RED), None, facts(), whole_pass(), signal=heard)
        path = book.recording(capture)
    assert (capture.source, capture.file_name) == ("device", "Blue box")
    info = soundfile.info(path)
    assert (info.format, info.subtype, info.samplerate) == ("FLAC", "PCM_24", 48_000)
    read, _ = soundfile.read(path, dtype="int32")
    np.testing.assert_array_equal(read.T >> 8, steps)


@pytest.mark.parametrize("side", [1, -1])
def test_a_live_signal_beyond_full_scale_is_not_clipped(
    tmp_path: Path, whole_pass: MakePass, facts: MakeFacts, side: int
) -> None:
    # Beyond full scale on one side only; plain 1.0 is beyond it for FLAC.
    loud = np.random.default_rng(4).uniform(-0.9, 1.0, (2, 5000)).astype(np.float32)
    loud[1, 100] = 1.0
    loud *= side if side > 0 else -1.05
    with Logbook.open(tmp_path) as book:
        capture = book.store(book.add_deck(RED), None, facts(), whole_pass(), signal=signal(loud))
        path = book.recording(capture)
    assert path.suffix == ".wav"
    read, _ = soundfile.read(path, dtype="float32")
    np.testing.assert_array_equal(read.T, loud)


def test_a_rate_that_no_file_can_hold_is_refused(
    tmp_path: Path, whole_pass: MakePass, facts: MakeFacts
) -> None:
    odd = signal(np.zeros((1, 10)), 44_100.5)
    with Logbook.open(tmp_path) as book, pytest.raises(LogbookError, match="whole number"):
        book.store(book.add_deck(RED), None, facts(), whole_pass(), signal=odd)


@pytest.mark.parametrize("call", ["fsync", "replace"])
def test_a_disk_that_fills_up_leaves_nothing_half_written(
    tmp_path: Path,
    whole_pass: MakePass,
    facts: MakeFacts,
    recording: Path,
    monkeypatch: pytest.MonkeyPatch,
    call: str,
) -> None:
    def full(*_: object, **__: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    bench = tmp_path / "bench"
    with Logbook.open(bench) as book:
        deck = book.add_deck(RED)
        other = tmp_path / "earlier.wav"
        other.write_bytes(b"earlier")
        earlier = book.store(deck, None, facts(), whole_pass(), (), other)
        before = kept(bench)
        with monkeypatch.context() as patch:
            patch.setattr(*((os, "fsync") if call == "fsync" else (Path, "replace")), full)
            with pytest.raises(LogbookError, match=r"is full; nothing of this was stored"):
                book.store(deck, None, facts(), whole_pass(), (), recording)
        assert kept(bench) == before
        assert [capture.id for capture in book.captures(deck)] == [earlier.id]
        assert book.recording(earlier).read_bytes() == b"earlier"
        assert book.check() == ()
        assert book.store(deck, None, facts(), whole_pass(), (), recording).id == 2


def test_a_recording_named_before_the_logbook_failed_is_taken_back(
    tmp_path: Path,
    whole_pass: MakePass,
    facts: MakeFacts,
    recording: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    from runstrue.logbook import storing

    def stopped(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    with Logbook.open(tmp_path / "bench") as book:
        deck = book.add_deck(RED)
        with monkeypatch.context() as patch:
            patch.setattr(storing, "insert_judgement", stopped)
            with pytest.raises(KeyboardInterrupt):
                book.store(deck, None, facts(), whole_pass(), (), recording)
            assert kept(tmp_path / "bench") == []
            assert book.captures(deck) == ()
        earlier = book.store(deck, None, facts(), whole_pass(), (), recording)
        with monkeypatch.context() as patch:
            patch.setattr(storing, "insert_judgement", stopped)
            with pytest.raises(KeyboardInterrupt):
                book.store(deck, None, facts(), whole_pass(), (), recording)
        # What an earlier capture rests on is not taken away with the later one.
        assert book.recording(earlier).read_bytes() == recording.read_bytes()


def test_a_really_full_disk_is_told_and_earlier_content_is_intact(
    small_disk: Callable[[str], Path], whole_pass: MakePass, facts: MakeFacts, recording: Path
) -> None:
    bench = small_disk("size=2m") / "bench"
    heard = signal(np.random.default_rng(5).uniform(-0.9, 0.9, (2, 500_000)))
    with Logbook.open(bench) as book:
        deck = book.add_deck(RED)
        earlier = book.store(deck, None, facts(), whole_pass())
        with pytest.raises(LogbookError, match="is full"):  # the file is larger than the disk
            book.store(deck, None, facts(), whole_pass(), (), recording)
        with pytest.raises(LogbookError, match="is full"):  # so is this signal
            book.store(deck, None, facts(), whole_pass(), signal=heard)
        with pytest.raises(LogbookError, match="is full"):  # and so is this deviation
            book.store(deck, None, facts(), whole_pass(samples=400_000))
        assert kept(bench) == []
        assert [capture.id for capture in book.captures(deck)] == [earlier.id]
        assert book.check() == ()
    with Logbook.open(bench, create=False) as book:
        assert len(book.deck_record(deck).captures) == 1
