"""From a record to its tracks and their explanations: what attribution, fold and what-if share."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from runstrue.measure.parts.candidates import Parts, parts_of, refined
from runstrue.measure.parts.explain import Explained, explain
from runstrue.measure.parts.laws import Law
from runstrue.measure.parts.lines import StretchLines, stretch_lines
from runstrue.measure.parts.tracks import Track, tracks_of
from runstrue.measure.parts.travel import Travelled, travelled
from runstrue.result import Deviation
from runstrue.transport.turning import Turning

SURE = 0.95
"""Chance from which one part alone is said to own a track."""
WORTH_NAMING = 0.02
"""Chance below which a part is not named beside others."""


@dataclass(frozen=True, slots=True, eq=False)
class Group:
    """Tracks that belong to the same part, or to the same parts that cannot be told apart.

    Parameters
    ----------
    members : tuple of int
        Numbers of the parts.
    tracks : tuple of int
    chance : float
    """

    members: tuple[int, ...]
    tracks: tuple[int, ...]
    chance: float


@dataclass(frozen=True, slots=True, eq=False)
class Reading:
    """A record, read.

    Parameters
    ----------
    record : Travelled
    parts : Parts
    found : tuple of StretchLines
    tracks : tuple of Track
    explained : Explained
    groups : tuple of Group
    strays : tuple of int
        Tracks of nobody.
    """

    record: Travelled
    parts: Parts
    found: tuple[StretchLines, ...]
    tracks: tuple[Track, ...]
    explained: Explained
    groups: tuple[Group, ...] = field(default=())
    strays: tuple[int, ...] = ()

    @property
    def pace(self) -> float:
        """Mean tape speed over nominal: from rates over travel to rates of the clock."""
        return 1 + self.record.mean_percent / 100

    def multiple(self, track: int, members: Sequence[int]) -> int:
        """Return the multiple at which these parts would make a track, by the likeliest way."""
        for one in self.explained.explanations:
            owner = one.owners[track]
            if owner is not None and owner.part in members:
                return owner.multiple
        return 1

    def rate_hz(self, track: int) -> float:
        """Rate of a track in the middle of the record, by the clock."""
        under = self.tracks[track].by_law[0]
        return under.rate_hz if under.law.kind == "clock" else under.rate_hz * self.pace


def read_parts(
    deviation: Deviation, turnings: Sequence[Turning], played_s: float | None
) -> Reading:
    """Find the lines of a record and explain them.

    Raises
    ------
    SignalError
        When no 10 s of unbroken tone are there.
    InputError
        When the tape is shorter than what is played of it.
    """
    record = travelled(deviation)
    parts = parts_of(turnings, record, played_s)
    found, tracks = _look(record, parts)
    explained = explain(tracks, parts)
    if not parts.place_known and _seen_packs(explained, parts):
        # the packs' own lines have told where the tape stands: look again with that
        best = explained.explanations[0]
        parts = refined(parts, best.sizes, _widened(best.spread))
        found, tracks = _look(record, parts)
        explained = explain(tracks, parts)
    groups, strays = _grouped(tracks, explained)
    return Reading(record, parts, found, tracks, explained, groups, strays)


def _look(record: Travelled, parts: Parts) -> tuple[tuple[StretchLines, ...], tuple[Track, ...]]:
    found = []
    for one in record.stretches:
        begin_s, length_s = one.begin_s, one.length_s

        def laws_at(
            rate_hz: float, begin_s: float = begin_s, length_s: float = length_s
        ) -> list[Law]:
            return parts.laws_at(rate_hz, begin_s, length_s)

        found.append(stretch_lines(one, laws_at))
    return tuple(found), tracks_of(found, record.middle_s)


def _seen_packs(explained: Explained, parts: Parts) -> bool:
    faulty = explained.explanations[0].faulty
    return any(parts.parts[number].law.ratio for number in faulty)


def _widened(spread: np.ndarray) -> np.ndarray:
    """Half again as uncertain, so that the second look is not bound by the first."""
    return np.asarray(spread * 2.25)


def _grouped(
    tracks: Sequence[Track], explained: Explained
) -> tuple[tuple[Group, ...], tuple[int, ...]]:
    """Give every track to a part, to parts that cannot be told apart, or to nobody."""
    by_members: dict[tuple[int, ...], list[int]] = {}
    strays = []
    for number in range(len(tracks)):
        chances = explained.owners_of(number)
        nobodys = chances.pop(None, 0.0)
        named = {part: chance for part, chance in chances.items() if part is not None}
        if not named or (nobodys > 1 - SURE and nobodys > max(named.values())):
            strays.append(number)
            continue
        top = max(named, key=lambda part: named[part])
        if named[top] >= SURE * (1 - nobodys):
            members: tuple[int, ...] = (top,)
        else:
            members = tuple(sorted(p for p, chance in named.items() if chance >= WORTH_NAMING))
        by_members.setdefault(members, []).append(number)
    groups = tuple(
        Group(members, tuple(numbers), _chance(members, numbers, explained))
        for members, numbers in by_members.items()
    )
    return groups, tuple(strays)


def _chance(members: tuple[int, ...], numbers: Sequence[int], explained: Explained) -> float:
    """Chance that at least one of these tracks is made by one of these parts."""
    total = 0.0
    for one, weight in zip(explained.explanations, explained.weights.tolist(), strict=True):
        owners = (one.owners[number] for number in numbers)
        if any(owner is not None and owner.part in members for owner in owners):
            total += weight
    return min(total, 1.0) if not math.isclose(total, 1.0) else 1.0
