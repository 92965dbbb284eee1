"""What of a run is on disk: the sound, the recordings in it, and what befell it."""

from __future__ import annotations

import threading
import time
from collections import deque
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from runstrue.errors import FileError, InputError
from runstrue.live.models import Happening, Recording
from runstrue.live.spool import Spool

RETRY_S = 5.0
"""Between attempts to write when the disk was full, and between syncs against a power cut."""


class Disk:
    """The spool of one run, and which stretches of it are recordings.

    A disk that cannot be written to is told, and tried again; the readings go on meanwhile.

    Parameters
    ----------
    folder : Path
        For the spool of this run.
    rate_hz : float
    channels : int
    facts : dict
        What is known about the run, as plain values.
    """

    def __init__(self, folder: Path, rate_hz: float, channels: int, facts: dict[str, Any]) -> None:
        self.folder, self._rate_hz = folder, rate_hz
        self.frames = 0
        """Frames heard so far: those that are on disk, or are missing there."""
        self.finished: list[tuple[int, int]] = []
        """Recordings that ended by themselves: first frame, and the one after the last."""
        self._happenings: deque[tuple[int, Happening]] = deque(maxlen=1000)
        self._recording: tuple[int, int | None] | None = None
        self._retry_at = 0.0
        self._synced_at = 0
        self._closed = False
        self._lock = threading.Lock()
        self._spool: Spool | None = None
        try:
            self._spool = Spool(folder, rate_hz, channels, facts)
        except FileError as error:
            self.happen(f"The sound is not being written to disk: {error}")

    @property
    def is_safe(self) -> bool:
        """Whether the sound that comes is being written."""
        return self._spool is not None and not self._retry_at

    @property
    def recording(self) -> Recording | None:
        """The recording that runs."""
        running = self._recording
        if running is None:
            return None
        first, end = running
        asked_s = None if end is None else (end - first) / self._rate_hz
        return Recording(first, (self.frames - first) / self._rate_hz, asked_s)

    def happenings(self, most: int) -> tuple[Happening, ...]:
        """What befell the run, the newest first."""
        return tuple(one for _, one in list(self._happenings)[: -most - 1 : -1])

    def befell(self, first: int, end: int) -> tuple[str, ...]:
        """What went wrong between two frames, as sentences with their second in the stretch."""
        return tuple(
            f"{one.words.rstrip('.')}, at {(frame - first) / self._rate_hz:.1f} s."
            for frame, one in list(self._happenings)
            if first <= frame < end
        )

    def happen(self, words: str) -> None:
        """Put down that something befell the run just now."""
        sentence = words.rstrip(".") + "."
        self._happenings.append((self.frames, Happening(self.frames / self._rate_hz, sentence)))
        self._tell()

    def write(self, samples: NDArray[np.float32]) -> None:
        """Put the next frames on the disk, shape (channel, frame); where that fails, say so."""
        spool, count = self._spool, samples.shape[1]
        due = spool is not None and not (self._retry_at and time.monotonic() < self._retry_at)
        if spool is not None and due:
            if self._retry_at:
                spool.skip_to(self.frames)
            try:
                spool.write(samples)
            except OSError as error:
                self._fail(error)
            else:
                if self._retry_at:
                    self._retry_at = 0.0
                    self.happen("The sound is being written to disk again")
        self.frames += count
        self._end_if_due()

    def record(self, seconds: float | None) -> None:
        """Record from the next frame on, for so long or until `end_recording`.

        Raises
        ------
        InputError
            When the run is over, or a recording runs already.
        FileError
            When the sound cannot be written.
        """
        with self._lock:
            if self._closed:
                raise InputError(
                    "Nothing is being heard", "a source that runs is needed", "start one"
                )
            if self._recording is not None:
                raise InputError("A recording runs already", "", "end it first")
            if not self.is_safe:
                raise FileError(
                    "The sound cannot be written to disk at the moment",
                    "room on the disk is needed",
                    "free some space",
                )
            end = None if seconds is None else self.frames + round(seconds * self._rate_hz)
            self._recording = self.frames, end
            self._hold()
        self._tell()

    def end_recording(self) -> tuple[int, int] | None:
        """End the recording that runs; return its first frame and the one after the last.

        Its sound is held until `let_go` is told.
        """
        with self._lock:
            running, self._recording = self._recording, None
        if running is None:
            return None
        self._tell()
        return running[0], self._end_of(running)

    def let_go(self) -> None:
        """Allow old sound to be dropped again that no recording needs."""
        with self._lock:
            self._hold()

    def sync(self) -> None:
        """Have the operating system put on the disk what it still holds, now and then."""
        if self._spool is not None and self.frames - self._synced_at > RETRY_S * self._rate_hz:
            self._synced_at = self.frames
            self._spool.sync()

    def close(self) -> None:
        """The run is over: a recording that runs ends here; what lies here stays."""
        with self._lock:
            self._closed = True
            running, self._recording = self._recording, None
            if running is not None:
                self.finished.append((running[0], self._end_of(running)))
        if self._spool is not None:
            self._spool.close()
        self._tell()

    def remove(self) -> None:
        """Delete everything."""
        if self._spool is not None:
            self._spool.remove()

    def _end_of(self, running: tuple[int, int | None]) -> int:
        return self.frames if running[1] is None else min(self.frames, running[1])

    def _end_if_due(self) -> None:
        with self._lock:
            running = self._recording
            if running is None or running[1] is None or self.frames < running[1]:
                return
            self._recording = None
            self.finished.append((running[0], running[1]))
        self._tell()

    def _hold(self) -> None:
        """Keep all sound from the oldest recording on; called with the lock held."""
        if self._spool is None:
            return
        firsts = [first for first, _ in self.finished]
        if self._recording is not None:
            firsts.append(self._recording[0])
        self._spool.needed_from = min(firsts, default=None)

    def _fail(self, error: OSError) -> None:
        first_time = not self._retry_at
        self._retry_at = time.monotonic() + RETRY_S
        if not first_time:
            return
        with self._lock:
            running, self._recording = self._recording, None
            if running is not None and self.frames > running[0]:
                self.finished.append((running[0], self.frames))
        why = (error.strerror or str(error)).lower()
        also = "; the recording ended here" if running is not None else ""
        self.happen(f"The sound can no longer be written to disk ({why}){also}")

    def _tell(self) -> None:
        """Keep what is written about the run true to what is going on."""
        if self._spool is None:
            return
        try:
            self._spool.tell(
                recording=list(self._recording) if self._recording else None,
                finished=[list(one) for one in self.finished],
                happenings=[[frame, one.words] for frame, one in list(self._happenings)],
            )
        except OSError:
            return  # told when the sound itself cannot be written
