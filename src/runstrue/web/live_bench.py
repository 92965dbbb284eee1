"""What listens, to which deck, and what becomes of kept stretches: one for the whole server."""

from __future__ import annotations

import threading
from collections import deque
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from runstrue.errors import InputError, RunstrueError
from runstrue.live.engine import LiveEngine
from runstrue.live.kept import Kept
from runstrue.live.models import Update
from runstrue.measure.tape_tone import TonePlan
from runstrue.web.live_deck import OnBench, on_bench
from runstrue.web.live_hub import Hub
from runstrue.web.live_keep import store
from runstrue.web.live_parts import PartNames

if TYPE_CHECKING:
    from runstrue.capture.blocks import Source
    from runstrue.cli.bench import Bench
    from runstrue.cli.keep import Place

FOLDER = "live"
LONGEST_S = 3600.0
SHORTEST_KEPT_S = 12.0
"""A reading needs 10 s of tone, and something at both ends of it."""
TOLD_AT_MOST = 5


@dataclass(frozen=True, slots=True)
class _Wanted:
    """Where a recording that runs will go."""

    deck: OnBench
    place: Place


class LiveBench:
    """The live side of the server.

    Parameters
    ----------
    bench : Bench
        Where the logbook lies; the sound goes into its folder 'live'.
    """

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.engine = LiveEngine(Path(bench.folder) / FOLDER)
        self.hub = Hub(self)
        self.deck = OnBench()
        self.source: Source | None = None
        self.told: deque[dict[str, Any]] = deque(maxlen=TOLD_AT_MOST)
        self._wanted: _Wanted | None = None
        self._lock = threading.RLock()
        self._leave = self.engine.join(self._hear)
        self.hub.start()

    @property
    def names(self) -> PartNames:
        """Parts of the deck's transport."""
        return self.deck.names

    @property
    def is_listening(self) -> bool:
        """Whether a source runs."""
        return self.source is not None

    def facts(self) -> dict[str, Any]:
        """What a page that comes is told first."""
        sliders = getattr(self.source, "settings", None)
        return {**self.deck.facts(), "sliders": sliders() if callable(sliders) else None}

    def judged(self, update: Update) -> dict[str, Any]:
        """Hold the newest figures against the sheet."""
        return self.deck.judged(update)

    def choose(self, name: str, plan: TonePlan | None = None, *, named_tape: bool = False) -> None:
        """Put a deck on the bench; an empty name takes it off."""
        with self._lock:
            if plan is None:
                plan, named_tape = self.deck.plan, self.deck.named_tape
            self.deck = on_bench(self.bench, name, plan, named_tape=named_tape)
        self.hub.tell("facts", self.facts())

    def start(self, source: Source) -> None:
        """Listen to a source; one that runs is stopped first."""
        with self._lock:
            if self.source is not None:
                self.stop()
            self.source = source
            self.engine.start(source, self.deck.plan)
        self.hub.tell("facts", self.facts())

    def stop(self) -> None:
        """Stop listening; what is being recorded is kept."""
        with self._lock:
            self.source = None
            self.engine.stop()
            self._take_finished()

    def close(self) -> None:
        """End everything: the server goes down."""
        self.stop()
        self._leave()
        self.hub.stop()

    def keep_last(self, seconds: float, name: str, place: Place) -> dict[str, Any]:
        """Keep the newest stretch as a capture of the logbook."""
        wanted = self._wanted_for(name, place)
        seconds = max(_length(seconds), SHORTEST_KEPT_S)
        return self._store(self.engine.keep_last(seconds), wanted)

    def keep_next(self, seconds: float, name: str, place: Place) -> dict[str, Any]:
        """Record from now on; it is kept when its time is over, whether a page is open or not."""
        with self._lock:
            wanted = self._wanted_for(name, place)
            self.engine.record(_length(seconds))
            self._wanted = wanted
        return {"words": "", "outcome": ""}

    def end_recording(self) -> dict[str, Any]:
        """End the recording that runs now, and keep it."""
        with self._lock:
            wanted = self._wanted
            if wanted is None:
                raise InputError("No recording runs", "one that was begun is needed")
            self._wanted = None
        return self._store(self.engine.end_recording(), wanted)

    def recover(self, number: int, name: str, place: Place) -> dict[str, Any]:
        """Keep a stretch that an earlier run left."""
        which = self._left_over(number)
        return self._store(self.engine.recover(which), self._wanted_for(name, place))

    def forget(self, number: int) -> None:
        """Delete such a stretch."""
        self.engine.forget(self._left_over(number))

    def _left_over(self, number: int) -> Kept:
        found = self.engine.recoverable()
        if not 0 <= number < len(found):
            raise InputError("That stretch is gone", "one of those that are listed is needed")
        return found[number]

    def _wanted_for(self, name: str, place: Place) -> _Wanted:
        deck = self.deck
        if name and name != deck.name:
            deck = on_bench(self.bench, name, deck.plan, named_tape=deck.named_tape)
        if not deck.name:
            raise InputError(
                "No deck was named", "the deck that plays is needed", "choose it above the buttons"
            )
        if place.speed_cm_s is None and len(deck.speeds_cm_s) > 1:
            place = replace(place, speed_cm_s=deck.speeds_cm_s[0])
        return _Wanted(deck, place)

    def _store(self, kept: Kept, wanted: _Wanted) -> dict[str, Any]:
        told = store(self.bench, kept, wanted.deck, wanted.place)
        self.told.appendleft(told)
        self.hub.tell("kept", told)
        return told

    def _hear(self, message: object) -> None:
        """Take every message of the engine, in its thread."""
        self.hub.take(message)  # type: ignore[arg-type]
        if isinstance(message, Update):
            if message.status.finished:
                threading.Thread(target=self._take_finished, name="live keep").start()
            if message.state == "stopped" and self.source is not None:
                self.source = None  # it came to its end by itself

    def _take_finished(self) -> None:
        """Keep recordings whose time is over."""
        with self._lock:
            finished = self.engine.finished()
            wanted, self._wanted = self._wanted, None if finished else self._wanted
        for kept in finished:
            try:
                if wanted is None:
                    raise InputError("Nobody said which deck it is", "a deck is needed")
                self._store(kept, wanted)
            except RunstrueError as error:
                from runstrue.web.live_keep import refused

                told = refused(kept, str(error))
                self.told.appendleft(told)
                self.hub.tell("kept", told)


def _length(seconds: float) -> float:
    if not 1 <= seconds <= LONGEST_S:
        raise InputError(f"{seconds:g} s were asked for", "1 s to an hour is needed")
    return seconds
