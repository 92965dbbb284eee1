"""How the ear minds hiss: the weightings of noise, right at every sample rate.

Two curves are standard: the one of ITU-R BS.468, given by a passive network, and A of
IEC 61672-1, given by its pole frequencies. Both are applied here by their own complex response
in the frequency domain, on a stretch padded with silence until its end has died away. A
recursive filter made of them by a bilinear transform misses the tolerance of either at 44.1 to
96 kHz by up to 20 dB; this has no error but rounding below half the sample rate, and what lies
above that is not in the recording.

The network is worked out from the values of its parts, not from somebody's polynomial. A figure
of the recommendation's first print of it is known to be wrong: IEC 60268-1:1985 labels the last
capacitor 41.47 nF, with which the curve breaks its own tolerance; 31.47 nF keeps it.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.fft import irfft, next_fast_len, rfft, rfftfreq

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

WeightingName = Literal["468", "A"]

REFERENCE_HZ = 1000.0
"""Where both curves are 0 dB; the 468 curve then stands 0.017 dB above its table at 6.3 kHz."""

# BS.468-4 Fig. 1a: between 600 Ω and 600 Ω, shunt capacitors (F) and series elements in turn.
_SOURCE_OHM = _LOAD_OHM = 600.0
_LADDER: tuple[tuple[Literal["shunt C", "series L", "series C"], float], ...] = (
    ("shunt C", 13.85e-9),
    ("series L", 12.88e-3),
    ("shunt C", 26.82e-9),
    ("series C", 33.06e-9),
    ("shunt C", 9.21e-9),
    ("series L", 26.49e-3),
    ("shunt C", 31.47e-9),
)

# IEC 61672-1:2013, annex E: the frequencies from which the poles of the curve A follow.
_LOW_HZ, _HIGH_HZ, _A_HZ = 10**1.5, 10**3.9, 10**2.45

DIES_AWAY_S = 1.0
"""Silence added to a stretch. The slowest pole of either curve is A's at 20.6 Hz: after 1 s
2π · 20.6 · 1 = 129 time constants have passed."""


def response(weighting: WeightingName, frequency_hz: ArrayLike) -> Complex:
    """Complex response of a weighting, 1 in size at 1 kHz.

    Parameters
    ----------
    weighting : {'468', 'A'}
    frequency_hz : array_like
        At least 0; both curves are 0 at 0.

    Returns
    -------
    ndarray of complex128, the shape of `frequency_hz`

    References
    ----------
    ITU-R BS.468-4 Fig. 1a and Table 1; IEC 61672-1:2013 annex E.

    Examples
    --------
    >>> float(np.round(20 * np.log10(abs(response("468", 6300.0))), 2))
    12.22
    >>> float(np.round(20 * np.log10(abs(response("A", 100.0))), 1))
    -19.1
    """
    curve = _network if weighting == "468" else _curve_a
    frequencies_hz = np.asarray(frequency_hz, dtype=np.float64)
    return np.asarray(curve(frequencies_hz) / np.abs(curve(np.array(REFERENCE_HZ))))


def gain_db(weighting: WeightingName, frequency_hz: ArrayLike) -> Array:
    """Gain of a weighting in dB against 1 kHz, for frequencies above 0."""
    return np.asarray(20 * np.log10(np.abs(response(weighting, frequency_hz))))


def weighted(
    samples: NDArray[np.floating], rate_hz: float, weighting: WeightingName
) -> NDArray[np.floating]:
    """Pass a stretch through a weighting.

    Parameters
    ----------
    samples : ndarray of float, shape (channel, frame)
        Before and after the stretch there is silence.
    rate_hz : float

    Returns
    -------
    ndarray of the samples' own precision, shape (channel, frame)
        The beginning holds the weighting's own onset: about 0.1 s.
    """
    return Curves(samples, rate_hz).weighted(weighting)


class Curves:
    """A stretch of noise, ready to be seen through one curve after the other.

    Parameters
    ----------
    samples : ndarray of float, shape (channel, frame)
        Before and after the stretch there is silence.
    rate_hz : float
    """

    def __init__(self, samples: NDArray[np.floating], rate_hz: float) -> None:
        self._frames = samples.shape[1]
        self._size = next_fast_len(self._frames + math.ceil(DIES_AWAY_S * rate_hz), real=True)
        self._rate_hz = rate_hz
        self._spectrum = rfft(samples, self._size, axis=1)

    def weighted(self, weighting: WeightingName) -> NDArray[np.floating]:
        """Return the stretch behind a weighting, shape (channel, frame)."""
        return self._through(_gains(weighting, self._size, self._rate_hz))

    def between(self, low_hz: float, high_hz: float) -> NDArray[np.floating]:
        """Return what of the stretch lies between two frequencies, shape (channel, frame)."""
        frequency_hz = rfftfreq(self._size, 1 / self._rate_hz)
        return self._through((frequency_hz >= low_hz) & (frequency_hz <= high_hz))

    def _through(self, gains: NDArray[np.bool_] | Complex) -> NDArray[np.floating]:
        passed = self._spectrum * gains.astype(self._spectrum.dtype)
        return np.asarray(irfft(passed, self._size, axis=1, overwrite_x=True)[:, : self._frames])


@lru_cache(maxsize=2)
def _gains(weighting: WeightingName, size: int, rate_hz: float) -> Complex:
    return response(weighting, rfftfreq(size, 1 / rate_hz))


def _network(frequency_hz: Array) -> Complex:
    """Voltage across the load for 1 V at the source: product of the chain matrices."""
    s = 2j * np.pi * frequency_hz
    with np.errstate(divide="ignore", invalid="ignore"):
        # v and i at the source's side for 1 V across the load, part by part from the load on
        voltage = np.ones_like(s)
        current = voltage / _LOAD_OHM
        for kind, value in reversed(_LADDER):
            if kind == "shunt C":
                current = current + voltage * s * value
            elif kind == "series L":
                voltage = voltage + current * s * value
            else:
                voltage = voltage + current / (s * value)
        passed = 1 / (voltage + current * _SOURCE_OHM)
    return np.where(frequency_hz > 0, passed, 0)


def _curve_a(frequency_hz: Array) -> Complex:
    """Four zeros at zero frequency, double poles at f1 and f4, single ones at f2 and f3."""
    squares = _a_pole_squares()
    middle = [_A_HZ * (3 + sign * math.sqrt(5)) / 2 for sign in (-1, 1)]
    s = 1j * frequency_hz
    bottom = np.ones_like(s)
    for square in squares:
        bottom = bottom * (s + math.sqrt(square)) ** 2
    for pole_hz in middle:
        bottom = bottom * (s + pole_hz)
    return np.asarray(s**4 / bottom)


def _a_pole_squares() -> tuple[float, float]:
    """f1² and f4²: the roots of x² + b x + (f_L f_H)² = 0, half power at f_L and f_H."""
    half = math.sqrt(0.5)
    product = (_LOW_HZ * _HIGH_HZ) ** 2
    b = (REFERENCE_HZ**2 + product / REFERENCE_HZ**2 - half * (_LOW_HZ**2 + _HIGH_HZ**2)) / (
        1 - half
    )
    root = math.sqrt(b**2 - 4 * product)
    return (-b - root) / 2, (-b + root) / 2
