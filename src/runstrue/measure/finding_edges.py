"""Where a section begins and ends, to a few milliseconds, and the time of one programme in another.

Edges are read off the power per cell of 5 ms. Sections without an edge of their own (silence, a
tone below the hiss) take theirs from the neighbours: within one playing, what lies between two
known edges lies where the programme says.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from runstrue.measure.finding_features import Features

Array = NDArray[np.float64]

LOOKED_S = 0.25
BEYOND_S = 0.12
CONTRAST = 4.0  # 6 dB from one side of an edge to the other
AT_HALF = 0.25  # of the power: half the amplitude, the middle of a fade
SLOW_TONE_HZ = 200.0


def edge_s(
    features: Features, about_s: float, rising: bool, channel: int, tone_hz: float
) -> float | None:
    """Return where the power passes the middle of a fade, or None where there is no edge.

    Parameters
    ----------
    features : Features
    about_s : float
        Within a quarter of a second of it.
    rising : bool
        Whether sound begins there.
    channel : int
        Where it is loudest.
    tone_hz : float
        A slow tone's power swings within a few cells; it is smoothed.
    """
    cell_s = features.cell_s
    width = 1 if tone_hz >= SLOW_TONE_HZ else round(1 / tone_hz / cell_s)
    first = max(round((about_s - LOOKED_S) / cell_s), 0)
    last = min(round((about_s + LOOKED_S) / cell_s), features.cell_power.shape[1])
    power = features.cell_power[channel, first:last].astype(np.float64)
    if power.size < 4 * max(width, 2):
        return None
    if width > 1:
        power = np.convolve(np.pad(power, width // 2, mode="edge"), np.ones(width) / width, "valid")
    if not rising:
        power = power[::-1]
    apart = round(BEYOND_S / cell_s)
    outside, inside = np.median(power[:apart]), np.median(power[-apart:])
    if not inside > CONTRAST * outside:
        return None
    limit = outside + AT_HALF * (inside - outside)
    above = np.flatnonzero(power >= limit)
    # the first place from which it stays up
    for at in above:
        if np.median(power[at : at + 6]) >= limit:
            break
    else:
        return None
    place = float(at)
    if at > 0 and power[at] > power[at - 1]:
        place = at - 1 + (limit - power[at - 1]) / (power[at] - power[at - 1])
    middle = place + 0.5  # a cell's power belongs to its middle
    return (first + middle) * cell_s if rising else (first + power.size - middle) * cell_s


@dataclass(frozen=True, slots=True)
class Playing:
    """A part of a recording in which the programme ran without a break.

    Parameters
    ----------
    nominal_s, seen_s : tuple of float
        Places in the programme and in the recording that belong together, in order.
    speed_ratio : float
        For what lies before the first and behind the last.
    """

    nominal_s: tuple[float, ...]
    seen_s: tuple[float, ...]
    speed_ratio: float

    def seen(self, nominal_s: float) -> float:
        """Where a place of the programme lies in the recording."""
        if nominal_s <= self.nominal_s[0]:
            return self.seen_s[0] + (nominal_s - self.nominal_s[0]) / self.speed_ratio
        if nominal_s >= self.nominal_s[-1]:
            return self.seen_s[-1] + (nominal_s - self.nominal_s[-1]) / self.speed_ratio
        return float(np.interp(nominal_s, self.nominal_s, self.seen_s))

    def away_s(self, nominal_s: float) -> float:
        """How far a place lies outside what is known."""
        return max(self.nominal_s[0] - nominal_s, nominal_s - self.nominal_s[-1], 0.0)


def playings(knots: list[tuple[float, float]], speed_ratio: float) -> list[Playing]:
    """Put places that belong together into playings, anew wherever the time between does not fit.

    Parameters
    ----------
    knots : list of (float, float)
        Place in the programme, place in the recording; in order.
    speed_ratio : float
    """
    groups: list[list[tuple[float, float]]] = []
    for nominal_s, seen_s in knots:
        if groups:
            before_s, seen_before_s = groups[-1][-1]
            wanted_s = (nominal_s - before_s) / speed_ratio
            if abs(seen_s - seen_before_s - wanted_s) < 0.15 + 0.004 * wanted_s:
                if nominal_s > before_s:
                    groups[-1].append((nominal_s, seen_s))
                continue
        groups.append([(nominal_s, seen_s)])
    return [
        Playing(tuple(one[0] for one in group), tuple(one[1] for one in group), speed_ratio)
        for group in groups
    ]
