"""What reaches a chain while a deck plays: the stimulus, its level over time, echoes, leftovers."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from runstrue.virtualdeck.chain import Chain, TimeConstants
from runstrue.virtualdeck.chain_run import ChainRun, Setting
from runstrue.virtualdeck.chain_truth import ChainTruth

if TYPE_CHECKING:
    from runstrue.stimulus.protocol import Stimulus
    from runstrue.virtualdeck.play import Performance

Array = NDArray[np.float64]

STRETCH = 8192
REMEMBERED = 12


@dataclass(frozen=True, slots=True)
class Where:
    """Where the tape stands during a stretch.

    Parameters
    ----------
    times_s, running_s : ndarray of float64, shape (frame,)
        True times, and running times.
    place_s, offsets_s : Fraction, ndarray of float64
        Tape position, an exact part and a rest.
    even : bool
        The tape runs steadily all along.
    """

    times_s: Array
    running_s: Array
    place_s: Fraction
    offsets_s: Array
    even: bool


class OnTape:
    """The chain of one performance.

    Parameters
    ----------
    performance : Performance
        Of a deck that has a chain.
    recorded_here : bool
    """

    def __init__(self, performance: Performance, recorded_here: bool) -> None:
        chain = performance.deck.chain
        assert chain is not None
        self._performance, self._chain = performance, chain
        self.recorded_here = recorded_here
        setting = Setting(
            _reference_peak(chain, performance.stimulus), performance.rate_hz,
            performance.channels, performance.seed,
            1 + performance.deck.speed_error_percent / 100,
            None if recorded_here else _tape_us(chain, performance.stimulus),
        )  # fmt: skip
        self._run = ChainRun(chain, setting, STRETCH)
        self.truth = ChainTruth(
            self._run, performance.levels.steady, performance.deck.skew.delay_us
        )
        self._seen: dict[int, Where] = {}

    def stretches(self) -> Iterator[Array]:
        """Yield what comes out, without hum and hiss, and without end."""
        tape = self._chain.tape
        old = tape.erasure is not None and tape.erasure.old_hz > 0
        return self._run.run(
            self._fed, self._level, self._echoes if tape.print_through else None,
            self._old if old else None,
        )  # fmt: skip

    def _where(self, number: int) -> Where:
        """Filters look ahead, so that a few stretches are asked for again."""
        if number not in self._seen:
            self._seen[number] = self._performance.where(number)
            self._seen.pop(number - REMEMBERED, None)
        return self._seen[number]

    def _fed(self, number: int) -> Array:
        performance, where = self._performance, self._where(number)
        return np.stack([performance.fed(where, one) for one in range(performance.channels)])

    def _level(self, number: int) -> Array:
        """Gain of each channel over time: wobble, dropouts, erased stretches, the start."""
        performance, where = self._performance, self._where(number)
        out = np.ones((performance.channels, where.times_s.size))
        for channel in range(performance.channels):
            out[channel] *= performance.levels.gain(channel, where.times_s, where.running_s)
        if not where.even:
            out *= performance.schedule.pace(where.times_s)
        erasure = self._chain.tape.erasure
        if erasure:
            places_s = float(where.place_s) + where.offsets_s
            for from_s, to_s in erasure.passes_s:
                inside = (places_s >= from_s) & (places_s < to_s)
                out[:, inside] *= 10 ** (-erasure.depth_db / 20)
        return out

    def _echoes(self, number: int) -> Array:
        """What lies one turn ahead and behind, at the strength of its echoes."""
        echo = self._chain.tape.print_through
        assert echo is not None
        performance, where = self._performance, self._where(number)
        turn_s = Fraction(echo.turn_s)
        out = np.zeros((performance.channels, where.times_s.size))
        for way_s, strength_db in ((turn_s, echo.before_db), (-turn_s, echo.after_db)):
            there = Where(
                where.times_s, where.running_s, where.place_s + way_s, where.offsets_s, where.even
            )
            for channel in range(performance.channels):
                out[channel] += 10 ** (strength_db / 20) * performance.fed(there, channel)
        return out * self._level(number)

    def _old(self, number: int) -> Array:
        """The tone that was on the tape before, as it comes out."""
        erasure = self._chain.tape.erasure
        assert erasure is not None
        where = self._where(number)
        turns = float(where.place_s * Fraction(erasure.old_hz) % 1)
        peak = self.truth.old_peak()
        sound = np.sin(2 * math.pi * (turns + erasure.old_hz * where.offsets_s))
        return peak * sound * self._level(number)


def _reference_peak(chain: Chain, stimulus: Stimulus) -> float:
    if chain.reference_dbfs is not None:
        return float(10 ** (chain.reference_dbfs / 20))
    return math.sqrt(2) * stimulus.rms


def _tape_us(chain: Chain, stimulus: Stimulus) -> TimeConstants:
    """Time constants of a tape from elsewhere; where it does not say, the deck's own suit it."""
    told = getattr(stimulus, "equalisation_us", None)
    return told or chain.replay.equalisation_us
