"""The list of lines against sines whose rate and size are written down here."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from runstrue.dsp.lines import find_lines, spectrum

Array = NDArray[np.float64]
RATE_HZ = 500.0
MINUTE = 30_000


def sines(
    rows: list[tuple[float, float, float]], samples: int = MINUTE, rate_hz: float = RATE_HZ
) -> Array:
    """Sum of peak·sin(2π rate t + phase)."""
    time_s = np.arange(samples) / rate_hz
    return np.asarray(
        sum(peak * np.sin(2 * np.pi * rate * time_s + phase) for rate, peak, phase in rows)
    )


def noise(draw: np.random.Generator, rms: float, channels: int = 1) -> Array:
    return rms * draw.standard_normal((channels, MINUTE))


def near(rates: Array, wanted_hz: float, within_hz: float = 0.01) -> NDArray[np.bool_]:
    return np.abs(rates - wanted_hz) < within_hz


@pytest.mark.parametrize("rate_hz", [0.2, 0.41, 0.55, 1.38, 6.41, 27.1, 100.0, 199.0])
@pytest.mark.parametrize("phase", [0.0, 1.0, 2.5, 4.4])
def test_a_clean_line_is_read_exactly(rate_hz: float, phase: float) -> None:
    found = find_lines(sines([(rate_hz, 0.1, phase)])[None], RATE_HZ)
    assert found.rate_hz[0] == pytest.approx(rate_hz, abs=1e-5)
    assert found.peak[0] == pytest.approx(0.1, rel=1e-4)
    # whatever else is told about a clean sine is rounding, a millionth of it
    assert np.all(found.peak[1:] < 1e-7)


def test_two_lines_0_035_hz_apart_are_told_apart_in_a_minute() -> None:
    """Two thirds of a bell's resolution: 0.035 Hz is 2.1 periods in 60 s (own goal)."""
    draw = np.random.default_rng(2024)
    told = 0
    for _ in range(60):
        base = float(draw.uniform(0.5, 30.0))
        phases = draw.uniform(0, 2 * np.pi, 2)
        sizes = draw.uniform(0.03, 0.1, 2)
        rates = (base, base + 0.035)
        values = sines([(rates[k], sizes[k], phases[k]) for k in (0, 1)])
        values = values + noise(draw, 0.002)
        found = find_lines(values, RATE_HZ)
        hits = [near(found.rate_hz, rate, 0.008) for rate in rates]
        both = all(np.count_nonzero(hit) == 1 for hit in hits)
        told += both and all(
            abs(found.peak[hit][0] - size) < 0.1 * size
            for hit, size in zip(hits, sizes, strict=True)
        )
    assert told == 60


def test_the_uncertainties_hold_two_thirds_and_nineteen_in_twenty() -> None:
    draw = np.random.default_rng(7)
    by_rate, by_peak = [], []
    for _ in range(150):
        rate_hz, phase = float(draw.uniform(2, 60)), float(draw.uniform(0, 6.28))
        values = sines([(rate_hz, 0.02, phase)]) + noise(draw, 0.05)
        found = find_lines(values, RATE_HZ)
        hit = int(np.argmin(np.abs(found.rate_hz - rate_hz)))
        by_rate.append((found.rate_hz[hit] - rate_hz) / found.u_rate_hz[hit])
        by_peak.append((found.peak[hit] - 0.02) / found.u_peak[hit])
    for ratios in (np.array(by_rate), np.array(by_peak)):
        inside = int(np.count_nonzero(np.abs(ratios) <= 2))
        # 2u holds 95.4 % of a normal distribution; the binomial 99.9 % limits about that for
        # 150 trials, with u itself known to 5 % from the floor (0.5 % of coverage)
        assert stats.binom.ppf(5e-4, 150, 0.949) <= inside
        assert 0.8 < ratios.std() < 1.25


def test_rate_and_size_scatter_as_the_cramer_rao_bound_says() -> None:
    """The bound for a real sine: S. M. Kay, vol. 1, 1993, ch. 3 (from memory, sure)."""
    draw = np.random.default_rng(9)
    rms, peak, rate_hz = 0.05, 0.03, 7.3
    rates, peaks = [], []
    for _ in range(120):
        values = sines([(rate_hz, peak, float(draw.uniform(0, 6.28)))]) + noise(draw, rms)
        found = find_lines(values, RATE_HZ)
        hit = int(np.argmin(np.abs(found.rate_hz - rate_hz)))
        rates.append(found.rate_hz[hit])
        peaks.append(found.peak[hit])
    # real sine: var f ≥ 12 f_s²/((2π)²·(A²/2σ²)·N(N²−1)); var A ≥ 2σ²/N
    ratio = peak**2 / (2 * rms**2)
    bound_rate = np.sqrt(12 * RATE_HZ**2 / ((2 * np.pi) ** 2 * ratio * float(MINUTE) ** 3))
    bound_peak = np.sqrt(2 * rms**2 / MINUTE)
    # A least-squares fit to a Hann-windowed record weighs with w² = cos⁴. It scatters more than
    # the bound by √(∫w⁴t²·∫t²)/∫w²t² = 2.13 in rate and by √(∫w⁴)/∫w² = 1.39 in size.
    # The scatter of 120 trials is itself known to 1/√238 = 6.5 %; three of those either side.
    assert 0.8 * 2.13 < np.std(rates) / bound_rate < 1.2 * 2.13
    assert 0.8 * 1.39 < np.std(peaks) / bound_peak < 1.2 * 1.39


def test_noise_alone_shows_no_line() -> None:
    draw = np.random.default_rng(3)
    # a chance of 1e-3 a record is aimed at; three or more in 60 records would have 3e-5
    shown = sum(find_lines(noise(draw, 0.05), RATE_HZ).rate_hz.size for _ in range(60))
    assert shown <= 2


def test_two_channels_free_the_spectrum_of_noise_that_is_not_common() -> None:
    draw = np.random.default_rng(4)
    line = sines([(6.4, 0.02, 0.3)])
    power = np.zeros(MINUTE // 2 + 1)
    lonely = np.zeros(MINUTE // 2 + 1)
    for _ in range(20):
        channels = line + noise(draw, 0.05, 2)
        power += spectrum(channels, RATE_HZ).power / 20
        lonely += spectrum(channels[:1], RATE_HZ).power / 20
    # white noise of variance σ² stands at 4²σ²·Σw²/N² = 6σ²/N as square of a peak (Hann:
    # Σw² = 3N/8); between the channels it has the mean 0 and, over 20 records and 1000
    # bins (two thirds of them independent), a scatter of 6σ²/N/√(20·667)
    band = slice(3000, 4000)
    expected = 6 * 0.05**2 / MINUTE
    assert np.mean(lonely[band]) == pytest.approx(expected, rel=0.05)
    assert abs(np.mean(power[band])) < 4 * expected / np.sqrt(20 * 667)


def test_the_size_from_two_channels_leans_to_neither_side() -> None:
    draw = np.random.default_rng(6)
    ratios = []
    for _ in range(80):
        values = sines([(6.4, 0.008, float(draw.uniform(0, 6.28)))]) + noise(draw, 0.05, 2)
        found = find_lines(values, RATE_HZ)
        hit = np.flatnonzero(near(found.rate_hz, 6.4, 0.02))
        if hit.size:
            ratios.append(found.peak[hit[0]] / 0.008)
    assert len(ratios) >= 78
    # noise moves each size by about 0.05·√(2·1.5/30000/2)/0.008 = 4.4 %, the mean of 80 by 0.5 %
    assert np.mean(ratios) == pytest.approx(1, abs=0.02)


def test_the_strongest_line_is_told_among_many_small_ones() -> None:
    draw = np.random.default_rng(8)
    comb = [(1.38 * k, 0.002, float(draw.uniform(0, 6.28))) for k in range(5, 60)]
    values = sines([(0.9, 0.2, 1.0), *comb]) + noise(draw, 1e-5)
    found = find_lines(values, RATE_HZ)
    assert found.rate_hz[0] == pytest.approx(0.9, abs=1e-3)
    assert found.peak[0] == pytest.approx(0.2, rel=1e-2)


def test_a_line_is_told_at_any_sampling_rate() -> None:
    for rate_hz in (499.2, 500.0, 502.7):
        values = sines([(6.41, 0.05, 0.7)], samples=round(60 * rate_hz), rate_hz=rate_hz)
        found = find_lines(values[None], rate_hz)
        assert found.rate_hz[0] == pytest.approx(6.41, abs=1e-5)
