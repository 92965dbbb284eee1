"""Windowed-sinc kernels with a stated pass band and stop band.

Kaiser's formulas for the window and its length: J. F. Kaiser, 'Nonrecursive digital filter
design using the I0-sinh window function', 1974; in A. V. Oppenheim, R. W. Schafer,
*Discrete-Time Signal Processing*, section on the Kaiser window (from memory, sure).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class LowPass:
    """A linear-phase low-pass kernel in continuous time.

    Parameters
    ----------
    pass_hz, stop_hz : float
        End of the flat band and begin of the stop band, pass below stop.
    rate_hz : float
        Rate of the samples it is applied to.
    attenuation_db : float
        Ripple in both bands, above 21 dB.
    """

    pass_hz: float
    stop_hz: float
    rate_hz: float
    attenuation_db: float = 80.0

    @property
    def reach(self) -> int:
        """Half-length in samples."""
        width = 2 * math.pi * (self.stop_hz - self.pass_hz) / self.rate_hz
        return math.ceil((self.attenuation_db - 7.95) / (2.285 * width) / 2)

    @property
    def beta(self) -> float:
        """Shape of the Kaiser window."""
        if self.attenuation_db > 50:
            return 0.1102 * (self.attenuation_db - 8.7)
        excess = self.attenuation_db - 21
        return 0.5842 * math.pow(excess, 0.4) + 0.07886 * excess

    def __call__(self, offset: NDArray[np.float64]) -> NDArray[np.float64]:
        """Kernel values at offsets given in samples; unit gain at 0 Hz."""
        cut = (self.pass_hz + self.stop_hz) / self.rate_hz  # twice the mid frequency
        inside = np.clip(1 - (offset / (self.reach + 1)) ** 2, 0, None)
        window = np.i0(self.beta * np.sqrt(inside)) / np.i0(self.beta)
        return np.asarray(cut * np.sinc(cut * offset) * window)
