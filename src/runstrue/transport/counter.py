"""The tape counter's law: how long the tape has played when the counter shows C.

A counter that is turned by a reel counts its turns, so many a count. Tape of thickness h on a hub
of radius r₀ lets n turns of the take-up reel hold 2π r₀ n + π h n² of tape (the spiral taken as
an area, common geometry), hence with n = κ C and the tape speed v

    t = a C + b C²,   a = 2π r₀ κ / v,   b = π h κ² / v.

The supply reel begins full, with radius R, and shrinks: a = 2π R κ / v, b = −π h κ² / v. Where
the counter did not show 0 at the tape's beginning, an offset is fitted too. Weighted least squares
(JCGM 100:2008, 5.1.2 and H.3), with what stopwatch and counter can be read to.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from runstrue.errors import InputError
from runstrue.quantity import Quantity
from runstrue.transport.chi_square import chance_above
from runstrue.transport.counter_law import COUNT_LIMIT, Array, Law

TIME_LIMIT_S = 1.0  # of a stopwatch worked by hand, while one looks elsewhere (common practice)
SURE_OF_SCATTER = 0.01
"""Pairs of which chance alone would scatter so only once in a hundred sets do not fit."""


@dataclass(frozen=True, slots=True)
class Pair:
    """What the counter showed, and how long the tape had played then.

    Parameters
    ----------
    count : float
    time_s : float
        From the tape's beginning, in s.
    """

    count: float
    time_s: float


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """A law with the pairs that it comes from.

    Parameters
    ----------
    law : Law
    pairs : tuple of Pair
        In the order of the counter.
    off_s : tuple of float
        What was read less the law, in s.
    u_s : tuple of float
        What stopwatch and counter can be read to, as a standard uncertainty in s.
    zeroed : bool
        Whether the counter showed 0 at the tape's beginning.
    spare : int
        Pairs more than the law has terms.
    chi_square : float
        Of the scatter about the law; about `spare` where nothing is wrong.
    suspect : int or None
        The pair without which all is well, where there is just one.
    """

    law: Law
    pairs: tuple[Pair, ...]
    off_s: tuple[float, ...]
    u_s: tuple[float, ...]
    zeroed: bool
    spare: int
    chi_square: float
    suspect: int | None = None

    @property
    def fits(self) -> bool | None:
        """Whether the pairs lie on one parabola; None where there are none to spare."""
        if self.spare < 1:
            return None
        return chance_above(self.chi_square, self.spare) >= SURE_OF_SCATTER


def fit_counter(
    pairs: Sequence[Pair],
    *,
    zeroed: bool = True,
    end_count: float | None = None,
    whole: Quantity | None = None,
    time_limit_s: float = TIME_LIMIT_S,
    count_limit: float = COUNT_LIMIT,
) -> Fit:
    """Find the counter's law.

    Parameters
    ----------
    pairs : sequence of Pair
        Three or more, of one tape played from its beginning.
    zeroed : bool
        Whether the counter showed 0 at the beginning; else an offset is fitted too.
    end_count : float, optional
        What the counter showed at the end of the tape.
    whole : Quantity, optional
        How long the tape plays, in s, where its end was not seen.
    time_limit_s, count_limit : float
        How far a time and a reading of the counter can be off at most; taken as rectangular.

    Raises
    ------
    InputError
        When there are too few pairs, or they cannot come from one tape.

    Notes
    -----
    Where the scatter is larger than reading allows, it is taken from the pairs themselves and
    counts with the few degrees of freedom that it then has.
    """
    listed = tuple(sorted(pairs, key=lambda one: one.count))
    if zeroed:
        listed = _without_beginning(listed, time_limit_s)
    _refuse_unusable(listed, zeroed, time_limit_s, count_limit)
    terms, covariance, u_s = _solve(listed, zeroed, time_limit_s, count_limit)
    counts, times_s = _columns(listed)
    off_s = times_s - (terms[0] + terms[1] * counts + terms[2] * counts**2)
    chi_square = float(np.sum((off_s / u_s) ** 2))
    spare = len(listed) - (2 if zeroed else 3)
    freedom = math.inf
    suspect = None
    if spare >= 1 and chance_above(chi_square, spare) < SURE_OF_SCATTER:
        covariance = covariance * (chi_square / spare)
        freedom = float(spare)
        suspect = _suspect(listed, zeroed, time_limit_s, count_limit)
    everything, wide = _with_whole(terms, covariance, end_count, whole)
    scattered = wide.copy()
    if end_count is None:
        scattered[3, 3] = 0.0  # how long a tape usually plays is not known from the pairs
    law = Law(everything, wide, float(counts[-1]), freedom, count_limit, scattered)
    _refuse_impossible(law, listed)
    return Fit(
        law, listed, tuple(off_s.tolist()), tuple(u_s.tolist()), zeroed, spare, chi_square, suspect
    )


def _solve(
    pairs: Sequence[Pair], zeroed: bool, time_limit_s: float, count_limit: float
) -> tuple[Array, Array, Array]:
    """Return the terms, their covariance, and the standard uncertainty of each pair in s."""
    counts, times_s = _columns(pairs)
    terms = np.zeros(3)
    scale = float(np.max(np.abs(counts)))
    powers = (1, 2) if zeroed else (0, 1, 2)
    design = np.stack([(counts / scale) ** power for power in powers], axis=1)
    back = np.array([scale**-power for power in powers])
    u_s: Array = np.ones_like(counts)
    for _ in range(4):  # what a count is worth in s depends on the law itself, but little
        solved, *_ = np.linalg.lstsq(design / u_s[:, None], times_s / u_s, rcond=None)
        terms = np.zeros(3)
        terms[list(powers)] = solved * back
        slope_s = terms[1] + 2 * terms[2] * counts
        u_s = np.hypot(time_limit_s, slope_s * count_limit) / math.sqrt(3)
    weighted = design / u_s[:, None]
    small = np.linalg.inv(weighted.T @ weighted) * np.outer(back, back)
    covariance = np.zeros((3, 3))
    covariance[np.ix_(powers, powers)] = small
    return terms, covariance, u_s


def _with_whole(
    terms: Array, covariance: Array, end_count: float | None, whole: Quantity | None
) -> tuple[Array, Array]:
    """Append how long the tape plays: by the law itself where its end was seen."""
    everything = np.append(terms, math.nan if whole is None else whole.value)
    wide = np.zeros((4, 4))
    wide[:3, :3] = covariance
    if end_count is not None:
        row = np.array([1.0, end_count, end_count**2])
        everything[3] = row @ terms
        wide[3, :3] = wide[:3, 3] = covariance @ row
        wide[3, 3] = row @ covariance @ row
    elif whole is not None:
        wide[3, 3] = whole.u**2
    return everything, wide


def _suspect(
    pairs: tuple[Pair, ...], zeroed: bool, time_limit_s: float, count_limit: float
) -> int | None:
    """Return the one pair without which the others lie on a law, or None."""
    spare = len(pairs) - 1 - (2 if zeroed else 3)
    if spare < 1:
        return None
    good = []
    for index in range(len(pairs)):
        others = pairs[:index] + pairs[index + 1 :]
        terms, _, u_s = _solve(others, zeroed, time_limit_s, count_limit)
        counts, times_s = _columns(others)
        off_s = times_s - (terms[0] + terms[1] * counts + terms[2] * counts**2)
        if chance_above(float(np.sum((off_s / u_s) ** 2)), spare) >= SURE_OF_SCATTER:
            good.append(index)
    return good[0] if len(good) == 1 else None


def _without_beginning(pairs: tuple[Pair, ...], time_limit_s: float) -> tuple[Pair, ...]:
    """Leave out 0 at 0:00, which says nothing new of a counter that was set to 0."""
    for one in pairs:
        if one.count == 0 and not one.time_s <= time_limit_s:
            raise InputError(
                f"The counter showed 0 when {one.time_s:.0f} s had been played",
                "it must show 0 at the tape's beginning, or an offset must be allowed",
                "say that it was not zeroed, or set it to 0 and begin again",
            )
    return tuple(one for one in pairs if one.count != 0)


def _columns(pairs: Sequence[Pair]) -> tuple[Array, Array]:
    return np.array([one.count for one in pairs]), np.array([one.time_s for one in pairs])


def _refuse_unusable(
    pairs: tuple[Pair, ...], zeroed: bool, time_limit_s: float, count_limit: float
) -> None:
    if not all(math.isfinite(limit) for limit in (time_limit_s, count_limit)) or not (
        time_limit_s >= 0 and count_limit >= 0 and time_limit_s + count_limit > 0
    ):
        raise InputError(
            f"Errors of {time_limit_s:g} s and {count_limit:g} counts were given",
            "what a time and the counter can be off by is needed, and not zero for both",
        )
    if any(not (math.isfinite(one.count) and math.isfinite(one.time_s)) for one in pairs) or any(
        one.time_s < 0 for one in pairs
    ):
        raise InputError(
            "A pair is no pair of numbers", "a count and a time of 0 or more are needed"
        )
    if zeroed and any(one.count < 0 for one in pairs):
        raise InputError(
            "The counter was below zero", "counts above 0 are needed",
            "if it ran backwards or past 000, count on: 999, 1000, 1001",
        )  # fmt: skip
    if len(pairs) < 3:
        seen = {0: "No pair", 1: "1 pair"}.get(len(pairs), f"{len(pairs)} pairs")
        raise InputError(
            f"{seen} beyond the tape's beginning {'was' if len(pairs) < 2 else 'were'} given",
            "three or more are needed, spread over the tape",
        )
    for first, second in itertools.pairwise(pairs):
        if second.count == first.count:
            raise InputError(
                f"The counter shows {first.count:g} twice", "each reading once is needed"
            )
        if second.time_s <= first.time_s:
            raise InputError(
                f"At {second.count:g} less time had passed than at {first.count:g}",
                "times that grow with the counter are needed",
                "if it ran past 999, count on: 1000, 1001; if it runs backwards, give what it "
                "has run",
            )


def _refuse_impossible(law: Law, pairs: tuple[Pair, ...]) -> None:
    if min(law.seconds_a_count(pairs[0].count), law.seconds_a_count(pairs[-1].count)) <= 0:
        raise InputError(
            "By these pairs the tape would run backwards somewhere",
            "pairs of one tape, played from its beginning, are needed",
            "look for a slip in one of them",
        )
