"""Why a cause stands where it does: which evidence spoke for it, and which against.

What one piece of evidence says about one cause is its Bayes factor: how much likelier the evidence
is with the cause than without, the other causes being there by their priors. It does not hang on
what else was seen, so it stays the same from one screen to the next.

Two answers hardly go together when both at once are far less likely than each by itself would
make them: P(a) P(b) / P(a, b), the measure of conflict of F. V. Jensen and others (1991, from
memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from runstrue.faults.models import Evidence, Knowledge
from runstrue.faults.network import Finding, solve
from runstrue.faults.sets import Array, CauseSets, Places

Strength = Literal["weakly", "clearly", "strongly"]

LEAST_FACTOR = 1.1
"""Nearer to 1, either way, evidence says nothing worth telling."""
CLEARLY, STRONGLY = 3.0, 10.0
"""Bounds of the words (H. Jeffreys' scale has 3.2 and 10, from memory)."""
CONFLICT = 3.0
"""From here on two answers hardly go together."""


@dataclass(frozen=True, slots=True)
class Spoke:
    """What one piece of evidence says about one cause.

    Parameters
    ----------
    evidence : Evidence
    factor : float
        How much likelier the evidence is with the cause than without; below 1 it speaks against.
    strength : {'weakly', 'clearly', 'strongly'}
    words : str
        What was seen, in plain words: 'Look at every belt and pulley: belt hangs slack'.
    """

    evidence: Evidence
    factor: float
    strength: Strength
    words: str


@dataclass(frozen=True, slots=True)
class Conflict:
    """Two answers that hardly go together.

    Parameters
    ----------
    first, second : Evidence
    words : str
    factor : float
        How many times less likely both are than each by itself would make them; infinite where
        one question has two answers.
    """

    first: Evidence
    second: Evidence
    words: str
    factor: float


def factors(priors: Array, finding: Finding) -> Array:
    """Return what a finding by itself says about each cause, shape (causes,).

    1 where it says nothing.
    """
    chances = solve(priors, [finding]).chances
    own = solve(priors, [_Silent(finding)]).chances  # the same sets, nothing seen
    out = np.ones(len(priors))
    at = finding.touched
    out[at] = _odds(chances[at]) / _odds(own[at])
    return out


def conflict_factor(priors: Array, first: Finding, second: Finding) -> float:
    """Return P(a) P(b) / P(a, b), at most two causes at once; 1 where they share no cause."""
    if not np.intersect1d(first.touched, second.touched, assume_unique=True).size:
        return 1.0
    alone = sum(solve(priors, [one], at_most=2).log_evidence for one in (first, second))
    return float(np.exp(alone - solve(priors, [first, second], at_most=2).log_evidence))


def spoke(evidence: Evidence, factor: float, knowledge: Knowledge) -> Spoke:
    """Return what a factor says, in words."""
    size = max(factor, 1 / factor)
    strength: Strength = (
        "strongly" if size >= STRONGLY else "clearly" if size >= CLEARLY else "weakly"
    )
    return Spoke(evidence, factor, strength, words_of(evidence, knowledge))


def words_of(evidence: Evidence, knowledge: Knowledge) -> str:
    """Return what was seen, in plain words."""
    if evidence.kind == "symptom":
        name = knowledge.symptoms[evidence.key].name
        said = {"present": name, "absent": f"not so: {name}", "unknown": f"not known: {name}"}
        return said[evidence.answer]
    check = knowledge.checks[evidence.key]
    see = next((one.see for one in check.outcomes if one.id == evidence.answer), "not known")
    return f"{check.name}: {see}"


def hardly_together(first: Evidence, second: Evidence, factor: float, known: Knowledge) -> Conflict:
    """Return the conflict of two answers."""
    words = (
        f"These two answers hardly go together: '{words_of(first, known)}' and "
        f"'{words_of(second, known)}'. Look again at the one you trust less."
    )
    return Conflict(first, second, words, factor)


def answered_twice(answers: Sequence[Evidence], known: Knowledge) -> Conflict:
    """Return the conflict of two different answers to one question."""
    first, second = answers[:2]
    words = (
        f"One question has two answers: '{words_of(first, known)}' and "
        f"'{words_of(second, known)}'. Neither counts until one is taken back."
    )
    return Conflict(first, second, words, float("inf"))


@dataclass(frozen=True, slots=True, eq=False)
class _Silent:
    """A finding that touches its causes and says nothing about them."""

    finding: Finding

    @property
    def touched(self) -> Places:
        return self.finding.touched

    def log_likelihood(self, sets: CauseSets, causes: Places) -> Array:
        return np.zeros(len(sets))


def _odds(chances: Array) -> Array:
    odds: Array = chances / (1 - chances)
    return odds
