"""A tape pack that grows or shrinks, and the speed variation once a turn of it.

The area of the tape seen from the side passes from one pack to the other, r² = r₀² ± h v t / π,
and the pack has turned (r − r₀) / h times (common geometry of a spiral). With r as variable,
dt = 2π r dr / (h v), the integral over time of a sine of the angle is closed:

    ∫ sin(k (r − r₀) / h · 2π + φ) dt
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from runstrue.errors import InputError
from runstrue.virtualdeck.deck import Hub

Array = NDArray[np.float64]


class _Row(NamedTuple):
    multiple: int
    peak_percent: float
    phase: float


@dataclass(frozen=True, slots=True)
class Pack:
    """A hub with its tape, running at a given actual speed.

    Parameters
    ----------
    hub : Hub
    speed_factor : float
        Actual over nominal speed (the constant part of the deviation).
    """

    hub: Hub
    speed_factor: float = 1.0

    def radius_mm(self, times_s: Array) -> Array:
        """Return the radius of the pack at any times from 0.

        Raises
        ------
        InputError
            When a supply pack has run out by then.
        """
        squared = self.hub.radius_mm**2 + self._growth_mm2_per_s * times_s / math.pi
        if squared.size and squared.min() <= 0:
            raise InputError(
                f"The supply pack of {self.hub.radius_mm:g} mm runs out in this time",
                "a larger pack or a shorter recording is needed",
            )
        return np.asarray(np.sqrt(squared))

    def turns(self, times_s: Array) -> Array:
        """Return the turns made since time 0."""
        growth_mm = self.radius_mm(times_s) - self.hub.radius_mm
        return growth_mm / self._thickness_mm

    def rate_hz(self, times_s: Array) -> Array:
        """Return the turns per second at any times from 0."""
        speed = self.hub.speed_mm_per_s * self.speed_factor
        return speed / (2 * math.pi * self.radius_mm(times_s))

    def deviation_percent(self, times_s: Array) -> Array:
        """Return the speed deviation that this hub brings."""
        turns = self.turns(times_s)
        total = np.zeros(times_s.shape)
        for row in self._rows():
            total += row.peak_percent * np.sin(2 * math.pi * row.multiple * turns + row.phase)
        return total

    def integral(self, times_s: Array) -> Array:
        """Return the integral of the deviation from time 0, in % · s.

        Notes
        -----
        With θ = 2π k (r − r₀)/h + φ and w = h v as signed growth of the area:
        ∫ sin θ dt = (2π/w) ∫ r sin θ dr = (2π/w) [−r cos θ / κ + sin θ / κ²], κ = 2π k / h.
        """
        start_mm = self.hub.radius_mm
        radius_mm = self.radius_mm(times_s)
        total = np.zeros(times_s.shape)
        scale = 2 * math.pi / self._growth_mm2_per_s
        for row in self._rows():
            kappa = 2 * math.pi * row.multiple / self._thickness_mm
            angle = kappa * (radius_mm - start_mm) + row.phase
            end = -radius_mm * np.cos(angle) / kappa + np.sin(angle) / kappa**2
            begin = -start_mm * math.cos(row.phase) / kappa + math.sin(row.phase) / kappa**2
            total += row.peak_percent * scale * (end - begin)
        return total

    @property
    def _thickness_mm(self) -> float:
        """Growth of the radius in a turn; negative for a supply pack."""
        return self.hub.tape_um / 1000 * (1 if self.hub.side == "take-up" else -1)

    @property
    def _growth_mm2_per_s(self) -> float:
        return self._thickness_mm * self.hub.speed_mm_per_s * self.speed_factor

    def _rows(self) -> list[_Row]:
        return [
            _Row(
                one.multiple,
                self.hub.peak_percent * one.share,
                2 * math.pi * (one.multiple * self.hub.phase_turns + one.phase_turns),
            )
            for one in self.hub.harmonics
        ]
