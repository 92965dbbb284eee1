"""Names of the parts of a deck's transport at the lines of the running spectrum.

A line belongs to a part where its rate and a usual multiple of the part's rate agree within what
either may err by. Where several parts agree, the nearest is named and the others counted: the
running spectrum points at suspects, it convicts nobody.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from runstrue.transport.rates import rates_at
from runstrue.transport.turning import Pack, Turning

APART = 2.5
"""Combined standard uncertainties within which two rates agree: 98.8 % of a normal distribution."""

LEAST_RELATIVE = 0.004
"""A belt slips by some tenths of a per cent (common practice, no source), so the rates of parts
that it turns are never better known against the tape's than this."""

PACK_APART = 2.0
"""How far off a tape pack counts, whose rate may be anything between empty and full: any part of a
settled rate that agrees well is named before it."""


@dataclass(frozen=True, slots=True)
class PartNames:
    """The parts that turn in the deck on the bench.

    Parameters
    ----------
    turnings : tuple of Turning
        Empty where the transport is not known.
    """

    turnings: tuple[Turning, ...] = ()

    def of(self, rate_hz: float, u_rate_hz: float, speed_percent: float = 0.0) -> str:
        """Name the part that a line belongs to; empty where none does.

        Parameters
        ----------
        rate_hz, u_rate_hz : float
            Of the line, and its standard uncertainty.
        speed_percent : float
            Deviation of the tape speed now.

        Returns
        -------
        str
            'capstan shaft', 'main belt ×2', 'capstan shaft (or 1 other)'.
        """
        near = sorted(self._near(rate_hz, u_rate_hz, speed_percent))
        if not near:
            return ""
        others = len({name for _, name, _ in near}) - 1
        _, name, multiple = near[0]
        times = f" ×{multiple}" if multiple > 1 else ""
        return f"{name}{times}" + (f" (or {others} other{'s'[: others > 1]})" if others else "")

    def _near(
        self, rate_hz: float, u_rate_hz: float, speed_percent: float
    ) -> Iterator[tuple[float, str, int]]:
        """Yield distance (in combined uncertainties), name and multiple of what agrees."""
        for one in rates_at(self.turnings, speed_percent):
            part = one.turning
            if part.pack is not None:
                if _within_pack(part.pack, one.rate.value, rate_hz):
                    yield PACK_APART, part.name, 1
                continue
            for multiple in part.multiples:
                expected = multiple * one.rate.value
                u = max(multiple * one.rate.u, LEAST_RELATIVE * expected)
                apart = abs(rate_hz - expected) / math.hypot(u, u_rate_hz)
                if apart <= APART:
                    # a higher multiple is less usual than the part's own turn
                    yield apart + 0.5 * (multiple - 1), part.name, multiple


def _within_pack(pack: Pack, half_full_hz: float, rate_hz: float) -> bool:
    """Whether a pack turns so fast somewhere between empty and full: r² = r₀² + h·L / π."""
    empty = pack.empty_radius.value**2  # mm²
    tape = pack.thickness.value * pack.length.value / math.pi  # µm·m = mm²
    half_full = half_full_hz * math.sqrt(empty + tape / 2)
    return half_full / math.sqrt(empty + tape) <= rate_hz <= half_full / math.sqrt(empty)
