"""How many whole turns a phase has made, and whether a channel is turned round.

The phase between two channels is only known up to whole turns, and half a turn may be a channel
of opposite polarity. Every delay that the finest tone allows is tried on all the tones: the right
one fits all of them, from 315 Hz, where a turn is 3.2 ms long, up to the finest. Polarity pulses
settle it by themselves. Where two delays fit alike, none is told.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from runstrue.measure.polarity import Pulses

FURTHEST_US = 1000.0
USUAL_US = 150.0
"""Heads stand within some 27′ of another (150 µs on a cassette): standard deviation of what is
taken for likely before anything is measured. Own choice; a few tones outvote it."""
PHASE_TURNS, DELAY_US = 0.02, 2.0
"""Standard deviation of what else sets tones apart: amplifiers that differ, sway between one tone
and the next. Own choice."""
PULSES_US = 40.0
"""Likewise of the rough delay of polarity pulses."""
CLEARLY = 9.0
"""A delay is told when its χ² lies this far below that of the next: odds of e^4.5, 90 to 1."""
ODD = 16.0  # a tone four standard deviations off does not belong to the others
MOST = 25.0  # one odd tone must not outvote all others


@dataclass(frozen=True, slots=True)
class ToneTurns:
    """Mean phase of the left channel against the right at one tone, in turns.

    Parameters
    ----------
    tone_hz : float
        At nominal speed.
    turns, u_turns : float
    """

    tone_hz: float
    turns: float
    u_turns: float


@dataclass(frozen=True, slots=True)
class Way:
    """One reading of the phases: a delay, and whether the channels point opposite ways."""

    delay_us: float
    turned: bool


@dataclass(frozen=True, slots=True)
class Settled:
    """The likeliest way, those that are as good, and tones that do not go with it."""

    way: Way
    others: tuple[Way, ...]
    odd_hz: tuple[float, ...]

    @property
    def sure(self) -> bool:
        """Whether the delay is known."""
        return not self.others

    @property
    def turned(self) -> bool | None:
        """Whether a channel is turned round; None where that is not known."""
        return self.way.turned if all(o.turned == self.way.turned for o in self.others) else None


def settle(finest: ToneTurns, tones: Sequence[ToneTurns], pulses: Pulses | None = None) -> Settled:
    """Find the delay that all tones agree on.

    Parameters
    ----------
    finest : ToneTurns
        The tone whose phase the delay is read from.
    tones : sequence of ToneTurns
        All of them, the finest too.
    pulses : Pulses or None
        What a section of polarity pulses said.
    """
    ways = [
        Way((finest.turns - turned / 2 + whole) / finest.tone_hz * 1e6, turned)
        for turned in ((False, True) if pulses is None else (pulses.turned,))
        for whole in range(-_most_turns(finest), _most_turns(finest) + 1)
    ]
    scored = sorted(((_chi2(way, tones, pulses), way) for way in ways), key=lambda one: one[0])
    least, best = scored[0]
    others = tuple(way for chi2, way in scored[1:] if chi2 < least + CLEARLY)
    odd_hz = tuple(one.tone_hz for one in tones if _miss(best, one) > ODD)
    return Settled(best, others, odd_hz)


def _most_turns(finest: ToneTurns) -> int:
    return math.ceil(FURTHEST_US * 1e-6 * finest.tone_hz) + 1


def _chi2(way: Way, tones: Sequence[ToneTurns], pulses: Pulses | None) -> float:
    found = (way.delay_us / USUAL_US) ** 2 + sum(min(_miss(way, one), MOST) for one in tones)
    if pulses is not None:
        found += ((way.delay_us - pulses.delay_us) / PULSES_US) ** 2
    return found


def _miss(way: Way, tone: ToneTurns) -> float:
    """Squared distance of a tone's phase from what a way foretells, in its standard deviation."""
    off = tone.turns - way.turned / 2 - way.delay_us * 1e-6 * tone.tone_hz
    u = math.sqrt(tone.u_turns**2 + PHASE_TURNS**2 + (DELAY_US * 1e-6 * tone.tone_hz) ** 2)
    return float(((off - np.rint(off)) / u) ** 2)
