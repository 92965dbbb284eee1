"""The next best check: what tells most, per minute and per risk.

How much a check is expected to tell is the mutual information, in bits, between its outcome and
which of the suspects are there (D. V. Lindley, 1956; as value of a test: G. Gorry and G. Barnett,
1968; both from memory). Suspects are the causes that some evidence points to; others may come and
go without being asked about, and those that nothing has touched are taken as absent. Bits are
divided by what the check costs: its minutes, and minutes for its risk; twice that where none of
the complaints names it among its own checks (`judgement.py`).

What is not offered: a check whose electrical risk is medium or high, or with mains in reach, to
somebody who has not said that they are trained for it; anything under power while a symptom asks
for a look at the unplugged deck first; a check whose tools are not at hand.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from runstrue.faults.judgement import RISK_MINUTES, UNNAMED
from runstrue.faults.known_network import PRESENT, UNKNOWN, KnownNetwork
from runstrue.faults.models import Caution, Check, Evidence, Risk, Symptom
from runstrue.faults.network import Posterior, solve
from runstrue.faults.sets import Array, Places

LEAST_BITS = 0.005
"""A check that is expected to tell less is not worth the walk to the bench."""
KEPT = 0.999
"""Weight of the sets that a check is weighed by, heaviest first: the rest moves no order."""
MOST_SETS = 2000
WORTH_NAMING = 0.03
"""Chance from which on a suspect is named in the reason."""
UNPLUGGED = "off, unplugged"
MAINS = "on, open, mains side reachable"


@dataclass(frozen=True, slots=True)
class Suggestion:
    """A check that is worth doing next.

    Parameters
    ----------
    check : Check
    information_bits : float
        What it is expected to tell about the suspects.
    minutes : float
    risk : Risk
    why : str
        In plain words, one sentence.
    cautions : tuple of Caution
        To be read before, not after.
    cost_minutes : float
        Its minutes, with its risk as minutes; twice that where no complaint's own list names it.
    """

    check: Check
    information_bits: float
    minutes: float
    risk: Risk
    why: str
    cautions: tuple[Caution, ...]
    cost_minutes: float


@dataclass(frozen=True, slots=True)
class HeldBack:
    """A check that would tell something and is not offered.

    Parameters
    ----------
    check : Check
    reason : str
        In plain words: a clause to follow its name.
    kind : {'mains', 'unplugged first', 'tools', ''}
    information_bits : float
        What it would have been expected to tell.
    """

    check: Check
    reason: str
    kind: str = ""
    information_bits: float = 0.0


@dataclass(frozen=True, slots=True)
class NextChecks:
    """What to look at next.

    Parameters
    ----------
    suggestions : tuple of Suggestion
        The best first; empty where no check would tell anything.
    held_back : tuple of HeldBack
        What would have told as much per minute as the last of them, and is not offered.
    """

    suggestions: tuple[Suggestion, ...]
    held_back: tuple[HeldBack, ...]


def next_checks(
    network: KnownNetwork,
    found: Posterior,
    suspects: Places,
    evidence: Sequence[Evidence],
    tools: Collection[str] | None,
    trained_for_mains: bool,
    count: int,
) -> NextChecks:
    """Return the checks that tell most per minute and risk; see `FaultFinder.next_checks`."""
    asked = {one.key for one in evidence if one.kind == "check"}
    answered = {one.key for one in evidence if one.kind == "check" and one.answer != UNKNOWN}
    present = _present(network, evidence)
    cold = list(dict.fromkeys(key for one in present for key in one.cold_checks_before_power))
    named = {key for one in present for key in one.checks}
    waiting = [key for key in cold if key not in asked]
    open_cold = [key for key in cold if key not in answered]
    bits = information(network, found, suspects, asked)
    cost = {
        key: cost_minutes(network.check(key)) * (UNNAMED if named and key not in named else 1)
        for key in {*bits, *waiting}
    }
    ranked = sorted(
        (key for key in bits if key not in waiting and bits[key] >= LEAST_BITS),
        key=lambda key: _place(network.check(key), bits[key] / cost[key]),
    )
    offered: list[Suggestion] = []
    held: list[HeldBack] = []
    for key in (*waiting, *ranked):
        if len(offered) >= count:
            break
        check = network.check(key)
        back = _held_back(check, network, tools, trained_for_mains, open_cold, asked)
        if back is not None:
            held.append(HeldBack(check, back[1], back[0], bits.get(key, 0.0)))
            continue
        why = (
            "It is done unplugged, before any mains is applied."
            if key in waiting
            else _why(check, network, found, suspects)
        )
        offered.append(
            Suggestion(
                check, bits.get(key, 0.0), check.minutes, check.risk, why,
                tuple(network.knowledge.cautions[one] for one in check.cautions),
                cost[key],
            )
        )  # fmt: skip
    return NextChecks(tuple(offered), tuple(held))


def information(
    network: KnownNetwork, found: Posterior, suspects: Places, asked: Collection[str] = ()
) -> dict[str, float]:
    """Return how much each check is expected to tell about the suspects, in bits.

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
    dict of str to float
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
    heavy = _heaviest(found.weights)
    sets, weights = found.sets.some(heavy), found.weights[heavy] / found.weights[heavy].sum()
    alike = _alike(sets.members, np.isin(found.touched, suspects))
    order = np.argsort(alike, kind="stable")
    sets, weights = sets.some(order), weights[order]
    firsts = np.flatnonzero(np.diff(alike[order], prepend=-1))
    groups = _plogp(np.add.reduceat(weights, firsts)).sum()
    bits = {}
    for key in keys:
        seen = network.outcome_chances(key).of(sets, found.touched)
        joint = np.add.reduceat(seen * weights[:, None], firsts, axis=0)
        told = _plogp(joint).sum() - _plogp(joint.sum(axis=0)).sum() - groups
        bits[key] = max(float(told), 0.0)
    return bits


def cost_minutes(check: Check) -> float:
    """Return what a check costs: its minutes, and its risk as minutes."""
    return (
        check.minutes
        + RISK_MINUTES["electrical"][check.risk.electrical]
        + RISK_MINUTES["mechanical"][check.risk.mechanical]
    )


def needs_training(check: Check) -> bool:
    """Whether a check is for somebody who is trained for mains work."""
    return check.power == MAINS or check.risk.electrical in ("medium", "high")


def _held_back(
    check: Check,
    network: KnownNetwork,
    tools: Collection[str] | None,
    trained: bool,
    open_cold: Sequence[str],
    asked: Collection[str],
) -> tuple[str, str] | None:
    """Return the kind and the reason why a check is not offered; None where it is."""
    if needs_training(check) and not trained:
        return "mains", (
            "its electrical risk is more than small: it is for somebody who is trained for "
            "mains work, and says so"
        )
    if check.power != UNPLUGGED:
        # a look that could not be answered does not open the way to mains either, unless trained
        first = [key for key in open_cold if not (trained and key in asked)]
        if first:
            names = " and ".join(f"'{network.check(key).name}'" for key in first[:2])
            return "unplugged first", f"before any mains is applied, {names} must be answered"
    if tools is not None:
        lacking = [key for key in check.tools if key not in tools]
        if lacking:
            names = ", ".join(network.knowledge.tools[key].name for key in lacking)
            return "tools", f"it needs what is not at hand: {names}"
    return None


def _present(network: KnownNetwork, evidence: Sequence[Evidence]) -> list[Symptom]:
    """Return the symptoms that are there, by id.

    One that is said to be there and not there counts as there.
    """
    keys = {one.key for one in evidence if one.kind == "symptom" and one.answer == PRESENT}
    return [network.symptom_known(key) for key in sorted(keys)]


def _place(check: Check, bits_a_minute: float) -> tuple[float, float, str]:
    """Order: bits a minute to nine figures, then the shorter, then by id."""
    return -float(f"{bits_a_minute:.8e}"), check.minutes, check.id


def _why(check: Check, network: KnownNetwork, found: Posterior, suspects: Places) -> str:
    """Say which suspects a check is about, the likeliest first."""
    gains = network.weights(check.id)[1]
    pool = suspects if suspects.size else np.arange(len(network.ids))
    about = sorted(
        (int(at) for at in pool if gains[at].any()),
        key=lambda at: (-round(float(found.chances[at]), 12), at),
    )
    named = [at for at in about if found.chances[at] >= WORTH_NAMING][:3] or about[:1]
    names = [f"'{network.knowledge.causes[network.ids[at]].name}'" for at in named]
    listed = names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
    return f"It speaks of {listed}."


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


def _alike(members: Places, is_suspect: NDArray[np.bool_]) -> Places:
    """Return a number for each set, the same for sets with the same suspects."""
    count = len(is_suspect)
    own = np.where(np.append(is_suspect, False)[members], members, count)
    own.sort(axis=0)
    code = own[0]
    for row in own[1:]:
        code = code * (count + 1) + row
    numbered: Places = np.unique(code, return_inverse=True)[1]
    return numbered


def _plogp(chances: Array) -> Array:
    """Return p log2 p, zero for none."""
    out: Array = chances * np.log2(np.where(chances > 0, chances, 1.0))
    return out
