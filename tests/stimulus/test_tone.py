"""The analytic tone, against exact arithmetic."""

from __future__ import annotations

import math
from decimal import Decimal, getcontext
from fractions import Fraction

import numpy as np
import pytest

from runstrue.errors import InputError
from runstrue.stimulus.tone import EDGE_S, Tone


def test_phase_is_right_to_a_thousand_millionth_of_a_cycle_after_45_minutes() -> None:
    # decimal arithmetic of 50 figures as the independent road
    getcontext().prec = 50
    base = Fraction(2700 * 192_000 + 12_345, 192_000) * Fraction(10031, 10000)
    offsets = np.linspace(0, 0.05, 97)
    frequency_hz = 15_000.1
    tone = Tone(frequency_hz, 0.0)
    exact_base = Decimal(base.numerator) / Decimal(base.denominator)
    exact = [Decimal(frequency_hz) * (exact_base + Decimal(float(one))) % 1 for one in offsets]
    wanted = np.array([math.sin(2 * math.pi * float(turns)) for turns in exact])
    # 1e-9 of a cycle is at most 2 pi 1e-9 of the amplitude
    assert np.abs(tone.read(0, base, offsets) - wanted).max() < 2 * math.pi * 1e-9


def test_level_is_that_of_a_sine_against_one_of_full_scale() -> None:
    # AES17: a sine whose peaks reach full scale is 0 dB FS; −6.0206 dB halves it
    tone = Tone(3150, 20 * math.log10(0.5))
    assert tone.amplitude == pytest.approx(0.5)
    cycle = tone.read(0, Fraction(0), np.arange(1000) / 3150 / 1000)
    assert np.sqrt(np.mean(cycle**2)) == pytest.approx(tone.rms)
    assert cycle.max() == pytest.approx(0.5)


def test_a_tone_on_part_of_the_tape_is_silent_elsewhere() -> None:
    tone = Tone(1000, 0.0, starts_s=2.0, lasts_s=1.0)
    positions = np.arange(0, 5, 1e-5)
    read = tone.read(0, Fraction(0), positions)
    assert not read[(positions < 2) | (positions > 3)].any()
    full = (positions > 2 + EDGE_S) & (positions < 3 - EDGE_S)
    whole = Tone(1000, 0.0).read(0, Fraction(0), positions)
    assert read[full] == pytest.approx(whole[full])


@pytest.mark.parametrize("frequency_hz", [0.0, -3150.0, math.nan, math.inf])
def test_impossible_tones_are_refused(frequency_hz: float) -> None:
    with pytest.raises(InputError, match="needed"):
        Tone(frequency_hz)
