"""The live engine: one source at a time, everything read from it, everything kept safe."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from runstrue.capture.blocks import Source
from runstrue.live.kept import Kept
from runstrue.live.models import Message, Spectrum, Update
from runstrue.measure.tape_tone import TonePlan

Listener = Callable[[Message], None]
"""Called from the engine's thread with every message; must return at once (put it in a queue)."""


class LiveEngine:
    """Listen to a source, tell what it says, keep what is asked for.

    Parameters
    ----------
    folder : Path
        Where the sound is spooled to and kept stretches are written; made if needed.

    Examples
    --------
    >>> engine = LiveEngine(Path("bench/live"))  # doctest: +SKIP
    >>> leave = engine.join(print)  # doctest: +SKIP
    >>> engine.start(source, TonePlan())  # doctest: +SKIP
    >>> kept = engine.keep_last(30.0)  # doctest: +SKIP
    >>> engine.stop()  # doctest: +SKIP
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def join(self, listener: Listener) -> Callable[[], None]:
        """Send every message to this listener too; returns what makes it leave."""
        raise NotImplementedError

    @property
    def latest(self) -> Update | None:
        """The newest update, None before the first."""
        raise NotImplementedError

    @property
    def latest_spectrum(self) -> Spectrum | None:
        """The newest spectrum, None before the first."""
        raise NotImplementedError

    def start(self, source: Source, plan: TonePlan | None = None) -> None:
        """Begin to listen to a source; one that runs is stopped first.

        The source's errors come as an update with the state 'stopped' and their sentence.
        """
        raise NotImplementedError

    def stop(self) -> None:
        """Stop listening; a recording that runs is ended and waits in `finished`."""
        raise NotImplementedError

    def keep_last(self, seconds: float) -> Kept:
        """Write the newest stretch of this length to a file.

        Raises
        ------
        InputError
            When nothing has been heard, or less than a second.
        FileError
            When it cannot be written.
        """
        raise NotImplementedError

    def record(self, seconds: float | None = None) -> None:
        """Record from now on, for so long or until `end_recording`."""
        raise NotImplementedError

    def end_recording(self) -> Kept:
        """End the recording that runs and write it to a file."""
        raise NotImplementedError

    def finished(self) -> tuple[Kept, ...]:
        """Recordings that came to their end by themselves and were not taken yet; takes them."""
        raise NotImplementedError

    def recoverable(self) -> tuple[Kept, ...]:
        """Stretches that an earlier run left on disk when it was cut off."""
        raise NotImplementedError

    def recover(self, which: Kept) -> Kept:
        """Write such a stretch to a file, to be kept."""
        raise NotImplementedError

    def forget(self, which: Kept) -> None:
        """Delete such a stretch."""
        raise NotImplementedError
