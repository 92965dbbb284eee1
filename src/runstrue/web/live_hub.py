"""From the engine to every page: one message is worded once and fanned out.

The engine's thread only puts messages into a queue. A thread of the hub words, judges and encodes
them, and hands the bytes to the event loop, which gives each page its copy. A page that cannot
keep up loses the oldest messages, never the others' time; the numbers tell it that it did.
"""

from __future__ import annotations

import asyncio
import queue
import threading
from collections import deque
from collections.abc import AsyncIterator
from contextlib import suppress
from typing import Any, Protocol

import msgspec

from runstrue.live.models import Message, Spectrum, Update
from runstrue.web.live_parts import PartNames
from runstrue.web.live_words import spectrum_document, update_document

BACKLOG_S = 125.0
"""A little more than the longest stretch that the strip chart shows."""

PAGE_HOLDS = 40
"""Messages that wait for a slow page: two seconds."""

JUDGED_EVERY = 10
"""Updates from verdict to verdict: half a second."""


def event(kind: str, document: object) -> bytes:
    """Set one server-sent event (HTML standard, 9.2 'Server-sent events')."""
    return b"event: " + kind.encode() + b"\ndata: " + msgspec.json.encode(document) + b"\n\n"


class Context(Protocol):
    """What the hub needs to know of the deck on the bench."""

    @property
    def names(self) -> PartNames:
        """Parts of its transport."""
        ...

    def judged(self, update: Update) -> dict[str, Any]:
        """The newest figures held against its sheet."""
        ...

    def facts(self) -> dict[str, Any]:
        """What a page that comes is told first."""
        ...


class Hub:
    """Fans out what the engine tells.

    Parameters
    ----------
    bench : Context
    """

    def __init__(self, bench: Context) -> None:
        self._bench = bench
        self._waiting: queue.SimpleQueue[Message | None] = queue.SimpleQueue()
        self._pages: set[asyncio.Queue[bytes | None]] = set()
        self._loop: asyncio.AbstractEventLoop | None = None
        self._strips: deque[dict[str, Any]] = deque()
        self._last: dict[str, bytes] = {}
        self._session = ""
        self._lock = threading.Lock()
        self._speed_percent = 0.0
        self._thread: threading.Thread | None = None

    def take(self, message: Message) -> None:
        """Take a message, from any thread; returns at once."""
        self._waiting.put(message)

    def start(self) -> None:
        """Begin to word and to fan out."""
        self._thread = threading.Thread(target=self._work, name="live words", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """End the thread and let all pages go."""
        self._waiting.put(None)
        if self._thread is not None:
            self._thread.join(5)
        self._send(None)

    def tell(self, kind: str, document: object) -> None:
        """Send something else to all pages: that a deck was chosen, that a stretch was kept."""
        self._send(event(kind, document))

    async def messages(self) -> AsyncIterator[bytes]:
        """Yield everything from now on, after a backlog, as server-sent events."""
        self._loop = asyncio.get_running_loop()
        page: asyncio.Queue[bytes | None] = asyncio.Queue()
        with self._lock:
            backlog = self._backlog()
            self._pages.add(page)
        try:
            yield event("facts", self._bench.facts())
            yield backlog
            while True:
                try:
                    message = await asyncio.wait_for(page.get(), 15.0)
                except TimeoutError:
                    yield b": still here\n\n"  # so that a line that broke is noticed
                    continue
                if message is None:
                    return
                yield message
        finally:
            with self._lock:
                self._pages.discard(page)

    @property
    def pages(self) -> int:
        """How many pages listen."""
        return len(self._pages)

    def _work(self) -> None:
        while (message := self._waiting.get()) is not None:
            if isinstance(message, Spectrum):
                self._spectrum(message)
            else:
                self._update(message)

    def _update(self, update: Update) -> None:
        document = update_document(update)
        if update.speed is not None:
            self._speed_percent = update.speed.percent.value
        with self._lock:
            if update.session != self._session:
                self._session = update.session
                self._strips.clear()
                self._last.clear()
            self._strips.append(document["strip"])
            while self._strips and self._span_s() > BACKLOG_S:
                self._strips.popleft()
        self._send(event("live", document), "live")
        if update.number % JUDGED_EVERY == 0:
            self._send(event("judged", self._bench.judged(update)), "judged")

    def _spectrum(self, spectrum: Spectrum) -> None:
        document = spectrum_document(spectrum, self._bench.names, self._speed_percent)
        self._send(event("spectrum", document), "spectrum")

    def _span_s(self) -> float:
        return float(self._strips[-1]["from"] - self._strips[0]["from"])

    def _backlog(self) -> bytes:
        """The strip chart so far, thinned out, and the newest of every kind of message."""
        strips = list(self._strips)
        joined: dict[str, Any] = {"strip": None}
        if strips:
            joined["strip"] = {
                "from": strips[0]["from"],
                "rate": strips[0]["rate"],
                "speed": [value for strip in strips for value in strip["speed"]],
                "flutter": [value for strip in strips for value in strip["flutter"]],
            }
        return event("backlog", joined) + b"".join(self._last.values())

    def _send(self, message: bytes | None, kind: str = "") -> None:
        with self._lock:
            if kind and message is not None:
                self._last[kind] = message
            if self._loop is None or not self._pages:
                return
        with suppress(RuntimeError):  # the loop is closed: nobody listens any more
            self._loop.call_soon_threadsafe(self._deliver, message)

    def _deliver(self, message: bytes | None) -> None:
        for page in self._pages:
            while page.qsize() >= PAGE_HOLDS:
                page.get_nowait()
            page.put_nowait(message)
