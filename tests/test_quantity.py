"""A number with its uncertainty: printing, reading back, combining; against the GUM and scipy."""

from __future__ import annotations

import math

import pytest
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st

from runstrue.errors import InputError
from runstrue.quantity import (
    Budget,
    Contribution,
    Quantity,
    coverage_factor,
    number_text,
    t_chance_below,
)


@pytest.mark.parametrize(
    ("freedom", "factor"),
    [(1, 13.97), (2, 4.53), (3, 3.31), (4, 2.87), (5, 2.65), (8, 2.37), (10, 2.28), (20, 2.13),
     (50, 2.05)],
)  # fmt: skip
def test_coverage_factor_for_95_45_percent(freedom: float, factor: float) -> None:
    """JCGM 100:2008 table G.2, column 95.45 %, two decimals as printed."""
    assert coverage_factor(0.9545, freedom) == pytest.approx(factor, abs=0.0051)


@pytest.mark.parametrize("freedom", [1, 1.7, 2, 5.5, 16, 60, 1000])
@pytest.mark.parametrize("probability", [0.5, 0.6827, 0.95, 0.99, 0.999])
def test_coverage_factor_against_scipy(freedom: float, probability: float) -> None:
    expected = float(scipy.stats.t(freedom).ppf(0.5 + probability / 2))
    assert coverage_factor(probability, freedom) == pytest.approx(expected, rel=1e-8)


@pytest.mark.parametrize("freedom", [1, 2.3, 7, 40, 5e5, math.inf])
@pytest.mark.parametrize("t", [-8.0, -1.0, 0.0, 0.3, 2.5])
def test_chance_below_against_scipy(t: float, freedom: float) -> None:
    expected = scipy.stats.norm.cdf(t) if math.isinf(freedom) else scipy.stats.t(freedom).cdf(t)
    assert t_chance_below(t, freedom) == pytest.approx(float(expected), abs=1e-9)


def test_end_gauge_of_gum_h_1() -> None:
    """JCGM 100:2008 H.1 (from memory): u 32 nm, 16 degrees of freedom: k99 2.92, U99 93 nm."""
    gauge = Quantity(838.0, "nm", 32.0, 16)
    assert coverage_factor(0.99, 16) == pytest.approx(2.92, abs=0.005)
    assert gauge.expanded(0.99) == pytest.approx(93, abs=0.5)


def test_budget_adds_in_squares_and_shares_out_random_and_shared() -> None:
    budget = Budget(
        (
            Contribution("hiss", 3.0, "random"),
            Contribution("tape", 4.0, "shared"),
            Contribution("clock", 12.0, "shared"),
        )
    )
    assert budget.u == pytest.approx(13.0)  # 3² + 4² + 12² = 13²
    assert budget.random_u == pytest.approx(3.0)
    assert budget.shared_u == pytest.approx(math.sqrt(160))
    largest = budget.largest()
    assert largest is not None
    assert largest.name == "clock"
    assert Budget().largest() is None


def test_effective_degrees_of_freedom_by_welch_and_satterthwaite() -> None:
    """JCGM 100:2008 G.4.1 by hand: u⁴/Σ(uᵢ⁴/νᵢ) = 25²/(81/4 + 256/8) = 11.96."""
    budget = Budget(
        (
            Contribution("one", 3.0, "random", degrees_of_freedom=4),
            Contribution("two", 4.0, "random", degrees_of_freedom=8),
        )
    )
    assert budget.degrees_of_freedom == pytest.approx(625 / 52.25)
    assert math.isinf(Budget((Contribution("known", 1.0, "shared"),)).degrees_of_freedom)
    assert budget.quantity(1.0, "%").degrees_of_freedom == budget.degrees_of_freedom


@pytest.mark.parametrize(
    ("value", "u", "printed"),
    [
        (0.1473, 0.0121, "0.147 % (u 0.012 %)"),
        (-0.0184, 0.0052, "−0.0184 % (u 0.0052 %)"),
        (838.4, 32.0, "838 % (u 32 %)"),
        (0.5, 0.0996, "0.50 % (u 0.10 %)"),
        (1234567.0, 12345.0, "1234567 % (u 12345 %)"),
        (-0.0001, 0.02, "0.000 % (u 0.020 %)"),
    ],
)
def test_two_figures_of_the_uncertainty_are_printed(value: float, u: float, printed: str) -> None:
    """JCGM 100:2008 7.2.6: at most two significant digits of u; no '−0' is ever printed."""
    assert str(Quantity(value, "%", u)) == printed


@given(
    st.floats(-1e6, 1e6), st.floats(1e-5, 1e4), st.sampled_from(["%", "%/min", "dB", "g·cm", "′"])
)
def test_what_is_printed_is_read_back(value: float, u: float, unit: str) -> None:
    quantity = Quantity(value, unit, u)
    again = Quantity.parse(str(quantity))
    # half a unit of the last printed place, of which u keeps at least two
    step = 10.0 ** -quantity.decimals()
    assert abs(again.value - value) <= step / 2 * (1 + 1e-9) + 1e-9
    assert abs(again.u - u) <= step / 2 * (1 + 1e-9)
    assert again.unit == unit
    assert str(again) == str(quantity)


@pytest.mark.parametrize("text", ["", "0.1", "0.1 % (u 0.1 dB)", "x % (u 0.1 %)", "0.1 % u 0.1 %"])
def test_other_text_is_no_quantity(text: str) -> None:
    with pytest.raises(InputError, match="quantity"):
        Quantity.parse(text)


@pytest.mark.parametrize(("value", "u"), [(math.nan, 1.0), (math.inf, 1.0), (1.0, math.nan),
                                          (1.0, -0.1), (1.0, math.inf)])  # fmt: skip
def test_number_that_is_none_is_refused(value: float, u: float) -> None:
    with pytest.raises(InputError, match="finite"):
        Quantity(value, "%", u)


def test_quantities_are_not_ordered() -> None:
    with pytest.raises(TypeError):
        assert Quantity(1.0, "%", 0.1) < Quantity(2.0, "%", 0.1)  # type: ignore[operator]


def test_signs_are_printed_true() -> None:
    assert number_text(0.3, 1, signed=True) == "+0.3"
    assert number_text(-0.3, 1) == "\N{MINUS SIGN}0.3"
    assert number_text(-0.01, 1) == "0.0"
