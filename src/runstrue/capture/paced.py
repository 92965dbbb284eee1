"""A file played in real time, as if it came from a sound card."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from pathlib import Path

from runstrue.capture.blocks import BLOCK_S, LiveBlock
from runstrue.capture.file import FileSource
from runstrue.samples import SourceKind


class Pace:
    """Lets so many frames pass a second, by the clock of the machine.

    Parameters
    ----------
    rate_hz : float
    times : float
        How much faster than real time; infinite for as fast as it goes.
    """

    def __init__(self, rate_hz: float, times: float = 1.0) -> None:
        self._per_s = rate_hz * times
        self._began: float | None = None
        self._frames = 0
        self._stopped = threading.Event()

    def wait_for(self, frames: int) -> bool:
        """Wait until these next frames have sounded; False when it was stopped meanwhile."""
        now = time.monotonic()
        if self._began is None:
            self._began = now
        self._frames += frames
        late_s = now - (self._began + self._frames / self._per_s)
        if late_s > 1.0:  # the machine slept, or cannot keep up: sound is not hurried after
            self._began += late_s
        return not self._stopped.wait(max(-late_s, 0.0))

    def stop(self) -> None:
        """Wait no longer."""
        self._stopped.set()

    @property
    def stopped(self) -> bool:
        """Whether it was stopped."""
        return self._stopped.is_set()


class PacedFile:
    """A recording as a live source.

    Parameters
    ----------
    path : Path
    times : float
        How much faster than real time.

    Raises
    ------
    FileError, SignalError
        As `runstrue.capture.file.FileSource`.
    """

    def __init__(self, path: Path, times: float = 1.0) -> None:
        self._file = FileSource(path, hashed=False)
        self._pace = Pace(self._file.rate_hz, times)
        self.length_s = self._file.frames / self._file.rate_hz

    @property
    def kind(self) -> SourceKind:
        """A file."""
        return "file"

    @property
    def name(self) -> str:
        """The file's name."""
        return self._file.path.name

    @property
    def rate_hz(self) -> float:
        """Frames a second."""
        return self._file.rate_hz

    @property
    def channels(self) -> int:
        """One or two."""
        return self._file.channels

    def blocks(self) -> Iterator[LiveBlock]:
        """Yield the file's sound as it would be heard, until it ends or `stop`."""
        frames = max(round(BLOCK_S * self.rate_hz), 1)
        for long in self._file.blocks():
            for start in range(0, long.shape[1], frames):
                block = long[:, start : start + frames]
                if not self._pace.wait_for(block.shape[1]):
                    return
                yield LiveBlock(block)

    def stop(self) -> None:
        """End `blocks`."""
        self._pace.stop()
