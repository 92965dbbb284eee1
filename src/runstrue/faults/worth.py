"""What a check is worth: how much it is expected to tell, and whether it may settle the matter.

What is asked is which suspect it is: none, each of them alone, or several together. Suspects are
the causes that some evidence points to; others may come and go without being asked about, and
those that nothing has touched are taken as absent. A check tells the mutual information, in bits,
between its outcome and that (D. V. Lindley, 1956; as value of a test: G. Gorry and G. Barnett,
1968; both from memory).

Bits alone like to split the suspects evenly, and the next check splits again. But the search is
over when one suspect is sure enough to begin with (`judgement.SURE`): what is open then counts for
half only. So a check is worth H − Σ P(o) H_o s_o, where H is the entropy before, H_o after outcome
*o*, and s_o = ½ where *o* makes a suspect sure, else 1. Where one is sure already, it is the
mutual information alone.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from runstrue.faults.judgement import SETTLED, SURE
from runstrue.faults.known_network import KnownNetwork
from runstrue.faults.network import Posterior, solve
from runstrue.faults.sets import Array, CauseSets, Places

KEPT = 0.999
"""Weight of the sets that a check is weighed by, heaviest first: the rest moves no order."""
MOST_SETS = 2000


@dataclass(frozen=True, slots=True)
class Worth:
    """What one check is expected to bring.

    Parameters
    ----------
    bits : float
        What it tells about which suspect it is.
    worth : float
        The same, and more where it may make one of them sure.
    """

    bits: float
    worth: float


NOTHING = Worth(0.0, 0.0)


def worths(
    network: KnownNetwork, found: Posterior, suspects: Places, asked: Collection[str] = ()
) -> dict[str, Worth]:
    """Return what each check is worth.

    Parameters
    ----------
    network : KnownNetwork
    found : Posterior
    suspects : array of int
        Without any, all causes are, two at once at most.
    asked : collection of str
        Checks to leave out.

    Returns
    -------
    dict of str to Worth
        Only checks that have a say about a suspect.
    """
    if not suspects.size:
        suspects = np.arange(len(network.ids))
        found = _unseen(network)
    keys = [
        key for key in sorted(network.knowledge.checks)
        if key not in asked and network.weights(key)[1][suspects].any()
    ]  # fmt: skip
    if not keys:
        return {}
    state = _State(found, suspects)
    return {key: state.worth(network.outcome_chances(key).of(state.sets, found.touched))
            for key in keys}  # fmt: skip


class _State:
    """The heaviest sets of causes, in groups that are the same answer to 'which suspect?'."""

    def __init__(self, found: Posterior, suspects: Places) -> None:
        heavy = _heaviest(found.weights)
        sets, weights = found.sets.some(heavy), found.weights[heavy] / found.weights[heavy].sum()
        is_suspect = np.isin(found.touched, suspects)
        answer = _answers(sets.members, is_suspect)
        order = np.argsort(answer, kind="stable")
        self.sets: CauseSets = sets.some(order)
        self._weights = weights[order]
        self._firsts = np.flatnonzero(np.diff(answer[order], prepend=-1))
        self._holds = _holds(self.sets.members, is_suspect)
        self._open = _entropy(np.add.reduceat(self._weights, self._firsts))
        self._is_sure = self._surest(self._weights[:, None])[0] >= SURE

    def worth(self, outcome_chances: Array) -> Worth:
        """Return what a check is worth that shows its outcomes with these chances."""
        joint = self._weights[:, None] * outcome_chances
        each = joint.sum(axis=0)
        left = _entropy(np.add.reduceat(joint, self._firsts) / each)
        sure = self._surest(joint / each) >= SURE
        bits = max(float(self._open - each @ left), 0.0)
        if self._is_sure:
            return Worth(bits, bits)
        return Worth(bits, float(self._open - each @ np.where(sure, SETTLED * left, left)))

    def _surest(self, weights: Array) -> Array:
        """Return the chance of the likeliest suspect, for each column of weights."""
        highest: Array = (self._holds @ weights).max(axis=0, initial=0.0)
        return highest


def _unseen(network: KnownNetwork) -> Posterior:
    class _All:
        touched = np.arange(len(network.ids))

        def log_likelihood(self, sets: object, causes: Places) -> Array:
            return np.zeros(1)

    return solve(network.priors, [_All()], at_most=2)


def _heaviest(weights: Array) -> Places:
    """Return the places of the heaviest sets that make up nearly all, rising."""
    most = min(MOST_SETS, len(weights))
    heavy = np.argpartition(-weights, most - 1)[:most]
    heavy = heavy[np.argsort(-weights[heavy], kind="stable")]
    enough = int(np.searchsorted(np.cumsum(weights[heavy]), KEPT)) + 1
    return np.sort(heavy[:enough])


def _answers(members: Places, is_suspect: NDArray[np.bool_]) -> Places:
    """Return a number for each set: which suspect it holds, none of them, or several."""
    nobody = len(is_suspect)
    own = np.where(np.append(is_suspect, False)[members], members, nobody)
    own.sort(axis=0)
    answers: Places = np.where(own[1] < nobody, nobody + 1, own[0])
    return answers


def _holds(members: Places, is_suspect: NDArray[np.bool_]) -> Array:
    """Return which sets hold which suspect, shape (suspects, sets)."""
    nobody = len(is_suspect)
    held = np.zeros((nobody + 1, members.shape[1]))
    for row in members:
        held[row, np.arange(members.shape[1])] = 1.0
    return held[:nobody][is_suspect]


def _entropy(chances: Array) -> Array:
    """Return the entropy in bits, over the first axis."""
    out: Array = -(chances * np.log2(np.where(chances > 0, chances, 1.0))).sum(axis=0)
    return out
