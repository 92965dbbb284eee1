"""The detectors against what is known of sines and Gaussian noise, and against scipy."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal, stats

from runstrue.dsp.detectors import EXACT_SAMPLES, MOST_STRETCHES, Detectors
from runstrue.dsp.finer import Finer
from runstrue.errors import InputError, SignalError

GOLDEN = 0.6180339887498949  # evenly spread phases


def _filled(values: np.ndarray, stretch: int = 1000) -> Detectors:
    detectors = Detectors(stretch)
    detectors.add(values)
    return detectors


@pytest.mark.parametrize("samples", [100_000, 400_000])  # every value kept; bins
def test_sine_reads_what_the_formulas_say(samples: int) -> None:
    # |sin| exceeds x for 1 - 2/pi asin(x) of the time; 5 % at sin(0.475 pi) = 0.99692
    detectors = _filled(0.14 * np.sin(2 * np.pi * GOLDEN * np.arange(samples)))
    assert detectors.two_sigma() / 0.14 == pytest.approx(0.99692, abs=5e-5)
    assert detectors.rms() / 0.14 == pytest.approx(np.sqrt(0.5), rel=1e-4)
    assert detectors.average() == pytest.approx(detectors.rms(), rel=1e-4)


@pytest.mark.parametrize("samples", [100_000, 400_000])
def test_gaussian_flutter_reads_what_the_formulas_say(samples: int) -> None:
    # quantiles of the normal distribution instead of a draw, so no statistical allowance
    values = 0.07 * stats.norm.ppf((np.arange(samples) + 0.5) / samples)
    detectors = _filled(np.random.default_rng(40).permutation(values))
    assert detectors.two_sigma() == pytest.approx(0.07 * 1.959964, rel=1e-4)
    assert detectors.rms() == pytest.approx(0.07, rel=1e-4)
    # an average-responding meter reads sqrt(2/pi) pi/(2 sqrt 2) = 0.886 of it, -1.05 dB
    assert 20 * np.log10(detectors.average() / detectors.rms()) == pytest.approx(-1.05, abs=0.005)


@pytest.mark.parametrize("samples", [3_000, EXACT_SAMPLES, EXACT_SAMPLES + 1, 300_000])
@pytest.mark.parametrize("leave_out", [None, 0, 1])
def test_threshold_is_the_quantile_that_scipy_finds(samples: int, leave_out: int | None) -> None:
    values = np.random.default_rng(41).standard_t(3, size=samples) * 0.05
    detectors = _filled(values, 1000)
    kept = np.abs(values)
    if leave_out is not None:
        length = detectors.stretch_samples
        kept = np.delete(kept, slice(leave_out * length, (leave_out + 1) * length))
    expected = stats.mstats.mquantiles(kept, 0.95, alphap=1, betap=1)[0]
    # exact, or within a bin: 2**-14 of the value
    allowed = 1e-12 if samples <= EXACT_SAMPLES else 2**-14
    assert detectors.two_sigma(leave_out) == pytest.approx(expected, rel=allowed)


def test_sums_leave_out_the_stretch_that_is_named() -> None:
    values = np.random.default_rng(42).normal(size=10_000)
    detectors = _filled(values, 1000)
    rest = np.delete(values, slice(3000, 4000))
    assert detectors.rms(3) == pytest.approx(np.sqrt(np.mean(rest**2)), rel=1e-12)
    scale = np.pi / (2 * np.sqrt(2))
    assert detectors.average(3) == pytest.approx(scale * np.mean(np.abs(rest)), rel=1e-12)


def test_jackknife_over_stretches_finds_the_known_spread_of_an_rms() -> None:
    # r.m.s. of n independent Gaussian values has the relative standard deviation
    # 1/sqrt(2 n) = 0.005 for 20 000; the jackknife's own scatter with 20 stretches is
    # 1/sqrt(2 * 19) = 16 %, so three of those are allowed.
    detectors = _filled(np.random.default_rng(43).normal(size=20_000), 1000)
    readings = np.array([detectors.rms(leave_out) for leave_out in range(20)])
    error = np.sqrt(19 / 20 * np.sum((readings - readings.mean()) ** 2))
    assert error == pytest.approx(0.005, rel=0.48)


@pytest.mark.parametrize("samples", [20_000, 200_000])
@pytest.mark.parametrize("block", [1, 480, 2400, 65_536])
def test_blocks_of_any_size_give_the_same(block: int, samples: int) -> None:
    if block == 1:
        samples //= 10  # slow one by one; joining of stretches is reached all the same
    values = np.random.default_rng(44).normal(size=samples)
    whole, parts = _filled(values, 50), Detectors(50)
    for start in range(0, samples, block):
        parts.add(values[start : start + block])
    assert parts.stretches == whole.stretches
    for leave_out in (None, 5):
        assert parts.two_sigma(leave_out) == whole.two_sigma(leave_out)
        assert parts.rms(leave_out) == pytest.approx(whole.rms(leave_out), rel=1e-12)
        assert parts.average(leave_out) == pytest.approx(whole.average(leave_out), rel=1e-12)


def test_stretches_are_joined_in_pairs_so_that_memory_does_not_grow() -> None:
    detectors = Detectors(100)
    most = 0
    for _ in range(500):
        detectors.add(np.ones(777))
        most = max(most, len(detectors.stretches))
        assert set(detectors.stretches[:-1]) <= {detectors.stretch_samples}
    assert detectors.samples == sum(detectors.stretches) == 500 * 777
    assert most <= MOST_STRETCHES
    assert len(detectors.stretches) > MOST_STRETCHES // 2


def test_steady_deviation_reads_its_own_value() -> None:
    detectors = _filled(np.full(200_000, -0.125))
    assert detectors.two_sigma() == pytest.approx(0.125, rel=2**-14)
    assert _filled(np.zeros(200_000)).two_sigma() < 1e-7


def test_range_of_the_bins_reaches_from_residuals_to_nonsense() -> None:
    for size in (3e-7, 1e-4, 0.1, 100.0, 16_000.0):
        values = size * np.random.default_rng(45).uniform(size=200_000)
        expected = np.quantile(values, 0.95)
        assert _filled(values).two_sigma() == pytest.approx(expected, rel=2**-14)


@pytest.mark.parametrize("flutter_hz", [25.0, 50.0, 62.5, 83.3, 100.0])
def test_threshold_between_samples_is_found_with_finer_points(flutter_hz: float) -> None:
    # At 2000 Hz, 100 Hz is met every 18 degrees: the crest is missed by at most 9 degrees,
    # 1 - cos 9 deg = 1.2 %, and with the 0.3 % between threshold and peak by 0.9 %.
    for phase in np.linspace(0, np.pi, 7):
        time_s = np.arange(5000) / 500
        finer = Finer(4).process(np.sin(2 * np.pi * flutter_hz * time_s + phase))[200:]
        assert _filled(finer).two_sigma() == pytest.approx(0.99692, rel=0.01)


@pytest.mark.parametrize("factor", [2, 4, 8])
def test_finer_points_lie_on_the_curve(factor: int) -> None:
    time_s = np.arange(4000) / 500
    fine_s = np.arange(4000 * factor) / (500 * factor) - Finer.lag_samples / 500
    for flutter_hz in (0.7, 4.0, 61.3, 199.0):
        finer = Finer(factor).process(np.cos(2 * np.pi * flutter_hz * time_s))
        settled = slice(2 * Finer.lag_samples * factor, None)
        expected = np.cos(2 * np.pi * flutter_hz * fine_s[settled])
        # Kaiser window of 70 dB: 10**(-70/20) = 0.03 % of the peak in the pass band, and as
        # much for each of the images
        np.testing.assert_allclose(finer[settled], expected, atol=factor * 3.2e-4)


def test_finer_points_agree_with_the_general_library() -> None:
    values = np.random.default_rng(46).normal(size=3000)
    smooth = signal.sosfiltfilt(signal.butter(8, 100, fs=500, output="sos"), values)
    finer = Finer(4).process(smooth)
    exact = signal.resample(smooth, 4 * len(smooth))  # by Fourier series
    lag = 4 * Finer.lag_samples
    middle = slice(1000, 9000)
    expected = exact[middle]
    np.testing.assert_allclose(finer[lag:][middle], expected, atol=2e-3 * np.std(expected))


@pytest.mark.parametrize("block", [1, 7, 480])
def test_finer_points_do_not_hang_on_the_block_size(block: int) -> None:
    values = np.random.default_rng(47).normal(size=(2, 1000))
    whole, finer = Finer(4).process(values), Finer(4)
    parts = [finer.process(values[:, start : start + block]) for start in range(0, 1000, block)]
    np.testing.assert_allclose(np.concatenate(parts, axis=1), whole, atol=1e-13)
    finer.reset()
    np.testing.assert_allclose(finer.process(values), whole, atol=1e-13)


def test_values_that_cannot_be_read_are_refused() -> None:
    detectors = Detectors(100)
    for bad in (np.nan, np.inf, 1e6):
        with pytest.raises(SignalError, match="values below 16384 % are needed"):
            detectors.add(np.array([0.1, bad]))
    with pytest.raises(SignalError, match="one channel is needed"):
        detectors.add(np.zeros((2, 10)))
    assert detectors.samples == 0
    with pytest.raises(SignalError, match="gaps must be left out"):
        Finer(4).process(np.array([0.0, np.nan]))


def test_empty_record_has_no_reading() -> None:
    detectors = Detectors(100)
    detectors.add(np.zeros(0))
    for reading in (detectors.two_sigma, detectors.rms, detectors.average):
        with pytest.raises(SignalError, match="nothing to read"):
            reading()
    detectors.add(np.ones(50))
    with pytest.raises(SignalError, match="nothing to read"):
        detectors.rms(leave_out=0)
    with pytest.raises(InputError, match="there are 1, counted from 0"):
        detectors.rms(leave_out=1)


def test_wrong_settings_are_refused() -> None:
    with pytest.raises(InputError, match="at least 1 is needed"):
        Detectors(0)
    with pytest.raises(InputError, match="at least 2 is needed"):
        Finer(1)
