"""Readings against figures that stand in standards and handbooks.

The sounds come from a phase written down in `conftest.tone_with_flutter`, not from the virtual
deck.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import special

from runstrue.dsp.weighting import Weighting, interpolate_weighting_db, weighting_table
from runstrue.measure.hiss import floor_percent
from runstrue.measure.speed import hiss_percent

Array = NDArray[np.float64]
Make = Callable[..., Any]

RATE_HZ = 16_000.0
TWO_SIGMA_OF_SINE = 0.99692  # IEC 60386 A1: 95 % of the time inside; sin(0.475π)


def test_the_bessel_null_of_the_carrier_reads_0_30537_percent(
    tone_with_flutter: Make, read: Make
) -> None:
    # J₀ vanishes at 2.404826 (M. Abramowitz, I. Stegun, table 9.5). At 4 Hz that is a deviation
    # of 9.6193 Hz, 0.30537 % of 3150 Hz, and the spectrum shows no carrier: an absolute check,
    # in which no demodulator takes part.
    zero = float(special.jn_zeros(0, 1)[0])
    samples = tone_with_flutter(RATE_HZ, 30, [(4.0, 100 * 4 * zero / 3150, 0.0)])
    carrier = np.exp(-2j * np.pi * 3150 * np.arange(samples.size) / RATE_HZ)
    assert 2 * abs(np.mean(samples * carrier)) / 0.5 < 1e-9
    reading = read(samples[None], RATE_HZ)
    assert reading.lines[0].rate_hz == pytest.approx(4.0, abs=1e-5)
    assert reading.lines[0].peak_percent == pytest.approx(0.30537, abs=2e-5)
    # 4 Hz weighs exactly 1
    assert reading.value("flutter.weighted_peak") == pytest.approx(
        0.30537 * TWO_SIGMA_OF_SINE, rel=2e-3
    )
    assert reading.value("flutter.weighted_rms") == pytest.approx(0.30537 / np.sqrt(2), rel=1e-3)


# IEC 60386 Table I and the methods' definitions, 0.1 % peak at 3150 Hz: weighted peak, two-sigma,
# weighted r.m.s., unweighted r.m.s. in %. The weight at 0.5 Hz is not in the table: log
# interpolation −11.76 dB, a monotone cubic −11.46 dB.
SINE_READINGS = {
    1.0: (0.0617, 0.0615, 0.0436, 0.0707),
    4.0: (0.1000, 0.0997, 0.0707, 0.0707),
    10.0: (0.0785, 0.0783, 0.0555, 0.0707),
    20.0: (0.0507, 0.0505, 0.0358, 0.0707),
    63.0: (0.0195, 0.0194, 0.0138, 0.0707),
    0.5: (0.0262, 0.0261, 0.0185, 0.0707),
}


@pytest.mark.parametrize("flutter_hz", sorted(SINE_READINGS))
def test_the_table_of_sine_readings(tone_with_flutter: Make, read: Make, flutter_hz: float) -> None:
    peak, two_sigma, weighted_rms, flat_rms = SINE_READINGS[flutter_hz]
    samples = tone_with_flutter(RATE_HZ, 60, [(flutter_hz, 0.1, 0.4)])
    reading = read(samples[None], RATE_HZ)
    # ±0.3 dB of the weighting; half a digit of the table; at 0.5 Hz both interpolations
    digit = 0.00005
    allowed = 10 ** (0.3 / 20) - 1 + (0.02 if flutter_hz == 0.5 else 0)
    assert reading.value("flutter.weighted_peak") == pytest.approx(
        two_sigma, rel=allowed, abs=digit
    )
    assert reading.value("flutter.weighted_rms") == pytest.approx(
        weighted_rms, rel=allowed, abs=digit
    )
    assert reading.lines[0].weighted_peak_percent == pytest.approx(peak, rel=allowed, abs=digit)
    # unweighted: no weighting, so no allowance but for the stated band (−3 dB at 0.5 Hz, second
    # order) and for a record that holds no whole number of half periods, 1/(4πfT)
    edge = 1 / np.sqrt(1 + (0.5 / flutter_hz) ** 4)
    uneven = 1 / (4 * np.pi * flutter_hz * 55)
    for quantity in ("flutter.unweighted_rms", "flutter.unweighted_average"):
        assert reading.value(quantity) == pytest.approx(
            flat_rms * edge, rel=uneven + 1e-3, abs=digit
        )
    assert reading.value("flutter.unweighted_peak") == pytest.approx(
        0.1 * edge * TWO_SIGMA_OF_SINE, rel=5e-3
    )


@pytest.mark.parametrize("flutter_hz", [0.5, 0.8, 1.38, 6.41, 27.1, 50.0, 100.0])
@pytest.mark.parametrize("peak_percent", [0.02, 1.0])
def test_sine_flutter_is_read_within_a_hundredth(
    tone_with_flutter: Make, read: Make, flutter_hz: float, peak_percent: float
) -> None:
    samples = tone_with_flutter(RATE_HZ, 60, [(flutter_hz, peak_percent, 1.1)])
    reading = read(samples[None], RATE_HZ)
    weight = float(np.abs(Weighting(500.0).response(np.array([flutter_hz])))[0])
    # own goal: 1 % of own weighting × 0.99692 peak, and × peak/√2
    assert reading.value("flutter.weighted_peak") == pytest.approx(
        weight * peak_percent * TWO_SIGMA_OF_SINE, rel=0.01
    )
    assert reading.value("flutter.weighted_rms") == pytest.approx(
        weight * peak_percent / np.sqrt(2), rel=0.01
    )
    # and that weighting is the table's: ±0.2 dB aimed at on its points; between them two ways of
    # interpolating the table part by up to 0.3 dB (−11.76 dB straight, −11.46 dB cubic at 0.5 Hz)
    table_hz, _ = weighting_table()
    table_db = float(interpolate_weighting_db(flutter_hz))
    allowed_db = 0.2 if np.isclose(table_hz, flutter_hz).any() else 0.2 + 0.3 / 2
    assert 20 * np.log10(weight) == pytest.approx(table_db, abs=allowed_db)


def test_the_wow_and_flutter_parts_divide_at_10_hz(tone_with_flutter: Make, read: Make) -> None:
    # IEC 60386 (JIS C 5569-1991 2.1, 2.2): wow 0.1 to 10 Hz, flutter above
    samples = tone_with_flutter(RATE_HZ, 60, [(1.0, 0.1, 0.3), (40.0, 0.04, 0.9)])
    reading = read(samples[None], RATE_HZ)
    # a Butterworth of order n lets 1/√(1 + x^2n) through; 1 Hz against 10 Hz (order 4, either
    # way) and against 0.1 Hz (order 2), 40 Hz against 10 Hz: within 0.005 %
    assert reading.value("flutter.wow_rms") == pytest.approx(0.1 / np.sqrt(2), rel=5e-3)
    assert reading.value("flutter.flutter_rms") == pytest.approx(0.04 / np.sqrt(2), rel=1e-3)
    # powers add up to the flat reading
    total = np.hypot(reading.value("flutter.wow_rms"), reading.value("flutter.flutter_rms"))
    edge = 1 / np.sqrt(1 + 0.5**4)
    assert reading.value("flutter.unweighted_rms") == pytest.approx(
        np.hypot(0.1 * edge, 0.04) / np.sqrt(2), rel=5e-3
    )
    assert total > reading.value("flutter.unweighted_rms")


@pytest.mark.parametrize("rate_hz", [8000.0, 44_100.0, 48_000.0, 96_000.0])
def test_a_clean_24_bit_tone_leaves_a_residual_of_3_millionths(
    tone_with_flutter: Make, read: Make, rate_hz: float
) -> None:
    samples = tone_with_flutter(rate_hz, 15, speed_percent=0.37)
    steps = 2.0**23
    reading = read(np.round(samples * steps)[None] / steps, rate_hz)
    assert reading.value("flutter.weighted_peak") <= 0.0003
    assert reading.value("flutter.unweighted_peak") <= 0.0003
    assert reading.value("flutter.indicated_peak") <= 0.0003
    assert reading.value("speed.deviation") == pytest.approx(0.37, abs=1e-6)


@pytest.mark.parametrize(
    ("ratio_db", "brick_percent"), [(40.0, 0.00367), (50.0, 0.00116), (60.0, 0.00037)]
)
def test_the_floor_of_frequency_noise(
    tone_with_flutter: Make, read: Make, ratio_db: float, brick_percent: float
) -> None:
    """White noise with the stated tone-to-noise ratio in 20 kHz: N₀/C = 1/(ratio · 20 kHz)."""
    density = 10 ** (-ratio_db / 10) / 20_000
    # FM noise law ∫f²·N₀/C df from 0 to B (textbook answer on noise in FM; H. Taub,
    # D. L. Schilling): √(N₀B³/3C) with B = 200 Hz, in % of 3150 Hz
    assert 100 / 3150 * np.sqrt(density * 200**3 / 3) == pytest.approx(brick_percent, abs=0.5e-5)
    noise = np.random.default_rng(17).standard_normal(round(60 * RATE_HZ))
    noise *= np.sqrt(density * 0.125 * RATE_HZ / 2)
    reading = read((tone_with_flutter(RATE_HZ, 60) + noise)[None], RATE_HZ)
    expected = floor_percent(density, 3150.0, 500.0)
    # the same law with the code's own edges (flat to 200 Hz, silent from 250 Hz) must lie
    # between brick walls at 200 and at 250 Hz
    assert brick_percent < expected["flat"] < brick_percent * (250 / 200) ** 1.5
    # own goal: 10 % of the formula; 60 s hold the r.m.s. of 200 Hz to 0.5 %, of the weighted band,
    # which reaches as far, to 1 %
    assert reading.value("flutter.unweighted_rms") == pytest.approx(expected["flat"], rel=0.10)
    assert reading.value("flutter.weighted_rms") == pytest.approx(expected["weighted"], rel=0.10)
    assert reading.value("flutter.flutter_rms") == pytest.approx(expected["flutter"], rel=0.10)
    # Gaussian: 95 % lie within 1.960 of the r.m.s. (tables of the normal distribution)
    assert reading.value("flutter.unweighted_peak") == pytest.approx(
        1.960 * reading.value("flutter.unweighted_rms"), rel=0.02
    )
    # average-responding, scaled on a sine: 0.886 of the r.m.s. of Gaussian noise
    assert reading.value("flutter.unweighted_average") == pytest.approx(
        0.886 * reading.value("flutter.unweighted_rms"), rel=0.01
    )
    assert reading.measured.conditions["tone_to_hiss_db"] == pytest.approx(ratio_db, abs=0.3)
    # The weighted reading by the curve of the table is 0.00041 % at 40 dB and falls with the
    # ratio; with the code's edge beyond 200 Hz it is a little more
    weighted = 0.00041 * 10 ** ((40 - ratio_db) / 20)
    assert weighted * 0.97 < expected["weighted"] < weighted * 1.35


def test_speed_scatters_by_the_cramer_rao_bound_and_its_window(
    tone_with_flutter: Make, read: Make
) -> None:
    """Rife and Boorstyn 1974; Kay, vol. 1, ch. 3: σ_f ≥ √(3N₀/(2π²·C·T³)) in continuous form."""
    rate_hz, length_s, seeds = 8000.0, 15.0, 80
    density = 1e-4 / 20_000  # 40 dB in 20 kHz
    tone = tone_with_flutter(rate_hz, length_s)
    scale = np.sqrt(density * 0.125 * rate_hz / 2)
    speeds, claimed, used = [], [], []
    for seed in range(seeds):
        noise = np.random.default_rng([seed, 40]).standard_normal(tone.size)
        reading = read((tone + scale * noise)[None], rate_hz)
        result = reading.result("speed.deviation")
        speeds.append(result.quantity.value)
        claimed += [part.u for part in result.budget if part.name == "hiss"]
        used.append(result.conditions["to_s"] - result.conditions["from_s"])
    used_s = float(np.mean(used))
    bound = 100 / 3150 * np.sqrt(3 * density / (2 * np.pi**2 * used_s**3))
    scatter = float(np.std(speeds, ddof=1))
    # the scatter of 80 seeds is known to 1/√158 = 8 %: three of those. Rounding of the kept
    # deviation to single precision (at 66 Hz from the band's centre, 8e-6 Hz) averages out.
    assert scatter > bound * (1 - 0.24)
    assert scatter == pytest.approx(float(np.mean(claimed)), rel=0.24)
    assert float(np.mean(claimed)) == pytest.approx(hiss_percent(density, used_s, 3150.0), rel=0.1)
    # the bell costs a factor of π·√(1/6)·… = 1.28 against the bound
    assert hiss_percent(density, used_s, 3150.0) / bound == pytest.approx(1.2825, abs=1e-3)


@pytest.mark.parametrize("off_percent", [-10.0, -4.0, 4.0, 10.0])
@pytest.mark.parametrize("phase", [0.0, 1.57])
def test_speed_far_off_with_wow_and_hiss_is_read_to_5_millionths(
    tone_with_flutter: Make, read: Make, off_percent: float, phase: float
) -> None:
    samples = tone_with_flutter(RATE_HZ, 30, [(0.55, 0.1, phase)], speed_percent=off_percent)
    # 40 dB in 20 kHz
    noise = np.random.default_rng(8).standard_normal(samples.size)
    samples = samples + noise * np.sqrt(1e-4 / 20_000 * 0.125 * RATE_HZ / 2)
    reading = read(samples[None], RATE_HZ, tone_hz=3150.0)
    # own goal. The mean of the speed over the record is off_percent: wow as a share of nominal
    # adds nothing to it. A plain mean would be up to d/(πfT) = 0.0019 % off.
    assert reading.value("speed.deviation") == pytest.approx(off_percent, abs=0.0005)


def test_speed_is_averaged_over_30_s_as_din_45_500_says(
    tone_with_flutter: Make, read: Make
) -> None:
    # DIN 45 500 sheet 4: mean speed over 30 s. The first half minute sways slowly, the rest
    # stands: the steadiest 30 s lie in the rest, and their mean is its speed
    rate_hz = 8000.0
    time_s = np.arange(round(75 * rate_hz)) / rate_hz
    swayed = np.where(time_s < 35, 0.5 * (1 - np.cos(2 * np.pi * time_s / 5)), 0.0)
    place_s = time_s * 1.004 + np.cumsum(swayed) / rate_hz * 0.003
    samples = 0.5 * np.sin(2 * np.pi * 3150 * place_s)
    reading = read(samples[None], rate_hz)
    result = reading.result("speed.deviation", "bell-mean-30s/1")
    assert result.conditions["to_s"] - result.conditions["from_s"] == pytest.approx(30, abs=0.5)
    assert result.conditions["from_s"] > 34
    assert result.quantity.value == pytest.approx(0.4, abs=1e-5)
    # DIN 45 500 allows 1.5 %, which is 25.8 cents: 1200·log2(1.015)
    assert result.conditions["cents"] == pytest.approx(1200 * np.log2(1.004), abs=1e-3)
    assert reading.value("speed.deviation", "bell-mean/1") > 0.41


def test_drift_is_the_slope(tone_with_flutter: Make, read: Make) -> None:
    rate_hz = 8000.0
    time_s = np.arange(round(60 * rate_hz)) / rate_hz
    # deviation −0.2 % + 0.12 %/min·t, and its integral
    place_s = time_s * 0.998 + 0.0012 / 60 * time_s**2 / 2
    reading = read(0.5 * np.sin(2 * np.pi * 3150 * place_s)[None], rate_hz)
    drift = reading.result("speed.drift")
    assert drift.quantity.value == pytest.approx(0.12, abs=1e-5)
    assert reading.value("speed.deviation") == pytest.approx(-0.2 + 0.06, abs=1e-5)
    thirds = [drift.conditions[f"{name}_third_percent"] for name in ("first", "middle", "last")]
    span = reading.result("speed.deviation").conditions
    third_s = (span["to_s"] - span["from_s"]) / 3
    middles_s = span["from_s"] + third_s * np.array([0.5, 1.5, 2.5])
    # the thirds are cut at whole blocks of 0.2 s: a tenth of a second of this drift
    assert thirds == pytest.approx(list(-0.2 + 0.12 / 60 * middles_s), abs=0.12 / 60 * 0.1)


@pytest.mark.parametrize("tone_hz", [300.0, 1000.0, 3000.0, 10_000.0, 15_000.0])
def test_a_named_tone_reads_the_same_percentages(
    tone_with_flutter: Make, read: Make, tone_hz: float
) -> None:
    samples = tone_with_flutter(
        48_000.0, 30, [(6.41, 0.1, 0.2)], tone_hz=tone_hz, speed_percent=-0.8
    )
    reading = read(samples[None], 48_000.0, tone_hz=tone_hz)
    assert reading.value("speed.deviation") == pytest.approx(-0.8, abs=1e-4)
    # flutter is a share of the mean speed, which is 0.8 % low
    assert reading.lines[0].peak_percent == pytest.approx(0.1 / 0.992, rel=2e-3)
