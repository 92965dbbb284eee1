"""Hum lines of known size, in noise of known density, by their own arithmetic.

A sine of amplitude a has the level 20 lg a against a full-scale sine (AES17); sums of lines are
sums of squares. What a pattern means is bench lore and is only tested for being told apart.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from runstrue.errors import SignalError
from runstrue.measure.hum import hum_lines_hz, measure_hum
from runstrue.result import Result

RATE_HZ = 48_000.0
LENGTH_S = 12.0
TIMES_S = np.arange(round(LENGTH_S * RATE_HZ)) / RATE_HZ


def noise(seed: int, rms: float = 1e-4) -> np.ndarray:
    return rms * np.random.default_rng(seed).standard_normal((1, TIMES_S.size))


def lines(mains_hz: float, amplitudes: dict[int, float]) -> np.ndarray:
    return np.sum(
        [a * np.sin(2 * np.pi * k * mains_hz * TIMES_S + k) for k, a in amplitudes.items()], axis=0
    )


def total(results: tuple[Result, ...], quantity_id: str = "hum.total") -> Result:
    return next(one for one in results if one.id == quantity_id)


@pytest.mark.parametrize("mains_hz", [49.83, 49.973, 50.0, 50.21, 59.96, 60.0])
def test_mains_and_every_line_are_found_at_their_level(mains_hz: float) -> None:
    amplitudes = {1: 1e-3, 2: 4e-4, 3: 5e-4, 6: 1e-4, 20: 8e-5}
    found = total(measure_hum(noise(1) + lines(mains_hz, amplitudes), RATE_HZ, ["left"]))
    assert found.table is not None
    # a bin is 1/12 Hz; the twentieth line places the mains within a hundredth of that
    assert found.table.x == pytest.approx([k * mains_hz for k in amplitudes], abs=0.02)
    for level_db, u_db, amplitude in zip(
        found.table.y, found.table.u, amplitudes.values(), strict=True
    ):
        # five sigma: some thirty figures are looked at
        assert abs(level_db - 20 * math.log10(amplitude)) < 5 * u_db + 0.01


def test_sums_are_sums_of_squares() -> None:
    amplitudes = {1: 1e-3, 2: 8e-4, 3: 5e-4, 4: 3e-4}
    results = measure_hum(noise(2) + lines(50.03, amplitudes), RATE_HZ, ["left"])
    for quantity_id, multiples in (("odd", (1, 3)), ("even", (2, 4)), ("total", (1, 2, 3, 4))):
        wanted_db = 10 * math.log10(sum(amplitudes[k] ** 2 for k in multiples))
        quantity = total(results, f"hum.{quantity_id}").quantity
        assert quantity is not None
        assert quantity.value == pytest.approx(wanted_db, abs=0.05)


@pytest.mark.parametrize(
    ("amplitudes", "pattern"),
    [
        ({1: 1e-3, 3: 1e-4}, "fundamental"),
        ({1: 1e-3, 3: 6e-4, 5: 4e-4}, "odd"),
        ({2: 1e-3, 4: 5e-4, 6: 3e-4}, "even"),
        ({k: 1e-3 / math.sqrt(k) for k in range(1, 13)}, "comb"),
    ],
)
def test_patterns_are_told_apart(amplitudes: dict[int, float], pattern: str) -> None:
    found = total(measure_hum(noise(3) + lines(50.0, amplitudes), RATE_HZ, ["left"]))
    assert found.conditions["pattern"] == pattern


def test_hum_on_the_tape_has_moved_with_the_speed() -> None:
    """A hum of 50 Hz recorded at right speed stands at 50.75 Hz on a deck 1.5 % fast."""
    live, taped = lines(50.0, {1: 1e-3, 3: 5e-4}), lines(50.75, {1: 5e-4, 3: 3e-4})
    both = total(measure_hum(noise(4) + live + taped, RATE_HZ, ["left"], speed_ratio=1.015))
    assert both.conditions["on the tape, dB"] == pytest.approx(
        10 * math.log10(5e-4**2 + 3e-4**2), abs=0.1
    )
    alone = total(measure_hum(noise(4) + live, RATE_HZ, ["left"], speed_ratio=1.015))
    assert "on the tape, dB" not in alone.conditions


def test_near_right_speed_says_that_it_cannot_tell_live_from_taped() -> None:
    found = total(measure_hum(noise(5) + lines(50.0, {1: 1e-3}), RATE_HZ, ["left"]))
    assert any("stop the tape" in doubt for doubt in found.doubts)


def test_noise_alone_has_no_hum() -> None:
    """At a chance of 1 in 100, five or more of 100 records happen once in 300 (binomial)."""
    alarms = 0
    for seed in range(100):
        found = total(measure_hum(noise(100 + seed), RATE_HZ, ["left"], speed_ratio=1.015))
        alarms += found.quantity is not None or "on the tape, dB" in found.conditions
    assert alarms <= 4


def test_lines_are_handed_on_for_noise_readings() -> None:
    results = measure_hum(noise(6) + lines(50.0, {1: 1e-3, 2: 5e-4}), RATE_HZ, ["left"])
    assert hum_lines_hz(results) == pytest.approx((50, 100), abs=0.02)


def test_too_short_a_silence_is_refused() -> None:
    with pytest.raises(SignalError, match=r"10 s are needed"):
        measure_hum(noise(1)[:, :96_000], RATE_HZ, ["left"])
