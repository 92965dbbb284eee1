"""From what was seen to what can be wrong: the likely causes in order, and why.

The network and its exact sums are in `network.py`, the words' numbers in `judgement.py`, the
priors in `priors.py`; the mathematics is written down in docs/fault-inference.md.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from runstrue.faults.explain import (
    CONFLICT,
    LEAST_FACTOR,
    Conflict,
    Spoke,
    answered_twice,
    conflict_factor,
    factors,
    hardly_together,
    spoke,
)
from runstrue.faults.known_network import UNKNOWN, KnownNetwork, in_order
from runstrue.faults.models import Cause, Evidence, Knowledge
from runstrue.faults.network import Posterior, solve
from runstrue.faults.next_check import HeldBack, NextChecks, Suggestion, next_checks
from runstrue.faults.priors import Basis, Prior
from runstrue.faults.sets import Array, Places

__all__ = [
    "CauseRow", "Conflict", "FaultFinder", "HeldBack", "NextChecks", "Ranking", "Spoke",
    "Suggestion",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class CauseRow:
    """One cause in the ranking.

    Parameters
    ----------
    cause : Cause
    chance : float
        That it is there, given all evidence; a fraction.
    low, high : float
        The same with its prior at either end of its interval. The words of the knowledge, which
        are judgement, are not in it.
    prior : float
        Its chance before anything was seen.
    origin : Prior
        Where that comes from, and what own repairs made of it.
    for_, against : tuple of Spoke
        What speaks for it and against it, the loudest first.
    is_suspect : bool
        Whether any evidence points to it. The others follow after the suspects: they may well be
        there, as in any old deck, but they would not explain what was seen.
    """

    cause: Cause
    chance: float
    low: float
    high: float
    prior: float
    origin: Prior
    for_: tuple[Spoke, ...]
    against: tuple[Spoke, ...]
    is_suspect: bool

    @property
    def basis(self) -> Basis:
        """What the prior stands on: 'open repair counts', 'judgement' or 'this bench'."""
        return self.origin.basis


@dataclass(frozen=True, slots=True)
class Ranking:
    """All causes in order.

    Parameters
    ----------
    rows : tuple of CauseRow
        Every cause that is known: the suspects by their chance, then the others by theirs.
        Several can be there at once, so that the chances need not add up to one.
    none_of_these : float
        Chance that no suspect is there, but something that is not on the list; where nothing
        points to any cause yet, that none of all causes is there.
    conflicts : tuple of Conflict
        Answers that hardly go together, the worst first.
    """

    rows: tuple[CauseRow, ...]
    none_of_these: float
    conflicts: tuple[Conflict, ...]

    @property
    def suspects(self) -> tuple[CauseRow, ...]:
        """The causes that some evidence points to, by their chance."""
        return tuple(row for row in self.rows if row.is_suspect)


class FaultFinder:
    """Reckons with all that is known.

    Parameters
    ----------
    knowledge : Knowledge
    own_counts : mapping of str to int, optional
        Repairs done at this bench, by cause; None leaves the bench's own repairs out.

    Examples
    --------
    >>> from runstrue.faults.read import read_knowledge
    >>> finder = FaultFinder(read_knowledge())
    >>> seen = [Evidence(kind="check", key="ck_look_belts", answer="tar")]
    >>> finder.posterior(seen).rows[0].cause.id
    'main_belt_melted'
    """

    def __init__(self, knowledge: Knowledge, own_counts: Mapping[str, int] | None = None) -> None:
        self.knowledge = knowledge
        self.network = KnownNetwork(knowledge, own_counts)
        self._factors = lru_cache(maxsize=1024)(self._factors_of)
        self._conflict = lru_cache(maxsize=4096)(self._conflict_of)
        self._solved = lru_cache(maxsize=4)(self._solve_anew)

    def posterior(self, evidence: Sequence[Evidence]) -> Ranking:
        """Return the likely causes in order.

        The same evidence gives the same answer, whatever its order.

        Parameters
        ----------
        evidence : sequence of Evidence
            'unknown' moves nothing. Where one question has two answers, neither counts, and the
            conflict is told.

        Raises
        ------
        InputError
            Where a symptom, a check or an answer is not known.
        """
        counted, twice = self._counted(evidence)
        found = self._solve(counted)
        suspects = self._suspects(counted)
        every = np.arange(len(self.network.ids))
        is_suspect = np.zeros(len(every), dtype=bool)
        is_suspect[suspects] = True
        order = sorted(
            range(len(every)),
            key=lambda at: (not is_suspect[at], -round(float(found.chances[at]), 12), at),
        )
        said = [(one, self._factors(one.kind, one.key, one.answer)) for one in counted]
        return Ranking(
            rows=tuple(self._row(at, found, said, bool(is_suspect[at])) for at in order),
            none_of_these=found.none_of(suspects if suspects.size else every),
            conflicts=(*twice, *self._conflicts(counted)),
        )

    def next_checks(
        self,
        evidence: Sequence[Evidence],
        tools: Collection[str] | None = None,
        trained_for_mains: bool = False,
        count: int = 3,
    ) -> NextChecks:
        """Return the checks that tell most per minute and risk.

        Parameters
        ----------
        evidence : sequence of Evidence
        tools : collection of str or None
            Ids of the tools at hand; None for any.
        trained_for_mains : bool
            Whether the person has said that they are trained for mains work.
        count : int
            At most so many.

        Returns
        -------
        NextChecks
            The suggestions, the best first, and what was held back, with the reason.
        """
        counted, _ = self._counted(evidence)
        found = self._solve(counted)
        return next_checks(
            self.network, found, self._suspects(counted), evidence, tools, trained_for_mains, count
        )

    def _counted(
        self, evidence: Sequence[Evidence]
    ) -> tuple[tuple[Evidence, ...], tuple[Conflict, ...]]:
        """Return the evidence that counts, in order, and questions with two answers."""
        asked: dict[tuple[str, str], list[Evidence]] = {}
        for one in in_order(evidence):
            self.network.known(one)
            if one.answer != UNKNOWN:
                asked.setdefault((one.kind, one.key), []).append(one)
        counted = tuple(answers[0] for answers in asked.values() if len(answers) == 1)
        twice = [answers for answers in asked.values() if len(answers) > 1]
        return counted, tuple(answered_twice(answers, self.knowledge) for answers in twice)

    def _solve(self, counted: Sequence[Evidence]) -> Posterior:
        return self._solved(tuple((one.kind, one.key, one.answer) for one in counted))

    def _solve_anew(self, said: tuple[tuple[str, str, str], ...]) -> Posterior:
        return solve(self.network.priors, [self.network.finding(_evidence(*one)) for one in said])

    def _suspects(self, counted: Sequence[Evidence]) -> Places:
        spoken = [self.network.spoken_for(one) for one in counted]
        return np.unique(np.concatenate([np.zeros(0, dtype=np.intp), *spoken]))

    def _row(
        self,
        at: int,
        found: Posterior,
        said: Sequence[tuple[Evidence, Array]],
        is_suspect: bool,
    ) -> CauseRow:
        prior = self.network.prior[self.network.ids[at]]
        chance = float(found.chances[at])
        spokes = sorted(
            (
                spoke(one, float(factor[at]), self.knowledge)
                for one, factor in said
                if not 1 / LEAST_FACTOR < factor[at] < LEAST_FACTOR
            ),
            key=lambda one: -abs(np.log(one.factor)),
        )
        return CauseRow(
            cause=self.knowledge.causes[prior.cause],
            chance=chance,
            low=_moved(chance, prior.chance, prior.low),
            high=_moved(chance, prior.chance, prior.high),
            prior=prior.chance,
            origin=prior,
            for_=tuple(one for one in spokes if one.factor > 1),
            against=tuple(one for one in spokes if one.factor < 1),
            is_suspect=is_suspect,
        )

    def _conflicts(self, counted: Sequence[Evidence]) -> list[Conflict]:
        """Return the pairs that hardly go together and accuse no cause in common."""
        found = []
        accused = [set(self.network.spoken_for(one).tolist()) for one in counted]
        for place, second in enumerate(counted):
            for before, first in enumerate(counted[:place]):
                if accused[before] & accused[place]:
                    continue
                factor = self._conflict(
                    (first.kind, first.key, first.answer), (second.kind, second.key, second.answer)
                )
                if factor >= CONFLICT:
                    found.append(hardly_together(first, second, factor, self.knowledge))
        found.sort(key=lambda one: -one.factor)
        return found

    def _factors_of(self, kind: str, key: str, answer: str) -> Array:
        return factors(self.network.priors, self.network.finding(_evidence(kind, key, answer)))

    def _conflict_of(self, first: tuple[str, str, str], second: tuple[str, str, str]) -> float:
        return conflict_factor(
            self.network.priors,
            self.network.finding(_evidence(*first)),
            self.network.finding(_evidence(*second)),
        )


def _evidence(kind: str, key: str, answer: str) -> Evidence:
    return Evidence(kind="check" if kind == "check" else "symptom", key=key, answer=answer)


def _moved(chance: float, prior: float, other: float) -> float:
    """Return a chance as it would be with another prior; the odds go with the prior's odds."""
    moved = other * (1 - prior) / (prior * (1 - other))
    return chance * moved / (1 - chance + chance * moved)
