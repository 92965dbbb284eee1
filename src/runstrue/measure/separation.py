"""How much of a tone turns up where it should not: other channel, other side, after erasure.

Between channels the tone is there to compare with: the leak is read as the part of the quiet
channel that goes with the loud one (their cross-spectrum over the loud one's spectrum), so that
flutter, common to both, drops out and hiss averages away. Between sides, and after erasure, only
the frequency is known: the power in a band around it is read, and the noise beside it taken off.

A leak that does not stand above what the noise would leave is no figure: the reading is then the
least that the ratio can be, and says so.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import prev_fast_len, rfft

from runstrue.dsp.band_power import Spectrum, half_width_hz, level_db
from runstrue.errors import SignalError
from runstrue.measure.sections import Stretch
from runstrue.quantity import Budget, Contribution
from runstrue.result import Condition, Result

Array = NDArray[np.float64]

SHORTEST_S = 4.0
FOUND_SHARE = 0.85
"""Of a section: what its fades, the finder's caution and a deck that is 6 % fast leave of 4 s."""
STANDS_OUT = 6.0
"""A leak counts from six times the uncertainty of nothing at all: the square of a noise, which is
what a coherent reading leaves, passes that with a chance of e⁻⁷, once in 1000."""
DECIBELS = 10 / math.log(10)


@dataclass(frozen=True, slots=True)
class Leak:
    """Power of a leak against the power of what leaks.

    Parameters
    ----------
    ratio : float
        Of powers, at least 0.
    u_ratio : float
        What noise alone would make of it.
    """

    ratio: float
    u_ratio: float

    @property
    def sure(self) -> bool:
        """Whether it stands above the noise."""
        return self.ratio > STANDS_OUT * self.u_ratio

    @property
    def floor_db(self) -> float:
        """The highest ratio that could be read, in dB."""
        return -DECIBELS * math.log(max(STANDS_OUT * self.u_ratio, 1e-30))


def measure_separation(stretches: Sequence[Stretch], channels: Sequence[str]) -> tuple[Result, ...]:
    """Separation of the channels, from tones that sound on one of them.

    Parameters
    ----------
    stretches : sequence of Stretch
        Sections of one tone on 'left' or 'right', 4 s or more.
    channels : sequence of str
        What each row of the samples is.

    Returns
    -------
    tuple of Result
        `separation.channels` in dB by tone; the channel named is the quiet one.

    Raises
    ------
    SignalError
        When there are not two channels or no section is long enough.
    """
    if len(channels) != 2:
        raise SignalError(
            "The recording has one channel", "separation is read between two", "record in stereo"
        )
    results = []
    for stretch in stretches:
        if stretch.section.channels == "both" or stretch.duration_s < FOUND_SHARE * SHORTEST_S:
            continue
        loud = list(channels).index(stretch.section.channels)
        tone_hz = stretch.section.frequencies_hz[0]
        leak = coherent_leak(
            stretch.samples[loud], stretch.samples[1 - loud], stretch.rate_hz,
            tone_hz * stretch.found.speed_ratio,
        )  # fmt: skip
        conditions: dict[str, Condition] = {
            "tone": f"{tone_hz:g} Hz", "from": channels[loud], "level": stretch.section.level_db,
        }  # fmt: skip
        results.append(
            leak_result(
                "separation.channels", "leak-coherent/1", channels[1 - loud], leak, conditions
            )
        )
    if not results:
        raise SignalError(
            "No tone on one channel alone was found long enough",
            f"{SHORTEST_S:g} s are needed for a reading of separation",
        )
    return tuple(results)


def measure_residue(
    quantity_id: str,
    loud: Stretch,
    rest: Stretch,
    channels: Sequence[str],
    speed_ratio: float | None = None,
) -> tuple[Result, ...]:
    """What is left of a tone: after erasure, or from the other side of the tape.

    Parameters
    ----------
    quantity_id : {'erasure.depth', 'separation.sides'}
    loud : Stretch
        The tone at full level.
    rest : Stretch
        What should be silent there, 4 s or more.
    channels : sequence of str
    speed_ratio : float, optional
        Of the rest; else that of the loud one.

    Returns
    -------
    tuple of Result
        By channel, in dB.
    """
    if rest.duration_s < FOUND_SHARE * SHORTEST_S:
        raise SignalError(
            f"Only {rest.duration_s:.1f} s were found to read what is left of the tone",
            f"{SHORTEST_S:g} s are needed", "play the section in full",
        )  # fmt: skip
    tone_hz = loud.section.frequencies_hz[0]
    results = []
    for index, name in enumerate(channels):
        ratio = loud.found.speed_ratio
        full = Spectrum(loud.samples[index], loud.rate_hz).around(
            tone_hz * ratio, half_width_hz(tone_hz * ratio)
        )
        played_hz = tone_hz * (speed_ratio or ratio)
        left = Spectrum(rest.samples[index], rest.rate_hz).around(
            played_hz, half_width_hz(played_hz)
        )
        leak = Leak(max(left.power, 0.0) / full.power, left.u_power / full.power)
        conditions: dict[str, Condition] = {
            "tone": f"{tone_hz:g} Hz",
            "noise taken off, dB": round(level_db(left.noise_power) - level_db(full.power), 1),
        }
        results.append(leak_result(quantity_id, "leak-band/1", name, leak, conditions))
    return tuple(results)


def coherent_leak(
    loud: NDArray[np.floating], quiet: NDArray[np.floating], rate_hz: float, tone_hz: float
) -> Leak:
    """Part of the quiet channel that goes with the loud one, around a tone.

    Notes
    -----
    H = Σ Q L* / Σ |L|² over the band's bins. Noise of power p a bin in the quiet channel leaves
    a |H|² of p · 35/18 / Σ |L|² on average (Hann window: Σw⁴ n / (Σw²)² = 35/18), which is taken
    off.
    """
    frames = prev_fast_len(loud.size, real=True)  # at most a few per cent are let go
    window = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(frames) / frames)
    both = np.stack((loud[:frames], quiet[:frames]))
    bins = rfft((both - both.mean(axis=1, keepdims=True)) * window, axis=1)
    bin_hz = rate_hz / frames
    half_hz = half_width_hz(tone_hz)
    first, last = math.ceil((tone_hz - half_hz) / bin_hz), math.floor((tone_hz + half_hz) / bin_hz)
    inside = slice(first, last + 1)
    power = float(np.sum(np.abs(bins[0, inside]) ** 2))
    transfer = complex(np.sum(bins[1, inside] * np.conj(bins[0, inside]))) / power
    rest = bins[1, inside] - transfer * bins[0, inside]
    noise = float(np.mean(np.abs(rest) ** 2)) * 35 / 18 / power
    ratio = abs(transfer) ** 2
    # |noise|² has its mean for standard deviation; with a leak the two beat
    u_ratio = math.sqrt(noise**2 + 2 * max(ratio - noise, 0.0) * noise)
    return Leak(max(ratio - noise, 0.0), u_ratio if ratio > 9 * noise else noise)


def leak_result(
    quantity_id: str, method: str, channel: str, leak: Leak, conditions: dict[str, Condition]
) -> Result:
    """Put a leak into words: a ratio in dB, or the least that it can be."""
    conditions = {**conditions, "floor, dB": round(leak.floor_db, 1)}
    if not leak.sure:
        # somewhere between the floor and none at all: the floor is the lowest that it can be
        budget = Budget((Contribution("noise", DECIBELS / STANDS_OUT, "random"),))
        return Result(
            quantity_id, method, channel, budget.quantity(leak.floor_db, "dB"), budget,
            conditions={**conditions, "at least": True},
            doubts=(f"At least {leak.floor_db:.0f} dB: the leak is hidden by the noise.",),
        )  # fmt: skip
    budget = Budget((Contribution("noise", DECIBELS * leak.u_ratio / leak.ratio, "random"),))
    return Result(
        quantity_id, method, channel, budget.quantity(-DECIBELS * math.log(leak.ratio), "dB"),
        budget, conditions=conditions,
    )  # fmt: skip
