"""Left against right, and losses, from the tone: against tones whose levels are set here."""

from __future__ import annotations

import math

import numpy as np
import pytest

from runstrue.measure.tape_tone import TonePlan, measure_tone
from runstrue.result import Measured, Result

RATE_HZ = 8000.0
LENGTH_S = 40.0
TIME_S = np.arange(int(LENGTH_S * RATE_HZ)) / RATE_HZ
TONE = 0.4 * np.sin(2 * np.pi * 3150.0 * TIME_S)


def measured(left: np.ndarray, right: np.ndarray, plan: TonePlan | None = None) -> Measured:
    return measure_tone([np.stack([left, right])], RATE_HZ, 2, plan or TonePlan())


def balance_of(found: Measured) -> Result:
    result = found.find("level.balance")
    assert result is not None
    return result


@pytest.mark.parametrize("apart_db", [-12.0, -1.5, 0.0, 4.0])
def test_balance_is_what_was_set(apart_db: float) -> None:
    balance = balance_of(measured(TONE * 10 ** (apart_db / 20), TONE))
    assert balance.quantity is not None
    # two equal tones through one filter: only arithmetic in single precision is left
    assert balance.quantity.value == pytest.approx(apart_db, abs=0.001)
    if apart_db:
        assert balance.conditions["lower channel"] == ("left" if apart_db < 0 else "right")


def test_uncertainty_holds_tape_and_card() -> None:
    """Rectangular tolerances over √3 (JCGM 100 4.3.7): half of 1 dB, and 0.1 dB."""
    quantity = balance_of(measured(TONE, TONE)).quantity
    assert quantity is not None
    assert quantity.u == pytest.approx(math.hypot(0.5, 0.1) / math.sqrt(3), abs=0.001)


def test_a_channel_that_comes_and_goes_is_named_with_how_far() -> None:
    """A level 1 + 0.25 sin swings by 20 lg 1.25/0.75 = 4.4 dB from top to bottom."""
    moving = TONE * (1 + 0.25 * np.sin(2 * np.pi * 0.11 * TIME_S))
    balance = balance_of(measured(TONE, moving))
    assert balance.spread is not None
    assert balance.conditions["moving channel"] == "right"
    # from the 5th to the 95th part in a hundred a sine goes through ±sin(0.45 π) = ±0.988
    inside = [20 * math.log10(1 + sign * 0.25 * 0.988) for sign in (1, -1)]
    # half a second of a period of 9.1 s moves by 0.17 rad: medians stay within 1 % of the swing
    assert balance.spread.high - balance.spread.low == pytest.approx(
        inside[0] - inside[1], rel=0.02
    )


def test_a_dead_channel_has_no_balance_but_is_named() -> None:
    hiss = 1e-4 * np.random.default_rng(3).standard_normal(TONE.size)
    balance = balance_of(measured(hiss, TONE))
    assert balance.quantity is None
    assert balance.conditions["no tone"] == "left"


def test_leak_from_the_other_channel_is_no_tone_of_its_own() -> None:
    assert balance_of(measured(TONE, 0.01 * TONE)).conditions["no tone"] == "right"


def test_losses_are_counted_on_their_own_channel() -> None:
    holes = np.where((TIME_S % 8 > 4) & (TIME_S % 8 < 4.1), 0.0, TONE)  # 5 of them, 0.1 s each
    found = measured(TONE, holes)
    counts = {one.channel: one.quantity for one in found.results if one.id == "dropout.count"}
    length = {one.channel: one.conditions["length"] for one in found.results
              if one.id == "dropout.count"}  # fmt: skip
    assert counts["left"].value == 0
    minutes = float(str(length["right"]).removesuffix(" s")) / 60
    # the length is told to a second of 40
    assert counts["right"].value * minutes == pytest.approx(5, rel=0.02)
    # Poisson with Jeffreys' half: √5.5 and √0.5 of them
    assert counts["right"].u / counts["right"].value == pytest.approx(math.sqrt(5.5) / 5, rel=1e-6)


def test_one_channel_has_no_balance() -> None:
    assert measure_tone([TONE[None]], RATE_HZ, 1, TonePlan()).find("level.balance") is None


def test_an_own_recording_says_so() -> None:
    found = measured(TONE, TONE, TonePlan(self_recorded=True))
    assert balance_of(found).conditions["path"] == "record and play"
