"""Speed and drift from the deviation of the tone.

The mean is taken with a bell-shaped (Hann) weight over the stretch, so that wow, which does
not fit a whole number of times into it, does not leak into the mean. How much of the slow
speed variation is left in the mean, and in the slope, is read off the record itself: the same
weight, moved from zero rate to neighbouring rates of two to seven periods per stretch, shows
how much the variation there would give; it is taken as the standard uncertainty.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from runstrue.measure.conditions import SoundCard
from runstrue.measure.pieces import Pieces
from runstrue.quantity import Budget, Contribution
from runstrue.result import Condition, Result
from runstrue.stimulus.testtape import TestTape

Array = NDArray[np.float64]

BLOCK_S = 0.2
BLOCKS_AT_ONCE = 600
CALM_MEAN_S = 2.0
STEADY_S = 30.0
"""DIN 45 500 sheet 4: mean speed over 30 s."""

NEIGHBOURS = np.arange(2, 8)
NEIGHBOUR_FREEDOM = 2 * len(NEIGHBOURS) / 1.5
"""Two degrees of freedom a neighbour; neighbours of a Hann weight overlap by a factor 1.5."""

CLOCK_WANDER_U = 1e-4 / math.sqrt(3)
"""In %/min: the crystal of a sound card that warms up wanders by up to about one part per million
in a minute (from memory, unsure); taken as rectangular."""

SEMITONE_CENTS = 1200.0


@dataclass(frozen=True, slots=True, eq=False)
class SlowSeries:
    """The deviation in triangle-weighted means, one every `BLOCK_S`.

    The triangles overlap so that together they weigh every instant alike: a weighted sum over
    the series is a sum over all samples under the weight drawn out straight between its points.
    Plain means would let hiss of every rate fold into the result.

    Parameters
    ----------
    time_s, percent : ndarray, shape (node,)
        Middle of each triangle that holds usable samples, and the mean over those.
    share : ndarray, shape (node,)
        Share of the triangle's weight that is usable.
    """

    time_s: Array
    percent: Array
    share: Array

    @classmethod
    def of(cls, percent: NDArray[np.floating], usable: Pieces, rate_hz: float) -> SlowSeries:
        """Average the mean of some channels' deviation, shape (channel, sample), where usable."""
        size = round(BLOCK_S * rate_hz)
        blocks = percent.shape[1] // size
        rising = (np.arange(size) + 0.5) / size
        up, down = np.zeros((2, blocks + 1)), np.zeros((2, blocks + 1))
        for first in range(0, blocks, BLOCKS_AT_ONCE):  # so that no copy of a long record is made
            last = min(first + BLOCKS_AT_ONCE, blocks)
            span = slice(first * size, last * size)
            held = usable.mask(first * size, last * size)
            values = np.where(held, percent[:, span].mean(axis=0, dtype=np.float64), 0.0)
            for row, part in enumerate((held.astype(np.float64), values)):
                in_blocks = part.reshape(-1, size)
                up[row, first + 1 : last + 1] = in_blocks @ rising
                down[row, first:last] = in_blocks @ (1 - rising)
        weight, total = up + down
        node = weight > 0
        time_s = np.arange(blocks + 1) * size / rate_hz
        return cls(time_s[node], total[node] / weight[node], weight[node] / size)

    def between(self, start_s: float, stop_s: float) -> SlowSeries:
        """Return the triangles whose middle lies in this span."""
        inside = (self.time_s >= start_s) & (self.time_s < stop_s)
        return SlowSeries(self.time_s[inside], self.percent[inside], self.share[inside])

    @property
    def mean_percent(self) -> float:
        """Plain mean of all usable samples."""
        return float(self.percent @ self.share / self.share.sum())

    @property
    def span(self) -> tuple[float, float]:
        """First and last instant covered, in seconds."""
        return float(self.time_s[0]), float(self.time_s[-1])


@dataclass(frozen=True, slots=True)
class BellMean:
    """Mean and slope of a stretch, each with what slow variation leaves in it.

    Parameters
    ----------
    percent, u_percent : float
    percent_per_min, u_percent_per_min : float
    """

    percent: float
    u_percent: float
    percent_per_min: float
    u_percent_per_min: float


def bell_mean(series: SlowSeries) -> BellMean:
    """Mean and slope of a stretch under a Hann weight.

    References
    ----------
    Window: F. J. Harris, Proc. IEEE 66(1), 1978 (from memory, sure).
    """
    start_s, stop_s = series.span
    length_s = stop_s - start_s
    phase = (series.time_s - start_s) / length_s
    weight = np.sin(np.pi * phase) ** 2 * series.share
    weight /= weight.sum()
    middle_s = float(weight @ series.time_s)
    lever = weight * (series.time_s - middle_s)
    lever /= float(lever @ (series.time_s - middle_s))
    mean = float(weight @ series.percent)
    slope = float(lever @ series.percent)
    rest = series.percent - mean - slope * (series.time_s - middle_s)
    turns = np.exp(-2j * np.pi * np.outer(NEIGHBOURS, phase))
    u_mean = math.sqrt(float(np.mean(np.abs(turns @ (weight * rest)) ** 2)))
    u_slope = math.sqrt(float(np.mean(np.abs(turns @ (lever * rest)) ** 2)))
    return BellMean(mean, u_mean, 60 * slope, 60 * u_slope)


def steadiest(series: SlowSeries, length_s: float = STEADY_S) -> SlowSeries | None:
    """Return the stretch of this length whose slow speed moves least, or None if too short.

    Slow means: averaged over 2 s. Only stretches that are usable for at least 98 % count.
    """
    place = np.round(series.time_s / BLOCK_S).astype(int)
    share, weighted = np.zeros(place[-1] + 1), np.zeros(place[-1] + 1)
    share[place], weighted[place] = series.share, series.share * series.percent
    share_to, weighted_to = (np.concatenate(([0.0], np.cumsum(row))) for row in (share, weighted))
    group, groups = round(CALM_MEAN_S / BLOCK_S), round(length_s / CALM_MEAN_S)
    length = group * groups
    begins = np.arange(place[0], share_to.size - length, round(1.0 / BLOCK_S))
    whole = share_to[begins + length] - share_to[begins] >= 0.98 * length
    if not whole.any():
        return None
    edges = begins[whole, None] + group * np.arange(groups + 1)
    with np.errstate(invalid="ignore"):
        means = np.diff(weighted_to[edges], axis=1) / np.diff(share_to[edges], axis=1)
    best = edges[int(np.argmin(means.std(axis=1))), 0] * BLOCK_S
    return series.between(best, best + length_s)


def speed_results(
    series: SlowSeries,
    channel: str,
    nominal_hz: float,
    tape: TestTape,
    card: SoundCard,
    *,
    noise_per_hz: float,
    conditions: dict[str, Condition],
    doubts: tuple[str, ...] = (),
) -> tuple[Result, ...]:
    """Speed over the whole record and over its steadiest 30 s, and drift.

    Parameters
    ----------
    series : SlowSeries
        Deviation from `nominal_hz` in %.
    noise_per_hz : float
        Noise-to-carrier density N₀/C.
    conditions : dict
        What is told with each result.
    """
    whole = bell_mean(series)
    calm = steadiest(series)
    results = [
        speed_over(whole, "bell-mean/1", channel, nominal_hz, tape, card, noise_per_hz, series,
               conditions, doubts)
    ]  # fmt: skip
    if calm is not None:
        results.append(
            speed_over(bell_mean(calm), "bell-mean-30s/1", channel, nominal_hz, tape, card,
                   noise_per_hz, calm, conditions, doubts)
        )  # fmt: skip
    results.append(_drift(series, whole, channel, nominal_hz, noise_per_hz, conditions, doubts))
    return tuple(results)


def cents(percent: float) -> float:
    """Speed deviation in cents (hundredths of an equal-tempered semitone)."""
    return SEMITONE_CENTS * math.log2(1 + percent / 100)


def hiss_percent(noise_per_hz: float, length_s: float, tone_hz: float) -> float:
    """Standard uncertainty that hiss alone gives the bell-weighted mean, in %.

    Notes
    -----
    With white phase noise of two-sided density N₀/2C the mean of the frequency under a weight
    w(t) has the variance ∫w′² dt · N₀/(8π²C); the Hann weight gives ∫w′² dt = 2π²/T³, hence
    σ_f = √(N₀/(4·C·T³)). That is 1.28 times the Cramér-Rao bound √(3·N₀/(2π²·C·T³)) (S. M. Kay,
    *Fundamentals of Statistical Signal Processing* vol. 1, 1993, ch. 3; from memory, sure).
    """
    return 100 * math.sqrt(noise_per_hz / (4 * length_s**3)) / tone_hz


def hiss_percent_per_min(noise_per_hz: float, length_s: float, tone_hz: float) -> float:
    """Standard uncertainty that hiss alone gives the bell-weighted slope, in %/min.

    Notes
    -----
    As `hiss_percent`, with the lever g(t) = w(t)·(t − T/2) / ∫w(t)·(t − T/2)² dt in place of the
    weight. For the Hann weight ∫g′² dt = 1307/T⁵ (integrated by hand: numerator
    2π²·(1/12 − 1/8π²) = 1.395, denominator (1/12 − 1/2π²)² = 0.001067).
    """
    per_s = math.sqrt(1307 * noise_per_hz / (8 * math.pi**2 * length_s**5))
    return 60 * 100 * per_s / tone_hz


def speed_over(
    mean: BellMean,
    method: str,
    channel: str,
    nominal_hz: float,
    tape: TestTape,
    card: SoundCard,
    noise_per_hz: float,
    series: SlowSeries,
    conditions: dict[str, Condition],
    doubts: tuple[str, ...],
) -> Result:
    """Speed over one stretch, with its budget.

    Parameters
    ----------
    mean : BellMean
        Of `series`.
    method, channel : str
    nominal_hz, tape, card, noise_per_hz, series, conditions, doubts
        As for `speed_results`.
    """
    start_s, stop_s = series.span
    hiss = hiss_percent(noise_per_hz, stop_s - start_s, nominal_hz)
    # what was heard, by a clock that runs so much fast, from a tape whose tone is so much off
    heard = (1 + mean.percent / 100) * (1 + card.clock_ppm * 1e-6)
    corrected = 100 * (heard / (1 + tape.speed_correction_percent / 100) - 1)
    budget = Budget(
        (
            Contribution("slow speed variation left in the mean", mean.u_percent, "random",
                         degrees_of_freedom=NEIGHBOUR_FREEDOM),
            Contribution("hiss", hiss, "random"),
            Contribution("speed of the test tape", tape.speed_u_percent, "shared", tape.source),
            Contribution("clock of the sound card", card.u_clock_ppm * 1e-4, "shared", card.name),
        )
    )  # fmt: skip
    return Result(
        id="speed.deviation",
        method=method,
        channel=channel,
        quantity=budget.quantity(corrected, "%"),
        budget=budget,
        conditions={
            **conditions,
            "cents": cents(corrected),
            "offset_hz": nominal_hz * corrected / 100,
            "from_s": start_s,
            "to_s": stop_s,
        },
        doubts=doubts,
    )


def _drift(
    series: SlowSeries,
    whole: BellMean,
    channel: str,
    nominal_hz: float,
    noise_per_hz: float,
    conditions: dict[str, Condition],
    doubts: tuple[str, ...],
) -> Result:
    start_s, stop_s = series.span
    third = (stop_s - start_s) / 3
    hiss = hiss_percent_per_min(noise_per_hz, stop_s - start_s, nominal_hz)
    parts = [
        bell_mean(series.between(start_s + k * third, start_s + (k + 1) * third + 1e-9)).percent
        for k in range(3)
    ]
    budget = Budget(
        (
            Contribution("slow speed variation left in the slope", whole.u_percent_per_min,
                         "random", degrees_of_freedom=NEIGHBOUR_FREEDOM),
            Contribution("hiss", hiss, "random"),
            Contribution("steadiness of the sound card's clock", CLOCK_WANDER_U, "random"),
        )
    )  # fmt: skip
    return Result(
        id="speed.drift",
        method="bell-slope/1",
        channel=channel,
        quantity=budget.quantity(whole.percent_per_min, "%/min"),
        budget=budget,
        conditions={
            **conditions,
            "first_third_percent": parts[0],
            "middle_third_percent": parts[1],
            "last_third_percent": parts[2],
        },
        doubts=doubts,
    )
