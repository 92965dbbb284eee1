"""How likely each cause is before anything was seen.

Where the open repair counts speak (`Cause.prior_group`), the causes of a group share it: the
chance that any of them is there is the group's share of the counts, and the word of each says how
much of it is its own. Elsewhere the word alone gives the chance (`judgement.py`).

Repairs of one's own bench sharpen both. A prior chance p0 is worth w decks; after N repairs here,
n of them of this cause, it is (w p0 + n) / (w + N), the mean of a Beta distribution with
a = w p0 + n and b = w (1 − p0) + N − n (the usual conjugate update: A. Gelman and others,
*Bayesian Data Analysis*, chapter 2). Its 2.5 % and 97.5 % points are the interval.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from runstrue.errors import InputError
from runstrue.faults.counts import group_share
from runstrue.faults.judgement import CAUSE_CHANCE, COUNTS_WORTH, JUDGEMENT_WORTH
from runstrue.faults.models import Cause, Knowledge
from runstrue.faults.sets import Array

Basis = Literal["open repair counts", "judgement", "this bench"]
SHARPENED = 1.1
"""From this factor on, either way, own repairs are what a prior stands on."""


@dataclass(frozen=True, slots=True)
class Prior:
    """The chance of a cause before anything was seen.

    Parameters
    ----------
    cause : str
    chance, low, high : float
        Fractions; low and high hold it with 95 %.
    basis : {'open repair counts', 'judgement', 'this bench'}
    before : float
        The chance without own repairs.
    own, own_total : int
        Repairs of this cause at this bench, of all repairs there.
    words : str
        Where it comes from, in one clause.
    """

    cause: str
    chance: float
    low: float
    high: float
    basis: Basis
    before: float
    own: int = 0
    own_total: int = 0
    words: str = ""


def priors_of(
    knowledge: Knowledge, own_counts: Mapping[str, int] | None = None
) -> dict[str, Prior]:
    """Return the prior chance of every cause.

    Parameters
    ----------
    knowledge : Knowledge
    own_counts : mapping of str to int, optional
        Repairs done at this bench, by cause. A cause that is not known here counts among all.

    Raises
    ------
    InputError
        For a count below zero, or a group that is not counted.
    """
    own = dict(own_counts or {})
    for cause, count in own.items():
        if count < 0:
            raise InputError(
                f"The repairs of '{cause}' are counted as {count}", "no less than none is possible"
            )
    causes = sorted(knowledge.causes.values(), key=lambda one: one.id)
    before = base_chances(causes)
    worth = np.array([COUNTS_WORTH if one.prior_group else JUDGEMENT_WORTH for one in causes])
    start = np.array([before[one.id] for one in causes])
    here = np.array([own.get(one.id, 0) for one in causes], dtype=float)
    total = sum(own.values())
    a = worth * start + here
    b = worth * (1 - start) + total - here
    low, high = beta_points(a, b, 0.025), beta_points(a, b, 0.975)
    chance = a / (a + b)
    return {
        one.id: _prior(one, before[one.id], float(chance[at]), (float(low[at]), float(high[at])),
                       own.get(one.id, 0), total)
        for at, one in enumerate(causes)
    }  # fmt: skip


def base_chances(causes: list[Cause]) -> dict[str, float]:
    """Return the chances from the open counts and from judgement alone."""
    members: dict[str, float] = {}
    for one in causes:
        if one.prior_group:
            members.setdefault(one.prior_group, 0.0)
            members[one.prior_group] += CAUSE_CHANCE[one.likelihood]
    return {one.id: _base(one, members) for one in causes}


def _base(cause: Cause, members: Mapping[str, float]) -> float:
    word = CAUSE_CHANCE[cause.likelihood]
    if not cause.prior_group:
        return word
    # (1 − share) is the chance that none of the group is there: a product over its causes
    part = word / members[cause.prior_group]
    return float(-np.expm1(part * np.log1p(-group_share(cause.prior_group).share)))


def _prior(
    cause: Cause, before: float, chance: float, interval: tuple[float, float], own: int, total: int
) -> Prior:
    moved = max(chance / before, before / chance) >= SHARPENED
    basis: Basis = "open repair counts" if cause.prior_group else "judgement"
    words = _words(cause)
    if total:
        words += f"; here {own} of {total} repairs"
    return Prior(
        cause.id, chance, *interval, "this bench" if moved else basis, before, own, total, words
    )


def _words(cause: Cause) -> str:
    if not cause.prior_group:
        return f"judged '{cause.likelihood}'"
    share = group_share(cause.prior_group)
    return (
        f"{share.words} in {share.n} of {share.base} open repair texts, "
        f"'{cause.likelihood}' among its causes"
    )


def beta_points(a: Array, b: Array, below: float) -> Array:
    """Return the point of Beta distributions that this part of them lies below.

    Parameters
    ----------
    a, b : array
        Above zero.
    below : float
        In (0, 1).

    Returns
    -------
    array
        To three figures: the density is added up over the logit, where it has one smooth hump.
    """
    left = -np.log(a + b) - 12.0
    right = np.log((a + 14 * np.sqrt(a) + 40) / b) + 14 / np.sqrt(b)
    logit = np.linspace(left, right, 3001, axis=1)
    log_density = -a[:, None] * np.logaddexp(0, -logit) - b[:, None] * np.logaddexp(0, logit)
    top = log_density.max(axis=1, keepdims=True)
    density = np.exp(log_density - top)
    steps = (logit[:, 1] - logit[:, 0])[:, None]
    # left of the grid the density is exp(a · logit): its part is known
    log_tail = a * left - top[:, 0] - np.log(a)
    added = np.exp(log_tail)[:, None] + steps * (
        np.cumsum(density, axis=1) - (density + density[:, :1]) / 2
    )
    wanted = below * added[:, -1]
    found = np.array([np.interp(*one) for one in zip(wanted, added, logit, strict=True)])
    deeper = left + np.minimum(np.log(wanted) - log_tail, 0.0) / a
    points: Array = 1 / (1 + np.exp(-np.where(deeper < left, deeper, found)))
    return points
