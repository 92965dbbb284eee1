"""A record over tape travel instead of time, so that parts that follow the tape keep their rates.

A deck drifts, and all that is driven with the tape drifts with it: at 40 Hz a drift of 0.1 % in
a minute smears a line over three bins of a minute's spectrum. Over travel, in seconds at nominal
speed, it stands still. The travel is that of the slow speed only (a smooth curve through each
stretch): the flutter of a capstan is not in the turning of the motor that drives it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.polynomial import Legendre
from numpy.typing import NDArray
from scipy import fft, interpolate

from runstrue.errors import SignalError
from runstrue.measure.pieces import Pieces
from runstrue.result import Deviation

Array = NDArray[np.float64]

STRETCH_S = 64.0
"""A minute tells rates 0.02 Hz apart, and a belt's creep hardly changes in it."""
SHORTEST_S = 10.0
BRIDGED_S = 0.1
SLOW_DEGREE = 4
"""Of the smooth curve: up to two swings in a stretch, below every hub."""
STEADY_PERCENT = 5e-4
"""With less drift in it, a stretch is taken as it is: 0.05 of a turn at 200 Hz in a minute."""


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """A piece of the record, even over travel.

    Parameters
    ----------
    start, stop : int
        Samples of the deviation.
    begin_s : float
        Travel from the beginning of the record to its first point, in s at nominal speed.
    step_s : float
        Travel from point to point.
    percent : ndarray of float64, shape (point,)
        Deviation about the slow speed, in % of it.
    clock_s : ndarray of float64, shape (point,)
        Time of each point since the beginning of the record.
    slow_percent : ndarray of float64, shape (point,)
        The slow speed, as a deviation from nominal.
    """

    start: int
    stop: int
    begin_s: float
    step_s: float
    percent: Array
    clock_s: Array
    slow_percent: Array

    @property
    def length_s(self) -> float:
        """Travel of all of it."""
        return self.step_s * self.percent.size

    @property
    def middle_s(self) -> float:
        """Travel from the beginning of the record to its middle."""
        return self.begin_s + self.length_s / 2


@dataclass(frozen=True, slots=True, eq=False)
class Travelled:
    """A record over travel.

    Parameters
    ----------
    stretches : tuple of Stretch
        At most 64 s each, the whole record but for what is lost.
    middle_s : float
        Travel from the beginning of the record to the middle of what is used.
    mean_percent : float
        Mean speed deviation of what is used.
    used_s : float
    """

    stretches: tuple[Stretch, ...]
    middle_s: float
    mean_percent: float
    used_s: float


def travelled(deviation: Deviation) -> Travelled:
    """Lay a record out over travel.

    Parameters
    ----------
    deviation : Deviation
        With two channels, their mean is taken: the motion of the tape is common to the tracks
        and most of their noise is not.

    Raises
    ------
    SignalError
        When no 10 s of unbroken tone are there.
    """
    together = common_percent(deviation)
    good = np.isfinite(together)
    rate_hz = deviation.rate_hz
    pieces = Pieces.of(good).bridged(round(BRIDGED_S * rate_hz))
    spans = _spans(pieces, rate_hz)
    if not spans:
        longest = max((stop - start for start, stop in pieces.spans), default=0) / rate_hz
        raise SignalError(
            f"The longest unbroken stretch of tone lasts {longest:.1f} s",
            f"{SHORTEST_S:g} s or more are needed to tell parts apart",
        )
    number = np.arange(together.size)
    filled = np.interp(number, number[good], together[good])
    usual = float(np.mean(together[good]))
    stretches, at, travel = [], 0, 0.0
    for start, stop in spans:
        travel += float(np.sum(1 + filled[at:start] / 100)) / rate_hz
        stretch = _stretch(filled, start, stop, rate_hz, travel)
        travel += stretch.length_s
        at = stop
        stretches.append(stretch)
    used_s = sum(one.length_s for one in stretches)
    middle = sum(one.middle_s * one.length_s for one in stretches) / used_s
    return Travelled(tuple(stretches), middle, usual, used_s)


def common_percent(deviation: Deviation) -> Array:
    """Mean deviation of the channels that hold the tone, shape (sample,), in %."""
    rows = deviation.percent.astype(np.float64)
    there = np.isfinite(rows).mean(axis=1)
    rows = rows[there >= 0.5 * there.max()] if there.max() > 0 else rows
    return np.asarray(rows.mean(axis=0))


def _spans(pieces: Pieces, rate_hz: float) -> list[tuple[int, int]]:
    """Cut long pieces into even stretches of at most 64 s."""
    spans: list[tuple[int, int]] = []
    for start, stop in pieces.spans:
        length = stop - start
        if length < SHORTEST_S * rate_hz:
            continue
        many = int(np.ceil(length / (STRETCH_S * rate_hz)))
        each = fft.prev_fast_len(length // many, real=True)
        gap = (length - many * each) // many
        spans += [(start + k * (each + gap), start + k * (each + gap) + each) for k in range(many)]
    return spans


def _stretch(filled: Array, start: int, stop: int, rate_hz: float, travel_s: float) -> Stretch:
    values = filled[start:stop]
    samples = values.size
    place = np.linspace(-1, 1, samples)
    # the window that the lines are looked at through: a hub's line leaves no trace in the curve
    curve = Legendre.fit(place, values, SLOW_DEGREE, w=np.cos(np.pi / 2 * place))
    slow = curve(place)
    length_s = samples / rate_hz
    # travel from the start of the stretch: the integral of the slow speed
    gone = curve.integ()
    travel = length_s / 2 * ((place + 1) + (gone(place) - gone(-1.0)) / 100)
    clock_s = (start + np.arange(samples)) / rate_hz
    percent = (values - slow) / (1 + slow / 100)
    step_s = float(travel[-1]) / (samples - 1)
    if np.ptp(slow) > STEADY_PERCENT:
        even = step_s * np.arange(samples, dtype=np.float64)
        clock_s = np.interp(even, travel, clock_s)
        slow = curve(np.interp(even, travel, place))
        percent = _resampled(percent, travel, even)
    return Stretch(start, stop, travel_s, step_s, percent, clock_s, slow)


def _resampled(values: Array, travel: Array, even: Array) -> Array:
    """Values at other places: twice as many by transform, then a cubic spline."""
    samples = values.size
    finer = fft.irfft(fft.rfft(values), 2 * samples) * 2
    places = np.interp(np.arange(2 * samples) / 2, np.arange(samples), travel)
    places[-1] = 2 * travel[-1] - places[-3]
    spline = interpolate.make_interp_spline(places, finer, k=3)
    return np.asarray(spline(even), dtype=np.float64)
