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
BEYOND_S, DROPOUT_S = 0.12, 0.1
LONG_ENOUGH_S = 30.0
QUIET_PERCENT = 20.0
CONTRAST = 4.0  # 6 dB from one side of an edge to the other
SHARP_CONTRAST = 30.0  # 15 dB: hiss moves the edge by less than a cell
SHARP_S, BLURRED_S = 0.01, 0.04
AT_HALF = 0.25  # of the power: half the amplitude, the middle of a fade
SLOW_TONE_HZ = 200.0


@dataclass(frozen=True, slots=True)
class Edge:
    """Where sound begins or ends, and how well that is known: three of a hundred lie beyond."""

    at_s: float
    known_s: float


def edge_near(
    features: Features, about_s: float, rising: bool, channel: int, tone_hz: float
) -> Edge | None:
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
    # an odd number of cells about as long as a slow tone's period: its power swings within
    width = 1 if tone_hz >= SLOW_TONE_HZ else 2 * round(0.5 / tone_hz / cell_s) + 1
    first = max(round((about_s - LOOKED_S) / cell_s), 0)
    last = min(round((about_s + LOOKED_S) / cell_s), features.cell_power.shape[1])
    power = features.cell_power[channel, first:last].astype(np.float64)
    if power.size < LOOKED_S / cell_s:
        return None
    if width > 1:
        padded = np.pad(power, width // 2, mode="edge")
        power = np.convolve(padded, np.full(width, 1 / width), "valid")
    outward = power[::-1] if rising else power
    inside = np.median(outward[: round(BEYOND_S / cell_s)])
    # what is heard on the far side may be a voice: the quiet between counts
    outside = np.percentile(outward[round(LOOKED_S / cell_s / 2) :], QUIET_PERCENT)
    if not inside > CONTRAST * outside:
        return None
    limit = outside + AT_HALF * (inside - outside)
    below = outward < limit
    # a dropout ends again within a tenth of a second
    quiet = round(DROPOUT_S / cell_s)
    stays = np.lib.stride_tricks.sliding_window_view(below, quiet).mean(axis=1) > 0.9
    low = np.flatnonzero(stays & below[: stays.size])
    if not low.size or low[0] == 0:
        return None
    at = int(low[0])
    cells = at - (limit - outward[at]) / (outward[at - 1] - outward[at]) + 0.5
    known_s = SHARP_S if inside > SHARP_CONTRAST * outside and width == 1 else BLURRED_S
    return Edge((last - cells if rising else first + cells) * cell_s, known_s)


@dataclass(frozen=True, slots=True)
class Playing:
    """A part of a recording in which the programme ran without a break.

    Parameters
    ----------
    nominal_s, seen_s : tuple of float
        Places in the programme and in the recording that belong together, in order.
    known_s : float
        How well the places in the recording are known.
    """

    nominal_s: tuple[float, ...]
    seen_s: tuple[float, ...]
    known_s: float = SHARP_S

    def seen(self, nominal_s: float, speed_near: float) -> float:
        """Where a place of the programme lies in the recording.

        Parameters
        ----------
        nominal_s : float
        speed_near : float
            Speed ratio there, for what lies outside where the playing is too short to tell.
        """
        if nominal_s <= self.nominal_s[0]:
            return self.seen_s[0] + (nominal_s - self.nominal_s[0]) / self._speed(0, 1, speed_near)
        if nominal_s >= self.nominal_s[-1]:
            return self.seen_s[-1] + (nominal_s - self.nominal_s[-1]) / self._speed(
                -1, -1, speed_near
            )
        return float(np.interp(nominal_s, self.nominal_s, self.seen_s))

    def _speed(self, end: int, inward: int, speed_near: float) -> float:
        """Speed next to one end, by the edges there: a deck drifts."""
        for nominal_s, seen_s in list(zip(self.nominal_s, self.seen_s, strict=True))[::inward]:
            apart_s = nominal_s - self.nominal_s[end]
            if abs(apart_s) >= LONG_ENOUGH_S and self.known_s <= SHARP_S:
                return apart_s / (seen_s - self.seen_s[end])
        return speed_near

    def away_s(self, nominal_s: float) -> float:
        """How far a place lies outside what is known."""
        return max(self.nominal_s[0] - nominal_s, nominal_s - self.nominal_s[-1], 0.0)


@dataclass(frozen=True, slots=True)
class Knot:
    """A place in the programme, and where it was heard."""

    nominal_s: float
    seen_s: float
    known_s: float


def playings(knots: list[Knot], speed_ratio: float) -> list[Playing]:
    """Put places that belong together into playings, anew wherever the time between does not fit.

    Parameters
    ----------
    knots : list of Knot
        In order. Rough ones count only where a playing has no sharp one.
    speed_ratio : float
    """
    groups: list[list[Knot]] = []
    for knot in knots:
        if groups:
            before = groups[-1][-1]
            wanted_s = (knot.nominal_s - before.nominal_s) / speed_ratio
            if abs(knot.seen_s - before.seen_s - wanted_s) < 0.15 + 0.004 * wanted_s:
                if knot.nominal_s > before.nominal_s:
                    groups[-1].append(knot)
                continue
        groups.append([knot])
    found = []
    for group in groups:
        known_s = min(one.known_s for one in group)
        best = [one for one in group if one.known_s <= known_s]
        nominal_s, seen_s = tuple(one.nominal_s for one in best), tuple(one.seen_s for one in best)
        found.append(Playing(nominal_s, seen_s, known_s))
    return found
