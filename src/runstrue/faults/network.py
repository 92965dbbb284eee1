"""Causes and what they bring, in plain numbers: the exact chance of every cause.

Each cause is there or not, independently, by its prior. A finding's likelihood depends on the set
of causes that is there:

    NoisyOr   P(present | S) = 1 − (1 − leak) ∏_{i in S} (1 − q_i)      a symptom
    Outcome   P(o | S) = w_o(S) / Σ w(S),  w_o(S) = w_o ∏_{i in S} g_io  an outcome of a check

Noisy-OR: J. Pearl, *Probabilistic Reasoning in Intelligent Systems* (1988), section 4.3; the leak
stands outside of the q (as in QMR-DT: M. Shwe and others, 1991), from memory. The weights of
outcomes make a multinomial logit.

Exact means: every set of at most three of the causes that a finding touches is reckoned, in
logarithms and by sums of positive terms alone, so that nothing cancels (the sum over signs of
positive findings does, where evidence is very unlikely). Causes that nothing touches factor out
and keep their prior.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from runstrue.errors import InputError
from runstrue.faults.sets import MOST, Array, CauseSets, Places, sets_of


class Finding(Protocol):
    """Something seen, whose likelihood depends on which causes are there."""

    @property
    def touched(self) -> Places:
        """Places of the causes that its likelihood depends on, rising."""

    def log_likelihood(self, sets: CauseSets, causes: Places) -> Array:
        """Return the logarithm of its likelihood for each set of `causes`, shape (sets,)."""


@dataclass(frozen=True, slots=True, eq=False)
class NoisyOr:
    """A symptom that is there, or is not.

    Parameters
    ----------
    leak : float
        Chance that it is there without any of its causes, in [0, 1).
    brings : array, shape (causes,)
        Chance that each cause by itself brings it, without the leak, in [0, 1]; 0 for the others.
    present : bool
    """

    leak: float
    brings: Array
    present: bool

    @property
    def touched(self) -> Places:
        """Places of the causes that can bring it."""
        return np.flatnonzero(self.brings)

    def log_likelihood(self, sets: CauseSets, causes: Places) -> Array:
        """Return the logarithm of its likelihood for each set, shape (sets,)."""
        with np.errstate(divide="ignore"):
            absent = sets.total(np.log1p(-self.brings[causes])) + np.log1p(-self.leak)
            seen: Array = np.log(-np.expm1(absent)) if self.present else absent
        return seen


@dataclass(frozen=True, slots=True, eq=False)
class Outcome:
    """One outcome of a check that has several.

    Parameters
    ----------
    log_weights : array, shape (outcomes,)
        Logarithms of the outcomes' weights where none of the causes is there.
    log_gains : array, shape (causes, outcomes)
        What each cause adds to them; 0 where it has no say.
    seen : int
        Place of the outcome that was seen.
    """

    log_weights: Array
    log_gains: Array
    seen: int

    @property
    def touched(self) -> Places:
        """Places of the causes that have a say."""
        return np.flatnonzero(self.log_gains.any(axis=1))

    def log_likelihood(self, sets: CauseSets, causes: Places) -> Array:
        """Return the logarithm of its likelihood for each set, shape (sets,)."""
        weights = sets.total(self.log_gains[causes]) + self.log_weights
        weights -= weights.max(axis=1, keepdims=True)
        seen: Array = weights[:, self.seen] - np.log(np.exp(weights).sum(axis=1))
        return seen


@dataclass(frozen=True, slots=True, eq=False)
class Posterior:
    """What findings leave of the chances.

    Parameters
    ----------
    touched : array of int
        Places of the causes that a finding touches, rising.
    sets : CauseSets
        Of these.
    weights : array, shape (sets,)
        Chance of each set; they add up to 1.
    chances : array, shape (causes,)
        Chance of each cause; that of an untouched one is its prior.
    log_evidence : float
        Logarithm of the chance of all findings together.
    """

    touched: Places
    sets: CauseSets
    weights: Array
    chances: Array
    log_evidence: float

    def none_of(self, causes: Places) -> float:
        """Return the chance that none of these causes is there."""
        inside = np.isin(self.touched, causes).astype(float)
        clear = float(min(self.weights[self.sets.total(inside) == 0].sum(), 1.0))
        others = np.setdiff1d(causes, self.touched)
        return clear * float(np.prod(1 - self.chances[others]))


def solve(priors: Array, findings: Sequence[Finding], at_most: int = MOST) -> Posterior:
    """Return the exact chances, given findings.

    Parameters
    ----------
    priors : array, shape (causes,)
        In (0, 1).
    findings : sequence of Finding
        In an order of their own, so that the last digit does not hang on who came first.
    at_most : int
        Touched causes that may be there at once; as many as there are makes it the whole sum.

    Raises
    ------
    InputError
        For a prior of 0 or 1 or beyond, or findings that no set of causes can bring.

    Examples
    --------
    >>> fever = NoisyOr(0.0, np.array([0.4, 0.8]), True)
    >>> solve(np.array([0.1, 0.1]), [fever]).chances.round(3)
    array([0.384, 0.692])
    """
    if not np.all((priors > 0) & (priors < 1)):
        raise InputError("A prior chance is not between 0 and 1", "a chance in between is needed")
    touched = touched_by(findings)
    sets = sets_of(len(touched), at_most)
    odds = priors[touched]
    log_priors = sets.total(np.log(odds) - np.log1p(-odds))
    log_joint = log_priors.copy()
    for finding in findings:
        log_joint += finding.log_likelihood(sets, touched)
    top = float(log_joint.max())
    if top == -np.inf:
        raise InputError("These findings cannot be there together", "", "take one of them back")
    joint = np.exp(log_joint - top)
    whole = float(joint.sum())
    weights = joint / whole
    chances = priors.copy()
    chances[touched] = np.minimum(sets.with_each(weights), 1.0)
    before = float(np.exp(log_priors).sum())
    return Posterior(touched, sets, weights, chances, top + np.log(whole) - np.log(before))


def outcome_chances(log_weights: Array) -> Array:
    """Return the chances of outcomes from the logarithms of their weights, row by row."""
    weights = np.exp(log_weights - log_weights.max(axis=1, keepdims=True))
    chances: Array = weights / weights.sum(axis=1, keepdims=True)
    return chances


def touched_by(findings: Sequence[Finding]) -> Places:
    """Return the places of the causes that any of the findings touches, rising."""
    if not findings:
        return np.zeros(0, dtype=np.intp)
    return np.unique(np.concatenate([one.touched for one in findings]))
