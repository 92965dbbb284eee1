"""How loud the channels are, and how the right one trails the left one, block by block."""

from __future__ import annotations

import math
from collections import deque

import numpy as np
from numpy.typing import NDArray

from runstrue.live.figure import figure
from runstrue.live.models import Level, Phase
from runstrue.measure.listen import CLIP_FROM, Health, channel_names
from runstrue.quantity import Quantity

HELD_S = 3.0
OVER_S = 1.0
FEWEST = 8  # blocks, before a phase is told
SINE_DB = 10 * math.log10(2)  # AES17: a sine that reaches full scale is 0 dB
SILENT = 1e-9


class Levels:
    """Levels of every channel.

    Parameters
    ----------
    channels : int
    """

    def __init__(self, channels: int) -> None:
        self._names = channel_names(channels)
        self._held: deque[tuple[float, tuple[float, ...]]] = deque()

    def add(self, time_s: float, health: Health, tone_db: tuple[float, ...]) -> tuple[Level, ...]:
        """Take what a block was like and the newest level of the tone; return what to tell.

        Parameters
        ----------
        time_s : float
            At the end of the block.
        health : Health
        tone_db : tuple of float
            Not a number where there is no tone.
        """
        self._held.append((time_s, health.peak))
        while self._held[0][0] <= time_s - HELD_S:
            self._held.popleft()
        highest = [max(peak[row] for _, peak in self._held) for row in range(len(self._names))]
        return tuple(
            Level(
                channel=name,
                rms_db=_db(math.hypot(health.rms[row], health.mean[row]), SINE_DB),
                peak_db=_db(health.peak[row], 0.0),
                held_peak_db=_db(highest[row], 0.0),
                tone_db=tone_db[row] if math.isfinite(tone_db[row]) else None,
                clipped=highest[row] >= CLIP_FROM,
            )
            for row, name in enumerate(self._names)
        )


def _db(value: float, plus: float) -> float | None:
    return 20 * math.log10(value) + plus if value > SILENT else None


class PhaseWatch:
    """The tone of the right channel against that of the left one.

    Parameters
    ----------
    rate_hz : float

    Notes
    -----
    A block is turned back by the tone and averaged under a bell; the angle between the two
    channels' averages is the phase, and one such angle comes with every block. The tone's
    frequency need not be known closely: what it is off turns both channels alike.
    """

    def __init__(self, rate_hz: float) -> None:
        self._rate_hz = rate_hz
        self._newest: deque[tuple[float, complex]] = deque()

    def add(self, time_s: float, samples: NDArray[np.float32], tone_hz: float | None) -> None:
        """Take a block, and what frequency its tone has; None where there is none."""
        while self._newest and self._newest[0][0] <= time_s - OVER_S:
            self._newest.popleft()
        if tone_hz is None or samples.shape[0] != 2 or samples.shape[1] < 64:
            return
        count = np.arange(samples.shape[1])
        turn = np.exp(-2j * np.pi * tone_hz / self._rate_hz * count) * np.hanning(count.size)
        left, right = samples @ turn
        apart = right * np.conj(left)
        if abs(apart) > 0:
            self._newest.append((time_s, apart / abs(apart)))

    def told(self, tone_hz: float | None) -> Phase | None:
        """Return the phase over the last second, or None where it is not known."""
        if tone_hz is None or len(self._newest) < FEWEST:
            return None
        turned = np.array([one for _, one in self._newest])
        mean = turned.mean()
        if abs(mean) < 0.5:  # it goes round and round: there is no phase
            return None
        middle = float(np.angle(mean))
        scatter = float(np.angle(turned * np.conj(mean)).std(ddof=1))
        u = scatter / math.sqrt(turned.size)
        degrees, to_us = 180 / math.pi, 1e6 / (2 * math.pi * tone_hz)
        freedom = turned.size - 1
        # a channel that comes later has turned less far
        return Phase(
            degrees=figure(Quantity(-middle * degrees, "°", u * degrees, freedom), signed=True),
            microseconds=figure(Quantity(-middle * to_us, "µs", u * to_us, freedom), signed=True),
            sway_microseconds=scatter * to_us,
        )
