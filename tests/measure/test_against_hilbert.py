"""A second estimator: the analytic signal of scipy, unwrapped and differentiated at full rate.

It shares nothing with the streamed demodulator: one Fourier transform of the whole record, the
phase unwrapped, its slope limited to 200 Hz by a brick wall, and the weighting taken straight
from the table (as magnitude, in the frequency domain). It needs memory for everything and
cannot tell a dropout, but on a sound stretch it is the textbook's definition.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import fft, signal

from runstrue.dsp.weighting import weighting_table
from runstrue.stimulus.tone import Tone
from runstrue.virtualdeck.play import play
from runstrue.virtualdeck.presets import PRESETS

Array = NDArray[np.float64]
Read = Callable[..., Any]

RATE_HZ = 16_000
TONE_HZ = 3150.0
EDGE_S = 6.0  # left out of both: the transform is circular, and the weighting must settle
KEYS = ("healthy", "perished-belt", "bent-capstan", "flattened-roller", "fast-trim", "worn-out")


@dataclass(frozen=True)
class Second:
    """What the second estimator says about one channel."""

    percent: Array
    from_s: float

    @classmethod
    def of(cls, samples: Array, from_s: float, to_s: float) -> Second:
        stretch = samples[round(from_s * RATE_HZ) : round(to_s * RATE_HZ)]
        # everything but the neighbourhood of the tone (hum, far hiss) is taken out first
        around = signal.firwin(801, (2300, 4000), fs=RATE_HZ, pass_zero=False)
        analytic = signal.hilbert(signal.fftconvolve(stretch, around, mode="same"))
        phase = np.unwrap(np.angle(analytic))
        percent = np.gradient(phase) * RATE_HZ / (2 * np.pi) / TONE_HZ * 100 - 100
        return cls(percent, from_s)

    def limited(self, gain: Callable[[Array], Array]) -> Array:
        """Pass the deviation about its mean through a gain over rate, at 500 Hz."""
        values = self.percent - self.percent.mean()
        # taken to zero at both ends, so that the circle closes
        values *= signal.windows.tukey(values.size, 2 * 1.0 * RATE_HZ / values.size)
        bins = fft.rfft(values) * gain(fft.rfftfreq(values.size, 1 / RATE_HZ))
        return fft.irfft(bins, values.size)

    def inner(self, values: Array) -> Array:
        """Leave out the edges."""
        edge = round(EDGE_S * RATE_HZ)
        return values[edge:-edge]

    def line(self, rate_hz: float) -> float:
        """Peak of one line, by a Hann-weighted Fourier integral."""
        values = self.percent - self.percent.mean()
        window = signal.windows.hann(values.size, sym=False)
        turn = np.exp(-2j * np.pi * rate_hz * np.arange(values.size) / RATE_HZ)
        return float(2 * abs(np.sum(values * window * turn)) / np.sum(window))


def table_gain(rates_hz: Array) -> Array:
    """Magnitude of the weighting from the table alone: straight lines over log rate."""
    table_hz, table_db = weighting_table()
    logs = np.log(np.maximum(rates_hz, 1e-3))
    gain = 10 ** (np.interp(logs, np.log(table_hz), table_db) / 20)
    return np.where((rates_hz >= 0.1) & (rates_hz <= 200), gain, 0.0)


def below(edge_hz: float) -> Callable[[Array], Array]:
    return lambda rates_hz: (rates_hz <= edge_hz).astype(float)


@pytest.mark.parametrize("key", KEYS)
def test_both_estimators_say_the_same_of_a_deck(key: str, read: Read) -> None:
    deck = PRESETS[key].deck
    recording = play(deck, Tone(TONE_HZ), duration_s=50, rate_hz=RATE_HZ, seed=7)
    reading = read(recording.signal.samples, RATE_HZ, tone_hz=TONE_HZ)
    lost = [one for one in recording.truth.dropouts if one.channel in (None, 0)]
    sound = _longest_sound_stretch([(one.at_s, one.at_s + one.length_s) for one in lost])
    second = Second.of(recording.signal.samples[0], *sound)

    # The deviation itself about its mean, 0 to 150 Hz, sample for sample: the corners of both
    # low-passes are out of the way, and the hiss is the same on both sides. The streamed filters
    # ripple by 1e-4 (80 dB) each; ten times as much is allowed for the largest of 17,500.
    kept = reading.measured.deviation
    assert kept is not None
    first, last = (round(edge * kept.rate_hz) for edge in sound)
    streamed = kept.percent[0, first:last].astype(np.float64)
    assert np.isfinite(streamed).all()
    ours = fft.irfft(
        fft.rfft(_faded(streamed, kept.rate_hz)) * below(150)(_rates(streamed.size, kept.rate_hz)),
        streamed.size,
    )
    theirs = second.limited(below(150))
    edge = round(EDGE_S * kept.rate_hz)
    step = round(RATE_HZ / kept.rate_hz)
    assert step * kept.rate_hz == RATE_HZ
    difference = (ours - theirs[::step][: ours.size])[edge:-edge]
    difference -= difference.mean()  # the edges pull either mean; the means are compared below
    scale = float(np.max(np.abs(ours)))
    assert np.sqrt(np.mean(difference**2)) < 2e-4 * scale + 1e-5
    assert np.max(np.abs(difference)) < 2e-3 * scale + 1e-4

    if sound[1] - sound[0] < 45:
        return  # the figures below rest on the whole record, this stretch only on a part
    own = _left_only(read, recording.signal.samples)
    # A mean over the same time differs by what wow leaves in a plain mean: the bell is used on
    # both sides.
    bell = signal.windows.hann(second.percent.size, sym=False)
    mean = float(second.percent @ bell / bell.sum())
    assert own.value("speed.deviation") == pytest.approx(
        mean, abs=2 * own.result("speed.deviation").budget.random_u + 1e-4
    )
    # The weighted r.m.s. through the table: the filter may be off by 0.3 dB, and straight
    # lines between the table's points cut its curve by up to 0.3 dB more.
    weighted = second.inner(second.limited(table_gain))
    rms = float(np.sqrt(np.mean(weighted**2)))
    share = (50 - 2 * EDGE_S) / 50  # less is used than on our side: it is another piece of tape
    scatter = own.result("flutter.weighted_rms").budget.random_u * np.sqrt((1 - share) / share)
    assert own.value("flutter.weighted_rms") == pytest.approx(
        rms, rel=10 ** (0.6 / 20) - 1, abs=3 * scatter
    )
    for line in own.lines[:3]:
        assert line.peak_percent == pytest.approx(
            second.line(line.rate_hz), rel=0.03, abs=3 * line.u_peak_percent
        )


def test_the_second_estimator_is_itself_right() -> None:
    time_s = np.arange(60 * RATE_HZ) / RATE_HZ
    beta = TONE_HZ * 0.001 / 4.0
    tone = np.sin(2 * np.pi * TONE_HZ * time_s - beta * np.cos(2 * np.pi * 4.0 * time_s))
    second = Second.of(tone, 0.0, 60.0)
    assert np.mean(second.inner(second.percent)) == pytest.approx(0, abs=1e-6)
    assert second.line(4.0) == pytest.approx(0.1, rel=1e-4)
    weighted = second.inner(second.limited(table_gain))
    # 4 Hz is the reference of the weighting: r.m.s. 0.1/√2
    assert np.sqrt(np.mean(weighted**2)) == pytest.approx(0.0707107, rel=1e-4)


def _left_only(read: Read, samples: Array) -> Any:
    return read(samples[:1], RATE_HZ, tone_hz=TONE_HZ)


def _longest_sound_stretch(lost: list[tuple[float, float]]) -> tuple[float, float]:
    """Longest stretch without a dropout, a second off the run-up and every edge, whole in 0.1 s."""
    begins = [2.0, *(end + 1.0 for _, end in lost)]
    ends = [*(begin - 1.0 for begin, _ in lost), 49.0]
    begin, end = max(zip(begins, ends, strict=True), key=lambda span: span[1] - span[0])
    return float(np.ceil(begin * 10) / 10), float(np.floor(end * 10) / 10)


def _faded(values: Array, rate_hz: float) -> Array:
    values = values - values.mean()
    return np.asarray(values * signal.windows.tukey(values.size, 2 * 1.0 * rate_hz / values.size))


def _rates(size: int, rate_hz: float) -> Array:
    return np.asarray(fft.rfftfreq(size, 1 / rate_hz))
