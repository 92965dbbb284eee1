"""Chance of conformity, guard bands and risks against JCGM 106:2012 and a general library."""

from __future__ import annotations

import math

import numpy as np
import pytest
import scipy.stats

from runstrue.errors import InputError
from runstrue.quantity import Quantity
from runstrue.verdict.chance import conformity_chance, never_negative
from runstrue.verdict.models import DecisionRule
from runstrue.verdict.risk import global_risk, guard_band, relative_rejection_limit


def test_zener_diode_of_jcgm_106_clause_7() -> None:
    """Upper limit −5.40 V, y = −5.47 V, u = 0.05 V (inputs from memory): Φ(1.40) = 0.9192."""
    chance = conformity_chance(Quantity(-5.47, "V", 0.05), None, -5.40)
    assert chance == pytest.approx(0.9192, abs=5e-5)  # half of the last printed digit
    assert chance == pytest.approx(scipy.stats.norm.cdf(1.40), abs=1e-9)


@pytest.mark.parametrize(
    ("probability", "z"), [(0.80, 0.84), (0.90, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)]
)
def test_table_1_of_jcgm_106_clause_7_3(probability: float, z: float) -> None:
    """One-sided coverage: a reading z·u inside the limit conforms with this probability."""
    # z is printed to two decimals, so it may be off by half a hundredth (1.645 became 1.64)
    assert guard_band(1.0, probability) == pytest.approx(z, abs=0.00501)
    reading = Quantity(-guard_band(1.0, probability), "V", 1.0)
    assert conformity_chance(reading, None, 0.0) == pytest.approx(probability, abs=1e-9)


@pytest.mark.parametrize(("reading_db", "chance"), [(57.0, 0.977), (56.4, 0.788), (56.0, 0.500)])
def test_signal_to_noise_of_at_least_56_db(reading_db: float, chance: float) -> None:
    """Φ((y − 56)/0.5), by hand from a table of the normal distribution."""
    reading = Quantity(reading_db, "dB", 0.5)
    assert conformity_chance(reading, 56.0, None) == pytest.approx(chance, abs=5e-4)


@pytest.mark.parametrize("freedom", [1.0, 2.5, 4.0, 9.0, 30.0, math.inf])
@pytest.mark.parametrize(("low", "high"), [(None, 0.2), (-0.1, None), (-0.1, 0.2), (0.4, 0.6)])
def test_students_t_against_scipy(freedom: float, low: float | None, high: float | None) -> None:
    reading = Quantity(0.15, "%", 0.08, freedom)
    spread = scipy.stats.t(freedom, 0.15, 0.08)
    expected = spread.cdf(math.inf if high is None else high) - spread.cdf(
        -math.inf if low is None else low
    )
    assert conformity_chance(reading, low, high) == pytest.approx(float(expected), abs=1e-9)


@pytest.mark.parametrize("value", [0.0, 0.02, 0.1, 0.3])
def test_reading_that_cannot_be_negative_against_scipy_truncnorm(value: float) -> None:
    reading, u = Quantity(value, "%", 0.05), 0.05
    spread = scipy.stats.truncnorm(-value / u, math.inf, loc=value, scale=u)
    chance = conformity_chance(reading, None, 0.1, from_zero=True)
    assert chance == pytest.approx(float(spread.cdf(0.1)), abs=1e-9)
    assert chance <= conformity_chance(reading, None, 0.1)


def test_far_tail_keeps_its_figures() -> None:
    """Two bounds far above the reading: Φ(−9) − Φ(−10), where 1 − Φ would have lost all."""
    chance = conformity_chance(Quantity(0.0, "dB", 1.0), 9.0, 10.0)
    expected = scipy.stats.norm.sf(9) - scipy.stats.norm.sf(10)
    assert chance == pytest.approx(float(expected), rel=1e-6)


def test_chance_against_a_seeded_simulation() -> None:
    """Truths that a flat prior from zero allows, for readings of 0.06 % with u 0.04 %.

    Draw truths evenly, readings about them, keep the truths whose reading fell near 0.06 %.
    """
    random = np.random.default_rng(106)
    truths = random.uniform(0.0, 0.5, 4_000_000)
    readings = truths + random.normal(0.0, 0.04, truths.size)
    kept = truths[np.abs(readings - 0.06) < 0.001]
    share = float(np.mean(kept <= 0.1))
    chance = conformity_chance(Quantity(0.06, "%", 0.04), None, 0.1, from_zero=True)
    # 4 standard errors of a share of about 16 000 kept draws
    assert abs(chance - share) < 4 * math.sqrt(share * (1 - share) / kept.size)


def test_exact_reading_is_in_or_out_and_the_limit_belongs_to_what_is_allowed() -> None:
    assert conformity_chance(Quantity(0.2, "%", 0.0), None, 0.2) == 1.0
    assert conformity_chance(Quantity(0.2001, "%", 0.0), None, 0.2) == 0.0
    assert conformity_chance(Quantity(-1.6, "%", 0.0), -1.5, 1.5) == 0.0


def test_only_readings_without_a_sign_are_cut_at_zero() -> None:
    assert all(never_negative(one) for one in ("flutter.weighted_peak", "torque.take_up"))
    assert not any(never_negative(one) for one in ("speed.deviation", "noise.a", "azimuth.angle"))


def test_speed_trap_of_jcgm_106_clause_8() -> None:
    """Limit 100 km/h, u 2 % of the reading, 99.9 % (inputs from memory): 106.6, said as 107."""
    speed = relative_rejection_limit(100.0, 0.02, 0.999)
    assert speed == pytest.approx(106.6, abs=0.05)
    assert round(speed) == 107
    reading = Quantity(speed, "km/h", 0.02 * speed)
    assert conformity_chance(reading, None, 100.0) == pytest.approx(0.001, abs=1e-9)


def test_a_trap_with_half_the_reading_as_uncertainty_is_refused() -> None:
    with pytest.raises(InputError, match="too large"):
        relative_rejection_limit(100.0, 0.5, 0.999)


@pytest.mark.parametrize(
    ("acceptance", "consumer", "producer"),
    [
        (0.18, 0.0099, 0.0690),  # the example as printed: 1 % and 7 %
        (0.20, 0.0189, 0.0372),  # simple acceptance
        (0.16, 0.0043, 0.1147),
        (0.12, 0.0005, 0.2477),
        (0.24, 0.0449, 0.0071),  # guarded rejection
        (0.28, 0.0694, 0.0007),
    ],
)
def test_resistors_of_jcgm_106_clause_9(
    acceptance: float, consumer: float, producer: float
) -> None:
    """Nominal 1500 Ω ±0.20 Ω, process sd 0.12 Ω, u 0.04 Ω; other bands by numerical integration."""
    risk = global_risk(
        (1500 - 0.20, 1500 + 0.20), (1500 - acceptance, 1500 + acceptance), 1500.0, 0.12, 0.04
    )
    assert risk.conformity == pytest.approx(0.9044, abs=5e-5)
    assert risk.consumer == pytest.approx(consumer, abs=5.1e-5)
    assert risk.producer == pytest.approx(producer, abs=5.1e-5)


def test_global_risk_against_the_bivariate_normal_of_scipy() -> None:
    """One-sided: R_C = P(truth > T, reading ≤ A), both normal with correlation sd/√(sd²+u²)."""
    deviation, u, limit, accept = 0.05, 0.02, 0.2, 0.19
    risk = global_risk((-math.inf, limit), (-math.inf, accept), 0.15, deviation, u)
    both = scipy.stats.multivariate_normal(
        [0.15, 0.15], [[deviation**2, deviation**2], [deviation**2, deviation**2 + u**2]]
    )
    accepted = scipy.stats.norm(0.15, math.hypot(deviation, u)).cdf(accept)
    # scipy integrates to about 1e-5 by default
    assert risk.consumer == pytest.approx(accepted - both.cdf([limit, accept]), abs=1e-4)


def test_risk_without_spread_is_refused() -> None:
    with pytest.raises(InputError, match="above zero"):
        global_risk((0, 1), (0, 1), 0.5, 0.0, 0.1)


def test_rule_parts_three_outcomes_and_says_itself() -> None:
    rule = DecisionRule()
    assert [rule.outcome(chance) for chance in (0.95, 0.949, 0.051, 0.05)] == [
        "meets", "too close to call", "too close to call", "does not meet",
    ]  # fmt: skip
    assert rule.words == "meets from 95 %, does not meet up to 5 %; JCGM 106:2012"
    assert DecisionRule(meets_from=0.5, fails_below=0.5).outcome(0.51) == "meets"
