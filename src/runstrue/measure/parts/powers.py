"""Power of a record's flutter, flat and weighted, of all of it and of its lines.

All figures are peaks of a sine of the same power, in %: so shares of parts add up by their
squares, whatever their rates.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from runstrue.dsp.weighting import Weighting
from runstrue.measure.parts.lines import StretchLines
from runstrue.measure.parts.tracks import Track
from runstrue.measure.parts.travel import Travelled
from runstrue.quantity import Quantity

Array = NDArray[np.float64]

CURVE_RATE_HZ = 500.0
LOWEST_HZ, HIGHEST_HZ = 0.1, 200.0
"""Rates that count: from the low end of wow to the high end of flutter (IEC 60386; JIS C 5569-1991
2.1, 2.2)."""
CURVE = Weighting(CURVE_RATE_HZ)


def weighted_gain(rates_hz: Array | float) -> Array:
    """Gain of the weighting curve; 1 at 4 Hz."""
    return np.asarray(np.abs(CURVE.response(rates_hz)))


@dataclass(frozen=True, slots=True)
class Peaks:
    """Two peaks of sines, flat and weighted, with their standard uncertainties, in %."""

    flat: Quantity
    weighted: Quantity

    def shares_of(self, whole: Peaks) -> tuple[Quantity, Quantity]:
        """Parts of the power of all flutter, in %, flat and weighted."""
        return _share(self.flat, whole.flat), _share(self.weighted, whole.weighted)


def noise_peaks(record: Travelled, left: Sequence[Array]) -> Peaks:
    """What a record holds besides its lines.

    Parameters
    ----------
    record : Travelled
    left : sequence of ndarray
        Deviation of each stretch without the lines, in %.
    """
    flat, weighted, bandwidth = [], [], []
    lengths = [one.length_s for one in record.stretches]
    for one, percent in zip(record.stretches, left, strict=True):
        samples = percent.size
        window = np.sin(np.pi * (np.arange(samples) + 0.5) / samples) ** 2
        power = np.abs(np.fft.rfft(percent * window)) ** 2
        power *= 4 / (samples * float(window @ window))  # a sine of peak 1 comes to 1 in all
        rates = np.asarray(np.fft.rfftfreq(samples, one.step_s), dtype=np.float64)
        rates *= 1 + record.mean_percent / 100
        power[(rates < LOWEST_HZ) | (rates > HIGHEST_HZ)] = 0.0
        curve = power * weighted_gain(rates) ** 2
        flat.append(float(power.sum()))
        weighted.append(float(curve.sum()))
        bandwidth.append(_bandwidth_hz(curve, one.length_s))
    independent = 2 * sum(lengths) * float(np.average(bandwidth, weights=lengths))
    return Peaks(
        _peak(float(np.average(flat, weights=lengths)), independent),
        _peak(float(np.average(weighted, weights=lengths)), independent),
    )


def track_peaks(track: Track, found: Sequence[StretchLines], pace: float) -> Peaks:
    """One line through the record.

    Parameters
    ----------
    track : Track
    found : sequence of StretchLines
    pace : float
        Mean tape speed over nominal: from rates over travel to rates of the clock.
    """
    gain, mean = 0.0, 0.0
    for where, one in (*track.seen, *track.skirt):
        clock_hz = one.rate_hz if one.law.kind == "clock" else one.rate_hz * pace
        weight = abs(one.size) ** 2 * found[where].stretch.length_s
        gain += weight * float(weighted_gain(clock_hz)) ** 2
        mean += weight
    by = math.sqrt(gain / mean) if mean else 0.0
    return Peaks(
        Quantity(track.peak, "%", track.u_peak), Quantity(track.peak * by, "%", track.u_peak * by)
    )


def together(peaks: Iterable[Peaks]) -> Peaks:
    """Several at once: their powers add up."""
    many = list(peaks)
    return Peaks(_sum([one.flat for one in many]), _sum([one.weighted for one in many]))


def _peak(power: float, independent: float) -> Quantity:
    """Peak by its power; of noise a power scatters by √(2 / n) of itself."""
    value = math.sqrt(power)
    return Quantity(value, "%", value / math.sqrt(2 * max(independent, 1.0)))


def _bandwidth_hz(power: Array, length_s: float) -> float:
    """Statistical bandwidth (Σ p)² / Σ p² (J. S. Bendat, A. G. Piersol, Random Data, 8.2)."""
    square = float(power @ power)
    return float(power.sum()) ** 2 / square / length_s if square else 1.0


def _sum(peaks: Sequence[Quantity]) -> Quantity:
    value = math.hypot(*(one.value for one in peaks))
    if not value:
        return Quantity(0.0, "%", math.hypot(*(one.u for one in peaks)))
    return Quantity(value, "%", math.hypot(*(one.value * one.u for one in peaks)) / value)


def _share(part: Quantity, whole: Quantity) -> Quantity:
    if not whole.value:
        return Quantity(0.0, "%", 0.0)
    share = (part.value / whole.value) ** 2
    relative = 2 * part.u / part.value if part.value else 0.0
    u = share * relative if part.value else (part.u / whole.value) ** 2
    return Quantity(100 * share, "%", 100 * u)
