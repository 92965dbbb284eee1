"""Shares of parts from the lines of a flutter spectrum: a plain stand-in for an attribution.

Every line goes to the part whose lowest multiple is near enough; what is left is nobody's.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from runstrue.faults.parts import PART_SHARE, UNEXPLAINED
from runstrue.quantity import Quantity
from runstrue.result import Line, Result

Part = tuple[str, str, float]
"""Name, kind, and rate in Hz at the speed that was played."""

HIGHEST = 40


def shares(lines: Sequence[Line], parts: Sequence[Part], near_hz: float = 0.03) -> list[Result]:
    """Return one `flutter.part_weighted` for each part, and one for the rest."""
    owned: dict[str, list[tuple[int, Line]]] = {name: [] for name, _, _ in parts}
    nobodys = 0.0
    for line in lines:
        fits = [
            (multiple, abs(line.rate_hz - multiple * rate), name)
            for name, _, rate in parts
            if 1 <= (multiple := round(line.rate_hz / rate)) <= HIGHEST
            and abs(line.rate_hz - multiple * rate) < near_hz + 3 * line.u_rate_hz
        ]
        if fits:
            multiple, _, name = min(fits)
            owned[name].append((multiple, line))
        else:
            nobodys = max(nobodys, line.weighted_peak_percent)
    found = [
        Result(
            PART_SHARE, "typed/1", "both", _peak([line for _, line in owned[name]]),
            conditions={"part": name, "name": name, "kind": kind, "side": name.split()[0],
                        "pattern": _pattern(owned[name])},
        )
        for name, kind, _ in parts
    ]  # fmt: skip
    rest = Result(PART_SHARE, "typed/1", "both", Quantity(nobodys, "%", 0.0),
                  conditions={"part": UNEXPLAINED})  # fmt: skip
    return [*found, rest]


def _peak(lines: Sequence[Line]) -> Quantity:
    """Root of the sum of squares, and what the lines' own uncertainty makes of it."""
    value = math.hypot(*(line.weighted_peak_percent for line in lines)) if lines else 0.0
    weighted = [
        (line.weighted_peak_percent, line.u_peak_percent * line.weighted_peak_percent
         / max(line.peak_percent, 1e-9)) for line in lines
    ]  # fmt: skip
    u = math.hypot(*(peak * own for peak, own in weighted)) / value if value else 0.01
    return Quantity(value, "%", max(u, 0.003))


def _pattern(owned: Sequence[tuple[int, Line]]) -> str:
    power = {multiple: line.peak_percent**2 for multiple, line in owned}
    total = sum(power.values())
    if not total or power.get(1, 0.0) > total / 2:
        return "plain"
    return "twice" if power.get(2, 0.0) > total / 2 else "pulses"
