"""Azimuth against the geometry of published tables, and delays of a virtual deck got back."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.measure.programme_on_deck import bench_deck, programme, stretches

from runstrue.errors import SignalError
from runstrue.measure.azimuth import Tracks, measure_azimuth
from runstrue.measure.sections import Stretch
from runstrue.result import Result
from runstrue.stimulus.programme import Section
from runstrue.virtualdeck.deck import Skew

TONES = programme(
    *(
        Section(f"tone-{hz:g}", "tone", 0, 12, level_db=-10, frequencies_hz=(hz,))
        for hz in (1000.0, 3150.0, 10_000.0)
    )
)
MULTITONE = programme(
    Section(
        "multitone", "multitone", 0, 12, level_db=-14,
        frequencies_hz=(317, 1003, 3163, 6301, 10_007, 12_503),
    )
)  # fmt: skip

# Table of cassette azimuth at 47.6 mm/s, tracks 0.60 mm wide and 0.90 mm apart (worked out apart
# from the formulas): minutes, delay in µs, loss in dB at 6.3, 10, 12.5 and 16 kHz.
TABLE = (
    (0.5, 2.75, 0.00, 0.00, 0.01, 0.01), (1, 5.50, 0.01, 0.02, 0.03, 0.05),
    (2, 11.0, 0.03, 0.08, 0.12, 0.20), (3, 16.5, 0.07, 0.17, 0.27, 0.45),
    (5, 27.5, 0.19, 0.49, 0.76, 1.27), (6, 33.0, 0.28, 0.70, 1.11, 1.85),
    (10, 55.0, 0.78, 2.01, 3.24, 5.64), (15, 82.5, 1.79, 4.86, 8.29, 17.5),
)  # fmt: skip


@pytest.mark.parametrize("row", TABLE)
def test_delay_angle_and_loss_follow_the_table(row: tuple[float, ...]) -> None:
    minutes, delay_us, *losses_db = row
    cassette = Tracks(speed_mm_per_s=47.6)
    assert cassette.angle_minutes(delay_us) == pytest.approx(minutes, rel=0.002)
    for frequency_hz, loss_db in zip((6300, 10_000, 12_500, 16_000), losses_db, strict=True):
        within = 0.06 if loss_db > 10 else 0.006  # as printed
        assert -cassette.loss_db(minutes, frequency_hz) == pytest.approx(loss_db, abs=within)


@pytest.mark.parametrize(("speed_mm_per_s", "phase_deg"), [(95.0, 48.8), (190.0, 24.4)])
def test_published_example(speed_mm_per_s: float, phase_deg: float) -> None:
    """McKnight: 300 µrad on edge tracks of a 6.3 mm tape at 10 kHz: ±45° and ±22°.

    With the 4.3 mm between the middles of 2 mm tracks the formula gives 48.8° and 24.4°; the
    published figures are rounded low by 8 %.
    """
    tracks = Tracks(4.3, 2.0, speed_mm_per_s)
    delay_us = phase_deg / 360 / 10_000 * 1e6
    assert tracks.angle_minutes(delay_us) == pytest.approx(np.degrees(300e-6) * 60, rel=0.003)


def by_id(results: tuple[Result, ...]) -> dict[str, Result]:
    return {one.id: one for one in results}


def true_delay_us(skew: Skew, stretch: Stretch) -> float:
    """Mean over the stretch of the delay that the deck was given."""
    t = stretch.found.starts_s + np.linspace(0, stretch.found.lasts_s, 100_001)
    sway = np.sin(2 * np.pi * skew.sway_rate_hz * t)
    return float(np.mean(skew.delay_us + skew.sway_us * sway))


@pytest.mark.parametrize("made", [TONES, MULTITONE], ids=["tones", "multitone"])
@pytest.mark.parametrize("delay_us", [-320.0, -70.0, -12.0, 0.0, 3.0, 45.0, 70.0, 150.0, 480.0])
def test_delay_is_found_within_a_fifth_of_a_microsecond(made: object, delay_us: float) -> None:
    """Far beyond the half turn of 10 kHz (50 µs): unwrapped from the lowest tone up."""
    if abs(delay_us) == 480 and made is MULTITONE:
        delay_us = 700.0  # 317 Hz reaches further
    skew = Skew(delay_us, 3.0, 1.38)
    found = stretches(bench_deck(skew=skew), made, 5)  # type: ignore[arg-type]
    quantity = by_id(measure_azimuth(found))["azimuth.delay"].quantity
    assert quantity is not None
    assert quantity.value == pytest.approx(true_delay_us(skew, found[-1]), abs=0.2)


def test_sway_is_twice_the_standard_deviation() -> None:
    """A sine of 9 µs has 9/√2 µs; frames of 0.1 s average it by sinc(0.138) to 0.97 at 1.38 Hz.

    The Hann window is shorter than its frame, so that less than that is lost.
    """
    found = stretches(bench_deck(skew=Skew(20, 9.0, 1.38)), TONES)
    sway = by_id(measure_azimuth(found))["azimuth.sway"].quantity
    assert sway is not None
    wanted = 2 * Tracks().angle_minutes(9.0) / np.sqrt(2)
    assert 0.96 * wanted < sway.value < 1.01 * wanted


def test_intervals_hold_the_truth_under_heavy_hiss() -> None:
    inside = 0
    for seed in range(30):
        found = stretches(bench_deck(skew=Skew(20.0), hiss_db=25), TONES, seed)
        quantity = by_id(measure_azimuth(found))["azimuth.delay"].quantity
        assert quantity is not None
        inside += abs(quantity.value - 20) <= quantity.expanded()
    # of 30 at 95 %, 24 or fewer happen once in 300 (binomial)
    assert inside > 24


def test_turned_polarity_is_told_and_does_not_spoil_the_delay() -> None:
    found = [
        replace(one, samples=one.samples * np.array([[1.0], [-1.0]]))
        for one in stretches(bench_deck(skew=Skew(30.0)), TONES)
    ]
    results = by_id(measure_azimuth(found))
    assert results["phase.polarity"].conditions["polarity"] == "turned"
    assert results["azimuth.delay"].quantity is not None
    assert results["azimuth.delay"].quantity.value == pytest.approx(30, abs=0.2)


def test_bought_tape_brings_its_own_minute_of_arc() -> None:
    found = stretches(bench_deck(skew=Skew(30.0)), TONES)
    angle = by_id(measure_azimuth(found, tape_source="test tape 'Sallowby'"))["azimuth.angle"]
    assert angle.budget.shared_u == pytest.approx(1 / np.sqrt(3))
    assert any("±1′" in doubt for doubt in angle.doubts)


def test_one_high_tone_alone_says_what_it_cannot_know() -> None:
    found = stretches(bench_deck(skew=Skew(10.0)), TONES)[-1:]
    assert any("whole turns of 100 µs" in doubt for doubt in measure_azimuth(found)[0].doubts)


def test_short_tones_and_mono_are_refused() -> None:
    found = stretches(bench_deck(), TONES)
    short = [replace(one, samples=one.samples[:, :96_000]) for one in found]
    with pytest.raises(SignalError, match=r"Only 2\.0 s.*10 s are needed"):
        measure_azimuth(short)
    with pytest.raises(SignalError, match="one channel"):
        measure_azimuth([replace(one, samples=one.samples[:1]) for one in found])
