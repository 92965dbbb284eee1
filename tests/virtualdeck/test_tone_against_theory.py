"""The rendered tone against textbook FM theory and other people's software (numpy, scipy)."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.signal import hilbert, welch
from scipy.special import jv

from runstrue.samples import Signal
from runstrue.stimulus.tone import Tone
from runstrue.virtualdeck.deck import Component, Hiss, VirtualDeck, WarmUp
from runstrue.virtualdeck.play import play

RATE_HZ = 48_000.0


def _lines(signal: Signal, frequencies_hz: list[float]) -> NDArray[np.float64]:
    """Amplitudes by a plain Fourier sum; whole periods, so nothing leaks."""
    times = np.arange(signal.frames) / signal.rate_hz
    waves = np.exp(-2j * np.pi * np.outer(frequencies_hz, times))
    return np.abs(waves @ signal.samples[0]) * 2 / signal.frames


def test_carrier_vanishes_at_the_first_null_of_the_bessel_function() -> None:
    # FM theory: the carrier is J0(Δf / f); J0's first null is 2.404826 (Abramowitz & Stegun,
    # table 9.5), which is 9.6193 Hz at 4 Hz, 0.30537 % of 3150 Hz.
    deck = VirtualDeck("null", components=(Component("capstan", 4.0, 0.30537),))
    signal = play(deck, Tone(3150, 0.0), duration_s=10).signal
    carrier, side = _lines(signal, [3150.0, 3154.0])
    # 0.30537 is rounded to 5e-6: the rest is J1(2.4048) · 2.4048 · 5e-6/0.30537 = 2.0e-5
    assert carrier < 2.1e-5
    assert side == pytest.approx(jv(1, 2.404826), rel=1e-4)


@pytest.mark.parametrize("rate_hz", [44_100.0, 48_000.0, 192_000.0])
def test_sidebands_of_a_tenth_of_a_percent_at_4_hz_are_bessel_functions(rate_hz: float) -> None:
    # modulation index 3.15 Hz / 4 Hz = 0.7875: J0 = 0.851, J1 = 0.364 (tables, three figures)
    deck = VirtualDeck("pair", components=(Component("capstan", 4.0, 0.1, phase_turns=0.3),))
    signal = play(deck, Tone(3150, 0.0), duration_s=2, rate_hz=rate_hz).signal
    carrier, below, above = _lines(signal, [3150.0, 3146.0, 3154.0])
    assert carrier == pytest.approx(0.851, abs=0.0005)
    assert below == pytest.approx(0.364, abs=0.0005)
    assert above == pytest.approx(jv(1, 0.7875), abs=1e-9)


def test_record_off_centre_by_two_tenths_of_a_millimetre_reads_its_geometry() -> None:
    # peak deviation is e / r: 0.2 mm at 120 mm is 0.1667 % at 33⅓ turns a minute (geometry).
    # The swing of the phase, Δf / rate, is measured with scipy's Hilbert transform.
    rate_hz, e_over_r = 100 / 3 / 60, 0.2 / 120
    deck = VirtualDeck("turntable", components=(Component("record", rate_hz, 100 * e_over_r),))
    signal = play(deck, Tone(3150, 0.0), duration_s=18, channels=1).signal
    phase = np.unwrap(np.angle(hilbert(signal.samples[0])))
    turns = phase / (2 * np.pi) - 3150 * np.arange(signal.frames) / RATE_HZ
    middle = turns[signal.frames // 10 : -signal.frames // 10]
    assert np.ptp(middle) / 2 == pytest.approx(3150 * e_over_r / (2 * np.pi * rate_hz), rel=1e-4)


def test_speed_drift_and_warm_up_appear_in_the_frequency() -> None:
    deck = VirtualDeck(
        "cold", speed_error_percent=-1.2, drift_percent_per_min=0.6, warm_up=WarmUp(0.8, 4.0)
    )
    signal = play(deck, Tone(3000), duration_s=20, channels=1).signal
    phase = np.unwrap(np.angle(hilbert(signal.samples[0])))
    # mean frequency over tenths of a second; the edges of the Hilbert transform are left out
    places = np.arange(4800, signal.frames - 4800, 4800)
    heard_hz = np.diff(phase[places]) / (2 * np.pi) * 10
    middle_s = (places[:-1] + 2400) / RATE_HZ
    wanted = -1.2 + 0.6 * middle_s / 60 + 0.8 * np.exp(-middle_s / 4.0)
    # a mean over 0.1 s of the exponential differs by (0.1 / 4)²/24 of 0.8 %; the Hilbert
    # transform of a tone that does not fit the record leaves about 1e-5 of a cycle
    assert 100 * (heard_hz / 3000 - 1) == pytest.approx(wanted, abs=1e-4)


def test_sound_card_that_runs_fast_makes_the_tone_look_slow() -> None:
    # a card 100 ppm fast takes 1.0001 as many samples of each cycle
    deck = VirtualDeck("card", clock_error_ppm=100.0)
    recording = play(deck, Tone(3150, 0.0), duration_s=1.0001, channels=1)
    turns = 3150 / 1.0001 * np.arange(recording.signal.frames) / RATE_HZ
    assert recording.signal.samples[0] == pytest.approx(np.sin(2 * np.pi * turns), abs=1e-8)
    assert recording.truth.apparent_mean_deviation_percent == pytest.approx(-0.009999, abs=1e-9)


@pytest.mark.parametrize("rate_hz", [44_100.0, 96_000.0])
def test_hiss_has_the_power_that_was_asked_for_between_20_hz_and_20_khz(rate_hz: float) -> None:
    ratio_db = 40.0
    deck = VirtualDeck("hiss", hiss=Hiss(ratio_db), dead_channels=(0, 1))
    recording = play(deck, Tone(3150, -6.0), duration_s=30, rate_hz=rate_hz, seed=5)
    frequencies, density = welch(recording.signal.samples, rate_hz, nperseg=8192)
    inside = (frequencies >= 20) & (frequencies <= 20_000)
    power = density[:, inside].sum(axis=1) * frequencies[1]
    wanted = 10 ** (-6.0 / 10) / 2 * 10 ** (-ratio_db / 10)
    # 30 s of 20 kHz are 2 · 20 000 · 30 degrees of freedom: √(2/1.2e6) = 0.13 %; three sigma,
    # and the edge of a bin (5 to 12 Hz of 20 kHz) 0.06 %
    assert power == pytest.approx(np.full(2, wanted), rel=0.0045)
    assert abs(np.corrcoef(recording.signal.samples)[0, 1]) < 4 / np.sqrt(30 * rate_hz)


@pytest.mark.parametrize("shaped", [False, True])
def test_carrier_to_noise_density_is_that_of_the_spectrum(shaped: bool) -> None:
    hiss = Hiss(46.0, 50.0, 1326.0) if shaped else Hiss(46.0)
    quiet = play(
        VirtualDeck("only hiss", hiss=hiss, dead_channels=(0, 1)),
        Tone(3150, -6.0), duration_s=60, seed=8,
    )  # fmt: skip
    told = play(VirtualDeck("hiss", hiss=hiss), Tone(3150, -6.0), duration_s=0.1).truth
    frequencies, density = welch(quiet.signal.samples, RATE_HZ, nperseg=4096)
    near = (frequencies > 2950) & (frequencies < 3350)
    measured = 10 * np.log10(10 ** (-0.6) / 2 / density[:, near].mean())
    # two channels, 60 s, 400 Hz: 96 000 degrees of freedom, √(2/96000) = 0.46 % = 0.02 dB a sigma
    assert told.carrier_to_noise_density_db_hz[0] == pytest.approx(measured, abs=0.06)
    frequencies, density = welch(quiet.signal.samples, RATE_HZ, nperseg=48_000)
    inside = (frequencies >= 20) & (frequencies <= 20_000)
    power = density[:, inside].sum(axis=1).mean() * frequencies[1]
    # white: √(2/4.8e6) is nothing, the edges of 1 Hz bins less. Shaped: most power lies below
    # 100 Hz, 24 000 degrees of freedom, 0.04 dB a sigma, and half a bin at 20 Hz is 0.02 dB
    tolerance_db = 0.14 if shaped else 0.01
    assert 10 * np.log10(10 ** (-0.6) / 2 / power) == pytest.approx(46.0, abs=tolerance_db)
