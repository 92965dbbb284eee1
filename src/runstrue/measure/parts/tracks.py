"""The same line in one stretch after the other: a track.

A long record is looked at in stretches of a minute. A line that is the tape's stays where it is;
one that hangs on a pack is elsewhere in each stretch, where its law says. A track gathers what
belongs together, and says for every law that it might follow which rate it would have in the
middle of the record, and how plausible that law is against the best.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from runstrue.measure.parts.laws import TAPE, Law
from runstrue.measure.parts.lines import Fitted, StretchLines

SAME_BINS = 1.5
"""A line of the next stretch is the same when it lies this near to where the law puts it."""
WANDER_BINS = 0.15
"""How far a line may wander from stretch to stretch, as a standard uncertainty: belts creep."""
SKIRT_BINS, SKIRT = 4.0, 0.12
"""A line this near to one that is so much larger is its skirt: a part that does not run quite
evenly has one (own choice)."""
UNLIKELY = -40.0


@dataclass(frozen=True, slots=True)
class Under:
    """A track by one law.

    Parameters
    ----------
    law : Law
    rate_hz : float
        In the middle of the record.
    u_log : float
        Relative standard uncertainty of it.
    plausible : float
        Logarithm of the likelihood against the best law's.
    """

    law: Law
    rate_hz: float
    u_log: float
    plausible: float


@dataclass(frozen=True, slots=True)
class Track:
    """A line through the whole record.

    Parameters
    ----------
    by_law : tuple of Under
        Best first.
    peak, u_peak : float
        In %: root of the mean square over the record.
    seen : tuple of (int, Fitted)
        Stretch, and the line in it by the best law there.
    skirt : tuple of (int, Fitted)
        Small lines close beside it.
    """

    by_law: tuple[Under, ...]
    peak: float
    u_peak: float
    seen: tuple[tuple[int, Fitted], ...]
    skirt: tuple[tuple[int, Fitted], ...] = ()

    @property
    def rate_hz(self) -> float:
        """By the best law, in the middle of the record."""
        return self.by_law[0].rate_hz

    def under(self, law: Law) -> Under | None:
        """Return what it is by this law; None where that cannot be."""
        return next((one for one in self.by_law if one.law == law), None)


def tracks_of(found: Sequence[StretchLines], middle_s: float) -> tuple[Track, ...]:
    """Gather the lines of all stretches, the largest first.

    Parameters
    ----------
    found : sequence of StretchLines
    middle_s : float
        Travel from the beginning of the record to its middle.
    """
    left = [(number, fits) for number, stretch in enumerate(found) for fits in stretch.lines]
    left.sort(key=lambda one: -abs(one[1][0].size))
    tracks: list[Track] = []
    while left:
        number, fits = left[0]
        best: tuple[int, float, list[tuple[int, tuple[Fitted, ...]]]] | None = None
        for fit in fits:
            members = _members(fit, number, left, found)
            score = sum(_plausible(one, fit.law) for _, one in members)
            if best is None or (len(members), score) > best[:2]:
                best = len(members), score, members
        assert best is not None
        members = best[2]
        taken = {id(one) for _, one in members}
        left = [one for one in left if id(one[1]) not in taken]
        host = _host(tracks, members, found)
        if host is not None:
            own = tracks[host]
            more = tuple((where, one[0]) for where, one in members)
            tracks[host] = _with_skirt(own, more, found)
        elif 2 * len(members) >= len(found):
            tracks.append(_track(members, found, middle_s))
    return tuple(sorted(tracks, key=lambda one: -one.peak))


def _members(
    fit: Fitted, number: int, left: Sequence[tuple[int, tuple[Fitted, ...]]],
    found: Sequence[StretchLines],
) -> list[tuple[int, tuple[Fitted, ...]]]:  # fmt: skip
    """Lines of all stretches that would be this one by its law, one for each stretch."""
    nearest: dict[int, tuple[float, tuple[Fitted, ...]]] = {}
    begun = found[number].stretch.middle_s
    for where, fits in left:
        stretch = found[where].stretch
        expected = fit.law.rate_after(fit.rate_hz, stretch.middle_s - begun)
        by_law = next((one for one in fits if one.law == fit.law), None)
        if by_law is None or math.isnan(expected):
            continue
        off = abs(by_law.rate_hz - expected) * stretch.length_s
        if where == number and by_law is not fit:
            continue
        if off <= SAME_BINS and (where not in nearest or off < nearest[where][0]):
            nearest[where] = off, fits
    return [(where, fits) for where, (_, fits) in sorted(nearest.items())]


def _plausible(fits: tuple[Fitted, ...], law: Law) -> float:
    return next((one.plausible for one in fits if one.law == law), UNLIKELY)


def _host(
    tracks: Sequence[Track], members: Sequence[tuple[int, tuple[Fitted, ...]]],
    found: Sequence[StretchLines],
) -> int | None:  # fmt: skip
    """Find the track whose skirt these lines are."""
    for index, track in enumerate(tracks):
        for where, fits in members:
            beside = next((one for place, one in track.seen if place == where), None)
            if beside is None:
                continue
            bins = abs(beside.rate_hz - fits[0].rate_hz) * found[where].stretch.length_s
            if bins <= SKIRT_BINS and abs(fits[0].size) <= SKIRT * abs(beside.size):
                return index
    return None


def _track(
    members: Sequence[tuple[int, tuple[Fitted, ...]]], found: Sequence[StretchLines],
    middle_s: float,
) -> Track:  # fmt: skip
    laws = dict.fromkeys([TAPE, *(one.law for _, fits in members for one in fits)])
    by_law = [_under(law, members, found, middle_s) for law in laws]
    there = [one for one in by_law if one is not None]
    top = max(one.plausible for one in there)
    ranked = sorted(
        (Under(one.law, one.rate_hz, one.u_log, one.plausible - top) for one in there),
        key=lambda one: -one.plausible,
    )
    seen = tuple((where, fits[0]) for where, fits in members)
    peak, u_peak = _size(seen, found)
    return Track(tuple(ranked), peak, u_peak, seen)


def _under(
    law: Law, members: Sequence[tuple[int, tuple[Fitted, ...]]], found: Sequence[StretchLines],
    middle_s: float,
) -> Under | None:  # fmt: skip
    rates, weights, plausible = [], [], 0.0
    for where, fits in members:
        stretch = found[where].stretch
        fit = next((one for one in fits if one.law == law), None)
        if fit is None:
            plausible += UNLIKELY
            continue
        rate = law.rate_after(fit.rate_hz, middle_s - stretch.middle_s)
        if math.isnan(rate):
            plausible += UNLIKELY
            continue
        wander = WANDER_BINS / stretch.length_s if len(members) > 1 else 0.0
        rates.append(rate)
        weights.append(1 / (fit.u_rate_hz**2 + wander**2 + 1e-18))
        plausible += fit.plausible
    if not rates:
        return None
    mean = float(np.average(rates, weights=weights))
    off = float(np.sum(np.array(weights) * (np.array(rates) - mean) ** 2))
    return Under(law, mean, math.sqrt(1 / sum(weights)) / mean, plausible - off / 2)


def _size(seen: Sequence[tuple[int, Fitted]], found: Sequence[StretchLines]) -> tuple[float, float]:
    """Root of the mean square over the record, free of what noise adds, and its uncertainty."""
    whole = sum(one.stretch.length_s for one in found)
    power, spread = 0.0, 0.0
    for where, one in seen:
        share = found[where].stretch.length_s / whole
        power += share * max(abs(one.size) ** 2 - one.u_size**2, 0.0)
        spread += (share * 2 * abs(one.size) * one.u_size) ** 2
    peak = math.sqrt(power)
    return peak, math.sqrt(spread) / (2 * peak) if peak else math.sqrt(spread)


def _with_skirt(
    own: Track, more: tuple[tuple[int, Fitted], ...], found: Sequence[StretchLines]
) -> Track:
    beside, u_beside = _size(more, found)
    peak = math.hypot(own.peak, beside)
    u_peak = math.hypot(own.peak * own.u_peak, beside * u_beside) / peak
    return Track(own.by_law, peak, u_peak, own.seen, (*own.skirt, *more))
