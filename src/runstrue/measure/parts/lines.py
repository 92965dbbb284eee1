"""Lines of one stretch, each by the law that its phase follows.

As `runstrue.dsp.lines` does for steady sines: the strongest peak of a Hann-windowed transform that
stands out of the noise around it is fitted together with its near neighbours, taken out, and so on.
Here a line may also slide with a pack or keep the mains' time. Each fit looks only at the few bins
around the line: they are turned back into a short stretch of time in which a line is an arrow that
turns slowly, and any law is as easy as an even one.

Noise: white within those bins, so in time it has the shape of the window; its effect on rate
and size follows by linear propagation through the least squares (JCGM 100:2008, 5.1.2).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from runstrue.measure.parts.laws import CLOCK, TAPE, Law
from runstrue.measure.parts.travel import Stretch

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

MOST_LINES = 32
NEAR_BINS = 5.0  # lines nearer than this are fitted together
REACH_BINS = 8  # bins either side that a fit looks at, and the slide of the line besides
LEAK_BINS = 150
FALSE_ALARM = 1e-3  # chance that pure noise shows any line at all in a stretch
FIRST_BIN = 4  # below, the smooth curve of the slow speed has taken part of it
LEAST_PERCENT = 1e-4
BESIDE = 1e-3  # of the largest line: below, products of lines and of the window may stand
APART_BINS = 0.8
"""Two lines nearer than this are one: that is what 'closer than the record resolves' means."""
MISFIT = 0.02
"""A line is never as steady as its law: this much of it is taken as noise when laws are
compared (judgement, no source)."""
HANN_POWER, HANN_FOURTH = 3 / 8, 35 / 128  # means of w² and w⁴


@dataclass(frozen=True, slots=True)
class Fitted:
    """A line by one law.

    Parameters
    ----------
    law : Law
    rate_hz, u_rate_hz : float
        In the middle of the stretch.
    size : complex
        Peak in % with the phase there.
    u_size : float
        Standard uncertainty of the peak.
    plausible : float
        Logarithm of the likelihood against that of the best law; 0 for the best.
    """

    law: Law
    rate_hz: float
    u_rate_hz: float
    size: complex
    u_size: float
    plausible: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class StretchLines:
    """All lines of one stretch.

    Parameters
    ----------
    stretch : Stretch
    lines : tuple of (tuple of Fitted)
        By falling size; of each line the fits by all laws that it might follow, best first.
    least_percent : callable
        Peak in % that a line at this rate (Hz of travel) needs to be seen.
    """

    stretch: Stretch
    lines: tuple[tuple[Fitted, ...], ...]
    least_percent: Callable[[float], float]


def stretch_lines(stretch: Stretch, laws_at: Callable[[float], Sequence[Law]]) -> StretchLines:
    """Find the lines of a stretch.

    Parameters
    ----------
    stretch : Stretch
    laws_at : callable
        Laws besides the even one that a line near this rate (Hz of travel) might follow.
    """
    search = _Search(stretch, laws_at)
    search.run()
    found = search.told()
    floor, scale = search.floor, 2 / (stretch.percent.size * 0.5)
    threshold = search.threshold
    bin_hz = search.bin_hz
    largest = max((abs(one[0].size) for one in found), default=0.0)

    def least(rate_hz: float) -> float:
        at = int(np.clip(round(rate_hz / bin_hz), 0, floor.size - 1))
        return max(scale * float(np.sqrt(threshold * floor[at])), LEAST_PERCENT, BESIDE * largest)

    return StretchLines(stretch, tuple(found), least)


@dataclass(slots=True)
class _Line:
    law: Law
    rate_hz: float
    size: complex = 0j


class _Search:
    """The lines so far, and what is left of the transform without them."""

    def __init__(self, stretch: Stretch, laws_at: Callable[[float], Sequence[Law]]) -> None:
        self.stretch, self._laws_at = stretch, laws_at
        samples = stretch.percent.size
        window = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(samples) / samples)
        self.rest: Complex = np.fft.rfft(stretch.percent * window)
        self.bin_hz = 1 / stretch.length_s
        self.last = min(int(195.0 / self.bin_hz), self.rest.size - 2)
        self.threshold = 1.5 * float(np.log(max(self.last, 2) / FALSE_ALARM))
        self.floor = _floor(np.abs(self.rest) ** 2)
        self._lines: list[_Line] = []

    def run(self) -> None:
        refused: set[int] = set()
        power = np.abs(self.rest) ** 2
        least = 0.0
        while len(self._lines) < MOST_LINES:
            bar = np.maximum(self.threshold * self.floor, least)
            standing = power > bar
            standing[:FIRST_BIN] = standing[self.last :] = False
            for place in refused:
                standing[max(place - 1, 0) : place + 2] = False
            if not standing.any():
                floor = _floor(power)
                if np.array_equal(floor, self.floor):
                    break
                # what lines had lifted is lower now: go on until nothing new stands out
                settled = bool(np.all(floor > 0.8 * self.floor))
                self.floor = floor
                if settled:
                    break
                continue
            place = int(np.argmax(np.where(standing, power, 0.0)))
            if not self._add(place):
                refused.add(place)
            power = np.abs(self.rest) ** 2
            largest = max((abs(one.size) for one in self._lines), default=0.0)
            least = (max(BESIDE * largest, LEAST_PERCENT) * self.stretch.percent.size / 4) ** 2

    def told(self) -> list[tuple[Fitted, ...]]:
        """All lines with their uncertainties, by every law that they might follow."""
        self.floor = _floor(np.abs(self.rest) ** 2)
        found = []
        for line in self._lines:
            fits = self._by_laws(line)
            if abs(fits[0].size) > 3 * fits[0].u_size:
                found.append(fits)
        return sorted(found, key=lambda fits: -abs(fits[0].size))

    def _by_laws(self, line: _Line) -> tuple[Fitted, ...]:
        others = [
            one
            for one in self._lines
            if one is not line and abs(self._place(one) - self._place(line)) < NEAR_BINS
        ]
        options = [line.law, *(law for law in self._laws(self._travel_hz(line)) if law != line.law)]
        reach = max(self._reach(law, line.rate_hz) for law in options)
        band = _Band(self, round(self._place(line)), reach)
        values = band.values(self.rest) + sum(
            (band.shape(one) * one.size for one in [line, *others]), np.zeros(band.count, complex)
        )
        fits = []
        for law in options:
            begun = line.rate_hz if law == line.law else band.best_rate(values, law, others)
            if begun is None:
                continue
            group, misfit = band.polish(values, [*map(replace, others), _Line(law, begun)])
            own = group[-1]
            u_rate, u_size = band.uncertainty(group, self._noise(band))
            spread = self._noise(band) * HANN_FOURTH / HANN_POWER
            spread += HANN_POWER * (MISFIT * abs(own.size)) ** 2
            fits.append((misfit / spread, Fitted(law, own.rate_hz, u_rate, own.size, u_size)))
        best = min(misfit for misfit, _ in fits)
        told = [replace(fit, plausible=best - misfit) for misfit, fit in fits]
        return tuple(sorted(told, key=lambda fit: -fit.plausible))

    def _add(self, place: int) -> bool:
        """Add a line near this bin and refit its neighbourhood; False if that did not help."""
        near = [one for one in self._lines if abs(self._place(one) - place) < NEAR_BINS]
        laws = self._laws(place * self.bin_hz)
        reach = max(self._reach(law, place * self.bin_hz) for law in laws)
        band = _Band(self, place, reach)
        lifted = band.values(self.rest) + sum(
            (band.shape(one) * one.size for one in near), np.zeros(band.count, complex)
        )
        before = float(np.sum(np.abs(band.values(self.rest)) ** 2))
        best: tuple[float, list[_Line]] | None = None
        for law in laws:
            begun = band.best_rate(band.values(self.rest), law, [])
            if begun is None:
                continue
            group, misfit = band.polish(lifted, [*map(replace, near), _Line(law, begun)])
            # a sliding law has to be clearly better than the even one that is tried first
            if best is None or misfit < 0.97 * best[0]:
                best = misfit, group
        if best is None:
            return False
        misfit, group = best
        places = np.sort([self._place(one) for one in group])
        if abs(self._place(group[-1]) - place) > reach - 3 or misfit > 0.9 * before:
            return False
        if places.size > 1 and np.diff(places).min() < APART_BINS:
            return False
        for one in near:
            self._put(one, 1.0)
            self._lines.remove(one)
        for one in group:
            self._put(one, -1.0)
        self._lines += group
        return True

    def _laws(self, travel_hz: float) -> list[Law]:
        return [TAPE, *self._laws_at(travel_hz)]

    def _reach(self, law: Law, rate_hz: float) -> int:
        slid = abs(law.slide_hz_s(rate_hz)) * self.stretch.length_s / self.bin_hz
        return REACH_BINS + int(np.ceil(0.6 * slid))

    def _travel_hz(self, line: _Line) -> float:
        if line.law.kind != "clock":
            return line.rate_hz
        middle = self.stretch.slow_percent[self.stretch.percent.size // 2]
        return line.rate_hz / (1 + float(middle) / 100)

    def _place(self, line: _Line) -> float:
        return self._travel_hz(line) / self.bin_hz

    def _noise(self, band: _Band) -> float:
        """Noise power in the short stretch of a band, where the window is 1."""
        samples = self.stretch.percent.size
        return band.count * float(self.floor[band.middle]) * (2 / samples) ** 2 / HANN_POWER

    def _put(self, line: _Line, sign: float) -> None:
        """Add a line to the transform, or take it out, as far as it reaches."""
        place, samples = self._place(line), self.stretch.percent.size
        if line.law is TAPE:
            low = max(int(place) - LEAK_BINS, 0)
            bins = np.arange(low, min(int(place) + LEAK_BINS, self.rest.size))
            away = np.asarray(bins, dtype=np.float64)
            begun = line.size * np.exp(-2j * np.pi * place / samples * (samples // 2))
            added = begun / 2 * _hann(away - place, samples)
            if place < LEAK_BINS:
                added = added + np.conj(begun) / 2 * _hann(away + place, samples)
            self.rest[bins] += sign * added
            return
        middle = round(place)
        band = _Band(self, middle, self._reach(line.law, line.rate_hz) + 30)
        self.rest[band.bins] += sign * band.back(band.shape(line) * line.size)


class _Band:
    """A few bins, turned back into a short stretch of time."""

    def __init__(self, search: _Search, middle: int, reach: int) -> None:
        reach = min(reach, middle, search.rest.size - 1 - middle)
        self._search, self.middle = search, middle
        self.bins = np.arange(middle - reach, middle + reach + 1)
        self.count = self.bins.size
        samples = search.stretch.percent.size
        at = np.round(np.arange(self.count) * samples / self.count).astype(int)
        self._at = at
        self._window = 0.5 - 0.5 * np.cos(2 * np.pi * at / samples)
        self._turn = np.exp(-2j * np.pi * middle * at / samples)
        self._scale = 2 * self.count / samples

    def values(self, transform: Complex) -> Complex:
        """Return the short stretch: a line of peak a is an arrow of length a under the window."""
        rolled = np.fft.ifftshift(transform[self.bins])
        return np.asarray(np.fft.ifft(rolled) * self._scale)

    def back(self, values: Complex) -> Complex:
        """Return the bins of a short stretch."""
        return np.asarray(np.fft.fftshift(np.fft.fft(values)) / self._scale)

    def shape(self, line: _Line) -> Complex:
        """Return a line of size 1."""
        turned = line.law.phase_turns(line.rate_hz, self._search.stretch, self._at)
        return np.asarray(self._window * np.exp(2j * np.pi * turned) * self._turn)

    def best_rate(self, values: Complex, law: Law, others: Sequence[_Line]) -> float | None:
        """Rate at which a line by this law would be the largest."""
        for one in others:
            values = values - self.shape(one) * one.size
        search = self._search
        half = self.count // 2 - REACH_BINS + 2
        steps = np.arange(-4 * half, 4 * half + 1) / 4
        rates = (self.middle + steps) * search.bin_hz
        if law is CLOCK:
            slow = search.stretch.slow_percent[search.stretch.percent.size // 2]
            rates = rates * (1 + float(slow) / 100)
        rates = rates[rates > 0.5 * search.bin_hz]
        if not rates.size:
            return None
        shapes = np.stack([self.shape(_Line(law, rate)) for rate in rates])
        power = np.abs(shapes.conj() @ values)
        place = int(np.argmax(power))
        return float(rates[place]) if np.isfinite(power[place]) else None

    def polish(self, values: Complex, group: list[_Line]) -> tuple[list[_Line], float]:
        """Gauss-Newton on the rates of a group, sizes solved at each step; and what is left."""
        bin_hz = self._search.bin_hz
        for _ in range(12):
            shapes = self._solve(values, group)
            error = values - shapes @ np.array([one.size for one in group])
            columns = self._columns(group, shapes)
            whole = np.concatenate((columns.real, columns.imag))
            step = np.linalg.lstsq(whole, np.concatenate((error.real, error.imag)), rcond=1e-8)[0]
            moves = np.clip(step[2 * len(group) :], -0.4, 0.4)
            for one, move in zip(group, moves, strict=True):
                one.rate_hz = max(one.rate_hz + float(move) * bin_hz, 0.5 * bin_hz)
            if np.max(np.abs(moves)) < 1e-4:
                break
        shapes = self._solve(values, group)
        error = values - shapes @ np.array([one.size for one in group])
        return group, float(np.sum(np.abs(error) ** 2))

    def uncertainty(self, group: list[_Line], noise: float) -> tuple[float, float]:
        """Standard uncertainty of rate and peak of the last of a group."""
        shapes = np.stack([self.shape(one) for one in group], axis=1)
        columns = self._columns(group, shapes)
        inverse = np.linalg.pinv(np.concatenate((columns.real, columns.imag)))
        spread = np.tile(self._window**2, 2) * noise / 2
        covariance = (inverse * spread) @ inverse.T
        many, own = len(group), len(group) - 1
        size = group[-1].size
        along = np.array([size.real, size.imag]) / max(abs(size), 1e-300)
        parts = [own, many + own]
        u_size = math.sqrt(max(float(along @ covariance[np.ix_(parts, parts)] @ along), 0.0))
        u_place = math.sqrt(max(float(covariance[2 * many + own, 2 * many + own]), 0.0))
        return u_place * self._search.bin_hz, u_size

    def _solve(self, values: Complex, group: list[_Line]) -> Complex:
        shapes = np.stack([self.shape(one) for one in group], axis=1)
        sizes = np.linalg.lstsq(shapes, values, rcond=None)[0]
        for one, size in zip(group, sizes, strict=True):
            one.size = complex(size)
        return np.asarray(shapes)

    def _columns(self, group: list[_Line], shapes: Complex) -> Complex:
        """Derivatives by real part, imaginary part and place (in bins) of every line."""
        step = 1e-3 * self._search.bin_hz
        after = np.stack([self.shape(replace(one, rate_hz=one.rate_hz + step)) for one in group], 1)
        sizes = np.array([one.size for one in group])
        return np.concatenate((shapes, 1j * shapes, (after - shapes) * sizes / 1e-3), axis=1)


def _hann(x: Array, samples: int) -> Complex:
    """Transform of the periodic Hann window, x in bins (F. J. Harris, Proc. IEEE 66(1), 1978)."""
    x = np.where(np.abs(x - np.round(x)) < 1e-9, x + 1e-9, x)

    def kernel(y: Array) -> Complex:
        turn = np.exp(-1j * np.pi * y * (samples - 1) / samples)
        return np.asarray(turn * np.sin(np.pi * y) / np.sin(np.pi * y / samples))

    return np.asarray(0.5 * kernel(x) - 0.25 * kernel(x - 1) - 0.25 * kernel(x + 1))


def _floor(power: Array) -> Array:
    """Mean noise power around each bin: running median ÷ ln 2, over fewer bins at low rates."""
    centres = np.unique(np.round(np.geomspace(4, power.size - 1, 700)).astype(int))
    halves = np.clip(centres // 3, 4, 22)
    medians = np.empty(centres.size)
    for half in np.unique(halves).tolist():  # windows of one width at once
        chosen = halves == half
        low = np.minimum(np.maximum(centres[chosen] - half, 2), power.size - (2 * half + 1))
        windows = np.lib.stride_tricks.sliding_window_view(power, 2 * half + 1)
        medians[chosen] = np.median(windows[low], axis=1)
    quietest = 1e-28 * float(power.max(initial=0.0)) + 1e-300  # rounding, not noise
    floor = np.interp(np.arange(power.size), centres, medians / np.log(2))
    return np.asarray(np.maximum(floor, quietest))
