"""Lines in the spectrum of a speed deviation: rate, size and how sure.

Method: a Hann-windowed Fourier transform; the largest peak that stands out of its surroundings
is fitted as a sine (rate, size and phase, together with its near neighbours, by least squares
on the few bins around it, in which the transform of a windowed sine is known exactly), taken
out, and so on until nothing stands out. Two lines nearer than the window's main lobe are told
apart because one sine does not fit them.

With two channels the rates are fitted on their mean; the size comes from the product of the
two channels' amplitudes, in which noise that is not common averages to nothing.

References: J. Li, P. Stoica, 'Efficient mixed-spectrum estimation', IEEE Trans. Signal Process.
44(2), 1996, for the scheme of fitting one sine after the other and refitting (from memory,
sure); transform of the Hann window: F. J. Harris, Proc. IEEE 66(1), 1978 (from memory, sure).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

MOST_LINES = 24
NEAR_BINS = 6.0  # lines nearer than this are fitted together
REACH_BINS = 5  # bins either side that a fit looks at; the main lobe ends after 2
FLOOR_BINS = 45  # surroundings over which the floor is taken
FALSE_ALARM = 1e-3  # chance that pure noise shows any line at all in a record
HANN_VARIANCE = 35 / 18
"""Σw⁴·N/(Σw²)² of the Hann window: how much more a windowed fit scatters than a plain one."""


@dataclass(frozen=True, slots=True, eq=False)
class FoundLines:
    """Sines found in one stretch.

    Parameters
    ----------
    rate_hz, u_rate_hz, peak, u_peak : ndarray, shape (line,)
        Sorted by falling size; `peak` in the unit of the input.
    """

    rate_hz: Array
    u_rate_hz: Array
    peak: Array
    u_peak: Array


@dataclass(frozen=True, slots=True, eq=False)
class Spectrum:
    """Spectrum of one stretch.

    Parameters
    ----------
    rate_hz : ndarray, shape (bin,)
    power : ndarray, shape (bin,)
        Square of the peak value of a sine that would stand at each bin; from two channels it is
        free of noise bias and may be negative by chance.
    """

    rate_hz: Array
    power: Array


def spectrum(deviation: Array, rate_hz: float) -> Spectrum:
    """Power by rate; the cross-power when there are two channels.

    Parameters
    ----------
    deviation : ndarray, shape (channel, sample)
        One or two channels, without mean and trend.
    """
    bins = _transform(deviation)
    first, last = bins[0], bins[-1]
    samples = deviation.shape[1]
    return Spectrum(
        np.fft.rfftfreq(samples, 1 / rate_hz),
        np.real(first * np.conj(last)) * (4 / samples) ** 2,  # Σw = samples/2, a sine splits in 2
    )


def find_lines(
    deviation: Array, rate_hz: float, low_hz: float = 0.1, high_hz: float = 200.0
) -> FoundLines:
    """Find the sines in a stretch.

    Parameters
    ----------
    deviation : ndarray, shape (channel, sample)
        One or two channels, without mean and trend.
    rate_hz : float
        Samples per second.
    low_hz, high_hz : float
        Where to look; below three periods a stretch nothing is looked for.
    """
    samples = deviation.shape[1]
    bins = _transform(deviation)
    mean = bins.mean(axis=0)
    bin_hz = rate_hz / samples
    first = max(int(np.ceil(low_hz / bin_hz)), 3)
    last = min(int(high_hz / bin_hz), mean.size - 2)
    fit = _Fit(samples, mean)
    # the floor is a median of some 30 independent bins and scatters by a quarter: two sigma more
    threshold = 1.5 * np.log(max(last - first, 2) / FALSE_ALARM)
    refused: set[int] = set()
    while fit.places.size < MOST_LINES:
        floor = _floor(np.abs(fit.rest) ** 2)
        excess = np.abs(fit.rest[first:last]) ** 2 / floor[first:last]
        for place in refused:
            excess[max(place - first - 1, 0) : max(place - first + 2, 0)] = 0
        peak = int(np.argmax(excess))
        if excess[peak] < threshold:
            break
        if not fit.add(first + peak):
            refused.add(first + peak)
    return fit.lines(bins, bin_hz)


class _Fit:
    """The lines so far, and what is left of the spectrum without them."""

    def __init__(self, samples: int, spectrum_bins: Complex) -> None:
        self._samples = samples
        self._all = spectrum_bins
        self.places = np.zeros(0)  # in bins, not whole
        self.rest = spectrum_bins.copy()

    def add(self, place: int) -> bool:
        """Add a line near this bin and refit its neighbourhood; False if that did not help."""
        start = self._refined(place)
        near = np.abs(self.places - start) < NEAR_BINS
        group = np.append(self.places[near], start)
        others = self.places[~near]
        target = self._all - self._sum(others) if near.any() else self.rest
        if near.any() and np.min(np.abs(self.places - start)) < 1.0:
            closest = np.argmin(np.abs(group[:-1] - start))
            side = 1.0 if start > group[closest] else -1.0
            group[closest] -= 0.7 * side  # one sine sat between two: move it off the middle
            group[-1] += 0.7 * side
        fitted = self._polish(group, target)
        closeness = np.diff(np.sort(fitted))
        moved_away = np.any(np.abs(fitted[-1] - start) > 3)
        if closeness.size and closeness.min() < 0.5 or moved_away:
            return False
        places = np.append(others, fitted)
        rest = self._all - self._sum(places)
        span = slice(max(place - REACH_BINS, 0), place + REACH_BINS + 1)
        if np.sum(np.abs(rest[span]) ** 2) > 0.9 * np.sum(np.abs(self.rest[span]) ** 2):
            return False
        self.places, self.rest = places, rest
        return True

    def lines(self, channels: Complex, bin_hz: float) -> FoundLines:
        """Sizes and uncertainties of all lines."""
        if not self.places.size:
            return FoundLines(*(np.zeros(0),) * 4)
        order = np.argsort(self.places)
        self.places = self.places[order]
        floor = _floor(np.abs(self.rest) ** 2)
        rates, u_rates, peaks, u_peaks = [], [], [], []
        for index, place in enumerate(self.places):
            group = self.places[np.abs(self.places - place) < NEAR_BINS]
            others = self.places[np.abs(self.places - place) >= NEAR_BINS]
            own = int(np.flatnonzero(group == place)[0])
            bins = _around(group, self._all.size)
            size = [
                self._solve(group, bins, channel[bins] - self._sum(others, bins, channel))[own]
                for channel in channels
            ]
            product = float(np.real(size[0] * np.conj(size[-1])))
            noise = float(floor[min(round(place), floor.size - 1)])
            u_place, u_size = self._uncertainty(group, bins, own, size[0], noise)
            if len(size) == 1:
                product -= u_size**2
            if product > 0:
                rates.append(place * bin_hz)
                u_rates.append(u_place * bin_hz)
                peaks.append(2 * np.sqrt(product))
                u_peaks.append(2 * u_size)
        found = np.argsort(peaks)[::-1]
        return FoundLines(
            *(np.asarray(values)[found] for values in (rates, u_rates, peaks, u_peaks))
        )

    def _refined(self, place: int) -> float:
        """Peak between bins from three neighbours (parabola over log power)."""
        low, mid, high = np.log(np.abs(self.rest[place - 1 : place + 2]) + 1e-300)
        bend = low - 2 * mid + high
        return place + float(np.clip(0.5 * (low - high) / bend, -0.5, 0.5) if bend < 0 else 0.0)

    def _polish(self, group: Array, target: Complex) -> Array:
        """Gauss-Newton on the places of a group, sizes solved at each step."""
        places = group.copy()
        for _ in range(25):
            bins = _around(places, target.size)
            wanted = target[bins]
            sizes = self._solve(places, bins, wanted)
            error = wanted - self._model(places, sizes, bins)
            slopes = self._columns(places, bins, sizes)
            jacobian = np.concatenate((slopes.real, slopes.imag))
            step = np.linalg.lstsq(jacobian, np.concatenate((error.real, error.imag)), rcond=1e-8)[
                0
            ][-places.size :]
            step = np.clip(step, -0.5, 0.5)
            places = places + step
            if np.max(np.abs(step)) < 1e-7:
                break
        return np.asarray(places)

    def _columns(self, places: Array, bins: NDArray[np.int_], sizes: Complex) -> Complex:
        """Derivatives by real part, imaginary part and place of every line."""
        shape = self._shapes(places, bins)
        step = 1e-4
        after, before = self._shapes(places + step, bins), self._shapes(places - step, bins)
        with_turn = (after[0] - before[0]) / (2 * step)
        against = (after[1] - before[1]) / (2 * step)
        by_real = shape[0] + shape[1]
        by_imag = 1j * (shape[0] - shape[1])
        by_place = with_turn * sizes + against * np.conj(sizes)
        return np.concatenate((by_real, by_imag, by_place), axis=1)

    def _uncertainty(
        self, group: Array, bins: NDArray[np.int_], own: int, size: complex, noise: float
    ) -> tuple[float, float]:
        """Standard uncertainty of place and size from the noise power in a bin."""
        sizes = np.full(group.size, size, dtype=np.complex128)
        columns = self._columns(group, bins, sizes)
        jacobian = np.concatenate((columns.real, columns.imag))
        covariance = np.linalg.pinv(jacobian.T @ jacobian) * noise / 2 * HANN_VARIANCE
        along = np.array([np.real(size), np.imag(size)]) / max(abs(size), 1e-300)
        parts = [own, group.size + own]
        u_size = np.sqrt(along @ covariance[np.ix_(parts, parts)] @ along)
        place = 2 * group.size + own
        return float(np.sqrt(covariance[place, place])), float(u_size)

    def _solve(self, places: Array, bins: NDArray[np.int_], wanted: Complex) -> Complex:
        """Complex sizes (half the peak) that fit the wanted bins best."""
        shape = self._shapes(places, bins)
        columns = np.concatenate((shape[0] + shape[1], 1j * (shape[0] - shape[1])), axis=1)
        matrix = np.concatenate((columns.real, columns.imag))
        parts = np.linalg.lstsq(matrix, np.concatenate((wanted.real, wanted.imag)), rcond=None)[0]
        return np.asarray(parts[: places.size] + 1j * parts[places.size :])

    def _model(self, places: Array, sizes: Complex, bins: NDArray[np.int_]) -> Complex:
        shape = self._shapes(places, bins)
        return np.asarray(shape[0] @ sizes + shape[1] @ np.conj(sizes))

    def _sum(
        self, places: Array, bins: NDArray[np.int_] | None = None, channel: Complex | None = None
    ) -> Complex:
        """Spectrum of these lines, each group fitted to what is there."""
        source = self._all if channel is None else channel
        out = np.zeros_like(source)
        for group in _groups(places):
            around = _around(group, source.size)
            sizes = self._solve(group, around, source[around] - out[around])
            low = max(int(group.min()) - 400, 0)
            reach = np.arange(low, min(int(group.max()) + 400, source.size))
            out[reach] += self._model(group, sizes, reach)
        return out if bins is None else out[bins]

    def _shapes(self, places: Array, bins: NDArray[np.int_]) -> tuple[Complex, Complex]:
        """Transform of a windowed turning arrow of size 1 at ±place, at these bins."""
        away = bins[:, None] - places[None, :]
        against = bins[:, None] + places[None, :]
        return _hann(away, self._samples), _hann(against, self._samples)


def _transform(deviation: Array) -> Complex:
    samples = deviation.shape[1]
    window = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(samples) / samples)
    return np.asarray(np.fft.rfft(deviation * window, axis=1))


def _hann(x: Array, samples: int) -> Complex:
    """Transform of the periodic Hann window, x in bins."""
    return 0.5 * _box(x, samples) - 0.25 * (_box(x - 1, samples) + _box(x + 1, samples))


def _box(x: Array, samples: int) -> Complex:
    turn = np.exp(-1j * np.pi * x * (samples - 1) / samples)
    return np.asarray(samples * turn * np.sinc(x) / np.sinc(x / samples))


def _around(places: Array, size: int) -> NDArray[np.int_]:
    low = max(int(np.floor(places.min())) - REACH_BINS, 0)
    high = min(int(np.ceil(places.max())) + REACH_BINS + 1, size)
    return np.arange(low, high)


def _groups(places: Array) -> list[Array]:
    """Places that are to be solved together, largest gaps first split."""
    if not places.size:
        return []
    ordered = np.sort(places)
    cuts = np.flatnonzero(np.diff(ordered) >= NEAR_BINS) + 1
    return list(np.split(ordered, cuts))


def _floor(power: Array) -> Array:
    """Mean noise power around each bin: running median over the surroundings ÷ ln 2."""
    half = FLOOR_BINS // 2
    padded = np.pad(power, half, mode="reflect")
    step = 8  # the median moves slowly: taken at every eighth bin
    windows = np.lib.stride_tricks.sliding_window_view(padded, FLOOR_BINS)[::step]
    medians = np.median(windows, axis=1) / np.log(2)
    where = np.arange(0, power.size, step)[: medians.size]
    return np.asarray(np.interp(np.arange(power.size), where, medians))
