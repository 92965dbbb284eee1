"""Leaks of known size got back: a scaled copy in the other channel, or a tone of known level."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from tests.measure.programme_on_deck import (
    RATE_HZ,
    REFERENCE_DBFS,
    bench_deck,
    programme,
    stretches,
)

from runstrue.errors import SignalError
from runstrue.measure.sections import Stretch
from runstrue.measure.separation import measure_residue, measure_separation
from runstrue.result import Result
from runstrue.stimulus.programme import Section

ALONE = programme(
    *(
        Section(f"{side}-{hz:g}", "tone", 0, 4.2, channels=side, frequencies_hz=(hz,))  # type: ignore[arg-type]
        for side in ("left", "right")
        for hz in (500.0, 1000.0, 6300.0)
    )
)
ERASED = programme(
    Section("loud", "tone", 0, 5, frequencies_hz=(1000,)),
    Section("rest", "silence", 0, 6, level_db=-math.inf),
)


def leaking(ratio_db: float, seed: int = 1, late_us: float = 20.0) -> list[Stretch]:
    """Put the loud channel into the quiet one, late and weak, as crosstalk between coils is."""
    found = []
    for one in stretches(bench_deck(), ALONE, seed):
        loud = ("left", "right").index(one.section.channels)
        samples = one.samples.copy()
        late = round(late_us * 1e-6 * RATE_HZ)
        samples[1 - loud] += 10 ** (-ratio_db / 20) * np.roll(samples[loud], late)
        found.append(replace(one, samples=samples))
    return found


def value(result: Result) -> float:
    assert result.quantity is not None
    return result.quantity.value


@pytest.mark.parametrize("ratio_db", [15.0, 35.0, 50.0, 60.0, 70.0])
def test_separation_within_half_a_decibel_down_to_70_db(ratio_db: float) -> None:
    """Asked for: sections of 4 s, bench conditions."""
    for result in measure_separation(leaking(ratio_db), ("left", "right")):
        assert value(result) == pytest.approx(ratio_db, abs=0.5)
        assert result.channel != result.conditions["from"]


def test_intervals_hold_the_truth_near_the_floor() -> None:
    inside = 0
    for seed in range(20):
        for result in measure_separation(leaking(72.0, seed), ("left", "right")):
            assert result.quantity is not None
            inside += abs(result.quantity.value - 72) <= 2 * result.quantity.u
    # 120 readings at 95 %: 105 or fewer happen once in 1000 (binomial)
    assert inside > 105


def test_no_leak_is_told_as_at_least() -> None:
    for result in measure_separation(leaking(300.0), ("left", "right")):
        assert result.conditions["at least"] is True
        assert value(result) > 80
        assert "At least" in result.doubts[0]


def erased(ratio_db: float, seed: int = 1) -> list[Stretch]:
    """A residue of the tone with the tape's flutter, at a known level."""
    loud, rest = stretches(bench_deck(), ERASED, seed)
    times_s = np.arange(rest.samples.shape[1]) / RATE_HZ
    swing = 0.3 * np.sin(2 * np.pi * 4 * times_s)
    peak = 10 ** ((REFERENCE_DBFS - ratio_db) / 20)
    tone = peak * np.sin(2 * np.pi * 1015 * times_s + swing)
    return [loud, replace(rest, samples=rest.samples + tone)]


@pytest.mark.parametrize("ratio_db", [30.0, 50.0, 65.0, 70.0])
@pytest.mark.parametrize("quantity_id", ["erasure.depth", "separation.sides"])
def test_residue_within_half_a_decibel_down_to_70_db(quantity_id: str, ratio_db: float) -> None:
    for result in measure_residue(quantity_id, *erased(ratio_db), ("left", "right")):
        assert result.id == quantity_id
        # 6 s of a band of 138 Hz: the noise, at −77 dB, scatters by 1/√(138 · 6 / 1.9) of itself;
        # at −70 dB that is 0.05 · 0.2 · 4.34 dB, well inside
        assert value(result) == pytest.approx(ratio_db, abs=0.5)


def test_complete_erasure_states_the_floor() -> None:
    result = measure_residue("erasure.depth", *erased(300.0), ("left", "right"))[0]
    assert result.conditions["at least"] is True
    assert value(result) == result.conditions["floor, dB"] or value(result) == pytest.approx(
        float(result.conditions["floor, dB"]), abs=0.06
    )


def test_what_cannot_be_read_is_refused() -> None:
    found = leaking(40.0)
    with pytest.raises(SignalError, match="one channel"):
        measure_separation(found, ("mono",))
    short = [replace(one, samples=one.samples[:, :48_000]) for one in found]
    with pytest.raises(SignalError, match="4 s are needed"):
        measure_separation(short, ("left", "right"))
    loud, rest = erased(40.0)
    with pytest.raises(SignalError, match=r"Only 1\.0 s"):
        measure_residue(
            "erasure.depth", loud, replace(rest, samples=rest.samples[:, :48_000]), ("left",)
        )
