"""The weighting for wow and flutter: how much the ear minds each rate of speed variation.

The curve is a table (`weighting_table.toml`: IEC 60386 Table I, the same as AES6-2008), and
no standard names a network for it. The filter here is our own, in two steps:

1. An analogue prototype with three zeros at zero rate, two more zeros and six poles, fitted
   to the table so that the worst point is as good as it can be (`PROTOTYPE`; the fit is
   `docs/derivations/weighting_prototype.py`). All 17 points lie within 0.2 dB; the table has
   a kink near 63 Hz that keeps any smooth curve from doing much better.
2. A digital filter for whatever rate the deviation has. The poles and the zeros at zero rate
   are carried over by z = exp(s/rate), which places them exactly; a short numerator is then
   solved for so that the magnitude follows the prototype from 0.05 to 200 Hz. A bilinear
   transform would be wrong by decibels at 200 Hz and a rate of 500 Hz; this is right to
   0.02 dB there and better at every higher rate, so a reading does not depend on the rate.

The filter is causal and keeps its state between calls: blocks of any size give the same.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import interpolate, signal

from runstrue.errors import InputError, SignalError

REFERENCE_HZ = 4.0
"""Where the weight is exactly 0 dB: IEC 60386 Table I."""

LOWEST_RATE_HZ = 490.0
"""Lowest sampling rate of the deviation: the curve ends at 200 Hz, and the numerator can no
longer follow the prototype there when half the rate comes closer (own design: 0.02 dB here)."""

SETTLED = 1e-4
"""A start or a step of speed counts as settled when 0.01 % of it is left: a deck 3 % off
speed then leaves 0.0003 % behind, the residual that is aimed at (own choice)."""


@dataclass(frozen=True, slots=True)
class Prototype:
    """The analogue curve: gain ∝ s³ ∏(s + 2π zero) / [∏(s + 2π pole) · (s² + s·ω/Q + ω²)].

    Parameters
    ----------
    zeros_hz, poles_hz : tuple of float
        Corner rates of the real zeros and poles; three more zeros lie at zero rate.
    pair_hz, pair_quality : float
        Corner rate and quality of the one pair of complex poles.
    """

    zeros_hz: tuple[float, ...]
    poles_hz: tuple[float, ...]
    pair_hz: float
    pair_quality: float


PROTOTYPE = Prototype(
    zeros_hz=(8.7417, 95.616),
    poles_hz=(1.7462, 5.7185, 14.728, 120.56),
    pair_hz=0.42850,
    pair_quality=0.69545,
)
"""Smallest worst error against the table, with no more than 0.03 dB above the value at 4 Hz
anywhere: 0.192 dB. Recipe: `docs/derivations/weighting_prototype.py`."""

NUMERATOR_ORDER = 5
"""Zeros solved for at each rate; 4 leave 0.05 dB at 200 Hz and a rate of 500 Hz, 5 leave 0.02."""


class Weighting:
    """The weighting filter for a deviation signal.

    Parameters
    ----------
    rate_hz : float
        Samples of the deviation per second, at least 490.

    Raises
    ------
    InputError
        When the rate is too low to hold the curve, or is not a number.

    Notes
    -----
    The first sample after the start or a `reset` is taken to have stood for ever, so a deck
    that is off speed does not start with a step of its whole speed error.

    References
    ----------
    IEC 60386 Table I; AES6-2008.

    Examples
    --------
    >>> float(abs(Weighting(500.0).response(4.0)).round(6))
    1.0
    """

    def __init__(self, rate_hz: float) -> None:
        self.rate_hz = rate_hz
        self.sections = _sections(rate_hz).copy()
        self._state: NDArray[np.float64] | None = None

    @property
    def settling_s(self) -> float:
        """Seconds to discard after a start or a step of speed, until 0.01 % of it is left."""
        return _settling_s(self.rate_hz)

    def process(self, deviation_percent: NDArray[np.floating]) -> NDArray[np.float64]:
        """Weight the next block.

        Parameters
        ----------
        deviation_percent : ndarray of float, shape (channel, sample) or (sample,)
            The same number of channels in every block; any length.

        Returns
        -------
        ndarray of float64, same shape
            Weighted deviation in %.

        Raises
        ------
        SignalError
            When a value is not finite, or the number of channels changes.
        """
        block = np.asarray(deviation_percent, dtype=np.float64)
        if not np.isfinite(block).all():
            raise SignalError(
                "The deviation to be weighted holds values that are not numbers",
                "gaps must be left out before the weighting",
            )
        if block.shape[-1] == 0:
            return block
        if self._state is None:
            settled = signal.sosfilt_zi(self.sections)
            shape = (len(settled), *(1,) * (block.ndim - 1), 2)
            self._state = settled.reshape(shape) * block[..., :1]
        if self._state.shape[1:-1] != block.shape[:-1]:
            raise SignalError(
                f"A block of shape {block.shape} followed blocks of another shape",
                "the channels must stay the same",
            )
        weighted, self._state = signal.sosfilt(self.sections, block, zi=self._state)
        return np.asarray(weighted, dtype=np.float64)

    def reset(self) -> None:
        """Forget what came before, as after a gap; what follows settles anew."""
        self._state = None

    def response(self, rates_hz: ArrayLike) -> NDArray[np.complex128]:
        """Gain and phase at these rates, from the very coefficients in use.

        Parameters
        ----------
        rates_hz : array_like of float
            Rates of speed variation, from 0 to half the sampling rate.

        Returns
        -------
        ndarray of complex128, same shape
            1 in magnitude at 4 Hz.
        """
        delay = np.exp(-2j * np.pi * np.asarray(rates_hz, dtype=np.float64) / self.rate_hz)
        gain: NDArray[np.complex128] = np.ones_like(delay)
        for b0, b1, b2, a0, a1, a2 in self.sections:
            gain *= (b0 + delay * (b1 + delay * b2)) / (a0 + delay * (a1 + delay * a2))
        return gain


def weighting_table() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the rates in Hz and the weights in dB re 4 Hz of the table, as two arrays."""
    rates, weights = _table()
    return np.array(rates), np.array(weights)


def interpolate_weighting_db(rates_hz: ArrayLike) -> NDArray[np.float64]:
    """Weight in dB between the points of the table, for drawing the target curve.

    Parameters
    ----------
    rates_hz : array_like of float
        From 0.1 to 200 Hz.

    Returns
    -------
    ndarray of float64
        In dB re 4 Hz; a monotone cubic over the logarithm of the rate.

    Raises
    ------
    InputError
        Outside the table.
    """
    table_hz, table_db = weighting_table()
    rates = np.asarray(rates_hz, dtype=np.float64)
    if not ((rates >= table_hz[0]) & (rates <= table_hz[-1])).all():
        raise InputError(
            "A weight was asked for outside the weighting table",
            f"a rate from {table_hz[0]:g} to {table_hz[-1]:g} Hz is needed",
        )
    curve = interpolate.PchipInterpolator(np.log(table_hz), table_db)
    return np.asarray(curve(np.log(rates)), dtype=np.float64)


def prototype_gain(
    rates_hz: NDArray[np.float64], prototype: Prototype = PROTOTYPE
) -> NDArray[np.float64]:
    """Magnitude of the analogue prototype, 1 at 4 Hz."""
    zeros, poles = _roots(prototype)

    def magnitude(rates: NDArray[np.float64]) -> NDArray[np.float64]:
        s = 2j * np.pi * rates[:, np.newaxis]
        return np.asarray(
            np.abs(np.prod(s - zeros, axis=1) * s[:, 0] ** 3 / np.prod(s - poles, axis=1))
        )

    return magnitude(rates_hz) / magnitude(np.array([REFERENCE_HZ]))


def _roots(prototype: Prototype) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
    """Zeros (without those at zero rate) and poles in rad/s."""
    corner = prototype.pair_hz
    pair = np.roots([1.0, corner / prototype.pair_quality, corner**2])
    zeros = -np.array(prototype.zeros_hz, dtype=np.complex128)
    poles = np.concatenate([-np.array(prototype.poles_hz), pair]).astype(np.complex128)
    return 2 * np.pi * zeros, 2 * np.pi * poles


@lru_cache(maxsize=8)
def _sections(rate_hz: float) -> NDArray[np.float64]:
    """Second-order sections at this rate, each row b0 b1 b2 a0 a1 a2."""
    if not LOWEST_RATE_HZ <= rate_hz < np.inf:
        raise InputError(
            f"A deviation sampled {rate_hz:g} times a second was to be weighted",
            f"at least {LOWEST_RATE_HZ:g} are needed, since the curve reaches to 200 Hz",
        )
    poles = np.exp(_roots(PROTOTYPE)[1] / rate_hz)
    zeros = np.concatenate([np.ones(3), _numerator_zeros(rate_hz, poles)])
    # 'nearest' puts the zeros at zero rate beside the slow poles; more zeros than poles are
    # evened out by poles at z = 0, which only delay.
    poles = np.concatenate([poles, np.zeros(len(zeros) - len(poles))])
    sections = np.asarray(signal.zpk2sos(zeros, poles, 1.0), dtype=np.float64)
    _, gain = signal.sosfreqz(sections, worN=[REFERENCE_HZ], fs=rate_hz)
    sections[0, :3] /= np.abs(gain[0])
    return sections


def _numerator_zeros(rate_hz: float, poles: NDArray[np.complex128]) -> NDArray[np.complex128]:
    """Zeros that make the magnitude at this rate follow the prototype from 0.05 to 200 Hz.

    The squared magnitude of a real numerator is a polynomial in x = 1 − cos ω. Its
    coefficients are found by least squares on the relative error; each root x then gives a
    pair z, 1/z with z + 1/z = 2 (1 − x), of which the one inside the unit circle is taken.
    """
    rates_hz = np.geomspace(0.05, 200.0, 400)
    turn = 2 * np.pi * rates_hz / rate_hz
    unit = np.exp(1j * turn)
    without = (2 * np.sin(turn / 2)) ** 3 / np.abs(np.prod(unit[:, np.newaxis] - poles, axis=1))
    wanted = (prototype_gain(rates_hz) / without) ** 2
    x = 2 * np.sin(turn / 2) ** 2
    powers = x[:, np.newaxis] ** np.arange(NUMERATOR_ORDER + 1)
    fit = np.linalg.lstsq(powers / wanted[:, np.newaxis], np.ones(len(x)), rcond=None)[0]
    middle = 1 - np.polynomial.polynomial.polyroots(fit).astype(np.complex128)
    root = middle + np.sqrt(middle**2 - 1)
    inside = np.where(np.abs(root) < 1, root, 1 / root)
    # conjugate pairs come out equal but for rounding; filter design wants them exactly so
    return np.roots(np.real(np.poly(inside))).astype(np.complex128)


@lru_cache(maxsize=8)
def _settling_s(rate_hz: float) -> float:
    """Seconds after which the answer to a step stays below `SETTLED` of the step."""
    step = np.ones(int(20 * rate_hz))
    answer = signal.sosfilt(_sections(rate_hz), step)
    return float(np.flatnonzero(np.abs(answer) >= SETTLED)[-1] + 1) / rate_hz


@lru_cache(maxsize=1)
def _table() -> tuple[tuple[float, ...], tuple[float, ...]]:
    text = (resources.files("runstrue.dsp") / "weighting_table.toml").read_text("utf-8")
    table = tomllib.loads(text)
    return tuple(table["rates_hz"]), tuple(table["weights_db"])
