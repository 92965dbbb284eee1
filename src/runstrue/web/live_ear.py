"""A browser's microphone as a source: blocks that come over a WebSocket.

The page switches all processing of the browser off and tells what the browser made of that. Sound
that a slow line loses shows as a jump of the first frame's number, and is told as lost.
"""

from __future__ import annotations

import queue
import struct
import threading
from collections.abc import Iterator
from typing import Annotated, Any

import msgspec
import numpy as np

from runstrue.capture.blocks import BLOCK_S, LiveBlock
from runstrue.errors import InputError
from runstrue.samples import SourceKind

HEAD = struct.Struct("<dII")
"""First frame, channels, frames; then float32, channel by channel, all little-endian."""

LONGEST_FRAMES = 96_000  # of one message: a twentieth of a second is 2400 at 48 kHz
HELD_BLOCKS = 600  # half a minute, should the engine be busy
PROCESSING = ("echoCancellation", "noiseSuppression", "autoGainControl")
RESAMPLED = (
    "This came through a browser, which resamples: good for speed and flutter, less so for levels "
    "and distortion."
)


class EarFacts(msgspec.Struct, frozen=True):
    """What the page says of the microphone before any sound comes.

    Parameters
    ----------
    rate : float
        Frames a second, 8000 to 384 000.
    channels : int
        One or two.
    label : str
        As the browser names the input.
    settings : dict
        What the browser says of its processing (Media Capture and Streams, 4.3.7).
    token : str
        Of the page's form.
    """

    rate: Annotated[float, msgspec.Meta(ge=8000, le=384_000)]
    channels: Annotated[int, msgspec.Meta(ge=1, le=2)]
    label: Annotated[str, msgspec.Meta(max_length=200)] = ""
    settings: dict[str, Any] = {}
    token: str = ""


def read_facts(text: str | bytes) -> EarFacts:
    """Read what the page says first.

    Raises
    ------
    InputError
        When it is something else, or the browser works on the sound.
    """
    try:
        facts = msgspec.json.decode(text, type=EarFacts)
    except msgspec.DecodeError as error:
        raise InputError(
            "The browser told something strange of its microphone",
            "rate and channels are needed", str(error).lower().rstrip("."),
        ) from None  # fmt: skip
    if any(facts.settings.get(name) is True for name in PROCESSING):
        raise InputError(
            "The browser works on the sound (echo cancellation, noise suppression or automatic "
            "gain)",
            "untouched sound is needed",
            "use the sound card, or another browser",
        )
    return facts


class EarSource:
    """A source that is fed by `push`.

    Parameters
    ----------
    facts : EarFacts
    """

    kind: SourceKind = "device"

    def __init__(self, facts: EarFacts) -> None:
        label = f" ({facts.label})" if facts.label else ""
        self.name = f"microphone of the browser{label}"
        self.rate_hz = facts.rate
        self.channels = facts.channels
        self._waiting: queue.Queue[LiveBlock | None] = queue.Queue()
        self._next = 0.0
        self._stopped = threading.Event()
        silent = [name for name in PROCESSING if name not in facts.settings]
        self._first_words = RESAMPLED + (
            " The browser does not say whether it leaves the sound untouched." if silent else ""
        )

    def push(self, message: bytes) -> None:
        """Take one message of the page.

        Raises
        ------
        InputError
            When it is no block of sound.
        """
        first, samples = _decoded(message, self.channels)
        missing = max(first - self._next, 0.0)
        self._next = first + samples.shape[1]
        lost_s = missing / self.rate_hz
        words = f"The browser lost {lost_s:.2f} s of sound." if missing else ""
        if self._waiting.qsize() > HELD_BLOCKS:
            self._next -= samples.shape[1]  # dropped here: the next block tells it
            return
        self._waiting.put(LiveBlock(samples, bool(missing), lost_s, words))

    def end(self) -> None:
        """Let what was pushed be heard to its end, and then end."""
        self._waiting.put(None)

    def blocks(self) -> Iterator[LiveBlock]:
        """Yield what comes; an empty block a second where nothing does."""
        nothing = np.zeros((self.channels, 0), dtype=np.float32)
        yield LiveBlock(nothing, words=self._first_words)
        while not self._stopped.is_set():
            try:
                block = self._waiting.get(timeout=BLOCK_S * 4)
            except queue.Empty:
                yield LiveBlock(nothing)
                continue
            if block is None:
                return
            yield block

    def stop(self) -> None:
        """End `blocks`, from any thread."""
        self._stopped.set()


def _decoded(message: bytes, channels: int) -> tuple[float, np.ndarray[Any, np.dtype[np.float32]]]:
    if len(message) < HEAD.size:
        raise _no_block()
    first, rows, frames = HEAD.unpack_from(message)
    right_size = len(message) == HEAD.size + 4 * rows * frames
    if not (right_size and rows == channels and 0 < frames <= LONGEST_FRAMES and 0 <= first < 1e15):
        raise _no_block()
    samples = np.frombuffer(message, "<f4", offset=HEAD.size).reshape(rows, frames)
    if not np.isfinite(samples).all():
        raise _no_block()
    return first, samples.astype(np.float32)


def _no_block() -> InputError:
    return InputError("The browser sent something that is no block of sound", "float32 is needed")
