"""The sound itself, on disk while it is heard, safe whatever falls over.

A folder for each run of a source:

    session.json             what it is, what befell it, which recording runs
    lock                     held while the program that writes it lives
    sound-000002880000.wav   a minute each, named by its first frame; 24 bits

Every block is handed to the operating system at once: a program that is killed loses none of
it. The WAV files are whole but for their length, which is left open as streams do; any player
reads them.
"""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import struct
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any

import numpy as np
from numpy.typing import NDArray

from runstrue.errors import FileError
from runstrue.live.lock import hold

SEGMENT_S = 60.0
HELD_S = 1800.0
"""How far back a stretch can be kept: half an hour of stereo at 48 kHz is half a gigabyte."""

HEAD_BYTES = 44
SAMPLE_BYTES = 3
OPEN_LENGTH = 0xFFFFFFFF  # as programs write that do not know the end yet (common practice)
STEPS = 2**23


def on_grid(samples: NDArray[np.floating]) -> NDArray[np.float32]:
    """Round samples to 24 bits, the most that any converter gives, and limit them to full scale.

    What is read live and what is written are then the very same numbers.
    """
    steps = np.rint(samples * STEPS)
    return np.asarray(np.clip(steps, -STEPS, STEPS - 1) / STEPS, dtype=np.float32)


class Spool:
    """Where one run of a source is written to.

    Parameters
    ----------
    folder : Path
        Of this run alone; made.
    rate_hz : float
    channels : int
    facts : dict
        For `session.json`: plain values.
    held_s : float
        How much of the newest sound is held.

    Raises
    ------
    FileError
        When the folder cannot be written to.
    """

    def __init__(
        self,
        folder: Path,
        rate_hz: float,
        channels: int,
        facts: dict[str, Any],
        held_s: float = HELD_S,
    ) -> None:
        self.folder, self.rate_hz, self.channels = folder, rate_hz, channels
        self.facts = {**facts, "rate_hz": rate_hz, "channels": channels}
        self._segment_frames = int(SEGMENT_S * rate_hz)
        self._held_frames = int(held_s * rate_hz)
        self.frames = 0
        self.needed_from: int | None = None  # nothing from here on is dropped
        self._file: IO[bytes] | None = None
        self._file_frames = 0
        try:
            folder.mkdir(parents=True, exist_ok=True)
            self._lock = hold(folder / "lock")
            self.tell()
        except OSError as error:
            raise _cannot_write(folder, error) from None

    def write(self, samples: NDArray[np.float32]) -> None:
        """Write the next frames, shape (channel, frame), already on the grid of 24 bits.

        Raises
        ------
        OSError
            When the disk is full or gone. `frames` counts only what is there for sure; later
            frames may be written after `skip_to`.
        """
        steps = np.ascontiguousarray((samples * STEPS).astype("<i4").T)
        if self._file is None:
            self._open()
        assert self._file is not None
        raw = steps.view(np.uint8).reshape(-1, 4)[:, :SAMPLE_BYTES].tobytes()
        written = self._file.write(raw)
        if written != len(raw):  # the disk filled up in the middle of the block
            self._file.truncate(HEAD_BYTES + self._file_frames * self._frame_bytes)
            raise OSError(28, "No space left on device")
        self.frames += samples.shape[1]
        self._file_frames += samples.shape[1]
        if self._file_frames >= self._segment_frames:
            self._close_file()
            self._drop_old()

    def skip_to(self, frame: int) -> None:
        """Go on at this frame after sound could not be written."""
        with contextlib.suppress(OSError):
            self._close_file()
        self.frames = frame

    def tell(self, **facts: Any) -> None:
        """Write what is known about this run, whole or not at all.

        Raises
        ------
        OSError
            When it cannot be written.
        """
        self.facts |= facts
        temporary = self.folder / ".session.json"
        temporary.write_text(json.dumps(self.facts, indent=1), encoding="utf-8")
        os.replace(temporary, self.folder / "session.json")

    def sync(self) -> None:
        """Have the operating system put on the disk what it still holds (against a power cut)."""
        file = self._file
        if file is not None:
            with contextlib.suppress(OSError, ValueError):  # closed meanwhile: it is synced
                os.fsync(file.fileno())

    def close(self) -> None:
        """End writing; the files stay."""
        with contextlib.suppress(OSError):
            self._close_file()

    def leave(self) -> None:
        """End writing and let others recover what lies here."""
        self.close()
        self._lock.close()

    def remove(self) -> None:
        """Delete everything."""
        self.leave()
        shutil.rmtree(self.folder, ignore_errors=True)

    @property
    def first_frame(self) -> int:
        """The oldest frame from which on all sound is there."""
        return first_frame(self.folder, self.channels)

    @property
    def _frame_bytes(self) -> int:
        return SAMPLE_BYTES * self.channels

    def _open(self) -> None:
        path = self.folder / f"sound-{self.frames:012d}.wav"
        self._file = path.open("wb", buffering=0)
        self._file_frames = 0
        try:
            written = self._file.write(_head(self.rate_hz, self.channels))
            if written != HEAD_BYTES:
                raise OSError(28, "No space left on device")
        except OSError:
            self._file.close()
            self._file = None
            path.unlink(missing_ok=True)
            raise

    def _close_file(self) -> None:
        if self._file is None:
            return
        file, self._file = self._file, None
        with file:
            os.fsync(file.fileno())

    def _drop_old(self) -> None:
        oldest = self.frames - self._held_frames
        if self.needed_from is not None:
            oldest = min(oldest, self.needed_from)
        for begin, path in segments(self.folder):
            if begin + frames_in(path, self.channels) <= oldest:
                path.unlink(missing_ok=True)


def segments(folder: Path) -> list[tuple[int, Path]]:
    """First frame and file of each minute, in order."""
    return sorted((int(path.stem.rpartition("-")[2]), path) for path in folder.glob("sound-*.wav"))


def frames_in(path: Path, channels: int) -> int:
    """Whole frames in a file."""
    return max(path.stat().st_size - HEAD_BYTES, 0) // (SAMPLE_BYTES * channels)


def first_frame(folder: Path, channels: int) -> int:
    """The oldest frame from which on all sound is there, without a hole."""
    oldest = reached = 0
    for begin, path in segments(folder):
        if begin != reached:
            oldest = begin
        reached = begin + frames_in(path, channels)
    return oldest


def end_frame(folder: Path, channels: int) -> int:
    """The frame after the newest one on disk."""
    found = segments(folder)
    return found[-1][0] + frames_in(found[-1][1], channels) if found else 0


def read(
    folder: Path, channels: int, first: int, frames: int, piece: int = 1 << 16
) -> Iterator[NDArray[np.int32]]:
    """Yield a stretch in pieces of shape (frame, channel), full scale ±2³¹, in steps of 2⁸.

    Raises
    ------
    FileError
        When not all of it is there.
    """
    at, end = first, first + frames
    for begin, path in segments(folder):
        held = frames_in(path, channels)
        with path.open("rb") as file:
            while begin <= at < min(begin + held, end):
                count = min(piece, begin + held - at, end - at)
                file.seek(HEAD_BYTES + (at - begin) * SAMPLE_BYTES * channels)
                raw = np.frombuffer(file.read(count * SAMPLE_BYTES * channels), dtype=np.uint8)
                wide = np.zeros((raw.size // SAMPLE_BYTES, 4), dtype=np.uint8)
                wide[:, 1:] = raw.reshape(-1, SAMPLE_BYTES)
                yield wide.view("<i4").reshape(-1, channels)
                at += count
    if at < end:
        raise FileError(
            "Part of the stretch is no longer on disk",
            "the newest half hour can be kept",
            "keep a shorter stretch",
        )


def _head(rate_hz: float, channels: int) -> bytes:
    """Head of a WAV file of open length.

    References
    ----------
    Multimedia Programming Interface and Data Specifications 1.0, 1991: RIFF WAVE, PCM.
    """
    rate, frame = round(rate_hz), SAMPLE_BYTES * channels
    form = struct.pack("<HHIIHH", 1, channels, rate, rate * frame, frame, 8 * SAMPLE_BYTES)
    return (
        b"RIFF" + struct.pack("<I", OPEN_LENGTH) + b"WAVEfmt " + struct.pack("<I", len(form))
        + form + b"data" + struct.pack("<I", OPEN_LENGTH)
    )  # fmt: skip


def _cannot_write(folder: Path, error: OSError) -> FileError:
    return FileError(
        f"'{folder}' cannot be written to ({(error.strerror or str(error)).lower()})",
        "a folder with room for the sound is needed",
        "free some space or check its permissions",
    )
