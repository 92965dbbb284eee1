"""Needles of a virtual deck: a VU meter by its standard, and each fault as it must show.

IEC 60268-17: 99 % of the steady deflection after 300 ms, 1 to 1.5 % of overshoot; a burst of
10 ms then shows −24.9 dB, 100 ms −5.6, 300 ms −0.1 (second-order system, worked out apart). One
half of a rectified sine has half its mean: −6.02 dB.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from runstrue.errors import InputError
from runstrue.measure.deck_meter import measure_meter, read_needles
from runstrue.result import Result
from runstrue.stimulus.programme import Programme
from runstrue.stimulus.programmes import programme
from runstrue.virtualdeck.meters import RATE_HZ, Meter, Shown, deflection, needle_readings
from runstrue.virtualdeck.presets_electrical import ELECTRICAL


@lru_cache(maxsize=1)
def shortened() -> Programme:
    """Return what is written down of the programme 'meters', no longer than a needle needs."""
    made = programme("meters")
    known = ("step", "rest", "burst-", "pulses-")
    return replace(
        made,
        sections=tuple(
            replace(one, lasts_s=min(one.lasts_s, 6.0 if one.kind == "bursts" else 3.0))
            for one in made.sections
            if one.id.startswith(known)
        ),
    )


def readings(*meters: Meter) -> dict[str, Shown]:
    return {one.section: one for one in needle_readings(meters, shortened())}


def written(*meters: Meter) -> tuple[Result, ...]:
    """Write down what the needles show and have it read."""
    lines = [one.line for one in needle_readings(meters, shortened())]
    return measure_meter(read_needles(lines))


def pattern(results: tuple[Result, ...], channel: str) -> object:
    return next(
        one.conditions["pattern"] for one in results
        if one.channel == channel and "pattern" in one.conditions
    )  # fmt: skip


def test_vu_meter_rises_as_the_standard_wants() -> None:
    seconds = 2.0
    tone = np.sin(2 * np.pi * 1000 * np.arange(round(seconds * RATE_HZ)) / RATE_HZ)
    moved = deflection(Meter(), tone)
    # 48 samples a period, two of them on zero: their mean is (π/48) cot(π/48) = 0.9986 of the true
    assert moved[-4800:].mean() == pytest.approx(math.pi / 48 / math.tan(math.pi / 48), abs=1e-4)
    assert 1.010 < moved.max() < 1.015
    # 99 % after 300 ms, which the standard lets be 10 % off
    assert 0.27 < np.argmax(moved >= 0.99) / RATE_HZ < 0.33


def test_sound_needle_shows_what_is_fed() -> None:
    shown = readings(Meter())
    for fed_db in (-20, -10, -5, 0, 3):
        left, right = shown[f"step{fed_db:+d}" if fed_db else "step-0"].shown_db
        assert left == right == pytest.approx(fed_db, abs=0.02)
    assert shown["rest"].shown_db == (-math.inf, -math.inf)


def test_every_fault_is_read_back_from_what_the_needle_shows() -> None:
    results = written(Meter(), Meter(offset=0.14))
    assert pattern(results, "left") == "sound"
    assert pattern(results, "right") == "offset"
    offset = next(
        one.quantity for one in results if one.id == "meter.offset" and one.channel == "right"
    )
    assert offset is not None
    assert offset.value == pytest.approx(14.0, abs=2 * offset.u)
    results = written(Meter(gain_db=-3.0), Meter(half_wave=True))
    assert pattern(results, "left") == "gain"
    assert pattern(results, "right") == "one diode"
    assert pattern(written(Meter(bend=0.35, gain_db=-3.5)), "left") == "bent"


@pytest.mark.parametrize(("quickness", "word"), [(1.0, "like"), (4.0, "faster"), (0.3, "slower")])
def test_quick_and_slow_needles_are_told(quickness: float, word: str) -> None:
    results = written(Meter(quickness=quickness))
    hint = next(str(one.conditions["hint"]) for one in results if one.id == "meter.ballistics")
    # a movement four times as quick follows 300 ms in full, as a VU meter all but does
    assert hint.startswith("like" if quickness > 1 else word)


def test_half_a_rectifier_reads_six_decibels_low_and_sees_polarity() -> None:
    shown = readings(Meter(half_wave=True), Meter())
    assert shown["step-10"].shown_db[0] == pytest.approx(-16.02, abs=0.03)
    up, down = (shown[f"pulses-{way}"].shown_db for way in ("up", "down"))
    # pulses without a constant part have as much above as below zero: their means are alike
    assert up[0] == pytest.approx(down[0], abs=0.3)
    assert up[1] == pytest.approx(down[1], abs=0.01)


def test_dried_coupling_capacitor_loses_bass() -> None:
    bass_hz = 200.0
    tones = [np.sin(2 * np.pi * f * np.arange(RATE_HZ) / RATE_HZ) for f in (50.0, 1000.0)]
    low, high = (deflection(Meter(bass_hz=bass_hz), tone)[-9600:].mean() for tone in tones)
    # first order: 1/√(1 + (200/50)²) against 1/√(1 + 0.2²)
    wanted = math.sqrt(1 + 0.2**2) / math.sqrt(1 + 4**2)
    assert low / high == pytest.approx(wanted, rel=0.01)


def test_line_reads_as_somebody_writes_it_down() -> None:
    assert Shown("step-5", (-5.04, -math.inf)).line == "step-5 L -5.0 R -inf"


def test_preset_shows_its_needle_off_its_rest_and_a_deck_without_meters_is_refused() -> None:
    deck = ELECTRICAL["meter-offset"].deck
    results = written(*deck.meters)
    assert (pattern(results, "left"), pattern(results, "right")) == ("sound", "offset")
    with pytest.raises(InputError, match="no meters"):
        needle_readings((), shortened())
