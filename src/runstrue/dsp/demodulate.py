"""The one streamed demodulator: from sound to the frequency of a tone, 500 times a second.

Two steps, both linear-phase and streamed (`BlockFilter`):

1. a complex band-pass around the tone straight to a rate of about 2.4 kHz; the angle between
   neighbouring values is the frequency, their size the level;
2. a low-pass of that frequency, flat to 200 Hz and silent from 250 Hz, to 500 Hz. The angle
   between neighbours is a mean over one interval, which is undone here (1/sinc).

Because the frequency comes from the angle between neighbours, nothing depends on where the
phase began: the state is the filters' tails and one value.
"""

from __future__ import annotations

import copy
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from functools import partial

import numpy as np
from numpy.typing import NDArray

from runstrue.dsp.block_filter import BlockFilter
from runstrue.dsp.kaiser import LowPass
from runstrue.dsp.prompt_filter import PromptFilter
from runstrue.errors import SignalError

Array = NDArray[np.float64]

DEVIATION_RATE_HZ = 500.0
FLAT_TO_HZ = 200.0
SILENT_FROM_HZ = 250.0
NOISE_CENTRE_HZ = 350.0  # beyond the flutter, inside the first band-pass
CELL_SAMPLES = 10  # level and quality are kept per cell of so many deviation samples (20 ms)
BASE_RATE_HZ = 2400.0
LOWEST_RATE_HZ = 8000.0
HIGHEST_RATE_HZ = 768_000.0


@dataclass(frozen=True, slots=True)
class Band:
    """The band around a tone that is listened to.

    Parameters
    ----------
    low_hz, high_hz : float
        Where the tone itself may lie.
    """

    low_hz: float
    high_hz: float

    @property
    def centre_hz(self) -> float:
        """Middle of the band."""
        return (self.low_hz + self.high_hz) / 2

    @property
    def half_hz(self) -> float:
        """Half-width of the flat band: the tone's range and its sidebands."""
        room = NOISE_CENTRE_HZ + 75.0
        half = (self.high_hz - self.low_hz) / 2 + room
        return min(half, 0.8 * self.centre_hz)  # a low tone must not meet its own mirror image


@dataclass(frozen=True, slots=True, eq=False)
class Demodulated:
    """What one stretch of sound gave.

    Parameters
    ----------
    offset_hz : ndarray, shape (channel, sample)
        Frequency less the band's centre, at `DEVIATION_RATE_HZ` or very near.
    level_db, flicker, jitter, noise_per_hz : ndarray, shape (channel, cell)
        Per cell of `CELL_SAMPLES` deviation samples: lowest level (dB re full-scale sine);
        r.m.s. of the fast change of level relative to the level; r.m.s. change of the angle
        from one value to the next (rad); noise-to-carrier density N₀/C (1/Hz), from the power
        of the frequency around `NOISE_CENTRE_HZ`.
    """

    offset_hz: NDArray[np.float64]
    level_db: NDArray[np.float64]
    flicker: NDArray[np.float64]
    jitter: NDArray[np.float64]
    noise_per_hz: NDArray[np.float64]


class Demodulator:
    """Follow a tone through streamed sound.

    Parameters
    ----------
    rate_hz : float
        Sample rate, `LOWEST_RATE_HZ` to `HIGHEST_RATE_HZ`.
    channels : int
    band : Band
        Where the tone may lie.
    prompt : bool
        Give every value as soon as the sound for it is there, 60 ms after, rather than a tenth of
        a second at a time. The values are the same to rounding; long records take longer.

    Attributes
    ----------
    deviation_rate_hz : float
        Rate of the frequency values: 500 Hz for all common sample rates, within 1 % otherwise.
    grid_frames : int
        Frames after which everything falls into step again: sound that is cut off in front at a
        multiple of this gives the same values and cells.

    Raises
    ------
    SignalError
        When the sample rate cannot carry the band.
    """

    def __init__(self, rate_hz: float, channels: int, band: Band, *, prompt: bool = False) -> None:
        _check_rate(rate_hz, band)
        self.band = band
        down, ratio = _decimation(rate_hz, band)
        self._base_rate_hz = base_hz = rate_hz / down
        self.deviation_rate_hz = base_hz * float(ratio)
        stop_hz = min(base_hz, 2 * band.low_hz, rate_hz - 2 * band.high_hz) - band.half_hz
        front = LowPass(band.half_hz, max(stop_hz, 1.05 * band.half_hz), rate_hz)
        turn = 2 * np.pi * band.centre_hz / rate_hz
        self._front = BlockFilter(
            lambda offset: 2 * front(offset) * np.exp(1j * turn * offset),
            front.reach,
            1,
            down,
            channels,
        )
        self._turn_back = np.exp(-1j * turn * down)
        self.grid_frames = _grid_frames(down, ratio)
        step = _second_step(base_hz, ratio, channels, prompt=prompt)
        self._smooth = step(_flat_kernel(base_hz), unity=True)
        self._noise = step(_noise_kernel(base_hz))
        self._noise_gathered = _noise_gathered(base_hz)
        self._begin(channels, ratio)

    def fresh(self) -> Demodulator:
        """Return the same demodulator as it was before its first sound.

        Its filters need not be worked out again, which takes longer than a second of sound.
        """
        anew = copy.copy(self)
        anew._front = self._front.fresh()
        anew._smooth, anew._noise = self._smooth.fresh(), self._noise.fresh()
        anew._begin(self._last.shape[0], self._ratio)
        return anew

    def _begin(self, channels: int, ratio: Fraction) -> None:
        self._ratio = ratio
        self._cells = _Cells(channels, ratio)
        self._last = np.zeros((channels, 0), dtype=np.complex128)

    def process(self, samples: NDArray[np.floating]) -> Demodulated:
        """Take samples of shape (channel, frame); return what they complete."""
        size, angle = self._angles(self._front.process(samples))
        return self._second(size, angle, finish=False)

    def finish(self) -> Demodulated:
        """Return what is still owed after the last block."""
        size, angle = self._angles(self._front.finish())
        return self._second(size, angle, finish=True)

    def _angles(self, base: NDArray[np.complex128]) -> tuple[Array, Array]:
        """Level, and angle from value to value less the turn of the band's centre."""
        joined = np.concatenate((self._last, base), axis=1)
        self._last = joined[:, -1:]
        turned = joined[:, 1:] * np.conj(joined[:, :-1]) * self._turn_back
        return np.abs(joined[:, 1:]), np.angle(turned)

    def _second(self, size: Array, angle: Array, *, finish: bool) -> Demodulated:
        frequency = angle * (self._base_rate_hz / (2 * np.pi))
        offset_hz = self._smooth.process(frequency)
        noise = self._noise.process(frequency)
        if finish:
            offset_hz = np.concatenate((offset_hz, self._smooth.finish()), axis=1)
            noise = np.concatenate((noise, self._noise.finish()), axis=1)
        level_db, flicker, jitter, power = self._cells.process(size, angle, noise)
        return Demodulated(offset_hz, level_db, flicker, jitter, power / self._noise_gathered)


class _Cells:
    """Level and quality per cell: every cell covers `CELL_SAMPLES` deviation samples."""

    def __init__(self, channels: int, ratio: Fraction) -> None:
        self._ratio = ratio
        self._base = np.zeros((3, channels, 0))  # level, angle, change of angle
        self._noise = np.zeros((channels, 0))
        self._last_angle: Array | None = None
        self._cell = 0
        self._start = 0  # base sample at which `_base` begins

    def process(self, size: Array, angle: Array, noise: Array) -> tuple[Array, ...]:
        """Return what is complete: level (dB), flicker, jitter (rad), power of the noise (Hz²)."""
        before = angle[:, :1] if self._last_angle is None else self._last_angle
        if angle.shape[1]:
            self._last_angle = angle[:, -1:]
        change = np.diff(angle, axis=1, prepend=before) if angle.shape[1] else angle
        self._base = np.concatenate((self._base, np.stack((size, angle, change))), axis=2)
        self._noise = np.concatenate((self._noise, noise), axis=1)
        cells = min(
            int((self._start + self._base.shape[2]) * self._ratio / CELL_SAMPLES) - self._cell,
            self._noise.shape[1] // CELL_SAMPLES,
        )
        if cells <= 0:
            return (np.zeros((size.shape[0], 0)),) * 4
        numbers = np.arange(self._cell, self._cell + cells + 1)
        edges = -(-numbers * CELL_SAMPLES * self._ratio.denominator // self._ratio.numerator)
        edges -= self._start
        begins, lengths, end = edges[:-1], np.diff(edges), int(edges[-1])
        size, _, change = self._base[:, :, :end]
        mean = np.add.reduceat(size, begins, axis=1) / lengths
        square = np.add.reduceat(size**2, begins, axis=1) / lengths
        lowest = np.minimum.reduceat(size, begins, axis=1)
        jitter = np.sqrt(np.add.reduceat(change**2, begins, axis=1) / lengths)
        used = cells * CELL_SAMPLES
        power = (self._noise[:, :used] ** 2).reshape(-1, cells, CELL_SAMPLES).mean(axis=2)
        self._base, self._noise = self._base[:, :, end:], self._noise[:, used:]
        self._cell += cells
        self._start += end
        flicker = np.sqrt(np.maximum(square - mean**2, 0)) / np.maximum(mean, 1e-10)
        return (
            20 * np.log10(np.maximum(lowest, 1e-10)),
            flicker,
            jitter,
            np.maximum(power, 1e-20),
        )


def _check_rate(rate_hz: float, band: Band) -> None:
    if not LOWEST_RATE_HZ <= rate_hz <= HIGHEST_RATE_HZ:
        raise SignalError(
            f"The recording has {rate_hz:,.0f} samples a second",
            f"{LOWEST_RATE_HZ:,.0f} to {HIGHEST_RATE_HZ:,.0f} are needed",
            "record at 44,100 or 48,000",
        )
    if band.high_hz + 0.5 * NOISE_CENTRE_HZ > rate_hz / 2:
        raise SignalError(
            f"The recording has {rate_hz:,.0f} samples a second",
            f"a tone of up to {band.high_hz:,.0f} Hz needs more than "
            f"{2 * band.high_hz + NOISE_CENTRE_HZ:,.0f}",
            "record at a higher rate",
        )


def _decimation(rate_hz: float, band: Band) -> tuple[int, Fraction]:
    """Whole step down to the base rate, and the fraction from there to 500 Hz.

    Of the steps within a tenth of the largest one that leaves room for the band, the one with
    the simplest fraction is taken, so that the second step's matrix stays small.
    """
    most = max(int(rate_hz / max(BASE_RATE_HZ, 2.8 * band.half_hz)), 1)
    steps = range(most, max(most - most // 10 - 1, 0), -1)

    def fraction(down: int) -> Fraction:
        return Fraction(DEVIATION_RATE_HZ * down / rate_hz).limit_denominator(450)

    def rank(down: int) -> tuple[bool, int]:
        exact = abs(float(fraction(down)) * rate_hz / down - DEVIATION_RATE_HZ) < 1e-6
        return not exact, fraction(down).denominator

    down = min(steps, key=rank)
    return down, fraction(down)


def _grid_frames(down: int, ratio: Fraction) -> int:
    """Frames from one common beginning of a base value and a cell to the next."""
    base = Fraction(CELL_SAMPLES) / ratio  # base values to a cell
    return base.numerator * down


def _second_reach(base_hz: float) -> int:
    return LowPass(FLAT_TO_HZ, SILENT_FROM_HZ, base_hz).reach + 3


def _second_step(
    base_hz: float, ratio: Fraction, channels: int, *, prompt: bool
) -> Callable[..., BlockFilter | PromptFilter]:
    """Put a kernel on the frequencies, which stand half-way between the values of the base."""
    return partial(
        PromptFilter if prompt else BlockFilter,
        reach=_second_reach(base_hz),
        up=ratio.numerator,
        down=ratio.denominator,
        channels=channels,
        offset=-0.5,
    )


def _flat_kernel(base_hz: float) -> Callable[[Array], Array]:
    """Low-pass, flat to 200 Hz, that undoes the mean over one interval (1/sinc)."""
    low_pass = LowPass(FLAT_TO_HZ, SILENT_FROM_HZ, base_hz)
    rates = np.linspace(0, SILENT_FROM_HZ, 200) / base_hz
    orders = np.arange(4)
    cosines = np.where(orders == 0, 1, 2) * np.cos(2 * np.pi * np.outer(rates, orders))
    weights = np.linalg.lstsq(cosines, 1 / np.sinc(rates), rcond=None)[0]

    def kernel(offset: Array) -> Array:
        total = weights[0] * low_pass(offset)
        for order in orders[1:]:
            total = total + weights[order] * (low_pass(offset - order) + low_pass(offset + order))
        return np.asarray(total)

    return kernel


def _noise_kernel(base_hz: float) -> Callable[[Array], Array]:
    """Band-pass around `NOISE_CENTRE_HZ`, 50 Hz wide."""
    low_pass = LowPass(25.0, 75.0, base_hz)
    turn = 2 * np.pi * NOISE_CENTRE_HZ / base_hz

    def kernel(offset: Array) -> Array:
        return np.asarray(2 * low_pass(offset) * np.cos(turn * offset))

    return kernel


def _noise_gathered(base_hz: float) -> float:
    """Power in Hz² that the band around `NOISE_CENTRE_HZ` gathers for each 1/Hz of N₀/C.

    Notes
    -----
    Above threshold the frequency noise has the one-sided density f²·N₀/C (Hz²/Hz): the FM
    noise law of the textbooks (H. Taub, D. L. Schilling, *Principles of Communication
    Systems*; from memory, sure). The power in a band is its integral over the band's own
    response, here with the mean over one interval that lies in the angle.
    """
    rates_hz, gain = _response(_noise_kernel(base_hz), _second_reach(base_hz), base_hz)
    gain = gain * np.sinc(rates_hz / base_hz)
    return float(np.trapezoid(rates_hz**2 * gain**2, rates_hz))


def _response(kernel: Callable[[Array], Array], reach: int, rate_hz: float) -> tuple[Array, Array]:
    """Gain of a kernel over frequency."""
    taps = kernel(np.arange(-reach, reach + 1, dtype=float))
    points = 1 << 14
    rates_hz = np.asarray(np.fft.rfftfreq(points, 1 / rate_hz), dtype=np.float64)
    return rates_hz, np.asarray(np.abs(np.fft.rfft(taps, points)), dtype=np.float64)
