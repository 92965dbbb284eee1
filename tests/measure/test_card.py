"""What a sound card can do to a reading goes into its uncertainty: by hand-made figures."""

from __future__ import annotations

import math

import pytest

from runstrue.measure.card import ANY_CARD, CardFigures, figures_of_loop_back, with_card
from runstrue.quantity import Budget, Contribution, Quantity
from runstrue.result import Condition, Result, Table

CARD = CardFigures("ui", 0.3, 0.1, -90.0, 0.02, 80.0, measured=True)


def reading(quantity_id: str, value: float, unit: str, **conditions: Condition) -> Result:
    budget = Budget((Contribution("noise", 0.001, "random"),))
    return Result(
        quantity_id, "x/1", "left", budget.quantity(value, unit), budget, conditions=conditions
    )


def u_of(result: Result) -> float:
    assert result.quantity is not None
    return result.quantity.u


def test_tolerances_are_rectangular_and_shared() -> None:
    """JCGM 100 4.3.7: half-width over √3."""
    (balance,) = with_card([reading("level.balance", 0.4, "dB")], CARD)
    assert balance.budget.shared_u == pytest.approx(0.1 / math.sqrt(3))
    assert [part.source for part in balance.budget if part.kind == "shared"] == ["ui"]


def test_crosstalk_of_the_card_beats_with_the_deck_s() -> None:
    """80 dB against 60 dB is a tenth of the leak: ±10 %, ±0.87 dB, over √3."""
    (found,) = with_card([reading("separation.channels", 60.0, "dB")], CARD)
    assert u_of(found) == pytest.approx(0.8686 / math.sqrt(3), rel=0.01)
    assert not found.doubts
    (limited,) = with_card([reading("separation.channels", 78.0, "dB")], CARD)
    assert "may be the limit" in limited.doubts[0]


def test_noise_of_the_card_adds_in_power() -> None:
    """Card 20 dB below the reading adds 1 %: 0.043 dB, over √3."""
    level = reading("level.output", -12.0, "dB FS")
    noise = reading("noise.unweighted", 58.0, "dB", against="0 dB")
    found = with_card([level, noise], CARD)[1]
    assert u_of(found) == pytest.approx(0.0434 / math.sqrt(3), rel=0.02)
    near = with_card([level, reading("noise.unweighted", 77.0, "dB", against="0 dB")], CARD)[1]
    assert "sound card" in near.doubts[0]


def test_distortion_below_the_card_s_own_is_told() -> None:
    (found,) = with_card([reading("distortion.total", 0.03, "%")], CARD)
    assert "may be the limit" in found.doubts[0]
    (clear,) = with_card([reading("distortion.total", 1.0, "%")], CARD)
    assert clear.doubts == ()


def test_every_point_of_a_response_gets_the_card_s_share() -> None:
    table = Table((100.0, 1000.0), (0.0, 0.0), (0.0, 0.0), "Hz", "dB")
    (found,) = with_card(
        [Result("response.gain", "x/1", "left", Quantity(0.0, "dB", 0.0), table=table)], CARD
    )
    assert found.table is not None
    assert found.table.u == pytest.approx((0.3 / math.sqrt(3),) * 2)


def test_bound_stays_a_bound() -> None:
    bound = reading("separation.channels", 95.0, "dB", **{"at least": True})
    assert with_card([bound], ANY_CARD) == (bound,)


def test_figures_of_a_loop_back_are_the_worst_of_its_readings() -> None:
    table = Table((10.0, 20.0, 1000.0, 16_000.0, 20_000.0), (-9, -0.4, 0, -0.2, -3), (0,) * 5,
                  "Hz", "dB")  # fmt: skip
    results = [
        reading("level.output", -6.0, "dB FS"), reading("noise.unweighted", 84.0, "dB"),
        reading("noise.unweighted", 86.0, "dB"), reading("level.balance", -0.07, "dB"),
        reading("distortion.total", 0.004, "%"), reading("separation.channels", 88.0, "dB"),
        Result("response.gain", "x/1", "left", None, table=table),
    ]  # fmt: skip
    found = figures_of_loop_back(results, "ui")
    assert found == CardFigures("ui", 0.4, 0.07, -90.0, 0.004, 88.0, measured=True)
