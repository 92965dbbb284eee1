"""Verdicts on readings: like with like, honest where nothing can be said, useful at the bench."""

from __future__ import annotations

import math
from collections.abc import Mapping

import msgspec
import numpy as np
import pytest
import scipy.stats

from runstrue.quantity import Budget, Contribution, Quantity
from runstrue.result import Condition, Line, Result, Spread
from runstrue.verdict.bench import speed_advice
from runstrue.verdict.chance import conformity_chance
from runstrue.verdict.judge import judge
from runstrue.verdict.models import DecisionRule, Limit, Verdict
from runstrue.verdict.settle import budget_of_mean, starts_needed, what_would_settle
from runstrue.verdict.sheet import read_sheet
from runstrue.verdict.standards import (
    DIN_45500_LIMITS,
    IASA_TC04_LIMITS,
    for_comparison,
)

TAPE = "speed of the test tape"


def _reading(
    quantity_id: str,
    value: float,
    random_u: float,
    shared_u: float = 0.0,
    *,
    unit: str = "%",
    channel: str = "both",
    method: str = "two-sigma/1",
    spread: Spread | None = None,
    lines: tuple[Line, ...] = (),
    freedom: float = math.inf,
    conditions: Mapping[str, Condition] | None = None,
) -> Result:
    budget = Budget(
        (
            Contribution("finite length", random_u, "random", degrees_of_freedom=freedom),
            Contribution(TAPE, shared_u, "shared", "tape 1"),
        )
    )
    return Result(
        id=quantity_id,
        method=method,
        channel=channel,
        quantity=budget.quantity(value, unit),
        budget=budget,
        spread=spread,
        lines=lines,
        conditions={"tone_hz": 3150.0} if conditions is None else conditions,
    )


def _one(sheet: str, *results: Result, **rest: Mapping[str, str]) -> Verdict:
    (verdict,) = judge(read_sheet(sheet).limits, results, **rest)
    assert msgspec.json.decode(msgspec.json.encode(verdict), type=Verdict) == verdict
    return verdict


# --- flutter -------------------------------------------------------------------------------


def test_example_of_a_reading_just_above_its_limit() -> None:
    """0.147 % ±0.024 % (95 %) against 0.14 %: z = −0.583, Φ = 28 %, and 8 starts: z√8 = −1.65."""
    verdict = _one(
        "Wow and flutter 0.14 % DIN weighted", _reading("flutter.weighted_peak", 0.147, 0.012)
    )
    assert verdict.outcome == "too close to call"
    assert verdict.chance == pytest.approx(0.28, abs=0.005)
    assert verdict.words == (
        "too close to call (28 % that it meets): about eight starts of this length would settle it"
    )


def test_every_method_is_held_only_against_its_own_figure() -> None:
    limits = read_sheet("Wow and flutter 0.05 % WRMS, ±0.14 % DIN, NAB unweighted 0.11 %").limits
    readings = (
        _reading("flutter.weighted_peak", 0.10, 0.002),
        _reading("flutter.weighted_rms", 0.07, 0.002),
        _reading("flutter.unweighted_average", 0.09, 0.002),
    )
    verdicts = judge(limits, readings)
    assert [(v.id, v.outcome) for v in verdicts] == [
        ("flutter.weighted_rms", "does not meet"),
        ("flutter.weighted_peak", "meets"),
        ("flutter.unweighted_average", "meets"),
    ]


def test_deck_specified_at_0_18_percent_whose_needle_wanders_gets_an_honest_answer() -> None:
    """Common practice, no source: the needle wanders from 0.16 to 0.23 % about a limit of 0.18 %.

    With a recording, two-sigma decides and the needle's wandering is told; from the needle
    alone nothing can be decided.
    """
    sheet = "Wow and flutter 0.18 % DIN weighted"
    needle = _reading(
        "flutter.indicated_peak", 0.19, 0.005, method="needle/1", spread=Spread(0.16, 0.19, 0.23)
    )
    good = _one(sheet, _reading("flutter.weighted_peak", 0.172, 0.003), needle)
    assert good.outcome == "meets"
    assert good.id == "flutter.weighted_peak"
    assert any("between 0.16 and 0.23 %, across the limit" in note for note in good.notes)

    poor = _one(sheet, _reading("flutter.weighted_peak", 0.195, 0.004), needle)
    assert poor.outcome == "does not meet"
    assert any("across the limit" in note for note in poor.notes)

    open_ = _one(sheet, _reading("flutter.weighted_peak", 0.183, 0.006), needle)
    assert open_.outcome == "too close to call"
    assert "starts" in open_.advice

    alone = _one(sheet, needle)
    assert alone.id == "flutter.indicated_peak"
    assert alone.outcome == "too close to call"
    # u² = 0.005² + (0.07/2)²/3 (GUM 4.3.7), z = (0.18 − 0.19)/u = −0.48
    assert alone.chance == pytest.approx(scipy.stats.norm.cdf(-0.4804), abs=1e-3)
    assert alone.advice == "record the tone and let two-sigma decide"


def test_flat_on_a_roller_that_only_the_needle_sees_is_told() -> None:
    verdict = _one(
        "Wow and flutter 0.14 % DIN weighted",
        _reading("flutter.weighted_peak", 0.09, 0.003),
        _reading("flutter.indicated_peak", 0.2, 0.01, spread=Spread(0.17, 0.2, 0.22)),
    )
    assert verdict.outcome == "meets"
    assert any("above the limit all the time" in note for note in verdict.notes)


def test_ambiguous_sheet_shows_every_candidate_and_asks() -> None:
    readings = (
        _reading("flutter.weighted_rms", 0.05, 0.002),
        _reading("flutter.weighted_peak", 0.11, 0.004),
        _reading("flutter.unweighted_rms", 0.09, 0.003),
        _reading("flutter.unweighted_average", 0.083, 0.003),
    )
    verdict = _one("Wow and flutter 0.08 %", *readings)
    assert verdict.outcome == "cannot be compared"
    assert verdict.reason == "method open"
    assert verdict.chance is None
    assert {candidate.id: candidate.outcome for candidate in verdict.candidates} == {
        "flutter.weighted_rms": "meets",
        "flutter.weighted_peak": "does not meet",
        "flutter.unweighted_rms": "does not meet",
        "flutter.unweighted_average": "too close to call",
    }
    assert "WRMS or JIS, DIN or IEC" in verdict.advice


def test_ambiguous_sheet_is_decided_where_every_candidate_agrees() -> None:
    good = tuple(
        _reading(quantity_id, 0.03, 0.003)
        for quantity_id in read_sheet("Wow and flutter 0.08 %").limits[0].ids
    )
    verdict = _one("Wow and flutter 0.08 %", *good)
    assert verdict.outcome == "meets"
    assert "by every method" in verdict.words
    fewer = _one("Wow and flutter 0.08 %", *good[:3])
    assert fewer.outcome == "cannot be compared"


def test_sheet_that_could_mean_an_unmeasured_method_stays_open() -> None:
    """'NAB' alone may be NAB weighted, which is not measured: one candidate settles nothing."""
    verdict = _one(
        "Wow and flutter 0.12 % NAB", _reading("flutter.unweighted_average", 0.03, 0.001)
    )
    assert verdict.outcome == "cannot be compared"


def test_worst_channel_counts_where_both_were_not_read_together() -> None:
    verdict = _one(
        "Wow and flutter 0.14 % DIN weighted",
        _reading("flutter.weighted_peak", 0.10, 0.004, channel="left"),
        _reading("flutter.weighted_peak", 0.17, 0.004, channel="right"),
    )
    assert (verdict.channel, verdict.outcome) == ("right", "does not meet")
    together = _one(
        "Wow and flutter 0.14 % DIN weighted",
        _reading("flutter.weighted_peak", 0.17, 0.004, channel="right"),
        _reading("flutter.weighted_peak", 0.10, 0.004, channel="both"),
    )
    assert together.channel == "both"


def test_flutter_over_its_limit_names_its_strongest_line() -> None:
    lines = (Line(6.41, 0.01, 0.21, 0.01, 0.19), Line(0.41, 0.01, 0.3, 0.01, 0.05))
    verdict = _one(
        "Wow and flutter 0.14 % DIN weighted",
        _reading("flutter.weighted_peak", 0.22, 0.004, lines=lines),
    )
    assert "6.41 Hz (0.21 %)" in verdict.advice


# --- own recordings ------------------------------------------------------------------------


def _own(value: float, starts: int, spread: Spread | None = None) -> Result:
    told: dict[str, Condition] = {"self_recorded": True, "starts": float(starts)}
    return _reading("flutter.weighted_peak", value, 0.004, spread=spread, conditions=told)


def test_one_start_of_an_own_recording_proves_nothing_good() -> None:
    verdict = _one("Wow and flutter 0.2 % DIN weighted", _own(0.02, 1))
    assert (verdict.outcome, verdict.reason) == ("cannot be compared", "self-recorded")
    assert verdict.chance is None
    assert "three starts" in verdict.advice


def test_own_recording_above_twice_the_limit_does_not_meet() -> None:
    verdict = _one("Wow and flutter 0.2 % DIN weighted", _own(0.45, 1))
    assert verdict.outcome == "does not meet"
    between = _one("Wow and flutter 0.2 % DIN weighted", _own(0.3, 1))
    assert between.outcome == "cannot be compared"


def test_own_recording_of_three_starts_counts_its_largest() -> None:
    verdict = _one("Wow and flutter 0.2 % DIN weighted", _own(0.15, 3, Spread(0.02, 0.1, 0.15)))
    assert verdict.outcome == "meets"
    # the largest lies 12.5 u below the limit, so only the chance of three low starts is left
    assert verdict.chance == pytest.approx(26 / 27, abs=1e-9)
    two = _one("Wow and flutter 0.2 % DIN weighted", _own(0.15, 2, Spread(0.02, 0.1, 0.15)))
    assert two.outcome == "cannot be compared"


def test_one_start_reads_below_a_single_pass_one_time_in_three() -> None:
    """Two equal vectors at a random angle, added as complex numbers (seeded)."""
    random = np.random.default_rng(3)
    sums = np.abs(1 + np.exp(1j * random.uniform(0, 2 * math.pi, 300_000)))
    # 4 standard errors of a share of 1/3
    assert float(np.mean(sums < 1)) == pytest.approx(1 / 3, abs=4 * math.sqrt(2 / 9 / 300_000))
    largest = sums.reshape(-1, 3).max(axis=1)
    assert float(np.mean(largest < 1)) == pytest.approx(1 / 27, abs=4 * math.sqrt(0.0357 / 1e5))


def test_speed_of_an_own_recording_cannot_be_known() -> None:
    unknown = Result(
        id="speed.deviation", method="bell-mean/1", channel="both", quantity=None,
        conditions={"self_recorded": True}, doubts=("Its speed error cancels.",),
    )  # fmt: skip
    verdict = _one("speed ±1.5 %", unknown)
    assert (verdict.outcome, verdict.reason) == ("cannot be compared", "self-recorded")
    assert "cancels" in verdict.words


# --- speed ---------------------------------------------------------------------------------


def _speed(value: float, u: float = 0.1, method: str = "bell-mean/1", tone: float = 3150) -> Result:
    return _reading("speed.deviation", value, 0.001, u, method=method, conditions={"tone_hz": tone})


def test_speed_near_nominal_is_left_alone() -> None:
    verdict = _one("speed ±1.5 %", _speed(0.31, 0.11))
    assert verdict.words == "meets, more than 99 % sure: leave it alone"


def test_speed_out_of_limit_says_how_much_and_which_way() -> None:
    """0.87 % of 3150 Hz is 27.4 Hz."""
    fast = _one("speed ±0.5 %", _speed(0.87, 0.02))
    assert fast.outcome == "does not meet"
    assert fast.advice == "worth adjusting: 0.87 % slower (27 Hz at 3150 Hz)"
    slow = _one("speed ±0.5 %", _speed(-0.87, 0.02, tone=3000))
    assert slow.advice == "worth adjusting: 0.87 % faster (26 Hz at 3000 Hz)"


def test_speed_too_close_because_of_the_tape_asks_for_a_better_tape() -> None:
    verdict = _one("speed ±0.5 %", _speed(0.45, 0.2))
    assert verdict.outcome == "too close to call"
    assert "more starts would not settle it" in verdict.advice
    assert "better test tape" in verdict.advice


def test_speed_within_a_wide_limit_but_far_off_can_still_be_set_nearer() -> None:
    verdict = _one("speed ±1.5 %", _speed(1.1, 0.05))
    assert verdict.outcome == "meets"
    assert verdict.advice.startswith("could be set nearer: 1.10 % slower")


def test_undecided_tone_shows_both_speeds_and_asks_for_the_tape() -> None:
    told: dict[str, Condition] = {"tone_undecided": True}
    readings = [
        _reading("speed.deviation", value, 0.001, 0.1, method="bell-mean/1",
                 conditions={**told, "tone_hz": tone})
        for value, tone in ((-2.4, 3150.0), (2.48, 3000.0))
    ]  # fmt: skip
    verdict = _one("speed ±1.5 %", *readings)
    assert (verdict.outcome, verdict.reason) == ("cannot be compared", "tape not named")
    assert "−2.40 % if it holds 3150 Hz" in verdict.words
    assert "+2.48 % if it holds 3000 Hz" in verdict.words


def test_din_speed_is_judged_over_thirty_seconds_and_others_over_the_whole() -> None:
    whole, calm = _speed(1.2, 0.01), _speed(0.2, 0.01, "bell-mean-30s/1")
    assert _one("speed ±1 %", calm, whole).method == "bell-mean/1"
    (verdict,) = judge(DIN_45500_LIMITS[:1], (whole, calm))
    assert verdict.method == "bell-mean-30s/1"


def test_speed_without_any_sheet_still_gets_useful_words() -> None:
    assert speed_advice(_speed(0.1)) == "leave it alone"
    assert speed_advice(_speed(1.5, 0.1)).startswith("worth adjusting: 1.50 % slower")


# --- what else -----------------------------------------------------------------------------


def test_typed_reading_is_judged_like_any_other() -> None:
    torque = Result(
        id="torque.take_up", method="typed/1", channel="", quantity=Quantity(2.5, "mN·m", 0.1)
    )
    verdict = _one("Take-up torque 35–60 g·cm", torque)
    assert verdict.outcome == "does not meet"
    assert verdict.advice == "0.93 mN·m too little"  # 35 g·cm = 3.4323 mN·m
    exact = Result(id="torque.take_up", method="typed/1", channel="",
                   quantity=Quantity(4.0, "mN·m", 0.0))  # fmt: skip
    assert any("No uncertainty" in note for note in _one("Take-up torque 35–60 g·cm", exact).notes)


def test_reading_in_another_unit_is_not_compared() -> None:
    torque = Result(
        id="torque.take_up", method="typed/1", channel="", quantity=Quantity(45, "g·cm", 2)
    )
    verdict = _one("Take-up torque 35–60 g·cm", torque)
    assert (verdict.outcome, verdict.reason) == ("cannot be compared", "unit")


def test_figure_of_another_tape_speed_is_not_compared() -> None:
    limits = read_sheet("Wow & flutter: 0.05 % WRMS at 19 cm/s, 0.08 % WRMS at 9.5 cm/s").limits
    reading = _reading("flutter.weighted_rms", 0.06, 0.001)
    outcomes = [v.outcome for v in judge(limits, (reading,), conditions={"speed": "9.53 cm/s"})]
    assert outcomes == ["cannot be compared", "meets"]
    inch = judge(limits, (reading,), conditions={"speed": "7 1/2 ips"})
    assert [v.reason for v in inch] == ["", "other conditions"]


def test_figure_without_tolerance_is_told_but_not_judged() -> None:
    voltage = Result(
        id="output.voltage", method="typed/1", channel="left", quantity=Quantity(480, "mV", 5)
    )
    verdict = _one("Line output: 500 mV", voltage)
    assert (verdict.outcome, verdict.reason) == ("cannot be compared", "no bound")
    assert "4.0 % below" in verdict.words


def test_limit_that_nothing_was_measured_for_is_said_not_dropped() -> None:
    verdict = _one("Erasure 60 dB", _speed(0.1))
    assert (verdict.outcome, verdict.reason) == ("cannot be compared", "not measured")


def test_assumption_of_a_likely_limit_is_told_with_the_verdict() -> None:
    verdict = _one("Wow and flutter 0.14 % DIN", _reading("flutter.weighted_peak", 0.05, 0.002))
    assert verdict.outcome == "meets"
    assert any("taken as the weighted peak" in note for note in verdict.notes)


def test_standard_is_offered_only_for_what_the_sheet_leaves_out() -> None:
    """DIN 45 500 sheet 4: ±1.5 % over 30 s, ±0.2 % weighted (list of a museum, see module)."""
    left = for_comparison(read_sheet("Wow and flutter 0.08 %").limits)
    ids = {limit.ids[0] for limit in left}
    assert "speed.deviation" in ids
    assert not any(one.startswith("flutter.") for one in ids)
    assert all(limit.source for limit in left)
    (speed, flutter), rest = DIN_45500_LIMITS[:2], IASA_TC04_LIMITS
    assert (speed.low, speed.high, flutter.high) == (-1.5, 1.5, 0.2)
    assert [limit.high for limit in rest] == [0.3, 0.1]


def test_limits_of_the_standard_are_read_the_same_from_their_german_words() -> None:
    text = (
        "Bandgeschwindigkeit ±1,5 %\nGleichlaufschwankungen DIN 45 500 ±0,2 %\n"
        "Fremdspannungsabstand ≥ 46 dB\nKlirrfaktor K3 ≤ 3 % bei 333 Hz\n"
        "Stereo-Übersprechdämpfung ≥ 20 dB bei 1 kHz\nGegenspurdämpfung ≥ 60 dB bei 1 kHz\n"
        "Pegeldifferenz der Kanäle ≤ 2 dB\nLöschdämpfung ≥ 60 dB bei 1 kHz"
    )
    written = [(one.ids, one.low, one.high) for one in read_sheet(text).limits]
    kept = [(one.ids, one.low, one.high) for one in DIN_45500_LIMITS
            if one.sure == "clear" and one.band_low_hz is None]  # fmt: skip
    assert written == kept


def test_verdict_on_any_sheet_line_holds_together() -> None:
    """A rule of simple acceptance never says 'too close to call'."""
    rule = DecisionRule(meets_from=0.5, fails_below=0.5)
    limits = read_sheet("Wow and flutter 0.14 % DIN weighted").limits
    for value in (0.13, 0.14, 0.15):
        (verdict,) = judge(limits, (_reading("flutter.weighted_peak", value, 0.01),), rule)
        assert verdict.outcome in ("meets", "does not meet")


# --- what would settle it ------------------------------------------------------------------

_LIMIT = Limit(ids=("flutter.weighted_peak",), unit="%", words="", high=0.14)


def test_starts_needed_by_hand() -> None:
    """By hand: z = 0.007/0.012; n = (1.6449/z)² = 7.95, so eight, with the random part alone."""
    budget = Budget((Contribution("finite length", 0.012, "random"),))
    assert starts_needed(0.147, budget, _LIMIT) == 8
    assert starts_needed(0.10, budget, _LIMIT) == 1


def test_starts_needed_with_a_shared_part_by_hand() -> None:
    """u_n² = 0.012²/n + 0.003² must be (0.007/1.6449)²: n = 1.44e-4/(1.811e-5 − 9e-6) = 15.8."""
    budget = Budget(
        (Contribution("finite length", 0.012, "random"), Contribution(TAPE, 0.003, "shared"))
    )
    assert starts_needed(0.147, budget, _LIMIT) == 16
    blocked = Budget(
        (Contribution("finite length", 0.012, "random"), Contribution(TAPE, 0.006, "shared"))
    )
    assert starts_needed(0.147, blocked, _LIMIT) is None
    assert "better test tape" in what_would_settle(0.147, blocked, _LIMIT)


def test_starts_needed_keeps_its_promise_in_a_seeded_simulation() -> None:
    """With the truth at 0.147 %, the mean of eight starts is called in about half the cases.

    The number is reckoned for the reading as it stands, so new readings about the same truth
    fall to either side of the border with equal chance (JCGM 106 says nothing on this).
    """
    budget = Budget((Contribution("finite length", 0.012, "random"),))
    starts = starts_needed(0.147, budget, _LIMIT)
    assert starts is not None
    means = np.random.default_rng(8).normal(0.147, 0.012 / math.sqrt(starts), 4000)
    mean_budget = budget_of_mean(budget, starts)
    chances = [
        conformity_chance(mean_budget.quantity(float(mean), "%"), None, 0.14) for mean in means
    ]
    called = float(np.mean([DecisionRule().outcome(chance) != "too close to call"
                            for chance in chances]))  # fmt: skip
    # 7.95 starts would put the border on the truth; 8 put it 0.005 u aside (0.2 %)
    assert called == pytest.approx(0.5, abs=4 * 0.5 / math.sqrt(4000) + 0.002)


def test_reading_on_the_limit_itself_is_called_so() -> None:
    budget = Budget((Contribution("finite length", 0.012, "random"),))
    assert "on the limit" in what_would_settle(0.14, budget, _LIMIT)
