"""What was seen to what can be wrong, on the full knowledge."""

from __future__ import annotations

import math
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from runstrue.errors import InputError
from runstrue.faults.infer import FaultFinder, Ranking
from runstrue.faults.judgement import CLEAR, LINK_CHANCE, POINTS, UNLIKELY, UNLISTED
from runstrue.faults.models import Evidence, Knowledge
from runstrue.faults.priors import priors_of
from runstrue.faults.read import read_knowledge

KNOWN = read_knowledge()
FINDER = FaultFinder(KNOWN)


def symptom(key: str, answer: str = "present") -> Evidence:
    return Evidence(kind="symptom", key=key, answer=answer)


def check(key: str, answer: str) -> Evidence:
    return Evidence(kind="check", key=key, answer=answer)


SLOW = symptom("speed_slow")
BELTS_GOOD = check("ck_look_belts", "good")
ODD = st.lists(
    st.one_of(
        st.builds(symptom, st.sampled_from(sorted(KNOWN.symptoms)),
                  st.sampled_from(["present", "absent", "unknown"])),
        st.sampled_from(
            [check(one.id, o) for one in KNOWN.checks.values()
             for o in (*(o.id for o in one.outcomes), "unknown")]
        ),
    ),
    max_size=7,
)  # fmt: skip


def by_hand(knowledge: Knowledge, evidence: list[Evidence]) -> tuple[dict[str, float], float]:
    """Chances by plain products over all sets of at most three, from the words of the knowledge.

    The formulas are written out anew; only the table of numbers and the priors are shared. Also
    returns the chance that no suspect is there.
    """
    prior = {key: one.chance for key, one in priors_of(knowledge).items()}
    touched, suspects = set(), set()
    for one in evidence:
        if one.kind == "symptom":
            links = {link.cause for link in knowledge.symptoms[one.key].causes}
            touched |= links
            suspects |= links if one.answer == "present" else set()
        else:
            for outcome in knowledge.checks[one.key].outcomes:
                touched |= {*outcome.points_to, *outcome.makes_unlikely}
                suspects |= set(outcome.points_to) if outcome.id == one.answer else set()

    def likelihood(one: Evidence, there: tuple[str, ...]) -> float:
        if one.kind == "symptom":
            q = {c.cause: LINK_CHANCE[c.likelihood] for c in knowledge.symptoms[one.key].causes}
            listed = 1 - math.prod(1 - prior[key] * value for key, value in q.items())
            leak = listed * UNLISTED / (1 - UNLISTED)
            absent = (1 - leak) * math.prod(1 - q.get(key, 0) for key in there)
            return 1 - absent if one.answer == "present" else absent
        outcomes = knowledge.checks[one.key].outcomes
        clear = [o for o in outcomes if not o.points_to]
        weights = {}
        for o in outcomes:
            weight = 1 / len(outcomes)
            if 0 < len(clear) < len(outcomes):
                weight = (
                    CLEAR / len(clear) if o in clear
                    else (1 - CLEAR) / (len(outcomes) - len(clear))
                )  # fmt: skip
            for key in there:
                weight *= (POINTS if key in o.points_to else 1) * (
                    UNLIKELY if key in o.makes_unlikely else 1
                )
            weights[o.id] = weight
        return weights[one.answer] / sum(weights.values())

    whole, none, chances = 0.0, 0.0, dict.fromkeys(touched, 0.0)
    for size in range(4):
        for there in combinations(sorted(touched), size):
            weight = math.prod(prior[key] / (1 - prior[key]) for key in there)
            weight *= math.prod(likelihood(one, there) for one in evidence)
            whole += weight
            none += weight * (not suspects & set(there))
            for key in there:
                chances[key] += weight
    return {key: value / whole for key, value in chances.items()}, none / whole


@pytest.mark.parametrize(
    "evidence",
    [
        [SLOW],
        [SLOW, BELTS_GOOD],
        [symptom("chews_tape"), symptom("wow_1hz", "absent"), check("ck_pinch_look", "tacky")],
        [check("ck_dc_on_pot", "volts")],
    ],
)
def test_plain_products_agree(evidence: list[Evidence]) -> None:
    ranking = FINDER.posterior(evidence)
    chances, none = by_hand(KNOWN, evidence)
    found = {row.cause.id: row.chance for row in ranking.rows if row.cause.id in chances}
    assert found == pytest.approx(chances, abs=1e-12)
    assert ranking.none_of_these == pytest.approx(none, abs=1e-12)


def test_suspects_come_first_and_the_rest_keep_their_priors() -> None:
    ranking = FINDER.posterior([SLOW])
    suspects = {link.cause for link in KNOWN.symptoms["speed_slow"].causes}
    assert {row.cause.id for row in ranking.suspects} == suspects
    assert len(ranking.rows) == len(KNOWN.causes)
    first = [row.chance for row in ranking.rows[: len(suspects)]]
    assert first == sorted(first, reverse=True)
    for row in ranking.rows[len(suspects) :]:
        assert not row.is_suspect
        assert row.chance == row.prior


@settings(max_examples=60, deadline=None)
@given(evidence=ODD, seed=st.integers(0, 5))
def test_order_does_not_matter_and_nothing_is_lost(evidence: list[Evidence], seed: int) -> None:
    """However odd the evidence: chances in [0, 1], and to the last bit the same in any order."""
    first = FINDER.posterior(evidence)
    shuffled = [evidence[at] for at in np.random.default_rng(seed).permutation(len(evidence))]
    assert FINDER.posterior(shuffled) == first
    assert FINDER.next_checks(shuffled) == FINDER.next_checks(evidence)
    for row in first.rows:
        assert 0 <= row.low <= row.chance + 1e-12 <= row.high + 2e-12 <= 1 + 3e-12
    assert 0 <= first.none_of_these <= 1
    counted, _ = FINDER._counted(evidence)
    assert FINDER._solve(counted).weights.sum() == pytest.approx(1, abs=1e-9)


def test_a_new_finder_gives_the_same_answer() -> None:
    evidence = [SLOW, BELTS_GOOD, symptom("flutter_fast", "absent")]
    other = FaultFinder(read_knowledge())
    assert other.posterior(evidence) == FINDER.posterior(evidence)
    assert other.next_checks(evidence) == FINDER.next_checks(evidence)


def test_all_there_is_to_say_at_once() -> None:
    """Every symptom there, and the last outcome of every check: nothing gives way."""
    evidence = [symptom(key) for key in KNOWN.symptoms]
    evidence += [check(one.id, one.outcomes[-1].id) for one in KNOWN.checks.values()]
    rows = FINDER.posterior(evidence).rows
    assert all(0 <= row.chance <= 1 for row in rows)
    assert sum(row.chance for row in rows) > 1  # that much is not explained by a single cause


def test_do_not_know_moves_nothing() -> None:
    evidence = [SLOW, BELTS_GOOD]
    with_unknown = [*evidence, check("ck_torque", "unknown"), symptom("hum", "unknown")]
    assert FINDER.posterior(with_unknown) == FINDER.posterior(evidence)


def test_the_same_answer_twice_counts_once() -> None:
    told = Evidence(kind="check", key="ms_speed", answer="slow_steady", because="−1.9 %")
    once = FINDER.posterior([SLOW, told])
    twice = FINDER.posterior([SLOW, told, check("ms_speed", "slow_steady")])
    assert [row.chance for row in twice.rows] == [row.chance for row in once.rows]
    assert not twice.conflicts


def test_two_answers_to_one_question_do_not_count() -> None:
    ranking = FINDER.posterior([SLOW, BELTS_GOOD, check("ck_look_belts", "slack")])
    assert ranking.rows == FINDER.posterior([SLOW]).rows
    (conflict,) = ranking.conflicts
    assert {conflict.first.answer, conflict.second.answer} == {"good", "slack"}
    assert "has two answers" in conflict.words
    assert "taken back" in conflict.words


@pytest.mark.parametrize(
    ("first", "second"),
    [
        (SLOW, check("ms_speed", "right")),
        (symptom("no_sound_one"), check("ms_channels", "even")),
        (symptom("speed_drift_warm"), check("ck_speed_tone", "mains_ratio")),
    ],
)
def test_answers_that_hardly_go_together_are_told(first: Evidence, second: Evidence) -> None:
    (conflict,) = FINDER.posterior([second, first]).conflicts
    assert (conflict.first, conflict.second) == (first, second)
    assert conflict.words.startswith("These two answers hardly go together")
    assert KNOWN.symptoms[first.key].name in conflict.words


@pytest.mark.parametrize(
    "evidence",
    [
        [SLOW, BELTS_GOOD],
        # a rare cause explains both: a deck made for another mains frequency
        [SLOW, check("ck_speed_tone", "mains_ratio")],
        [symptom("chews_tape"), check("ck_pinch_look", "tacky")],
        [symptom("hum"), check("ck_look_belts", "slack")],
    ],
)
def test_answers_that_go_together_are_left_alone(evidence: list[Evidence]) -> None:
    assert FINDER.posterior(evidence).conflicts == ()


def spokes_of(ranking: Ranking, cause: str) -> tuple[dict[str, float], dict[str, float]]:
    row = next(row for row in ranking.rows if row.cause.id == cause)
    return (
        {one.evidence.key: one.factor for one in row.for_},
        {one.evidence.key: one.factor for one in row.against},
    )


def test_why_tells_for_and_against() -> None:
    ranking = FINDER.posterior([SLOW, BELTS_GOOD, symptom("flutter_fast", "absent")])
    speaks_for, against = spokes_of(ranking, "main_belt_slack")
    assert speaks_for.keys() == {"speed_slow"}
    assert "ck_look_belts" in against
    # ten times likelier without, if nothing else could spoil the look; others can
    assert 0.05 < against["ck_look_belts"] < 0.15
    row = next(row for row in ranking.rows if row.cause.id == "main_belt_slack")
    assert row.for_[0].words == "Runs slow, pitch low"
    assert row.for_[0].strength == "clearly"
    assert row.against[0].words == (
        "Look at every belt and pulley: belts tight, clean and running true"
    )
    assert row.against[0].strength == "strongly"


def test_a_factor_is_the_ratio_of_two_chances() -> None:
    """P(e | c) / P(e | not c), each by plain products over the sets with and without the cause."""
    chances, _ = by_hand(KNOWN, [SLOW])
    prior = {key: one.chance for key, one in priors_of(KNOWN).items()}
    speaks_for, _ = spokes_of(FINDER.posterior([SLOW]), "speed_trim_off")
    p, q = chances["speed_trim_off"], prior["speed_trim_off"]
    ratio = p / (1 - p) * (1 - q) / q
    # the prior of a set of at most three differs from the plain prior by some thousandths
    assert speaks_for["speed_slow"] == pytest.approx(ratio, rel=0.01)


def test_low_and_high_come_from_the_prior_alone() -> None:
    """Put the end of the interval in as the prior: the chance is what was said."""
    row = FINDER.posterior([SLOW, BELTS_GOOD]).rows[0]
    for end, said in ((row.origin.low, row.low), (row.origin.high, row.high)):
        moved = FaultFinder(KNOWN)
        moved.network.priors = moved.network.priors.copy()
        moved.network.priors[moved.network.place[row.cause.id]] = end
        again = next(
            one for one in moved.posterior([SLOW, BELTS_GOOD]).rows if one.cause == row.cause
        )
        assert again.chance == pytest.approx(said, rel=1e-9)


def test_every_chance_says_what_it_stands_on() -> None:
    rows = {row.cause.id: row for row in FINDER.posterior([SLOW]).rows}
    assert rows["main_belt_slack"].basis == "open repair counts"
    assert rows["speed_trim_off"].basis == "judgement"
    assert {row.basis for row in rows.values()} == {"open repair counts", "judgement"}


def test_own_repairs_sharpen_and_can_be_left_out() -> None:
    own = FaultFinder(KNOWN, {"pinch_hard": 6, "main_belt_slack": 1})
    before = next(r for r in FINDER.posterior([SLOW]).rows if r.cause.id == "pinch_hard")
    after = next(r for r in own.posterior([SLOW]).rows if r.cause.id == "pinch_hard")
    assert after.chance > 5 * before.chance
    assert after.basis == "this bench"
    assert after.origin.before == before.prior
    assert (after.origin.own, after.origin.own_total) == (6, 7)
    assert FaultFinder(KNOWN, None).posterior([SLOW]) == FINDER.posterior([SLOW])


def test_nothing_seen_is_the_priors() -> None:
    ranking = FINDER.posterior([])
    assert all(row.chance == row.prior and not row.for_ for row in ranking.rows)
    assert ranking.none_of_these == pytest.approx(
        math.prod(1 - row.prior for row in ranking.rows), rel=1e-9
    )
    assert not ranking.suspects


@pytest.mark.parametrize(
    ("evidence", "words"),
    [
        (symptom("speed_wrong"), "no symptom 'speed_wrong'"),
        (symptom("speed_slow", "maybe"), "A symptom is not 'maybe'"),
        (check("ck_belts", "good"), "no check 'ck_belts'"),
        (check("ck_look_belts", "fine"), "no outcome 'fine'"),
        (symptom("speed_wrong", "unknown"), "no symptom 'speed_wrong'"),
        (check("ck_belts", "unknown"), "no check 'ck_belts'"),
    ],
)
def test_what_is_not_known_is_refused(evidence: Evidence, words: str) -> None:
    with pytest.raises(InputError, match=words):
        FINDER.posterior([SLOW, evidence])
