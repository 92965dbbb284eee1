"""The rhythm of the flutter: its spectrum and the lines in it.

Stretches of about a minute are taken, spread over the record, and looked at one by one (a
minute tells lines 0.035 Hz apart); what they agree on is reported. Naming the part that turns
at a line's rate is the business of the transport's geometry, not of this module.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from runstrue.dsp.lines import FoundLines, find_lines, spectrum
from runstrue.dsp.weighting import Weighting
from runstrue.measure.flutter import about_mean
from runstrue.measure.pieces import Pieces
from runstrue.result import Line, Trace

Array = NDArray[np.float64]

STRETCH_S = 64.0
SHORTEST_S = 10.0
MOST_STRETCHES = 6
SAME_LINE_BINS = 1.5
LEAST_TOLD_PERCENT = 1e-4  # a hundredth of what the best decks do; below it is arithmetic
SHOWN_HZ = (0.1, 200.0)
SOUGHT_HZ = (0.1, 195.0)  # lines; the floor is not known up to the very edge of the band


def read_rhythm(
    percent: NDArray[np.floating], usable: Pieces, mean_percent: float, rate_hz: float
) -> tuple[tuple[Line, ...], Trace | None]:
    """Lines and spectrum of a deviation.

    Parameters
    ----------
    percent : ndarray, shape (channel, sample)
        One channel, or two whose noise is not common.
    usable : Pieces
    mean_percent : float
    rate_hz : float

    Returns
    -------
    lines : tuple of Line
        Sorted by falling size.
    trace : Trace or None
        Peak of a sine that would stand at each rate, in %; None when no stretch is long enough.
    """
    stretches = _stretches(usable, rate_hz)
    if not stretches:
        return (), None
    found, power = [], np.zeros(0)
    for start, stop in stretches:
        part = about_mean(percent[:, start:stop].astype(np.float64), mean_percent)
        part = _without_trend(part)
        found.append(find_lines(part, rate_hz, *SOUGHT_HZ))
        shown = spectrum(part, rate_hz)
        power = shown.power + (power if power.size else 0.0)
    rates_hz = shown.rate_hz
    inside = (rates_hz >= SHOWN_HZ[0]) & (rates_hz <= SHOWN_HZ[1])
    peak = np.sqrt(np.maximum(power[inside] / len(stretches), 0.0))
    trace = Trace("flutter spectrum", rates_hz[inside], peak, "rate", "Hz", "peak deviation", "%")
    bin_hz = float(rates_hz[1])
    return _agreed(found, SAME_LINE_BINS * bin_hz, rate_hz), trace


def spectrum_of(
    percent: NDArray[np.floating], mean_percent: float, rate_hz: float
) -> tuple[Array, Array]:
    """Rates (Hz) and peak deviation (%) of one unbroken stretch, shape (channel, sample)."""
    part = _without_trend(about_mean(percent.astype(np.float64), mean_percent))
    shown = spectrum(part, rate_hz)
    inside = (shown.rate_hz >= SHOWN_HZ[0]) & (shown.rate_hz <= SHOWN_HZ[1])
    return shown.rate_hz[inside], np.sqrt(np.maximum(shown.power[inside], 0.0))


def _stretches(usable: Pieces, rate_hz: float) -> list[tuple[int, int]]:
    """Equally long usable stretches, at most `MOST_STRETCHES`, spread over the record."""
    longest = max((end - begin for begin, end in usable.spans), default=0)
    length = fft.prev_fast_len(min(longest, int(STRETCH_S * rate_hz)), real=True)
    if length < SHORTEST_S * rate_hz:
        return []
    fitting = [
        (begin + index * length, begin + (index + 1) * length)
        for begin, end in usable.spans
        for index in range((end - begin) // length)
    ]
    if len(fitting) <= MOST_STRETCHES:
        return fitting
    picked = np.linspace(0, len(fitting) - 1, MOST_STRETCHES).round().astype(int)
    return [fitting[index] for index in picked]


def _without_trend(part: Array) -> Array:
    """Take out mean and slope of each channel."""
    time = np.linspace(-1, 1, part.shape[1])
    slope = (part @ time) / (time @ time)
    return np.asarray(part - part.mean(axis=1, keepdims=True) - slope[:, None] * time)


def _agreed(found: list[FoundLines], same_hz: float, rate_hz: float) -> tuple[Line, ...]:
    """Lines that at least half of the stretches show, averaged in power."""
    rows = np.concatenate(
        [np.column_stack((part.rate_hz, part.u_rate_hz, part.peak, part.u_peak)) for part in found]
    )
    stretch = np.concatenate(
        [np.full(part.rate_hz.size, index) for index, part in enumerate(found)]
    )
    weighting = Weighting(rate_hz)
    lines = []
    left = np.ones(len(rows), dtype=bool)
    while left.any():
        strongest = int(np.argmax(np.where(left, rows[:, 2], -1.0)))
        near = left & (np.abs(rows[:, 0] - rows[strongest, 0]) <= same_hz)
        if len(found) == 1:
            near = np.zeros_like(left)
            near[strongest] = True
        left &= ~near
        members = rows[near]
        seen = np.unique(stretch[near]).size
        if 2 * seen >= len(found):
            lines.append(_line(members, len(found), weighting))
    told = [line for line in lines if line.peak_percent >= LEAST_TOLD_PERCENT]
    return tuple(sorted(told, key=lambda line: -line.peak_percent))


def _line(members: Array, stretches: int, weighting: Weighting) -> Line:
    count = len(members)
    rate = float(members[:, 0].mean())
    peak = float(np.sqrt(np.sum(members[:, 2] ** 2) / stretches))
    u_rate = float(np.sqrt(np.mean(members[:, 1] ** 2) / count))
    u_peak = float(np.sqrt(np.mean(members[:, 3] ** 2) / count))
    if count > 1:
        u_rate = float(np.hypot(u_rate, members[:, 0].std(ddof=1) / np.sqrt(count)))
        u_peak = float(np.hypot(u_peak, members[:, 2].std(ddof=1) / np.sqrt(count)))
    gain = float(np.abs(weighting.response(np.array([rate])))[0])
    return Line(rate, u_rate, peak, u_peak, peak * gain)
