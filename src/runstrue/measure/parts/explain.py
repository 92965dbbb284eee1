"""Explanations of all lines at once, and how likely each is.

An explanation says of every track which part makes it at which multiple, or that nobody known does.
The tracks are taken one after the other, the largest first; each may go to any part near enough,
and every explanation carries what it has learnt about the sizes (a normal distribution that each
line narrows, as in R. E. Kalman, Trans. ASME J. Basic Eng. 82, 1960). The likeliest
few are kept. So the chance of a part counts all that was found, coinciding rates included: two
parts that fit a line alike share it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from runstrue.measure.parts.candidates import GATE, LEAST_SHARE, Part, Parts
from runstrue.measure.parts.faulty import HIGHEST, log_chance
from runstrue.measure.parts.tracks import Track

Array = NDArray[np.float64]

NOBODYS = 0.2 / math.log(195 / 0.1)
"""Lines of nobody to be expected in a unit of log rate: one in five records (judgement)."""
KEPT = 60
LEAST = -14.0
"""Logarithm of the likelihood against the best below which an explanation is given up."""


@dataclass(frozen=True, slots=True)
class Owner:
    """A part and the multiple of its rate."""

    part: int
    multiple: int


@dataclass(frozen=True, slots=True, eq=False)
class Explanation:
    """One way to explain all tracks.

    Parameters
    ----------
    owners : tuple of (Owner or None)
        By track.
    score : float
        Logarithm of the likelihood times the chance beforehand.
    sizes : ndarray of float64, shape (size,)
        How far each size is off by it, in standard uncertainties.
    spread : ndarray of float64, shape (size, size)
        Covariance of that.
    """

    owners: tuple[Owner | None, ...]
    score: float
    sizes: Array
    spread: Array

    def shown_by(self, part: int) -> frozenset[int]:
        """Multiples at which a part makes a line."""
        return frozenset(
            one.multiple for one in self.owners if one is not None and one.part == part
        )

    @property
    def faulty(self) -> frozenset[int]:
        """Parts that make a line."""
        return frozenset(one.part for one in self.owners if one is not None)


@dataclass(frozen=True, slots=True, eq=False)
class Explained:
    """All likely explanations.

    Parameters
    ----------
    explanations : tuple of Explanation
        The likeliest first.
    weights : ndarray of float64, shape (explanation,)
        Their chances; 1 in all.
    """

    explanations: tuple[Explanation, ...]
    weights: Array

    def chance_of(self, parts: frozenset[int]) -> float:
        """Return the chance that at least one of these parts makes a line."""
        return self._sum(lambda one: bool(parts & one.faulty))

    def owners_of(self, track: int) -> dict[int | None, float]:
        """Return the chance of each part (None: nobody known) to make this track."""
        chances: dict[int | None, float] = {}
        for one, weight in zip(self.explanations, self.weights.tolist(), strict=True):
            owner = one.owners[track]
            key = None if owner is None else owner.part
            chances[key] = chances.get(key, 0.0) + weight
        return chances

    def _sum(self, holds: object) -> float:
        assert callable(holds)
        return float(
            sum(
                weight
                for one, weight in zip(self.explanations, self.weights.tolist(), strict=True)
                if holds(one)
            )
        )


def explain(tracks: Sequence[Track], parts: Parts) -> Explained:
    """Weigh all explanations of the tracks against each other.

    Parameters
    ----------
    tracks : sequence of Track
        The largest first.
    parts : Parts
    """
    many = len(parts.sizes)
    kept = [Explanation((), 0.0, np.zeros(many), np.eye(many))]
    for track in tracks:
        options = list(_options(track, parts))
        grown = [more for one in kept for more in _grow(one, track, options)]
        best = max(one.score for one in grown)
        grown = [one for one in grown if one.score > best + LEAST]
        kept = sorted(grown, key=lambda one: -one.score)[:KEPT]
    scores = np.array([one.score for one in kept])
    weights = np.exp(scores - scores.max())
    return Explained(tuple(kept), weights / weights.sum())


def _options(track: Track, parts: Parts) -> list[tuple[Owner, Part, float, float, float]]:
    """Parts near enough: owner, part, how far off, variance of the line, likelihood of the law."""
    found = []
    for number, part in enumerate(parts.parts):
        for multiple in range(1, HIGHEST + 1):
            under = track.under(part.law_at(multiple))
            if under is None or under.plausible < LEAST:
                continue
            off = math.log(under.rate_hz / multiple) - part.log_rate
            variance = under.u_log**2 + LEAST_SHARE**2
            if abs(off) <= GATE * math.hypot(part.u_log, math.sqrt(variance)):
                found.append((Owner(number, multiple), part, off, variance, under.plausible))
    return found


def _grow(
    one: Explanation, track: Track, options: Sequence[tuple[Owner, Part, float, float, float]]
) -> list[Explanation]:
    grown = [Explanation((*one.owners, None), one.score + math.log(NOBODYS), one.sizes, one.spread)]
    for owner, part, off, variance, plausible in options:
        if owner in one.owners:
            continue
        shown = one.shown_by(owner.part)
        if not shown and owner.multiple not in part.turning.multiples:
            continue  # an unusual multiple alone accuses nobody
        kind = part.turning.kind
        before = log_chance(kind, shown | {owner.multiple}) - log_chance(kind, shown)
        gain = one.spread @ part.shares
        wide = float(part.shares @ gain) + variance
        missed = off - float(part.shares @ one.sizes)
        if missed**2 > (GATE + 1) ** 2 * wide:
            continue
        fits = -0.5 * missed**2 / wide - 0.5 * math.log(2 * math.pi * wide)
        grown.append(
            Explanation(
                (*one.owners, owner), one.score + before + fits + plausible,
                one.sizes + gain * missed / wide, one.spread - np.outer(gain, gain) / wide,
            )
        )  # fmt: skip
    return grown
