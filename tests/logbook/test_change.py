"""As found against as left: the mathematics of the difference."""

from __future__ import annotations

from functools import reduce

import numpy as np
import pytest
import scipy.stats

from runstrue.logbook.change import difference, difference_budget, whole_budget
from runstrue.quantity import Budget, Contribution, Quantity
from runstrue.result import Result

TAPE = "Sallowby tape, batch 7"


def budget(shared: float, random: float, freedom: float = np.inf) -> Budget:
    return Budget(
        (
            Contribution("tolerance of the test tape", shared, "shared", TAPE),
            Contribution("finite length", random, "random", "", freedom),
        )
    )


def reading(value: float, parts: Budget, quantity_id: str = "flutter.weighted_peak") -> Result:
    return Result(quantity_id, "two-sigma/1", "both", parts.quantity(value, "%"), parts)


def test_ten_resistors_calibrated_with_one_standard_add_up_as_in_the_guide() -> None:
    # JCGM 100:2008 5.2.2, example: ten resistors of 1000 Ω, each compared with the same
    # standard of u = 100 mΩ and with no other uncertainty, in series: u = 1 Ω, where leaving
    # out the correlation would give 0.32 Ω.
    one = Budget((Contribution("calibration", 0.1, "shared", "standard resistor"),))
    series = reduce(lambda left, right: difference_budget(left, right, opposite=True), [one] * 10)
    assert series.u == pytest.approx(1.0, rel=1e-12)


def test_the_difference_of_two_correlated_values_follows_equation_16_of_the_guide() -> None:
    # JCGM 100:2008 equation 16 for y = x2 − x1: u² = u1² + u2² − 2 u(x1, x2), worked by hand.
    # Shared 0.30 and 0.28 with r = 1 leave 0.02; random 0.03 and 0.06. In units of 0.01:
    # 2² + 3² + 6² = 49, so u = 0.07. From the whole: u1² = 0.0909, u2² = 0.082, covariance
    # 0.30 · 0.28 = 0.084: 0.0909 + 0.0820 − 0.1680 = 0.0049.
    outcome = difference(reading(0.5, budget(0.30, 0.03)), reading(0.4, budget(0.28, 0.06)))
    assert outcome is not None
    assert outcome.quantity.u == pytest.approx(0.07, rel=1e-9)


def test_what_both_share_cancels_exactly_and_random_parts_add_in_squares() -> None:
    outcome = difference(reading(0.50, budget(0.3, 0.03)), reading(0.40, budget(0.3, 0.04)))
    assert outcome is not None
    assert outcome.quantity.value == pytest.approx(-0.1)
    assert outcome.quantity.u == pytest.approx(0.05, rel=1e-12)  # 3, 4, 5
    assert outcome.times_u == pytest.approx(2.0)


@pytest.mark.parametrize("source", ["", "another tape"])
def test_another_tape_or_an_unnamed_one_cancels_nothing(source: str) -> None:
    other = Budget((Contribution("tolerance of the test tape", 0.3, "shared", source),))
    first = other if not source else Budget((Contribution(other.contributions[0].name, 0.3,
                                                          "shared", TAPE),))  # fmt: skip
    assert difference_budget(first, other).u == pytest.approx(0.3 * np.sqrt(2))


def test_another_kind_of_error_of_the_same_tape_cancels_nothing() -> None:
    first = Budget((Contribution("tolerance", 0.3, "shared", TAPE),))
    second = Budget((Contribution("own flutter", 0.3, "shared", TAPE),))
    assert difference_budget(first, second).u == pytest.approx(0.3 * np.sqrt(2))


def test_degrees_of_freedom_follow_welch_and_satterthwaite() -> None:
    # JCGM 100:2008 G.2b by hand: 0.05⁴ / (0.03⁴/9 + 0.04⁴/16) = 6.25e-6 / 2.5e-7 = 25.
    outcome = difference(
        reading(0.50, budget(0.3, 0.03, 9)), reading(0.40, budget(0.3, 0.04, 16))
    )  # fmt: skip
    assert outcome is not None
    assert outcome.quantity.degrees_of_freedom == pytest.approx(25.0, rel=1e-9)
    expected = scipy.stats.t.cdf(2.0, 25)  # a general library as the second road
    assert outcome.chance_better == pytest.approx(expected, abs=1e-9)


def test_a_simulated_shared_error_bears_out_the_uncertainty_of_the_difference() -> None:
    generator = np.random.default_rng(7)
    count = 200_000
    tape = generator.normal(0, 0.3, count)
    found = 0.5 + tape + generator.normal(0, 0.03, count)
    left = 0.4 + tape + generator.normal(0, 0.04, count)
    outcome = difference(reading(0.5, budget(0.3, 0.03)), reading(0.4, budget(0.3, 0.04)))
    assert outcome is not None
    # The spread of a standard deviation from n values is 1/√(2n) = 0.16 %; four of those.
    assert np.std(left - found) == pytest.approx(outcome.quantity.u, rel=4 / np.sqrt(2 * count))


def test_a_speed_that_crosses_zero_is_not_helped_by_the_shared_tape() -> None:
    # Found −0.5 %, left +0.4 %: if the tape is 0.3 % slow the truth is −0.8 and +0.1, better;
    # if 0.3 % fast it is −0.2 and +0.7, worse. |left| − |found| = left + found here, and by
    # equation 16 the shared part counts twice: u = √(0.6² + 0.03² + 0.04²) = 0.6021.
    found = reading(-0.5, budget(0.3, 0.03), "speed.deviation")
    left = reading(0.4, budget(0.3, 0.04), "speed.deviation")
    outcome = difference(found, left)
    assert outcome is not None
    assert outcome.chance_better == pytest.approx(scipy.stats.norm.cdf(0.1 / 0.602080), abs=1e-5)
    assert outcome.outcome == "no change that can be told from chance"
    assert outcome.chance_higher > 0.999999  # that it rose is certain all the same


@pytest.mark.parametrize(
    ("quantity_id", "found", "left", "words"),
    [
        ("flutter.weighted_peak", 0.40, 0.10, "clearly better"),
        ("flutter.weighted_peak", 0.10, 0.40, "clearly worse"),
        ("flutter.weighted_peak", 0.40, 0.31, "probably better"),  # 1.8 u: 96.4 %
        ("flutter.weighted_peak", 0.40, 0.33, "no change that can be told from chance"),  # 1.4 u
        ("noise.a", 50.0, 56.0, "clearly better"),
        ("speed.deviation", -2.1, -0.2, "clearly better"),
        ("speed.deviation", 0.2, 2.1, "clearly worse"),
        ("torque.take_up", 3.0, 5.0, "clearly higher"),  # which way is good, the sheet knows
        ("torque.take_up", 5.0, 3.0, "clearly lower"),
        ("torque.take_up", 3.0, 3.09, "probably higher"),
    ],
)
def test_the_words_say_which_way_is_better(
    quantity_id: str, found: float, left: float, words: str
) -> None:
    parts = budget(0.3, 0.05 / np.sqrt(2))
    outcome = difference(reading(found, parts, quantity_id), reading(left, parts, quantity_id))
    assert outcome is not None
    assert outcome.outcome == words


def test_where_nothing_changed_a_change_is_called_as_seldom_as_stated() -> None:
    # 'Clearly' from 99 % on either side: 2 % of pairs with no change at all.
    generator = np.random.default_rng(11)
    count, called = 20_000, 0
    parts = budget(0.3, 0.03)
    for first, second in generator.normal(0.5, 0.03, (count, 2)):
        outcome = difference(reading(first, parts), reading(second, parts))
        assert outcome is not None
        called += outcome.outcome.startswith("clearly")
    # Binomial: √(n p (1 − p)) = 19.8 pairs; three of those.
    assert abs(called - 0.02 * count) < 3 * np.sqrt(count * 0.02 * 0.98)


def test_a_typed_reading_without_a_budget_keeps_its_uncertainty() -> None:
    typed = Result("force.pinch", "typed/1", "", Quantity(3.1, "N", 0.3, 4))
    assert whole_budget(typed).u == pytest.approx(0.3)
    outcome = difference(typed, typed)
    assert outcome is not None
    assert outcome.quantity.u == pytest.approx(0.3 * np.sqrt(2))
    assert outcome.quantity.degrees_of_freedom == pytest.approx(8)  # two alike parts: 4 + 4


def test_readings_that_are_not_alike_are_not_compared() -> None:
    parts = budget(0.3, 0.03)
    peak = reading(0.2, parts)
    no_figure = Result(peak.id, peak.method, "both", None)
    other_method = Result(peak.id, "needle/1", "both", peak.quantity, parts)
    other_unit = Result(peak.id, peak.method, "both", Quantity(0.2, "dB", 0.1))
    assert difference(peak, no_figure) is None
    assert difference(no_figure, peak) is None
    assert difference(peak, other_method) is None
    assert difference(peak, other_unit) is None


def test_figures_without_any_uncertainty_differ_for_certain_or_not_at_all() -> None:
    def exact(value: float) -> Result:
        return Result("flutter.weighted_peak", "typed/1", "", Quantity(value, "%", 0.0))

    worse, same = difference(exact(0.1), exact(0.2)), difference(exact(0.1), exact(0.1))
    assert worse is not None
    assert same is not None
    assert worse.outcome == "clearly worse"
    assert np.isinf(worse.times_u)
    assert same.outcome == "no change that can be told from chance"
    assert same.times_u == 0
