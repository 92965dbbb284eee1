"""The quasi-peak meter of ITU-R BS.468: a burst reads less than a tone that goes on.

The recommendation prescribes readings of bursts (its Tables 2 and 3), no circuit. Two peak
rectifiers in tandem can do it, it says, and that is what is here: each takes up quickly and
lets go slowly. The four time constants are a fit to the tables, not part of the standard; they
meet all eleven windows at every usual sample rate, at worst 0.28 dB from the middle (a test).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

FIRST_CHARGE_S, FIRST_DISCHARGE_S = 1.3e-3, 0.277
SECOND_CHARGE_S, SECOND_DISCHARGE_S = 0.140, 0.173
SETTLED_S = 1.0
"""After this long within steady noise the needle has come to rest: more than five of its slowest
time constants (0.173 s); what is left is below 0.4 %."""

CALIBRATION_HZ = 1000.0


@dataclass(frozen=True, slots=True, eq=False)
class QuasiPeak:
    """A quasi-peak meter, calibrated to show the r.m.s. value of a steady sine of 1 kHz.

    Parameters
    ----------
    rate_hz : float
        Samples per second of what it is shown, 32 000 or more.

    References
    ----------
    ITU-R BS.468-4 part 2: 2.1 Table 2, 2.2 Table 3, 2.6 calibration.
    """

    rate_hz: float

    def needle(self, weighted: NDArray[np.floating]) -> Array:
        """What the needle shows over time.

        Parameters
        ----------
        weighted : ndarray of float, shape (frame,)
            Behind the weighting; silence before it.

        Returns
        -------
        ndarray of float64, shape (frame,)
            In the unit of the input, as the r.m.s. value of a steady 1 kHz tone.
        """
        return _two_rectifiers(np.abs(weighted), self.rate_hz) / _steady_sine(self.rate_hz)


def _two_rectifiers(rectified: NDArray[np.floating], rate_hz: float) -> Array:
    """A plain loop: each step depends on which side of the last one the signal is."""
    up1, down1, up2, down2 = (
        1 - math.exp(-1 / (rate_hz * seconds))
        for seconds in (FIRST_CHARGE_S, FIRST_DISCHARGE_S, SECOND_CHARGE_S, SECOND_DISCHARGE_S)
    )
    shown = []
    first = second = 0.0
    for value in rectified.tolist():
        first += (up1 if value > first else down1) * (value - first)
        second += (up2 if first > second else down2) * (first - second)
        shown.append(second)
    return np.array(shown)


@lru_cache
def _steady_sine(rate_hz: float) -> float:
    """Reading of a sine of r.m.s. 1 at 1 kHz once it stands still."""
    times_s = np.arange(round(1.5 * rate_hz)) / rate_hz
    sine = math.sqrt(2) * np.abs(np.sin(2 * np.pi * CALIBRATION_HZ * times_s))
    return float(_two_rectifiers(sine, rate_hz)[-round(0.1 * rate_hz) :].mean())
