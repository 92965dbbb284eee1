"""The live engine: one source at a time, everything read from it, everything kept safe."""

from __future__ import annotations

import contextlib
import json
import shutil
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from runstrue.capture.blocks import Source
from runstrue.errors import FileError, InputError
from runstrue.live import spool
from runstrue.live.kept import Kept
from runstrue.live.lock import is_free
from runstrue.live.models import Message, Spectrum, Update
from runstrue.live.session import Session
from runstrue.live.shelf import Shelf
from runstrue.measure.tape_tone import TonePlan

Listener = Callable[[Message], None]
"""Called from the engine's threads with every message; must return at once (put it in a queue)."""

SHORTEST_S = 1.0


class LiveEngine:
    """Listen to a source, tell what it says, keep what is asked for.

    Parameters
    ----------
    folder : Path
        Where the sound is spooled to and kept stretches lie; made when it is needed.

    Examples
    --------
    >>> engine = LiveEngine(Path("bench/live"))  # doctest: +SKIP
    >>> leave = engine.join(print)  # doctest: +SKIP
    >>> engine.start(source, TonePlan())  # doctest: +SKIP
    >>> kept = engine.keep_last(30.0)  # doctest: +SKIP
    >>> engine.close()  # doctest: +SKIP
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._shelf = Shelf(folder / "kept")
        self._listeners: list[Listener] = []
        self._session: Session | None = None
        self._latest: Update | None = None
        self._latest_spectrum: Spectrum | None = None
        self._lock = threading.RLock()  # for starting, stopping and keeping
        self._joining = threading.Lock()

    def join(self, listener: Listener) -> Callable[[], None]:
        """Send every message to this listener too; returns what makes it leave."""
        with self._joining:
            self._listeners = [*self._listeners, listener]

        def leave() -> None:
            with self._joining:
                self._listeners = [one for one in self._listeners if one is not listener]

        return leave

    @property
    def latest(self) -> Update | None:
        """The newest update, None before the first."""
        return self._latest

    @property
    def latest_spectrum(self) -> Spectrum | None:
        """The newest spectrum, None before the first."""
        return self._latest_spectrum

    @property
    def running(self) -> bool:
        """Whether a source is being listened to."""
        session = self._session
        return session is not None and session.running

    def start(self, source: Source, plan: TonePlan | None = None) -> None:
        """Begin to listen to a source; one that runs is stopped first.

        What the source meets later comes as an update with the state 'stopped' and a sentence.

        Raises
        ------
        InputError, SignalError
            When the source has more than two channels, or a rate that cannot carry the tone.
        """
        with self._lock:
            self.stop()
            self._drop()
            name = time.strftime("%Y-%m-%d-%H-%M-%S") + f"-{time.time_ns() % 10**6:06d}"
            session = Session(
                source, plan or TonePlan(), self.folder / "spool" / name, name, self._publish
            )
            self._session = session
            session.begin()

    def stop(self) -> None:
        """Stop listening. What was heard can still be kept until another source is started."""
        with self._lock:
            if self._session is not None:
                self._session.stop()
                self._put_finished()

    def close(self) -> None:
        """Stop for good: recordings are put on the shelf, the rest of the sound is let go."""
        with self._lock:
            self.stop()
            self._drop()

    def keep_last(self, seconds: float) -> Kept:
        """Write the newest stretch of this length to a file; shorter if less is held.

        Raises
        ------
        InputError
            When less than a second has been heard.
        FileError
            When it cannot be written.
        """
        session = self._heard()
        end = session.frames
        first = max(end - round(seconds * session.rate_hz), self._oldest(session))
        return self.keep(first, end - first)

    def keep(self, first_frame: int, frames: int) -> Kept:
        """Write a stretch to a file, from the last frame on the grid at or before `first_frame`.

        A window's figures (`Window.first_frame`, `frames`) are those of the file.

        Raises
        ------
        InputError
            When it is shorter than a second.
        FileError
            When it is no longer held, or cannot be written.
        """
        with self._lock:
            session = self._heard()
            disk = session.disk
            grid = session.listening.grid_frames
            first = max(-(-self._oldest(session) // grid), first_frame // grid) * grid
            end = min(first_frame + frames, disk.frames)
            if end - first < SHORTEST_S * session.rate_hz:
                raise InputError(
                    f"Only {max(end - first, 0) / session.rate_hz:.1f} s of sound are held there",
                    f"{SHORTEST_S:g} s and more can be kept",
                    "wait a little",
                )
            return self._shelf.put(
                spool.read(disk.folder, session.channels, first, end - first),
                session.rate_hz,
                session.channels,
                first,
                session.source.name,
                session.began_s + first / session.rate_hz,
                disk.befell(first, end),
            )

    def record(self, seconds: float | None = None) -> None:
        """Record from now on, for so long or until `end_recording`.

        Raises
        ------
        InputError
            When nothing is being heard, or a recording runs already.
        FileError
            When the disk is full.
        """
        self._heard().disk.record(seconds)

    def end_recording(self) -> Kept:
        """End the recording that runs and write it to a file.

        Raises
        ------
        InputError
            When none runs, or it is shorter than a second.
        FileError
            When it cannot be written.
        """
        disk = self._heard().disk
        ended = disk.end_recording()
        if ended is None:
            raise InputError("No recording runs", "", "start one first")
        try:
            return self.keep(ended[0], ended[1] - ended[0])
        finally:
            disk.let_go()

    def finished(self) -> tuple[Kept, ...]:
        """Everything kept or recorded that was not taken away by `forget` yet, oldest first.

        Recordings that came to their end by themselves are written to files on the way.

        Raises
        ------
        FileError
            When they cannot be written.
        """
        with self._lock:
            self._put_finished()
            return self._shelf.waiting()

    def recoverable(self) -> tuple[Kept, ...]:
        """Stretches that an earlier run left on disk when it was cut off, oldest first.

        Their `path` is a folder; `recover` makes a file of them.
        """
        found = []
        for folder in sorted((self.folder / "spool").glob("*")):
            if not is_free(folder / "lock"):
                continue  # in use, by this program or another one
            left = _left(folder)
            if left is not None:
                found.append(left)
        return tuple(found)

    def recover(self, which: Kept) -> Kept:
        """Write such a stretch to a file, and let go of what it was made of.

        Raises
        ------
        FileError
            When it cannot be read or written; it stays where it is.
        """
        facts = _facts(which.path)
        if facts is None:
            raise FileError(
                f"What is known of the sound in '{which.path}' cannot be read",
                "its session.json is needed",
                "keep the folder: its WAV files play in any player",
            )
        channels = int(facts["channels"])
        kept = self._shelf.put(
            spool.read(which.path, channels, which.first_frame, which.frames),
            which.rate_hz,
            channels,
            which.first_frame,
            which.source,
            float(facts.get("began_s", 0.0)) + which.first_frame / which.rate_hz,
            which.doubts,
        )
        self.forget(which)
        return kept

    def forget(self, which: Kept) -> None:
        """Delete a stretch: because it stands in the logbook now, or is not wanted."""
        if which.path.parent == self.folder / "spool":
            shutil.rmtree(which.path, ignore_errors=True)
        else:
            self._shelf.remove(which)

    def _publish(self, message: Message) -> None:
        if isinstance(message, Update):
            self._latest = message
        else:
            self._latest_spectrum = message
        for listener in self._listeners:
            listener(message)

    def _heard(self) -> Session:
        if self._session is None or not self._session.frames:
            raise InputError("Nothing has been heard yet", "", "start a source first")
        return self._session

    def _oldest(self, session: Session) -> int:
        return spool.first_frame(session.disk.folder, session.channels)

    def _put_finished(self) -> None:
        """Write recordings that ended by themselves to files."""
        session = self._session
        while session is not None and session.disk.finished:
            first, end = session.disk.finished[0]
            with contextlib.suppress(InputError):  # shorter than a second: nothing was recorded
                self.keep(first, end - first)
            session.disk.finished.pop(0)
            session.disk.let_go()

    def _drop(self) -> None:
        """Let go of the sound of the last session."""
        session, self._session = self._session, None
        self._latest = self._latest_spectrum = None
        if session is not None:
            session.disk.remove()


def _facts(folder: Path) -> dict[str, Any] | None:
    """What is written about a run; None where nothing can be read."""
    try:
        facts = json.loads((folder / "session.json").read_text(encoding="utf-8"))
        return {**facts, "rate_hz": float(facts["rate_hz"]), "channels": int(facts["channels"])}
    except (OSError, ValueError, TypeError, KeyError):
        return None


def _left(folder: Path) -> Kept | None:
    """What a run left that was cut off: from its first recording on, or all that it held."""
    facts = _facts(folder)
    if facts is None:
        return None
    channels, rate_hz = facts["channels"], facts["rate_hz"]
    oldest = spool.first_frame(folder, channels)
    recordings = [*facts.get("finished", []), *filter(None, [facts.get("recording")])]
    first = max(min((one[0] for one in recordings), default=oldest), oldest)
    frames = spool.end_frame(folder, channels) - first
    if frames < SHORTEST_S * rate_hz:
        return None
    began = time.localtime(float(facts.get("began_s", 0.0)) + first / rate_hz)
    doubts = tuple(
        f"{words.rstrip('.')}, at {(frame - first) / rate_hz:.1f} s."
        for frame, words in facts.get("happenings", [])
        if first <= frame < first + frames
    )
    return Kept(
        folder, rate_hz, first, frames, str(facts.get("source", "live sound")),
        time.strftime("%Y-%m-%dT%H:%M:%S%z", began), doubts,
    )  # fmt: skip
