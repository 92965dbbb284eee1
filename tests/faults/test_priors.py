"""Priors: the open counts, the words of judgement, and what own repairs make of them."""

from __future__ import annotations

import math
import re
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from runstrue.errors import InputError
from runstrue.faults.counts import group_share, groups
from runstrue.faults.judgement import (
    CAUSE_CHANCE,
    CLEAR,
    COUNTS_WORTH,
    JUDGEMENT_WORTH,
    LINK_CHANCE,
    POINTS,
    RISK_MINUTES,
    UNLIKELY,
    UNLISTED,
    UNNAMED,
)
from runstrue.faults.models import Knowledge
from runstrue.faults.priors import beta_points, priors_of
from runstrue.faults.read import read_knowledge


@pytest.fixture(scope="module")
def knowledge() -> Knowledge:
    return read_knowledge()


@pytest.mark.parametrize("group", groups())
def test_a_group_has_the_share_of_its_counts(group: str, knowledge: Knowledge) -> None:
    """Open repair counts: that any cause of the group is there is its share of the texts."""
    priors = priors_of(knowledge)
    members = [one.id for one in knowledge.causes.values() if one.prior_group == group]
    none = math.prod(1 - priors[key].chance for key in members)
    assert 1 - none == pytest.approx(group_share(group).share, abs=1e-12)
    assert {priors[key].basis for key in members} == {"open repair counts"}


def test_belts_are_the_printed_45_percent(knowledge: Knowledge) -> None:
    """140 of 310 texts on tape machines name a belt: 45 %."""
    priors = priors_of(knowledge)
    belts = [one.id for one in knowledge.causes.values() if "belt" in one.prior_group]
    assert 1 - math.prod(1 - priors[key].chance for key in belts) == pytest.approx(0.45, abs=0.005)
    slack = priors["main_belt_slack"]
    assert slack.low < slack.chance < slack.high
    assert "drive belt or band in 140 of 310 open repair texts" in slack.words


def test_elsewhere_judgement_speaks_and_says_so(knowledge: Knowledge) -> None:
    priors = priors_of(knowledge)
    for cause in knowledge.causes.values():
        if not cause.prior_group:
            assert priors[cause.id].chance == pytest.approx(CAUSE_CHANCE[cause.likelihood])
            assert priors[cause.id].basis == "judgement"
            assert priors[cause.id].words == f"judged '{cause.likelihood}'"


def test_own_repairs_are_added_as_to_a_beta_distribution(knowledge: Knowledge) -> None:
    """By hand: worth w decks, 3 of 10 own repairs: (w p + 3) / (w + 10); interval by scipy."""
    before = priors_of(knowledge)["speed_trim_off"]
    after = priors_of(knowledge, {"speed_trim_off": 3, "pinch_hard": 7})["speed_trim_off"]
    first = JUDGEMENT_WORTH * before.chance
    assert after.chance == pytest.approx((first + 3) / (JUDGEMENT_WORTH + 10), abs=1e-12)
    assert (after.before, after.own, after.own_total) == (before.chance, 3, 10)
    assert after.basis == "this bench"
    assert after.words == "judged 'common'; here 3 of 10 repairs"
    spread = stats.beta(first + 3, JUDGEMENT_WORTH - first + 7)
    assert (after.low, after.high) == pytest.approx(spread.ppf([0.025, 0.975]), rel=2e-3)


def test_a_bench_that_never_meets_a_cause_lowers_it(knowledge: Knowledge) -> None:
    after = priors_of(knowledge, {"pinch_hard": 50})
    assert after["speed_trim_off"].chance < priors_of(knowledge)["speed_trim_off"].chance
    assert after["speed_trim_off"].basis == "this bench"
    assert after["pinch_hard"].chance > 0.5


def test_own_repairs_outweigh_the_counts_in_the_end(knowledge: Knowledge) -> None:
    """A thousand own repairs, one in five of one cause: 20 %, whatever was said before."""
    after = priors_of(knowledge, {"capstan_bent": 200, "pinch_hard": 800})
    assert after["capstan_bent"].chance == pytest.approx(0.2, abs=0.02)
    assert after["capstan_bent"].high - after["capstan_bent"].low < 0.06


def test_a_single_repair_moves_little(knowledge: Knowledge) -> None:
    after = priors_of(knowledge, {"pinch_hard": 1})
    assert after["main_belt_slack"].basis == "open repair counts"
    assert after["pinch_hard"].basis == "this bench"


def test_repairs_of_an_unknown_cause_count_among_all(knowledge: Knowledge) -> None:
    assert priors_of(knowledge, {"gone_since": 5})["pinch_hard"].own_total == 5


def test_no_counts_is_no_own_repairs(knowledge: Knowledge) -> None:
    assert priors_of(knowledge, {}) == priors_of(knowledge)
    assert priors_of(knowledge)["pinch_hard"].own_total == 0


def test_fewer_than_no_repairs_are_refused(knowledge: Knowledge) -> None:
    with pytest.raises(InputError, match="counted as -1"):
        priors_of(knowledge, {"pinch_hard": -1})


@pytest.mark.parametrize("a", [0.01, 0.3, 1.0, 1.5, 4.0, 200.0])
@pytest.mark.parametrize("b", [1.0, 9.0, 199.0, 1000.0])
@pytest.mark.parametrize("below", [0.025, 0.5, 0.975])
def test_points_of_beta_distributions(a: float, b: float, below: float) -> None:
    """Against scipy's inverse; a grid of a hundredth of the logit leaves parts in a thousand."""
    found = beta_points(np.array([a]), np.array([b]), below)[0]
    # below 1e-30 it is as good as zero
    assert found == pytest.approx(stats.beta.ppf(below, a, b), rel=2e-3, abs=1e-30)


def test_the_page_has_the_numbers_that_are_reckoned_with() -> None:
    page = (Path(__file__).parents[2] / "docs" / "fault-inference.md").read_text(encoding="utf-8")
    for word in ("common", "occasional", "rare"):
        assert f"| {word} | {CAUSE_CHANCE[word]:g} | {LINK_CHANCE[word]:g} |" in page
    numbers = (UNLISTED, CLEAR, POINTS, UNLIKELY, COUNTS_WORTH, JUDGEMENT_WORTH)
    table = page.split("| what | number |", 1)[1].split("\n\n", 1)[0]
    assert [float(one) for one in re.findall(r"\| ([\d.]+) \|", table)] == list(numbers)
    assert f"its cost counts | {UNNAMED:g} times |" in table
    for kind in RISK_MINUTES.values():
        none, low, medium, high = (f"{kind[word]:g}" for word in ("none", "low", "medium", "high"))
        assert (
            f"none {none}, low {low}, medium {medium}, high {high}" in page
            or f"{none}, {low}, {medium} and {high}" in page
        )
