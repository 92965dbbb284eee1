"""The demodulator against signals whose frequency is known by a formula."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import special

from runstrue.dsp.demodulate import CELL_SAMPLES, Band, Demodulated, Demodulator
from runstrue.errors import SignalError

Array = NDArray[np.float64]
BAND = Band(2640.0, 3528.0)
EDGE = 200  # deviation samples (0.4 s) left out at the ends, where the filters see silence
COMMON_RATES = (8000, 11_025, 16_000, 22_050, 32_000, 44_100, 48_000, 88_200, 96_000, 192_000)


def follow(
    samples: Array, rate_hz: float, band: Band = BAND, block: int = 0
) -> tuple[Demodulator, Demodulated]:
    """Run samples of shape (channel, frame) through, in blocks or all at once."""
    demodulator = Demodulator(rate_hz, samples.shape[0], band)
    step = block or samples.shape[1]
    parts = [
        demodulator.process(samples[:, start : start + step])
        for start in range(0, samples.shape[1], step)
    ]
    parts.append(demodulator.finish())
    joined = {
        name: np.concatenate([getattr(part, name) for part in parts], axis=1)
        for name in Demodulated.__slots__
    }
    return demodulator, Demodulated(**joined)


def tone(
    rate_hz: float, duration_s: float, tone_hz: float, flutter_hz: float = 0, peak_hz: float = 0
) -> Array:
    """A tone whose frequency is tone + peak·sin(2π·flutter·t)."""
    time_s = np.arange(round(rate_hz * duration_s)) / rate_hz
    phase = 2 * np.pi * tone_hz * time_s
    if flutter_hz:
        phase -= peak_hz / flutter_hz * np.cos(2 * np.pi * flutter_hz * time_s)
    return 0.5 * np.sin(phase)[None]


@pytest.mark.parametrize("rate_hz", [*COMMON_RATES, 47_999, 44_101, 12_345.0])
def test_a_steady_tone_reads_its_frequency_at_every_rate(rate_hz: float) -> None:
    for tone_hz in (2700.0, 3150.0, 3500.0):
        demodulator, out = follow(tone(rate_hz, 3, tone_hz), rate_hz)
        seen = demodulator.band.centre_hz + out.offset_hz[0, EDGE:-EDGE]
        # each value within the residual that is aimed at, 0.0003 % (own goal); the mean far
        # nearer, since what is left of the mirror image comes and goes within a few values
        assert np.mean(seen) == pytest.approx(tone_hz, abs=1e-4)
        assert np.max(np.abs(seen - tone_hz)) < 0.0003 / 100 * tone_hz


@pytest.mark.parametrize("rate_hz", [8000, 44_100, 48_000, 192_000, 47_999])
@pytest.mark.parametrize("flutter_hz", [0.5, 4.0, 63.0, 150.0, 195.0])
def test_flutter_comes_through_at_its_full_size_to_200_hz(
    rate_hz: float, flutter_hz: float
) -> None:
    peak_hz = 9.0
    demodulator, out = follow(tone(rate_hz, 6, 3150, flutter_hz, peak_hz), rate_hz)
    seen = out.offset_hz[0, EDGE:-EDGE]
    time_s = (np.arange(out.offset_hz.shape[1]) / demodulator.deviation_rate_hz)[EDGE:-EDGE]
    turn = 2 * np.pi * flutter_hz * time_s
    columns = np.column_stack((np.ones_like(turn), np.sin(turn), np.cos(turn)))
    mean, sine, cosine = np.linalg.lstsq(columns, seen, rcond=None)[0]
    # ripple of 1e-4 (80 dB) in each of two filters, and of the inverse of the mean over one
    # interval; the phase is that of the tape: no delay is left in
    assert sine == pytest.approx(peak_hz, rel=5e-4)
    assert abs(cosine) < 5e-4 * peak_hz
    assert mean + demodulator.band.centre_hz == pytest.approx(3150, abs=1e-3)


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 47_999])
@pytest.mark.parametrize("block", [1, 480, 2400, 65_536])
def test_the_blocks_make_no_difference(rate_hz: float, block: int) -> None:
    length_s = 0.7 if block == 1 else 3.0
    noise = np.random.default_rng(5).standard_normal((2, round(rate_hz * length_s)))
    samples = tone(rate_hz, length_s, 3150, 6, 5) + 1e-3 * noise
    _, whole = follow(samples, rate_hz)
    _, parts = follow(samples, rate_hz, block=block)
    for name in Demodulated.__slots__:
        first, second = getattr(whole, name), getattr(parts, name)
        assert first.shape == second.shape
        # levels in dB of the lowest cells included; 1e-9 is the goal that is set
        assert np.max(np.abs(first - second)) < 1e-9 * max(1.0, float(np.max(np.abs(first))))


@pytest.mark.parametrize("rate_hz", [8000, 44_100, 48_000, 96_000, 47_999])
def test_the_number_of_values_follows_from_the_length_alone(rate_hz: float) -> None:
    for length_s in (1.0, 2.3457):
        samples = tone(rate_hz, length_s, 3150)
        demodulator, out = follow(samples, rate_hz)
        expected = samples.shape[1] / rate_hz * demodulator.deviation_rate_hz
        assert out.offset_hz.shape[1] == pytest.approx(expected, abs=2)
        assert out.level_db.shape[1] == pytest.approx(expected / CELL_SAMPLES, abs=1.01)


def test_a_changing_level_is_no_flutter() -> None:
    rate_hz = 48_000
    time_s = np.arange(5 * rate_hz) / rate_hz
    level = 1 + 0.5 * np.sin(2 * np.pi * 7 * time_s)
    demodulator, out = follow(tone(rate_hz, 5, 3150) * level, rate_hz)
    seen = demodulator.band.centre_hz + out.offset_hz[0, EDGE:-EDGE]
    # a linear-phase filter leaves the phase of a symmetric spectrum alone (flutter reference:
    # FM theory); what is left is the mirror image at −80 dB
    assert np.max(np.abs(seen - 3150)) < 2e-3
    lowest, highest = np.percentile(out.level_db[0, 20:-20], [0, 100])
    # The lowest level of each 20 ms is told. 0.5 is −6.02 dB re a full-scale sine; it swings
    # down to half, and up to no less than 1 + 0.5·cos(2π·7 Hz·10 ms) = 1.452 in a cell that has
    # the top in its middle
    assert lowest == pytest.approx(-12.04, abs=0.02)
    assert highest == pytest.approx(20 * np.log10(0.5 * 1.452), abs=0.02)


@pytest.mark.parametrize("ratio_db", [40.0, 50.0, 60.0])
def test_the_noise_to_carrier_density_is_measured(ratio_db: float) -> None:
    rate_hz = 48_000
    # C/N₀ = C/N in 20 kHz times 20 kHz; white noise of density N₀ has the variance N₀·rate/2
    density = 10 ** (-ratio_db / 10) / 20_000
    noise = np.random.default_rng(3).standard_normal((1, 60 * rate_hz))
    samples = tone(rate_hz, 60, 3150) + noise * np.sqrt(density * 0.125 * rate_hz / 2)
    _, out = follow(samples, rate_hz)
    measured = out.noise_per_hz[0, 20:-20]
    # the band is about 50 Hz wide, 60 s long: 2·B·T = 6000 degrees of freedom, 1.8 %; three of
    # those and 1 % for the band's edges
    assert np.mean(measured) == pytest.approx(density, rel=0.065)


def test_the_carrier_vanishes_where_the_bessel_function_does() -> None:
    # first zero of J₀: 2.40483 (M. Abramowitz, I. Stegun, table 9.5); at 4 Hz and 3150 Hz it is
    # reached by a peak deviation of 9.6193 Hz, which is 0.30537 %
    zero = float(special.jn_zeros(0, 1)[0])
    assert zero == pytest.approx(2.40483, abs=1e-5)
    rate_hz = 48_000
    samples = tone(rate_hz, 8, 3150, 4, 4 * zero)
    turn = np.exp(-2j * np.pi * 3150 * np.arange(samples.shape[1]) / rate_hz)
    carrier = 2 * abs(np.mean(samples[0] * turn)) / 0.5
    assert carrier < 1e-6  # no carrier in the sound: the deviation is that, by the spectrum
    demodulator, out = follow(samples, rate_hz)
    seen = out.offset_hz[0, EDGE:-EDGE] + demodulator.band.centre_hz - 3150
    turn = 2 * np.pi * 4 * np.arange(seen.size) / demodulator.deviation_rate_hz
    columns = np.column_stack((np.ones_like(turn), np.cos(turn), np.sin(turn)))
    parts = np.linalg.lstsq(columns, seen, rcond=None)[0]
    assert np.hypot(parts[1], parts[2]) / 3150 * 100 == pytest.approx(0.30537, abs=2e-5)


@pytest.mark.parametrize(
    ("rate_hz", "tone_hz"),
    [(48_000, 300.0), (48_000, 1000.0), (44_100, 10_000.0), (48_000, 15_000.0)],
)
def test_any_named_tone_is_followed(rate_hz: float, tone_hz: float) -> None:
    band = Band(0.88 * tone_hz, 1.12 * tone_hz)
    for factor in (0.9, 1.0, 1.1):
        peak_hz = 0.002 * tone_hz
        demodulator, out = follow(tone(rate_hz, 4, factor * tone_hz, 9, peak_hz), rate_hz, band)
        seen = demodulator.band.centre_hz + out.offset_hz[0, EDGE:-EDGE]
        assert np.mean(seen) == pytest.approx(factor * tone_hz, rel=1e-5)
        assert np.std(seen) * np.sqrt(2) == pytest.approx(peak_hz, rel=5e-3)


@pytest.mark.parametrize("rate_hz", [1.0, 4000.0, 7999.0, 10e6])
def test_a_rate_that_cannot_serve_is_refused_in_one_sentence(rate_hz: float) -> None:
    with pytest.raises(SignalError, match=r"samples a second; .* are needed"):
        Demodulator(rate_hz, 1, BAND)


def test_a_rate_too_low_for_the_named_tone_is_refused() -> None:
    with pytest.raises(SignalError, match="record at a higher rate"):
        Demodulator(32_000, 1, Band(13_200, 16_800))
