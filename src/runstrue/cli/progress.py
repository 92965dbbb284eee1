"""A line on stderr that says how far the work is; only where a person watches."""

from __future__ import annotations

import sys
import time
from types import TracebackType

SOON_S = 0.7  # shorter work needs no progress
EVERY_S = 0.2
NAME = 20  # columns; the figures take up to 57


class Ticker:
    """A line that is written over itself and wiped at the end.

    Parameters
    ----------
    words : str
        What is being done: 'side-a.flac'.
    total : float
        In seconds of sound, or in files.
    unit : {'s', 'files', 'steps'}
    shown : bool, optional
        Whether a person watches; else whether stderr is a terminal.
    """

    def __init__(
        self, words: str, total: float, unit: str = "s", *, shown: bool | None = None
    ) -> None:
        self._words, self._total, self._unit = words, total, unit
        self._shown = sys.stderr.isatty() if shown is None else shown
        self._begun = self._last = time.monotonic()
        self._written = False

    def __enter__(self) -> Ticker:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.wipe()

    def at(self, done: float) -> None:
        """Say that so much is done."""
        now = time.monotonic()
        if not self._shown or now - self._begun < SOON_S or now - self._last < EVERY_S:
            return
        self._last = now
        line = line_of(self._words, done, self._total, now - self._begun, self._unit)
        sys.stderr.write(f"\r{line:<79.79}")
        sys.stderr.flush()
        self._written = True

    def wipe(self) -> None:
        """Take the line away before something else is written."""
        if self._written:
            sys.stderr.write("\r" + " " * 79 + "\r")
            sys.stderr.flush()
            self._written = False


def line_of(words: str, done: float, total: float, spent_s: float, unit: str) -> str:
    """Say how far, how fast and how long still.

    Examples
    --------
    >>> line_of("side-a.flac", 600.0, 2700.0, 2.0, "s")
    'side-a.flac  22 %  10:00 of 45:00  300 × real time  about 7 s left'
    """
    name = words if len(words) <= NAME else words[: NAME // 2] + "…" + words[1 - NAME // 2 :]
    share = min(done / total, 1.0) if total > 0 else 0.0
    left = f"  about {_span(spent_s * (1 - share) / share)} left" if share > 0 else ""
    if unit != "s":
        return f"{name}  {done:.0f} of {total:.0f} {unit} done{left}"
    parts = f"{name}  {100 * share:.0f} %  {_clock(done)} of {_clock(total)}"
    return parts + (f"  {done / spent_s:.0f} × real time" if spent_s > 0 else "") + left


def _clock(seconds: float) -> str:
    return f"{int(seconds) // 60}:{int(seconds) % 60:02d}"


def _span(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 90 else f"{seconds / 60:.0f} min"
