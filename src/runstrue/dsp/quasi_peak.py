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
SECOND_BEAT_S = 1 / 6000
PIECE = 1 << 16
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
    """The second follows the first at a slower beat, since it takes a hundred times as long.

    It sees the first one's mean over about a sixth of a millisecond, a thousandth of its own
    quickest time constant.
    """
    first = _one_rectifier(rectified, rate_hz, FIRST_CHARGE_S, FIRST_DISCHARGE_S)
    beat = max(round(SECOND_BEAT_S * rate_hz), 1)
    whole = -(-first.size // beat) * beat
    means = np.pad(first, (0, whole - first.size), mode="edge").reshape(-1, beat).mean(axis=1)
    second = _one_rectifier(means, rate_hz / beat, SECOND_CHARGE_S, SECOND_DISCHARGE_S)
    return np.repeat(second, beat)[: first.size]


def _one_rectifier(
    values: NDArray[np.floating], rate_hz: float, charge_s: float, discharge_s: float
) -> Array:
    """A plain loop: each step depends on which side of the last one the value is."""
    up, down = (1 - math.exp(-1 / (rate_hz * seconds)) for seconds in (charge_s, discharge_s))
    shown = np.empty(values.size)
    held = 0.0
    for first in range(0, values.size, PIECE):  # Python's own numbers take four times the room
        piece = []
        for value in values[first : first + PIECE].tolist():
            if value > held:
                held += up * (value - held)
            else:
                held += down * (value - held)
            piece.append(held)
        shown[first : first + PIECE] = piece
    return shown


@lru_cache
def _steady_sine(rate_hz: float) -> float:
    """Reading of a sine of r.m.s. 1 at 1 kHz once it stands still."""
    times_s = np.arange(round(1.5 * rate_hz)) / rate_hz
    sine = math.sqrt(2) * np.abs(np.sin(2 * np.pi * CALIBRATION_HZ * times_s))
    return float(_two_rectifiers(sine, rate_hz)[-round(0.1 * rate_hz) :].mean())
