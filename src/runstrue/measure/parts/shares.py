"""Parts' shares of the flutter, from the tracks that were found to be theirs."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from runstrue.measure.parts.candidates import LEAST_SHARE
from runstrue.measure.parts.model import Harmonic, PartShare, Pattern, Runout, Stray
from runstrue.measure.parts.powers import Peaks, together, track_peaks, weighted_gain
from runstrue.measure.parts.reading import Group, Reading
from runstrue.measure.parts.rule import is_guilty
from runstrue.quantity import Quantity

MANY_SHARE = 0.2
"""Pulses: at least so much of the power lies at three times the rate and above (own choice; a bump
of a tenth of a turn has a quarter of it there, an eccentric wheel next to nothing)."""
BESIDE_BINS = 1.0
"""How near to the sum or the difference of two rates a sideband lies, in 1 / length."""


def shares_of(reading: Reading, whole: Peaks) -> tuple[PartShare, ...]:
    """All shares: those seen, then the parts of which nothing was seen; guilty ones first."""
    seen = [_seen(group, reading, whole) for group in reading.groups]
    named = {number for group in reading.groups for number in group.members}
    quiet = [
        _quiet(number, reading, whole)
        for number in range(len(reading.parts.parts))
        if number not in named
    ]
    return tuple(
        sorted([*seen, *quiet], key=lambda one: (not one.guilty, -one.weighted.value, one.ids))
    )


def strays_of(reading: Reading, shares: tuple[PartShare, ...]) -> tuple[Stray, ...]:
    """Lines of nobody, the largest weighted peak first."""
    found = []
    for number in reading.strays:
        track = reading.tracks[number]
        peaks = track_peaks(track, reading.found, reading.pace)
        rate = Quantity(
            reading.rate_hz(number), "Hz", reading.rate_hz(number) * _u_log(reading, number)
        )
        found.append(Stray(rate, peaks.flat, peaks.weighted, _words(rate, reading, shares)))
    return tuple(sorted(found, key=lambda one: -one.weighted.value))


def group_peaks(group: Group, reading: Reading) -> Peaks:
    """Power of all tracks of a group."""
    return together(
        track_peaks(reading.tracks[number], reading.found, reading.pace) for number in group.tracks
    )


def harmonics_of(group: Group, reading: Reading) -> tuple[Harmonic, ...]:
    """Lines of a group by multiple."""
    by_multiple: dict[int, list[int]] = {}
    for number in group.tracks:
        by_multiple.setdefault(reading.multiple(number, group.members), []).append(number)
    found = []
    for multiple, numbers in sorted(by_multiple.items()):
        peaks = together(
            track_peaks(reading.tracks[one], reading.found, reading.pace) for one in numbers
        )
        largest = max(numbers, key=lambda one: reading.tracks[one].peak)
        rate = reading.rate_hz(largest)
        found.append(
            Harmonic(multiple, Quantity(rate, "Hz", rate * _u_log(reading, largest)), peaks.flat,
                     peaks.weighted)
        )  # fmt: skip
    return tuple(found)


def runouts_of(
    group: Group, reading: Reading, harmonics: tuple[Harmonic, ...]
) -> tuple[Runout, ...]:
    """Errors of size that would make the once-a-turn line, at each place of the parts."""
    once = next((one for one in harmonics if one.multiple == 1), None)
    if once is None:
        return ()
    found = []
    for number in group.members:
        for place in reading.parts.parts[number].turning.places:
            per, peak = place.um_per_percent, once.peak
            u = math.hypot(per.u * peak.value, per.value * peak.u)
            found.append(Runout(place.name, Quantity(per.value * peak.value, "µm", u)))
    return tuple(found)


def rate_of(number: int, reading: Reading) -> Quantity:
    """Rate of a part in the middle of the record, with all that its lines have told."""
    part = reading.parts.parts[number]
    best = reading.explained.explanations[0]
    log_rate = part.log_rate + float(part.shares @ best.sizes)
    u_log = math.sqrt(max(float(part.shares @ best.spread @ part.shares), 0.0) + LEAST_SHARE**2)
    pace = reading.pace if part.turning.follows_tape else 1.0
    rate = math.exp(log_rate) * pace
    return Quantity(rate, "Hz", rate * u_log)


def _seen(group: Group, reading: Reading, whole: Peaks) -> PartShare:
    peaks = group_peaks(group, reading)
    harmonics = harmonics_of(group, reading)
    share, weighted_share = peaks.shares_of(whole)
    rate = rate_of(group.members[0], reading)
    if harmonics:  # the lines themselves tell it better than the sizes do
        told = min(harmonics, key=lambda one: one.rate.u / one.rate.value)
        rate = Quantity(told.rate.value / told.multiple, "Hz", told.rate.u / told.multiple)
    who = _Who.of(group.members, reading)
    return PartShare(
        ids=who.ids,
        names=who.names,
        kinds=who.kinds,
        sides=who.sides,
        rate=rate,
        peak=peaks.flat,
        weighted=peaks.weighted,
        share=share,
        weighted_share=weighted_share,
        harmonics=harmonics,
        pattern=_pattern(harmonics),
        chance=group.chance,
        guilty=is_guilty(group.chance, peaks.weighted, weighted_share),
        runouts=runouts_of(group, reading, harmonics),
    )


def _quiet(number: int, reading: Reading, whole: Peaks) -> PartShare:
    """A part of which nothing was seen: nothing, give or take half of what would be seen."""
    rate = rate_of(number, reading)
    travel_hz = rate.value / reading.pace
    least = max(one.least_percent(travel_hz) for one in reading.found)
    gain = float(weighted_gain(rate.value))
    peaks = Peaks(Quantity(0.0, "%", least / 2), Quantity(0.0, "%", least / 2 * gain))
    share, weighted_share = peaks.shares_of(whole)
    who = _Who.of((number,), reading)
    return PartShare(
        ids=who.ids, names=who.names, kinds=who.kinds, sides=who.sides, rate=rate,
        peak=peaks.flat, weighted=peaks.weighted,
        share=share, weighted_share=weighted_share,
        chance=reading.explained.chance_of(frozenset((number,))),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Who:
    """Of some parts: their ids, names, kinds, and sides of the packs they turn with."""

    ids: tuple[str, ...]
    names: tuple[str, ...]
    kinds: tuple[str, ...]
    sides: tuple[str, ...]

    @classmethod
    def of(cls, members: tuple[int, ...], reading: Reading) -> _Who:
        turnings = [reading.parts.parts[number].turning for number in members]
        return cls(
            tuple(one.id for one in turnings),
            tuple(one.name for one in turnings),
            tuple(one.kind for one in turnings),
            tuple(one.pack.side if one.pack is not None else "" for one in turnings),
        )


def _pattern(harmonics: tuple[Harmonic, ...]) -> Pattern:
    power = {one.multiple: one.peak.value**2 for one in harmonics}
    whole = sum(power.values())
    high = sum(value for multiple, value in power.items() if multiple > 2)
    if len(power) > 2 and high >= MANY_SHARE * whole:
        return "pulses"
    return "twice" if power.get(2, 0.0) > whole / 2 else "plain"


def _u_log(reading: Reading, track: int) -> float:
    return reading.tracks[track].by_law[0].u_log


def _words(rate: Quantity, reading: Reading, shares: tuple[PartShare, ...]) -> str:
    """Say what two lines a stray may be a sideband of."""
    near_hz = BESIDE_BINS / max(one.length_s for one in reading.record.stretches)
    for first, second, off in _pairs(shares):
        if abs(rate.value - off) <= near_hz + 2 * rate.u:
            return f"{first} against {second}"
    return ""


def _pairs(shares: tuple[PartShare, ...]) -> Iterator[tuple[str, str, float]]:
    """Sums and differences of lines of two parts that make much of the flutter."""
    lines = [
        (share.name, one.rate.value, one.peak.value)
        for share in shares if share.guilty for one in share.harmonics
    ]  # fmt: skip
    lines.sort(key=lambda one: -one[2])
    for at, (first, upper, _) in enumerate(lines):
        for second, lower, _ in lines[:at]:
            if first != second:
                yield second, first, abs(upper - lower)
                yield second, first, float(np.add(upper, lower))
