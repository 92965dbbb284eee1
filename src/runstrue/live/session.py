"""One run of one source: block in, everything read, everything kept safe, one message out.

Two threads. One takes the blocks: onto the disk first, then through the demodulator and what is
read from moment to moment; every block gives one update. The other one reads the windows anew
when they are due, which takes longer than a block.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from runstrue.capture.blocks import LiveBlock, Source
from runstrue.errors import InputError
from runstrue.live.disk import Disk
from runstrue.live.levels import Levels, PhaseWatch
from runstrue.live.listening import Listening
from runstrue.live.models import (
    Level,
    Message,
    Phase,
    Spectrum,
    State,
    Status,
    Strip,
    Update,
)
from runstrue.live.now import Now
from runstrue.live.presence import Presence
from runstrue.live.rolling import Rolling
from runstrue.live.spool import HELD_S, on_grid
from runstrue.live.windows import held_s, seconds_until_read
from runstrue.live.words import (
    no_tone_words,
    reading_words,
    settling_words,
    stopped_words,
)
from runstrue.measure.listen import channel_names
from runstrue.measure.tape_tone import TonePlan
from runstrue.measure.tone import band_for

GAP_S = (0.2, 2.0)
"""Silence that is put where sound is missing: at least so long that the gate sees it, at most so
long that a night's sleep does not fill the disk."""
HAPPENINGS_TOLD = 5
TONE_SHARE, TONE_OVER_S = 0.5, 1.0


class Session:
    """A run of a source.

    Parameters
    ----------
    source : Source
    plan : TonePlan
    folder : Path
        For the spool of this run.
    name : str
    publish : callable
        Called with every message, from the threads of this session.

    Raises
    ------
    SignalError
        When the source's rate cannot carry the tone.
    InputError
        When it has more channels than two.
    """

    def __init__(
        self,
        source: Source,
        plan: TonePlan,
        folder: Path,
        name: str,
        publish: Callable[[Message], None],
    ) -> None:
        if not 1 <= source.channels <= 2:
            raise InputError(
                f"The source has {source.channels} channels",
                "one or two are needed",
                "choose which two to listen to",
            )
        self.source, self.plan, self.name = source, plan, name
        self.rate_hz, self.channels = source.rate_hz, source.channels
        self._publish = publish
        self.began_s = time.time()
        self.listening = Listening(self.rate_hz, self.channels, band_for(plan.named_hz), held_s())
        names = channel_names(self.channels)
        self._presence = Presence(names, self.listening.value_rate_hz)
        self._now = Now(self.listening.band, self.listening.value_rate_hz, self.channels, plan)
        self._levels, self._phase = Levels(self.channels), PhaseWatch(self.rate_hz)
        self._rolling = Rolling(self.listening, plan, self._now)
        self._overflows, self._lost_s = 0, 0.0
        self._recent: deque[int] = deque(maxlen=round(TONE_OVER_S / self._presence.cell_s))
        self._tone_cells = 0
        self._number = self._spectra = 0
        self._told: tuple[Level, ...] = ()
        self._ended = threading.Event()
        self.disk = Disk(folder, self.rate_hz, self.channels, self._facts())
        self._threads = [
            threading.Thread(target=work, name=f"live {what}", daemon=True)
            for what, work in (("sound", self._listen), ("figures", self._read))
        ]

    def _facts(self) -> dict[str, Any]:
        return {
            "format": "runstrue-live/1",
            "session": self.name,
            "source": self.source.name,
            "kind": self.source.kind,
            "began_s": self.began_s,
        }

    def begin(self) -> None:
        """Start both threads."""
        for thread in self._threads:
            thread.start()

    def stop(self) -> None:
        """End the source and wait for both threads."""
        self.source.stop()
        for thread in self._threads:
            if thread is not threading.current_thread():
                thread.join()

    @property
    def frames(self) -> int:
        """Frames heard so far."""
        return self.listening.frames

    @property
    def running(self) -> bool:
        """Whether sound may still come."""
        return not self._ended.is_set()

    def _listen(self) -> None:
        error: BaseException | None = None
        try:
            for block in self.source.blocks():
                self._take(block)
        except Exception as raised:  # told as the session's last words; the sound is safe
            error = raised
        self._ended.set()
        self._rolling.wake()
        self.disk.close()
        last = stopped_words(error)
        self._publish(self._update(time.time(), self._strip(), None, "stopped", last))

    def _take(self, block: LiveBlock) -> None:
        arrived = time.time()
        if block.words:
            self.disk.happen(block.words)
        samples = block.samples
        if block.lost:
            self._overflows += 1
            self._lost_s += block.lost_s
            gap = round(min(max(block.lost_s, GAP_S[0]), GAP_S[1]) * self.rate_hz)
            samples = np.concatenate(
                (np.zeros((self.channels, gap), dtype=np.float32), samples), axis=1
            )
        if not np.isfinite(samples).all():
            self.disk.happen("The source gave samples that are not numbers; taken as silence")
            samples = np.nan_to_num(samples, nan=0.0, posinf=0.0, neginf=0.0)
        if not samples.shape[1]:
            state: tuple[State, str] | None = ("away", block.words) if block.away else None
            self._publish(self._update(arrived, self._strip(), None, *(state or self._state())))
            return
        samples = on_grid(samples)
        self.disk.write(samples)
        part, health = self.listening.add(samples)
        present = self._presence.add(part)
        for count in np.count_nonzero(present, axis=0).tolist():
            self._recent.append(count)
            self._tone_cells = self._tone_cells + 1 if count else 0
        strip = self._now.add(part, present)
        time_s = self.frames / self.rate_hz
        self._told = self._levels.add(time_s, health, self._presence.newest_db)
        heard_hz = self._now.heard_hz()
        both = np.isfinite(self._presence.newest_db).all()
        self._phase.add(time_s, samples, heard_hz if both else None)
        self._rolling.wake()
        self._publish(self._update(arrived, strip, self._phase.told(heard_hz), *self._state()))

    def _strip(self) -> Strip:
        return Strip(self._now.points, self._now.point_rate_hz, (), ())

    def _state(self) -> tuple[State, str]:
        if not self.frames:
            return "waiting", "Waiting for sound."
        here = sum(count > 0 for count in self._recent)
        if len(self._recent) < self._recent.maxlen * TONE_SHARE or (  # type: ignore[operator]
            here < TONE_SHARE * len(self._recent)
        ):
            return "no tone", no_tone_words(self._rolling.why)
        longest_s = max((one.counted_s for one in self._rolling.windows()), default=0.0)
        if longest_s and self._now.nominal_hz is not None:
            return "reading", reading_words(self._now.nominal_hz, longest_s)
        tone_s = self._tone_cells * self._presence.cell_s
        left_s = seconds_until_read(tone_s, self.listening.value_rate_hz)
        return "settling", settling_words(self._now.heard_hz(), left_s)

    def _update(
        self, arrived: float, strip: Strip, phase: Phase | None, state: State, words: str
    ) -> Update:
        self._number += 1
        here = state in ("reading", "settling")
        windows = self._rolling.windows()
        drift = next((one.drift for one in reversed(windows) if one.drift), None)
        return Update(
            session=self.name,
            number=self._number,
            time_s=self.frames / self.rate_hz,
            made_at=arrived,
            state=state,
            words=words,
            tone_hz=self._now.nominal_hz,
            speed=self._now.speed(drift) if here else None,
            needle_percent=self._now.needle_percent if here else None,
            windows=windows,
            levels=self._told,
            phase=phase,
            dropouts=self._presence.dropouts(),
            strip=strip,
            doubts=self._rolling.doubts if here else (),
            status=self.status(),
        )

    def status(self) -> Status:
        """What is safe, and what went wrong."""
        return Status(
            source=self.source.name,
            kind=self.source.kind,
            rate_hz=self.rate_hz,
            channels=self.channels,
            recording=self.disk.recording,
            finished=len(self.disk.finished),
            held_s=min(self.frames / self.rate_hz, HELD_S),
            on_disk=self.disk.is_safe,
            overflows=self._overflows,
            lost_s=self._lost_s,
            happenings=self.disk.happenings(HAPPENINGS_TOLD),
        )

    def _read(self) -> None:
        """Read windows and spectrum when they are due, until the source ends."""
        while self.running:
            self._rolling.wait()
            spectrum = self._rolling.step()
            if spectrum is not None:
                self._spectra += 1
                time_s, over_s, rates, peaks, lines = spectrum
                self._publish(
                    Spectrum(self.name, self._spectra, time_s, over_s, rates, peaks, lines)
                )
            self.disk.sync()
