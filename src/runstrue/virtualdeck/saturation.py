"""A tape that saturates, with harmonics in closed form.

The law is y = x / (1 + k x²), times a lift of treble before it and its inverse behind it. A sine
of peak A gives, with a = k A² and q = (√(1 + a) − 1) / √a,

    first harmonic    2 (1 − 1/√(1 + a)) / (k A)
    third over first  −q²
    nth over first    0 for even n, ±q^(n−1) for odd n

(the integrals of sin²/(1 + a sin²), elementary). The third harmonic follows the square of the
level while small, and the first harmonic falls again once a > 1.618: the golden ratio.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from runstrue.virtualdeck.chain import Saturation

Array = NDArray[np.float64]

LOUDEST = (1 + math.sqrt(5)) / 2
"""a at which the first harmonic is largest."""


@dataclass(frozen=True, slots=True)
class Law:
    """The law at one reference level.

    Parameters
    ----------
    curve : float
        k, for x in full scale.
    bow : float
        c of the term c x² that makes even harmonics.
    treble_hz : float
    """

    curve: float
    bow: float
    treble_hz: float

    @staticmethod
    def of(saturation: Saturation, reference_peak: float) -> Law:
        """Return the law of which a reference sine has the harmonics that were asked for."""
        a = bend_for(saturation.third_percent / 100)
        bow = 2 * saturation.second_percent / 100 / reference_peak
        return Law(a / reference_peak**2, bow, saturation.treble_hz)

    def lift(self, frequencies_hz: Array) -> Array:
        """Gain ahead of the law; its inverse stands behind it."""
        return np.asarray(np.sqrt(1 + (frequencies_hz / self.treble_hz) ** 2))

    def bent(self, samples: Array) -> Array:
        """Return what the law makes of samples, without its even part."""
        return np.asarray(samples / (1 + self.curve * samples**2))

    def first(self, peak: float) -> float:
        """Peak of the first harmonic of a sine."""
        a = self.curve * peak**2
        if a < 1e-9:
            return peak
        return 2 * (1 - 1 / math.sqrt(1 + a)) / (self.curve * peak)

    def third(self, peak: float) -> float:
        """Peak of the third harmonic of a sine."""
        a = self.curve * peak**2
        return self.first(peak) * (a / 4 if a < 1e-9 else ((math.sqrt(1 + a) - 1) ** 2 / a))

    def second(self, peak: float) -> float:
        """Peak of the second harmonic of a sine."""
        return self.bow * peak**2 / 2


def bend_for(third: float) -> float:
    """Return a of the sine whose third harmonic is this share (0 to 1) of its first."""
    q = math.sqrt(third)
    return (2 * q / (1 - q**2)) ** 2
