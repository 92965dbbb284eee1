"""The next best check: what it tells, what it costs, and what is never offered."""

from __future__ import annotations

import msgspec
import numpy as np
import pytest

from runstrue.faults import worth
from runstrue.faults.infer import FaultFinder
from runstrue.faults.models import Check, Evidence, Knowledge, Outcome, Risk
from runstrue.faults.network import solve
from runstrue.faults.next_check import UNPLUGGED, cost_minutes
from runstrue.faults.read import read_knowledge
from runstrue.faults.sets import Array
from runstrue.faults.worth import worths

KNOWN = read_knowledge()
FINDER = FaultFinder(KNOWN)


def symptom(key: str, answer: str = "present") -> Evidence:
    return Evidence(kind="symptom", key=key, answer=answer)


def check(key: str, answer: str) -> Evidence:
    return Evidence(kind="check", key=key, answer=answer)


SLOW = symptom("speed_slow")
DEAD = symptom("dead_no_lights")


def with_check(added: Check) -> Knowledge:
    return msgspec.structs.replace(KNOWN, checks={**KNOWN.checks, added.id: added})


def entropy(weights: Array) -> float:
    """Shannon's entropy in bits."""
    some = weights[weights > 0] / weights.sum()
    return float(-(some * np.log2(some)).sum())


def by_answer(members: Array, weights: Array, suspects: set[int]) -> dict[object, float]:
    """Add up the weights of the sets by which suspect they hold, one set at a time."""
    own: dict[object, float] = {}
    for each, weight in zip(members.T, weights, strict=True):
        held = frozenset(each.tolist()) & suspects
        key: object = held if len(held) < 2 else "several"
        own[key] = own.get(key, 0.0) + weight
    return own


def surest(members: Array, weights: Array, suspects: set[int]) -> float:
    """Return the chance of the likeliest suspect."""
    return max(float(weights[(members == at).any(axis=0)].sum()) for at in suspects)


SAID = {
    "open": [SLOW, symptom("wow_slow")],
    "sure": [SLOW, symptom("wow_slow"), check("ck_look_belts", "slack")],
}


@pytest.mark.parametrize("said", SAID)
@pytest.mark.parametrize("key", ["ck_look_belts", "ms_speed", "ck_speed_tone"])
def test_worth_is_the_expected_loss_of_entropy(
    key: str, said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """H(which) − Σ P(o) H(which | o), each by a posterior of its own; half of H where one is sure.

    The other road: add each outcome as evidence, solve anew, and take the entropies. Evidence
    that touches all of the check's causes stands before, so that the sets are the same ones.
    """
    monkeypatch.setattr(worth, "KEPT", 1.0)
    monkeypatch.setattr(worth, "MOST_SETS", 10**6)
    outcomes = KNOWN.checks[key].outcomes
    network = FINDER.network
    silent = [
        _Silent(network.finding(check(key, outcomes[0].id)).touched)
    ]  # touches the check's causes, says nothing
    seen = [network.finding(one) for one in SAID[said]]
    found = solve(network.priors, [*seen, *silent])
    suspects = FINDER._suspects(SAID[said])
    held = {int(np.flatnonzero(found.touched == at)[0]) for at in suspects}
    members = found.sets.members
    assert (surest(members, found.weights, held) >= 0.8) is (said == "sure")

    whole = entropy(np.array(list(by_answer(members, found.weights, held).values())))
    expected, settled, total = 0.0, 0.0, 0.0
    for outcome in outcomes:
        after = solve(network.priors, [*seen, network.finding(check(key, outcome.id))])
        chance = float(np.exp(after.log_evidence - found.log_evidence))
        left = entropy(np.array(list(by_answer(members, after.weights, held).values())))
        total += chance
        expected += chance * left
        is_sure = said == "open" and surest(members, after.weights, held) >= 0.8
        settled += chance * left * (0.5 if is_sure else 1)
    assert total == pytest.approx(1, abs=1e-9)
    told = worths(network, found, suspects)[key]
    assert told.bits == pytest.approx(whole - expected, abs=1e-9)
    assert told.worth == pytest.approx(whole - settled, abs=1e-9)


def test_what_may_settle_it_is_worth_more() -> None:
    told = FINDER.next_checks(SAID["open"], count=50).suggestions
    assert all(one.worth_bits >= one.information_bits - 1e-12 for one in told)
    assert any(one.worth_bits > one.information_bits + 0.01 for one in told)


class _Silent:
    def __init__(self, touched: np.ndarray) -> None:
        self.touched = touched

    def log_likelihood(self, sets: object, causes: object) -> Array:
        return np.zeros(len(sets))  # type: ignore[arg-type]


def test_leaving_out_light_sets_moves_no_order(monkeypatch: pytest.MonkeyPatch) -> None:
    evidence = [SLOW, symptom("wow_slow"), check("ck_look_belts", "good")]
    quick = [one.check.id for one in FaultFinder(KNOWN).next_checks(evidence, count=5).suggestions]
    monkeypatch.setattr(worth, "KEPT", 1.0)
    monkeypatch.setattr(worth, "MOST_SETS", 10**6)
    whole = [one.check.id for one in FaultFinder(KNOWN).next_checks(evidence, count=5).suggestions]
    assert quick == whole


def test_the_best_has_most_bits_per_minute_and_risk() -> None:
    found = FINDER.next_checks([SLOW], trained_for_mains=True, count=50).suggestions
    rates = [one.worth_bits / one.cost_minutes for one in found]
    assert rates == sorted(rates, reverse=True)
    for one in found:
        assert one.cost_minutes >= cost_minutes(one.check) >= one.minutes == one.check.minutes
        assert one.risk == one.check.risk


def test_risk_costs_minutes() -> None:
    """10 min with a low mechanical risk and 5 min with a medium electrical one, by the table."""
    assert cost_minutes(KNOWN.checks["ck_look_belts"]) == 10 + 1
    assert cost_minutes(KNOWN.checks["ck_motor_volts"]) == 5 + 8
    plain = KNOWN.checks["ck_look_belts"]
    named = msgspec.structs.replace(
        KNOWN.symptoms["speed_slow"], checks=("ck_look_belts", "ck_harmless")
    )
    harmless = msgspec.structs.replace(plain, id="ck_harmless", risk=Risk())
    known = msgspec.structs.replace(
        with_check(harmless), symptoms={**KNOWN.symptoms, "speed_slow": named}
    )
    found = FaultFinder(known).next_checks([SLOW], count=50).suggestions
    places = [one.check.id for one in found]
    assert places.index("ck_harmless") < places.index("ck_look_belts")


def test_a_check_that_no_complaint_names_counts_twice_its_cost() -> None:
    """A tone cannot be played on a deck whose motor runs and nothing turns."""
    found = FINDER.next_checks([symptom("motor_runs_no_play")], count=50).suggestions
    named = KNOWN.symptoms["motor_runs_no_play"].checks
    assert found[0].check.id in named
    for one in found:
        assert one.cost_minutes == cost_minutes(one.check) * (1 if one.check.id in named else 2)
    assert "ck_speed_tone" not in [one.check.id for one in found[:3]]


def test_ties_go_by_id() -> None:
    twin = msgspec.structs.replace(KNOWN.checks["ms_speed"], id="ms_speed_a")
    for order in (1, -1):
        checks = dict(list({**KNOWN.checks, twin.id: twin}.items())[::order])
        slow = KNOWN.symptoms["speed_slow"]
        slow = msgspec.structs.replace(slow, checks=("ms_speed_a", *slow.checks))
        symptoms = {**KNOWN.symptoms, "speed_slow": slow}
        finder = FaultFinder(msgspec.structs.replace(KNOWN, checks=checks, symptoms=symptoms))
        found = [one.check.id for one in finder.next_checks([SLOW], count=50).suggestions]
        assert found.index("ms_speed_a") == found.index("ms_speed") + 1


def test_a_measurement_can_be_asked_for() -> None:
    found = FINDER.next_checks([SLOW]).suggestions
    assert any(one.check.measures == "runstrue measure" for one in found)


def test_what_was_asked_is_not_asked_again() -> None:
    first = FINDER.next_checks([SLOW]).suggestions[0].check
    for answer in (first.outcomes[-1].id, "unknown"):
        after = FINDER.next_checks([SLOW, check(first.id, answer)], count=50).suggestions
        assert first.id not in [one.check.id for one in after]


def test_cautions_come_along() -> None:
    for one in FINDER.next_checks([SLOW], trained_for_mains=True, count=50).suggestions:
        assert tuple(caution.id for caution in one.cautions) == one.check.cautions


@pytest.mark.parametrize("key", sorted(KNOWN.symptoms))
def test_a_mains_risk_is_never_offered_to_somebody_not_trained(key: str) -> None:
    found = FINDER.next_checks([symptom(key)], count=100)
    for one in found.suggestions:
        assert one.check.risk.electrical in ("none", "low")
        assert one.check.power != "on, open, mains side reachable"
    told = [one for one in found.held_back if one.check.risk.electrical in ("medium", "high")]
    assert all("trained for mains work" in one.reason for one in told)


def test_mains_in_reach_is_held_back_however_small_its_risk_is_called() -> None:
    best = Check(
        id="ck_live", name="Look at the live side", how="Look.", minutes=0.5,
        power="on, open, mains side reachable",
        outcomes=tuple(
            Outcome(id=f"o{n}", see=link.cause, points_to=(link.cause,))
            for n, link in enumerate(KNOWN.symptoms["speed_slow"].causes)
        ),
    )  # fmt: skip
    finder = FaultFinder(with_check(best))
    found = finder.next_checks([SLOW])
    assert best not in [one.check for one in found.suggestions]
    assert found.held_back[0].check == best
    assert found.held_back[0].kind == "mains"
    others = max(one.information_bits for one in found.suggestions)
    assert found.held_back[0].information_bits > others
    trained = finder.next_checks([SLOW], trained_for_mains=True)
    assert trained.suggestions[0].check == best


def test_a_dead_deck_is_first_looked_at_unplugged() -> None:
    cold = KNOWN.symptoms["dead_no_lights"].cold_checks_before_power
    found = FINDER.next_checks([DEAD], trained_for_mains=True, count=50)
    assert tuple(one.check.id for one in found.suggestions[: len(cold)]) == cold
    assert all(one.check.power == UNPLUGGED for one in found.suggestions)
    assert found.suggestions[0].why == "It is done unplugged, before any mains is applied."
    assert any(one.kind == "unplugged first" for one in found.held_back)


def test_power_comes_when_the_cold_looks_are_answered() -> None:
    answers = {"ck_lead_fuse_cold": "good", "ck_selector": "right", "ck_primary_ohms": "unknown"}
    evidence = [DEAD, *(check(key, answer) for key, answer in answers.items())]
    not_trained = FINDER.next_checks(evidence, count=50)
    assert all(one.check.power == UNPLUGGED for one in not_trained.suggestions)
    trained = FINDER.next_checks(evidence, trained_for_mains=True, count=50)
    assert any(one.check.power != UNPLUGGED for one in trained.suggestions)
    last = KNOWN.checks["ck_primary_ohms"].outcomes[-1].id
    answered = [*evidence[:-1], check("ck_primary_ohms", last)]
    assert any(
        one.check.power != UNPLUGGED for one in FINDER.next_checks(answered, count=50).suggestions
    )


def test_a_complaint_said_to_be_there_and_not_there_still_asks_for_the_cold_looks() -> None:
    evidence = [DEAD, symptom("dead_no_lights", "absent")]
    for order in (evidence, evidence[::-1]):
        found = FINDER.next_checks(order, trained_for_mains=True)
        assert found.suggestions[0].check.id == "ck_lead_fuse_cold"


def test_what_needs_a_tool_that_is_not_there_is_held_back() -> None:
    found = FINDER.next_checks([SLOW], tools=set(), count=50)
    assert all(not one.check.tools for one in found.suggestions)
    (belts,) = (one for one in found.held_back if one.check.id == "ck_look_belts")
    assert belts.kind == "tools"
    assert "lamp and magnifier" in belts.reason
    everything = FINDER.next_checks([SLOW], tools=set(KNOWN.tools), count=50)
    assert everything == FINDER.next_checks([SLOW], count=50)


def test_what_is_held_back_would_have_been_among_the_offered() -> None:
    few, many = FINDER.next_checks([SLOW], count=1), FINDER.next_checks([SLOW], count=50)
    assert len(few.suggestions) == 1
    assert set(few.held_back) <= set(many.held_back)
    best = few.suggestions[0]
    for one in few.held_back:
        rate = one.worth_bits / cost_minutes(one.check)
        assert rate >= best.worth_bits / best.cost_minutes - 1e-9


def test_the_reason_names_the_likeliest_suspects() -> None:
    evidence = [symptom("hum")]
    first = FINDER.next_checks(evidence).suggestions[0]
    names = [row.cause.name for row in FINDER.posterior(evidence).suspects[:3]]
    assert any(name in first.why for name in names)


def test_nothing_is_left_to_look_at() -> None:
    evidence = [SLOW, *(check(key, "unknown") for key in KNOWN.checks)]
    assert FINDER.next_checks(evidence).suggestions == ()


def test_without_a_complaint_something_cheap_is_offered() -> None:
    assert FINDER.next_checks([]).suggestions


@pytest.mark.parametrize("key", sorted(one.id for one in KNOWN.symptoms.values() if one.playing))
def test_nothing_is_asked_of_a_tape_that_cannot_play(key: str) -> None:
    found = FINDER.next_checks([symptom(key)], None, True, 100)
    assert found.suggestions
    told = [*found.suggestions, *found.held_back]
    assert not [one.check.id for one in told if one.check.playing]


def test_a_tape_that_plays_is_asked() -> None:
    offered = FINDER.next_checks([symptom("speed_slow")], None, True, 100).suggestions
    assert any(one.check.playing for one in offered)
