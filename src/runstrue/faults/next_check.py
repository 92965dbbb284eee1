"""The next best check: what tells most, per minute and per risk.

How much a check is worth, in bits, is told in `worth.py`. Bits are divided by what the check costs:
its minutes, and minutes for its risk; twice that where none of the complaints names it among its
own checks (`judgement.py`).

What cannot be done is left out: no tone can be played on a deck that does not turn. What is not
offered, and named: a check whose electrical risk is medium or high, or with mains in reach, to
somebody who has not said that they are trained for it; anything under power while a symptom asks
for a look at the unplugged deck first; a check whose tools are not at hand.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from runstrue.faults.judgement import RISK_MINUTES, UNNAMED
from runstrue.faults.known_network import PRESENT, UNKNOWN, KnownNetwork
from runstrue.faults.models import Caution, Check, Evidence, Risk, Symptom
from runstrue.faults.network import Posterior
from runstrue.faults.sets import Places
from runstrue.faults.worth import NOTHING, worths

LEAST_BITS = 0.005
"""A check that is expected to tell less is not worth the walk to the bench."""
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
        What it is expected to tell about which suspect it is.
    worth_bits : float
        The same, and more where it may make one of them sure enough to begin with.
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
    worth_bits: float
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
    information_bits, worth_bits : float
        What it would have been expected to tell, and worth.
    """

    check: Check
    reason: str
    kind: str = ""
    information_bits: float = 0.0
    worth_bits: float = 0.0


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
    stands = any(one.playing == "impossible" for one in present)
    waiting = [key for key in cold if key not in asked]
    open_cold = [key for key in cold if key not in answered]
    told = worths(network, found, suspects, asked)
    cost = {
        key: cost_minutes(network.check(key)) * (UNNAMED if named and key not in named else 1)
        for key in {*told, *waiting}
    }
    ranked = sorted(
        (
            key
            for key in told
            if key not in waiting
            and told[key].bits >= LEAST_BITS
            and not (stands and network.check(key).playing)
        ),
        key=lambda key: _place(network.check(key), told[key].worth / cost[key]),
    )
    offered: list[Suggestion] = []
    held: list[HeldBack] = []
    for key in (*waiting, *ranked):
        if len(offered) >= count:
            break
        check = network.check(key)
        worth = told.get(key, NOTHING)
        back = _held_back(check, network, tools, trained_for_mains, open_cold, asked)
        if back is not None:
            held.append(HeldBack(check, back[1], back[0], worth.bits, worth.worth))
            continue
        why = (
            "It is done unplugged, before any mains is applied."
            if key in waiting
            else _why(check, network, found, suspects)
        )
        offered.append(
            Suggestion(
                check, worth.bits, worth.worth, check.minutes, check.risk, why,
                tuple(network.knowledge.cautions[one] for one in check.cautions),
                cost[key],
            )
        )  # fmt: skip
    return NextChecks(tuple(offered), tuple(held))


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
