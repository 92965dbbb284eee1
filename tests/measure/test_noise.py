"""Noise figures against the standards' curves integrated over white noise, and against seeds.

What white noise of 20 Hz to 20 kHz reads, in dB against its own r.m.s., follows from the curves
alone: the mean of |H|² over the band; for the average-responding meter less 1.049 dB, the
r.m.s. of Gaussian noise over its rectified mean on a sine's scale (20 lg(√(2/π) · π / (2√2)));
the quasi-peak reading was found apart by long simulation with another program.
"""

from __future__ import annotations

import math

import ITU_R_468_weighting
import numpy as np
import pytest
from ABC_weighting import get_zpk
from scipy.signal import freqs_zpk

from runstrue.errors import SignalError
from runstrue.measure.noise import Reference, measure_noise
from runstrue.result import Result

RATE_HZ = 48_000.0
GRID_HZ = np.linspace(20, 20_000, 200_001)


def band_gain_db(zpk: tuple[np.ndarray, np.ndarray, float]) -> float:
    """Mean power gain of an analogue curve (another project's) over the band, re 1 kHz."""
    _, grid = freqs_zpk(*zpk, worN=2 * np.pi * GRID_HZ)
    _, reference = freqs_zpk(*zpk, worN=[2 * np.pi * 1000.0])
    return float(10 * np.log10(np.mean(np.abs(grid) ** 2) / np.abs(reference[0]) ** 2))


A_DB = band_gain_db(get_zpk("A"))
BS468_DB = band_gain_db(ITU_R_468_weighting.get_zpk())
GAUSS_DB = 20 * math.log10(math.sqrt(2 / math.pi) * math.pi / (2 * math.sqrt(2)))
# Against the printed figures of the same kind, good to about 0.01 dB: −2.05, +7.29, +6.24, +0.61
READS_DB = {
    "noise.unweighted": 0.0,
    "noise.a": A_DB,
    "noise.quasi_peak_468": 11.74,
    "noise.average_468_2k": BS468_DB + GAUSS_DB - 5.629,
}


def white(seed: int, length_s: float, rate_hz: float = RATE_HZ) -> np.ndarray:
    """White noise of 20 Hz to 20 kHz with an expected r.m.s. of 0.1, one channel."""
    frames = round(length_s * rate_hz)
    draw = np.random.default_rng(seed)
    frequency_hz = np.fft.rfftfreq(frames, 1 / rate_hz)
    spectrum = np.fft.rfft(draw.standard_normal(frames))
    spectrum[(frequency_hz < 20) | (frequency_hz > 20_000)] = 0
    return 0.1 / math.sqrt(19_980 / (rate_hz / 2)) * np.fft.irfft(spectrum, frames)[None]


def by_id(results: tuple[Result, ...]) -> dict[str, Result]:
    return {one.id: one for one in results if one.conditions["hum"] == "included"}


# A sine of r.m.s. 0.1 stands at 20 lg(0.1 · √2) = −16.99 dB FS: noise of that r.m.s. is 0 dB.
LEVEL_WITH_RMS = Reference("a tone of the same r.m.s.", (20 * math.log10(0.1 * math.sqrt(2)),))


def test_printed_figures_of_white_noise_follow_from_the_curves() -> None:
    """Table of white noise, 20 Hz to 20 kHz: A −2.05, 468 r.m.s. +7.29, ARM +0.61 (simulated)."""
    assert pytest.approx(-2.05, abs=0.015) == A_DB
    assert pytest.approx(7.29, abs=0.015) == BS468_DB
    assert READS_DB["noise.average_468_2k"] == pytest.approx(0.61, abs=0.015)
    assert pytest.approx(-1.049, abs=0.001) == GAUSS_DB


@pytest.mark.parametrize("rate_hz", [44_100.0, 48_000.0, 96_000.0, 192_000.0])
def test_white_noise_over_10_s_reads_within_a_tenth_of_a_decibel(rate_hz: float) -> None:
    found = by_id(measure_noise(white(7, 11, rate_hz), rate_hz, ["left"], LEVEL_WITH_RMS))
    for quantity_id, reads_db in READS_DB.items():
        quantity = found[quantity_id].quantity
        assert quantity is not None
        assert quantity.value == pytest.approx(-reads_db, abs=0.1), quantity_id


@pytest.mark.slow
def test_intervals_hold_the_truth_for_95_of_100_seeds() -> None:
    """Binomial: of 200 seeds with 95 % each, 181 to 198 lie between the 0.2 and 99.8 % points."""
    inside = dict.fromkeys(READS_DB, 0)
    for seed in range(200):
        results = measure_noise(white(1000 + seed, 8), RATE_HZ, ["left"], LEVEL_WITH_RMS)
        for quantity_id, result in by_id(results).items():
            assert result.quantity is not None
            error = result.quantity.value + READS_DB[quantity_id]
            inside[quantity_id] += abs(error) <= result.quantity.expanded()
    # the quasi-peak truth is itself known to ±0.02 dB only, as much as the reading scatters
    assert inside.pop("noise.quasi_peak_468") >= 160
    assert all(181 <= count <= 198 for count in inside.values()), inside


def test_needle_tells_how_high_it_went() -> None:
    result = by_id(measure_noise(white(1, 11), RATE_HZ, ["left"], LEVEL_WITH_RMS))[
        "noise.quasi_peak_468"
    ]
    assert result.spread is not None
    assert result.spread.low < result.spread.middle < result.spread.high
    assert result.spread.high - result.spread.low < 2


def test_hum_is_left_out_where_it_was_named_and_said_so() -> None:
    times_s = np.arange(round(11 * RATE_HZ)) / RATE_HZ
    hum = 0.1 * np.sqrt(2) * np.sin(2 * np.pi * 50.02 * times_s)  # as strong as the noise
    results = measure_noise(white(5, 11) + hum, RATE_HZ, ["left"], LEVEL_WITH_RMS, [50.02])
    flat = {one.conditions["hum"]: one for one in results if one.id == "noise.unweighted"}
    quantities = {key: one.quantity for key, one in flat.items()}
    assert quantities["included"] is not None
    assert quantities["left out"] is not None
    # two equal powers: 3.01 dB
    assert quantities["included"].value == pytest.approx(-3.01, abs=0.05)
    assert quantities["left out"].value == pytest.approx(0, abs=0.05)


def test_flux_and_its_scale_travel_with_the_figure() -> None:
    reference = Reference("315 Hz at 250 nWb/m", (-12.0,), 0.3, "test tape", 250, "ANSI/AES")
    result = measure_noise(white(2, 7), RATE_HZ, ["left"], reference)[0]
    assert result.conditions["flux"] == 250
    assert result.conditions["flux scale"] == "ANSI/AES"
    assert result.budget.shared_u == pytest.approx(0.3)


def test_without_a_reference_the_figure_is_against_full_scale_and_says_so() -> None:
    result = measure_noise(white(2, 7), RATE_HZ, ["left"])[0]
    assert result.conditions["against"] == "full scale of the recording"
    assert "full scale" in result.doubts[0]


def test_too_short_a_silence_is_refused() -> None:
    with pytest.raises(SignalError, match=r"Only 3\.0 s of silence.*record a longer"):
        measure_noise(white(1, 3), RATE_HZ, ["left"])


def test_digital_silence_is_refused() -> None:
    with pytest.raises(SignalError, match="nothing at all"):
        measure_noise(np.zeros((1, 480_000)), RATE_HZ, ["left"])
