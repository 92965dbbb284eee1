"""Reading between given samples, against the sounds they were made from and against scipy."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from scipy.signal import resample

from runstrue.errors import SignalError
from runstrue.stimulus.sampled import Sampled

RATE_HZ = 48_000.0


@pytest.mark.parametrize("frequency_hz", [20.0, 3150.0, 10_000.0, 20_000.0, 21_000.0])
def test_a_sine_is_read_between_its_samples_to_a_millionth(frequency_hz: float) -> None:
    times = np.arange(48_000) / RATE_HZ
    stimulus = Sampled(np.sin(2 * np.pi * frequency_hz * times)[None], RATE_HZ)
    where = np.random.default_rng(3).uniform(0.1, 0.9, 5000)
    read = stimulus.read(0, Fraction(0), where)
    # 120 dB of stop band promised by Kaiser's formula: 1e-6 of the amplitude; measured on sums
    # of all images, which may add: a factor of two
    assert np.abs(read - np.sin(2 * np.pi * frequency_hz * where)).max() < 2e-6


def test_noise_read_at_twice_the_rate_agrees_with_scipy() -> None:
    # scipy's Fourier resampling is exact for a periodic signal; the noise holds only what lies
    # below 0.43 of the rate
    frames = 9600
    draw = np.random.default_rng(4)
    spectrum = np.zeros(frames // 2 + 1, dtype=complex)
    inside = int(0.43 * frames)
    spectrum[1:inside] = draw.standard_normal(inside - 1) + 1j * draw.standard_normal(inside - 1)
    noise = np.fft.irfft(spectrum, frames)
    noise /= noise.std()
    stimulus = Sampled(np.tile(noise, 3)[None], RATE_HZ)
    where = np.arange(2 * frames) / (2 * RATE_HZ)
    read = stimulus.read(0, Fraction(frames) / Fraction(RATE_HZ), where)
    assert np.sqrt(np.mean((read - resample(noise, 2 * frames)) ** 2)) < 2e-6


def test_the_samples_themselves_come_back() -> None:
    samples = np.random.default_rng(1).standard_normal((2, 500))
    stimulus = Sampled(samples, 1000.0)
    read = np.stack([stimulus.read(k, Fraction(0), np.arange(500) / 1000.0) for k in (0, 1)])
    # the sinc is 0 at every other sample; 0.499 s · 1000 Hz is off a whole number by 6e-14
    assert read == pytest.approx(samples, abs=1e-11)
    assert stimulus.rms == pytest.approx(np.sqrt(np.mean(samples**2)))


def test_there_is_silence_before_and_after() -> None:
    stimulus = Sampled(np.ones((1, 100)), 1000.0)
    far = stimulus.read(0, Fraction(0), np.array([-1e6, -1.0, 1.0, 1e6]))
    assert far.tolist() == [0.0, 0.0, 0.0, 0.0]


@pytest.mark.parametrize(
    "samples", [np.zeros(5), np.zeros((1, 0)), np.array([[0.0, np.nan]]), np.array([[np.inf]])]
)
def test_unusable_samples_are_refused_in_a_sentence(samples: np.ndarray) -> None:
    with pytest.raises(SignalError, match="needed"):
        Sampled(samples, 48_000.0)
