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
LEAK_BINS = 120  # beyond, a line leaks less than 2·10⁻⁷ of its size
FLOOR_BINS = 45  # surroundings over which the floor is taken
LEAST_SURE = 3.0  # a line whose size is not known to a third is not told
FALSE_ALARM = 1e-3  # chance that pure noise shows any line at all in a record
HANN_NEIGHBOURS = (1.0, -2 / 3, 1 / 6)
"""Correlation of white noise between bins 0, 1 and 2 apart under a Hann window: the transform of
w² = 3/8 − cos/2 + cos 2/8, relative to its first term (worked out by hand)."""


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
    # a sine of peak 1 gives half of Σw, and Σw is half the samples
    power = np.real(first * np.conj(last)) * (4 / samples) ** 2
    rates_hz = np.asarray(np.fft.rfftfreq(samples, 1 / rate_hz), dtype=np.float64)
    return Spectrum(rates_hz, np.asarray(power, dtype=np.float64))


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
        power = np.abs(fit.rest) ** 2
        standing_out = (power > threshold * _floor(power))[first:last]
        for place in refused:
            standing_out[max(place - first - 1, 0) : max(place - first + 2, 0)] = False
        if not standing_out.any():
            break
        peak = int(np.argmax(np.where(standing_out, power[first:last], 0.0)))
        if not fit.add(first + peak):
            refused.add(first + peak)
    return fit.lines(bins, bin_hz)


class _Fit:
    """The lines so far, and what is left of the spectrum without them."""

    def __init__(self, samples: int, spectrum_bins: Complex) -> None:
        self._samples = samples
        self.places = np.zeros(0)  # in bins, not whole
        self._sizes = np.zeros(0, dtype=np.complex128)
        self.rest = spectrum_bins.copy()

    def add(self, place: int) -> bool:
        """Add a line near this bin and refit its neighbourhood; False if that did not help."""
        start = self._refined(place)
        near = np.abs(self.places - start) < NEAR_BINS
        target = self.rest.copy()
        self._put(target, self.places[near], self._sizes[near])
        group = np.append(self.places[near], start)
        if near.any():
            closest = int(np.argmin(np.abs(group[:-1] - start)))
            if abs(group[closest] - start) < 1.0:  # one sine sat between two: move it off
                side = 1.0 if start > group[closest] else -1.0
                group[closest] -= 0.7 * side
                group[-1] += 0.7 * side
        fitted, sizes = self._polish(group, target)
        apart = np.diff(np.sort(fitted))
        if abs(fitted[-1] - start) > 3 or (apart.size and apart.min() < 0.5):
            return False
        self._put(target, fitted, -sizes)
        span = slice(max(place - REACH_BINS, 0), place + REACH_BINS + 1)
        if np.sum(np.abs(target[span]) ** 2) > 0.9 * np.sum(np.abs(self.rest[span]) ** 2):
            return False
        self.places = np.append(self.places[~near], fitted)
        self._sizes = np.append(self._sizes[~near], sizes)
        self.rest = target
        return True

    def lines(self, channels: Complex, bin_hz: float) -> FoundLines:
        """Sizes and uncertainties of all lines, each channel solved by itself."""
        floor = _floor(np.abs(self.rest) ** 2)
        found = []
        by_channel = [self._sizes_in(channel) for channel in (channels[0], channels[-1])]
        for index, place in enumerate(self.places):
            product = float(np.real(by_channel[0][index] * np.conj(by_channel[1][index])))
            noise = float(floor[min(round(place), floor.size - 1)])
            u_place, u_size = self._uncertainty(index, noise)
            if len(channels) == 1:
                product -= u_size**2
            if product > (LEAST_SURE * u_size) ** 2:
                found.append((place * bin_hz, u_place * bin_hz, 2 * np.sqrt(product), 2 * u_size))
        rows = np.array(sorted(found, key=lambda row: -row[2])).reshape(-1, 4)
        return FoundLines(*rows.T)

    def _refined(self, place: int) -> float:
        """Peak between bins from three neighbours (parabola over log power)."""
        low, mid, high = np.log(np.abs(self.rest[place - 1 : place + 2]) + 1e-300)
        bend = low - 2 * mid + high
        return place + float(np.clip(0.5 * (low - high) / bend, -0.5, 0.5) if bend < 0 else 0.0)

    def _polish(self, group: Array, target: Complex) -> tuple[Array, Complex]:
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
            if np.max(np.abs(step)) < 1e-6:
                break
        bins = _around(places, target.size)
        return np.asarray(places), self._solve(places, bins, target[bins])

    def _sizes_in(self, channel: Complex) -> Complex:
        """Sizes of all lines in one channel, group by group, the others taken out."""
        sizes = np.zeros_like(self._sizes)
        rest = channel.copy()
        order = np.argsort(self.places)
        cuts = np.flatnonzero(np.diff(self.places[order]) >= NEAR_BINS) + 1
        for group in np.split(order, cuts) if order.size else ():
            places = self.places[group]
            bins = _around(places, channel.size)
            sizes[group] = self._solve(places, bins, rest[bins])
            self._put(rest, places, -sizes[group])
        return sizes

    def _uncertainty(self, index: int, noise: float) -> tuple[float, float]:
        """Standard uncertainty of place and size of one line from the noise power in a bin."""
        near = np.flatnonzero(np.abs(self.places - self.places[index]) < NEAR_BINS)
        own = int(np.flatnonzero(near == index)[0])
        places, sizes = self.places[near], self._sizes[near]
        bins = _around(places, self.rest.size)
        columns = self._columns(places, bins, sizes)
        inverse = np.linalg.pinv(np.concatenate((columns.real, columns.imag)))
        between = np.zeros((bins.size, bins.size))
        for apart, correlation in enumerate(HANN_NEIGHBOURS):
            between += correlation * (np.eye(bins.size, k=apart) + np.eye(bins.size, k=-apart))
        between[np.diag_indices(bins.size)] = HANN_NEIGHBOURS[0]
        noisy = np.kron(np.eye(2), between) * noise / 2  # real and imaginary parts alike
        covariance = inverse @ noisy @ inverse.T
        size = sizes[own]
        along = np.array([np.real(size), np.imag(size)]) / max(abs(size), 1e-300)
        parts = [own, near.size + own]
        size_variance = along @ covariance[np.ix_(parts, parts)] @ along
        place = 2 * near.size + own
        variances = np.maximum([covariance[place, place], size_variance], 0.0)
        u_place, u_size = np.sqrt(variances).tolist()
        return u_place, u_size

    def _columns(self, places: Array, bins: NDArray[np.int_], sizes: Complex) -> Complex:
        """Derivatives by real part, imaginary part and place of every line."""
        step = 1e-4
        turning, against = self._shapes(places, bins)
        after, before = self._shapes(places + step, bins), self._shapes(places - step, bins)
        by_place = (after[0] - before[0]) * sizes + (after[1] - before[1]) * np.conj(sizes)
        return np.concatenate(
            (turning + against, 1j * (turning - against), by_place / (2 * step)), axis=1
        )

    def _solve(self, places: Array, bins: NDArray[np.int_], wanted: Complex) -> Complex:
        """Complex sizes (half the peak) that fit the wanted bins best."""
        turning, against = self._shapes(places, bins)
        columns = np.concatenate((turning + against, 1j * (turning - against)), axis=1)
        matrix = np.concatenate((columns.real, columns.imag))
        parts = np.linalg.lstsq(matrix, np.concatenate((wanted.real, wanted.imag)), rcond=None)[0]
        return np.asarray(parts[: places.size] + 1j * parts[places.size :])

    def _model(self, places: Array, sizes: Complex, bins: NDArray[np.int_]) -> Complex:
        turning, against = self._shapes(places, bins)
        return np.asarray(turning @ sizes + against @ np.conj(sizes))

    def _put(self, target: Complex, places: Array, sizes: Complex) -> None:
        """Add these lines to a spectrum, as far as they reach."""
        if places.size:
            low = max(int(places.min()) - LEAK_BINS, 0)
            bins = np.arange(low, min(int(places.max()) + LEAK_BINS, target.size))
            target[bins] += self._model(places, sizes, bins)

    def _shapes(self, places: Array, bins: NDArray[np.int_]) -> tuple[Complex, Complex]:
        """Transform of a windowed turning arrow of size 1 at ±place, at these bins."""
        turning = _hann(bins[:, None] - places[None, :], self._samples)
        if places.min() + bins[0] > LEAK_BINS:  # the arrow that turns against is far away
            return turning, np.zeros_like(turning)
        return turning, _hann(bins[:, None] + places[None, :], self._samples)


def _transform(deviation: Array) -> Complex:
    samples = deviation.shape[1]
    window = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(samples) / samples)
    return np.asarray(np.fft.rfft(deviation * window, axis=1))


def _hann(x: Array, samples: int) -> Complex:
    """Transform of the periodic Hann window, x in bins.

    Half a Dirichlet kernel less a quarter of each neighbour; all three share sin(πx).
    """
    x = np.where(np.abs(x - np.round(x)) < 1e-9, x + 1e-9, x)
    turn = np.exp(-1j * np.pi * x * (samples - 1) / samples)
    side = np.exp(1j * np.pi / samples)
    step = np.pi / samples
    kernels = 0.5 / np.sin(step * x)
    kernels = kernels - 0.25 * side / np.sin(step * (x + 1))
    kernels = kernels - 0.25 * np.conj(side) / np.sin(step * (x - 1))
    return np.asarray(turn * np.sin(np.pi * x) * kernels)


def _around(places: Array, size: int) -> NDArray[np.int_]:
    low = max(int(np.floor(places.min())) - REACH_BINS, 0)
    high = min(int(np.ceil(places.max())) + REACH_BINS + 1, size)
    return np.arange(low, high)


def _floor(power: Array) -> Array:
    """Mean noise power around each bin: running median over the surroundings ÷ ln 2."""
    half = FLOOR_BINS // 2
    padded = np.pad(power, half, mode="reflect")
    step = 8  # the median moves slowly: taken at every eighth bin
    windows = np.lib.stride_tricks.sliding_window_view(padded, FLOOR_BINS)[::step]
    medians = np.median(windows, axis=1) / np.log(2)
    where = np.arange(0, power.size, step)[: medians.size]
    quietest = 1e-28 * float(power.max(initial=0.0)) + 1e-300  # rounding, not noise
    return np.asarray(np.maximum(np.interp(np.arange(power.size), where, medians), quietest))
