"""Play a stimulus on a virtual deck: samples and the truth about them.

    recording = play(deck, Tone(3150), duration_s=60, seed=1)     # all at once
    performance = Performance(deck, Tone(3150), duration_s=2700)  # or as it comes
    for block in performance.blocks(48_000): ...

The samples are made in stretches of 8192 frames whatever block size is asked for, so they are
the same to the last bit, and memory stays flat.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import islice
from typing import Any

import numpy as np
from numpy.typing import NDArray

from runstrue.errors import InputError
from runstrue.samples import Origin, Signal
from runstrue.stimulus.programme import Programme
from runstrue.stimulus.protocol import Stimulus
from runstrue.virtualdeck.deck import VirtualDeck
from runstrue.virtualdeck.levels import Levels
from runstrue.virtualdeck.motion import Motion, Schedule
from runstrue.virtualdeck.noise import HissMaker
from runstrue.virtualdeck.on_tape import STRETCH, OnTape, Where
from runstrue.virtualdeck.sinusoids import Sinusoids
from runstrue.virtualdeck.truth import Truth, tell

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Recording:
    """What came out of a deck, and what is true about it."""

    signal: Signal
    truth: Truth
    performance: Performance


def play(
    deck: VirtualDeck,
    stimulus: Stimulus,
    *,
    duration_s: float,
    rate_hz: float = 48_000.0,
    channels: int = 2,
    seed: int = 0,
    lead_in_s: float = 0.0,
    lead_out_s: float = 0.0,
    recorded_here: bool = False,
) -> Recording:
    """Play a stimulus and keep the whole recording in memory; see `Performance`."""
    performance = Performance(
        deck,
        stimulus,
        duration_s=duration_s,
        rate_hz=rate_hz,
        channels=channels,
        seed=seed,
        lead_in_s=lead_in_s,
        lead_out_s=lead_out_s,
        recorded_here=recorded_here,
    )
    samples = np.empty((channels, performance.frames))
    done = 0
    for block in performance.blocks(STRETCH):
        samples[:, done : done + block.shape[1]] = block
        done += block.shape[1]
    origin = Origin("virtual", deck.preset or deck.name)
    return Recording(Signal(samples, rate_hz, origin), performance.truth, performance)


def record_and_play(
    deck: VirtualDeck, programme: Programme, *, after_s: float = 1.0, **how: Any
) -> Recording:
    """Record a programme on a deck and play it there; see `Performance`.

    Parameters
    ----------
    deck : VirtualDeck
    programme : Programme
    after_s : float
        Recording time after its end, at the deck's speed.
    **how
        Handed to `play`.
    """
    lasts_s = programme.lasts_s / (1 + deck.speed_error_percent / 100)
    more_s = after_s + deck.run_up_s + deck.run_down_s
    more_s += how.get("lead_in_s", 0.0) + how.get("lead_out_s", 0.0)
    return play(deck, programme, duration_s=lasts_s + more_s, recorded_here=True, **how)


def blocks(
    deck: VirtualDeck,
    stimulus: Stimulus,
    *,
    frames_per_block: int,
    duration_s: float,
    rate_hz: float = 48_000.0,
    channels: int = 2,
    seed: int = 0,
    lead_in_s: float = 0.0,
    lead_out_s: float = 0.0,
) -> Iterator[Array]:
    """Play a stimulus block by block; see `Performance` and its `blocks`."""
    return Performance(
        deck,
        stimulus,
        duration_s=duration_s,
        rate_hz=rate_hz,
        channels=channels,
        seed=seed,
        lead_in_s=lead_in_s,
        lead_out_s=lead_out_s,
    ).blocks(frames_per_block)


class Performance:
    """One playing of one stimulus on one deck, recorded by a sound card.

    Parameters
    ----------
    deck : VirtualDeck
    stimulus : Stimulus
        `Tone`, `Sampled`, or anything of that kind.
    duration_s : float
        Length of the whole recording, by the sound card's own count.
    rate_hz : float
        Frames per second that the sound card claims. With its clock error, frame n is taken at
        the true time n / (rate · (1 + ppm · 10⁻⁶)).
    channels : int
        At least 1.
    seed : int
        At least 0. Decides everything random; the same seed gives the same recording.
    lead_in_s, lead_out_s : float
        Time before the transport starts and after it has stopped: hiss and hum only.
    recorded_here : bool
        The stimulus was fed to this deck's record input, so that both halves of its chain act;
        else it is on a tape from elsewhere and the replay half acts alone.

    Raises
    ------
    InputError
        When a figure is out of range or no steady running is left.
    """

    def __init__(
        self,
        deck: VirtualDeck,
        stimulus: Stimulus,
        *,
        duration_s: float,
        rate_hz: float = 48_000.0,
        channels: int = 2,
        seed: int = 0,
        lead_in_s: float = 0.0,
        lead_out_s: float = 0.0,
        recorded_here: bool = False,
    ) -> None:
        _check(duration_s, rate_hz, channels, seed, lead_in_s, lead_out_s)
        self.deck, self.stimulus = deck, stimulus
        self.rate_hz, self.channels, self.seed = rate_hz, channels, seed
        self.frames = max(round(duration_s * rate_hz), 1)
        clock = 1 + Fraction(deck.clock_error_ppm) / 10**6
        self._step_s = 1 / (Fraction(rate_hz) * clock)
        end_s = float(self.frames * self._step_s)
        stops = lead_out_s > 0 or deck.run_down_s > 0
        self.schedule = Schedule(
            lead_in_s, deck.run_up_s, deck.run_down_s, end_s - lead_out_s if stops else math.inf
        )
        self.steady_s = (self.schedule.steady_from_s, min(self.schedule.steady_to_s, end_s))
        if self.steady_s[0] >= self.steady_s[1]:
            raise InputError(
                f"In a recording of {duration_s:g} s the deck does not come to run steadily",
                f"more than {self.steady_s[0]:g} s are needed",
                "make the recording longer",
            )
        self.motion = Motion(deck, seed, self.schedule)
        self.levels = Levels(deck, seed, self.steady_s, channels)
        self._hum = Sinusoids.of(
            [
                (line.frequency_hz, self._hum_amplitude(line.level_db), line.phase_turns)
                for line in deck.hum
            ]
        )
        self._even_s: Array = float(self._step_s) * np.arange(STRETCH, dtype=np.float64)
        self.on_tape = OnTape(self, recorded_here) if deck.chain else None
        self.truth = tell(self)

    def blocks(self, frames_per_block: int) -> Iterator[Array]:
        """Yield the recording from its beginning.

        Parameters
        ----------
        frames_per_block : int
            At least 1; the last block may be shorter.

        Yields
        ------
        ndarray of float64, shape (channel, frame)
            The caller may keep and change it.
        """
        if frames_per_block < 1:
            raise InputError(f"Blocks of {frames_per_block} frames", "at least 1 is needed")
        hiss = self.hiss()
        waiting: list[Array] = []
        held = 0
        for number, stretch in enumerate(self._stretches()):
            if hiss:
                stretch += hiss.draw(STRETCH)
            stretch = stretch[:, : self.frames - number * STRETCH]
            waiting.append(stretch)
            held += stretch.shape[1]
            if held < frames_per_block:
                continue
            joined = np.concatenate(waiting, axis=1)
            whole = held - held % frames_per_block
            for start in range(0, whole, frames_per_block):
                yield joined[:, start : start + frames_per_block].copy()
            waiting = [joined[:, whole:]]
            held -= whole
        if held:
            yield np.concatenate(waiting, axis=1)

    def clean(self, first_frame: int, frames: int) -> Array:
        """Return any part of the recording without its hiss, shape (channel, frame)."""
        if first_frame < 0 or frames < 1:
            raise InputError(
                f"{frames} frames from {first_frame} on", "at least 1 from 0 is needed"
            )
        numbers = range(first_frame // STRETCH, (first_frame + frames - 1) // STRETCH + 1)
        joined = np.concatenate(
            [self._stretch(number) for number in numbers]
            if self.on_tape is None
            else list(islice(self._stretches(), numbers.start, numbers.stop)),
            axis=1,
        )
        start = first_frame - numbers[0] * STRETCH
        return joined[:, start : start + frames]

    def true_time_s(self, record_times_s: Array) -> Array:
        """Return the true times at which the sound card counts these times."""
        return record_times_s / (1 + self.deck.clock_error_ppm * 1e-6)

    def record_time_s(self, true_time_s: float) -> float:
        """Return what the sound card counts at a true time."""
        return true_time_s * (1 + self.deck.clock_error_ppm * 1e-6)

    def apparent_deviation_percent(self, record_times_s: Array, channel: int = 0) -> Array:
        """Return the speed deviation as a perfect reader of the recording sees it.

        Parameters
        ----------
        record_times_s : ndarray of float64
            Frame number over the claimed rate.
        channel : int

        Returns
        -------
        ndarray of float64
            In %; it holds the error of the sound card's clock.
        """
        true = self.motion.deviation_percent(self.true_time_s(record_times_s), channel)
        return self.apparent(true)

    def apparent(self, deviation_percent: Array) -> Array:
        """Return true deviations as they look through the sound card's clock."""
        clock = 1 + self.deck.clock_error_ppm * 1e-6
        return 100 * ((1 + deviation_percent / 100) / clock - 1)

    def hiss(self) -> HissMaker | None:
        """Return a fresh maker of this recording's hiss, or None for a silent deck."""
        if self.deck.hiss is None:
            return None
        gain = 10 ** (self.deck.level_db / 20)
        return HissMaker(
            self.deck.hiss, self.stimulus.rms * gain, self.rate_hz, self.channels, self.seed
        )

    def _stretches(self) -> Iterator[Array]:
        """Yield all stretches without hiss."""
        count = math.ceil(self.frames / STRETCH)
        if self.on_tape is None:
            yield from (self._stretch(number) for number in range(count))
            return
        for number, stretch in enumerate(islice(self.on_tape.stretches(), count)):
            yield self._with_hum(stretch, number)

    def _stretch(self, number: int) -> Array:
        """Return 8192 frames without hiss, whole even at the end of the recording."""
        where = self.where(number)
        out = np.empty((self.channels, STRETCH))
        for channel in range(self.channels):
            if channel and self._same_as_first(channel):
                out[channel] = out[0]
                continue
            gain = self.levels.gain(channel, where.times_s, where.running_s)
            if isinstance(gain, float) and gain == 0:
                out[channel] = 0.0
                continue
            out[channel] = gain * self.fed(where, channel)
        if not where.even:
            out *= self.schedule.pace(where.times_s)
        return self._with_hum(out, number)

    def where(self, number: int) -> Where:
        """Return where the tape stands during a stretch."""
        base_s = number * STRETCH * self._step_s
        running_base_s, rest_s = self.schedule.running(base_s, self._even_s)
        even = rest_s is self._even_s
        place_s, offsets_s = self.motion.place(
            running_base_s, rest_s, float(self._step_s) if even else None
        )
        return Where(
            float(base_s) + self._even_s, float(running_base_s) + rest_s, place_s, offsets_s, even
        )

    def fed(self, where: Where, channel: int) -> Array:
        """Return what the stimulus holds there for a channel."""
        late_s = self.motion.skew_s(where.running_s, channel)
        track = min(channel, self.stimulus.tracks - 1)
        return self.stimulus.read(track, where.place_s, where.offsets_s - late_s)

    def _with_hum(self, stretch: Array, number: int) -> Array:
        if self._hum.rates_hz.size:
            base_s = float(number * STRETCH * self._step_s)
            stretch += self._hum.at_even_times(base_s, float(self._step_s), STRETCH)
        return stretch

    def _same_as_first(self, channel: int) -> bool:
        skew = self.deck.skew
        straight = skew.delay_us == 0 and skew.sway_us == 0
        return straight and self.stimulus.tracks == 1 and self.levels.alike()

    def _hum_amplitude(self, level_db: float) -> float:
        """Peak of a hum line; its level is against the stimulus, and both pass the deck."""
        level = 10 ** ((level_db + self.deck.level_db) / 20)
        return float(math.sqrt(2) * self.stimulus.rms * level)


def _check(
    duration_s: float,
    rate_hz: float,
    channels: int,
    seed: int,
    lead_in_s: float,
    lead_out_s: float,
) -> None:
    for value, name, met, needed in (
        (duration_s, "A duration of {} s", duration_s > 0, "a length above 0 is needed"),
        (rate_hz, "A rate of {} Hz", rate_hz > 0, "a rate above 0 is needed"),
        (channels, "A recording of {} channels", channels >= 1, "at least 1 is needed"),
        (seed, "The seed {}", seed >= 0, "0 or more is needed"),
        (lead_in_s, "A lead-in of {} s", lead_in_s >= 0, "0 or more is needed"),
        (lead_out_s, "A lead-out of {} s", lead_out_s >= 0, "0 or more is needed"),
    ):
        if not (met and math.isfinite(value)):
            raise InputError(f"{name.format(value)} was asked for", needed)
