"""Taking lines out of a record, as they run along it."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from runstrue.measure.parts.reading import Reading

Array = NDArray[np.float64]


def tracks_without(reading: Reading, parts: Iterable[str]) -> list[int]:
    """Tracks of these parts, and of groups that they cannot be told apart from."""
    wanted = set(parts)
    return [
        track
        for group in reading.groups
        if wanted & {reading.parts.parts[number].turning.id for number in group.members}
        for track in group.tracks
    ]


def made_by(reading: Reading, tracks: Iterable[int], stretch: int) -> Array:
    """Deviation that tracks make, at the points of a stretch, in % of the slow speed."""
    one = reading.record.stretches[stretch]
    at = np.arange(one.percent.size)
    total = np.zeros(one.percent.size)
    for number in tracks:
        track = reading.tracks[number]
        for where, line in (*track.seen, *track.skirt):
            if where == stretch:
                turned = line.law.phase_turns(line.rate_hz, one, at)
                total += np.real(line.size * np.exp(2j * np.pi * turned))
    return total


def over_time(reading: Reading, tracks: Iterable[int], samples: int, rate_hz: float) -> Array:
    """Deviation that tracks make, by the clock, in % of nominal; not a number between stretches.

    Parameters
    ----------
    samples : int
        Of the record.
    rate_hz : float
    """
    chosen = list(tracks)
    total = np.full(samples, np.nan)
    for stretch, one in enumerate(reading.record.stretches):
        span = np.arange(one.start, one.stop)
        # the points of a stretch lie so near to the samples that only the phase has to be moved
        place = np.interp(span / rate_hz, one.clock_s, np.arange(one.percent.size))
        inside = np.zeros(span.size)
        at = np.arange(one.percent.size)
        for number in chosen:
            track = reading.tracks[number]
            for where, line in (*track.seen, *track.skirt):
                if where == stretch:
                    turned = np.interp(place, at, line.law.phase_turns(line.rate_hz, one, at))
                    inside += np.real(line.size * np.exp(2j * np.pi * turned))
        slow = np.interp(place, at, one.slow_percent)
        total[one.start : one.stop] = inside * (1 + slow / 100)
    return total
