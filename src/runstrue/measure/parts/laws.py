"""How the phase of a line runs on over tape travel: evenly, with a pack, or by the mains' clock.

A pack of radius r turns v / (2π r) times a second, and r² = r_m² ± h v u / π at the travel u from
the middle, so that it has turned ± (r − r_m) / h times by then (spiral of thin turns). What turns
ρ times for one of the pack has a line at F = ρ v / (2π r_m) in the middle, which alone says how
fast it slides: no place of the tape need be known.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from runstrue.measure.parts.travel import Stretch

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Law:
    """How a line's phase runs.

    Parameters
    ----------
    kind : {'tape', 'clock', 'take-up', 'supply'}
    ratio : float
        Periods of the line for one turn of the pack; 0 for the others.
    thickness_mm : float
        Of the tape, for a pack.
    speed_mm_s : float
        Nominal tape speed, for a pack.
    """

    kind: Literal["tape", "clock", "take-up", "supply"]
    ratio: float = 0.0
    thickness_mm: float = 0.0
    speed_mm_s: float = 0.0

    def phase_turns(self, rate_hz: float, stretch: Stretch, at: NDArray[np.int_]) -> Array:
        """Periods since the middle of a stretch, at some of its points.

        Parameters
        ----------
        rate_hz : float
            Of the line in the middle: a second of travel at nominal speed, or of the clock.
        """
        if self.kind == "clock":
            middle = stretch.clock_s[stretch.percent.size // 2]
            return np.asarray(rate_hz * (stretch.clock_s[at] - middle))
        gone_s = np.asarray((at - stretch.percent.size // 2) * stretch.step_s, dtype=np.float64)
        if self.kind == "tape":
            return np.asarray(rate_hz * gone_s)
        return self._turned(rate_hz, gone_s)

    def rate_after(self, rate_hz: float, gone_s: float) -> float:
        """Rate when so much travel has gone by; not a number when the pack has run out."""
        if not self.ratio:
            return rate_hz
        middle_mm = self.ratio * self.speed_mm_s / (2 * math.pi * rate_hz)
        squared = middle_mm**2 + self._growth_mm2_s * gone_s
        return rate_hz * middle_mm / math.sqrt(squared) if squared > 0 else math.nan

    def slide_hz_s(self, rate_hz: float) -> float:
        """How fast the rate slides."""
        if not self.ratio:
            return 0.0
        middle_mm = self.ratio * self.speed_mm_s / (2 * math.pi * rate_hz)
        return -rate_hz * self._growth_mm2_s / (2 * middle_mm**2)

    @property
    def _growth_mm2_s(self) -> float:
        """How fast the square of the radius grows."""
        sign = 1 if self.kind == "take-up" else -1
        return sign * self.thickness_mm * self.speed_mm_s / math.pi

    def _turned(self, rate_hz: float, gone_s: Array) -> Array:
        middle_mm = self.ratio * self.speed_mm_s / (2 * math.pi * rate_hz)
        growth = self._growth_mm2_s * gone_s
        radius_mm = np.sqrt(np.maximum(middle_mm**2 + growth, 1e-6))
        sign = 1 if self.kind == "take-up" else -1
        # (r − r_m) / h without the difference of two near numbers
        return np.asarray(sign * self.ratio * growth / (radius_mm + middle_mm) / self.thickness_mm)


TAPE, CLOCK = Law("tape"), Law("clock")
