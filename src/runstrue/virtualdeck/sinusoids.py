"""Sums of many sinusoids at evenly spaced times, exactly and fast.

The addition theorem parts a long row of even times into coarse and fine ones, and the sum over
all sinusoids becomes two products of small matrices:

    sin(a_k + b_k)  with  a_k at every 64th time  and  b_k within the 64
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

FINE = 64


@dataclass(frozen=True, slots=True, eq=False)
class Sinusoids:
    """Σ amplitude · sin(2π (rate · t + phase)).

    Parameters
    ----------
    rates_hz, amplitudes, phases_turns : ndarray of float64, shape (sinusoid,)
    """

    rates_hz: Array
    amplitudes: Array
    phases_turns: Array

    @classmethod
    def of(cls, rows: list[tuple[float, float, float]]) -> Sinusoids:
        """Make one from rows of rate, amplitude and phase."""
        table = np.array(rows, dtype=np.float64).reshape(len(rows), 3)
        return cls(table[:, 0].copy(), table[:, 1].copy(), table[:, 2].copy())

    def integral(self) -> Sinusoids:
        """Return the sinusoids whose derivative these are (without the constant)."""
        return Sinusoids(
            self.rates_hz,
            self.amplitudes / (2 * np.pi * self.rates_hz),
            self.phases_turns - 0.25,
        )

    def at(self, times_s: Array) -> Array:
        """Return the sum at any times, shape as given."""
        total = np.zeros(times_s.shape)
        for rate, amplitude, phase in zip(
            self.rates_hz, self.amplitudes, self.phases_turns, strict=True
        ):
            turns = rate * times_s + phase
            total += amplitude * np.sin(2 * np.pi * (turns - np.rint(turns)))
        return total

    def at_even_times(self, start_s: float, step_s: float, count: int) -> Array:
        """Return the sum at ``start + step · n`` for n below `count`, a multiple of 64."""
        if not self.rates_hz.size:
            return np.zeros(count)
        coarse_s = start_s + step_s * FINE * np.arange(count // FINE)
        fine_s = step_s * np.arange(FINE)
        coarse_turns = np.outer(coarse_s, self.rates_hz) + self.phases_turns
        coarse = 2 * np.pi * (coarse_turns - np.rint(coarse_turns))
        fine = 2 * np.pi * np.outer(self.rates_hz, fine_s)
        left = np.hstack([np.sin(coarse) * self.amplitudes, np.cos(coarse) * self.amplitudes])
        right = np.vstack([np.cos(fine), np.sin(fine)])
        return np.asarray((left @ right).ravel())
