"""Recordings made by ffmpeg (Debian), held against its filters' own formulas.

ffmpeg-filters(1): `vibrato` modulates the phase with a sinusoid of the given frequency and
depth; `asetrate` changes the rate without touching the samples; `aresample` changes the rate
and keeps the sound; `aevalsrc` and `sine` make the tone.

How large the swing of `vibrato` is, its page does not say in seconds. It is a delay line, so
the filter says it itself: a straight ramp goes in, and what comes out is the ramp, late by the
delay. The delay swings as mean + A·sin(2πft + φ); the speed then deviates by −2πf·A·cos(2πft + φ).
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from runstrue.dsp.weighting import interpolate_weighting_db, weighting_table

pytestmark = pytest.mark.debian("ffmpeg")

Run = Callable[..., Any]
RATE_HZ = 96_000
TWO_SIGMA_OF_SINE = 0.99692  # sin(0.475π): |sin| is above it for 5 % of the time


def ffmpeg(source: str, filters: str, form: str) -> str:
    return f"ffmpeg -v error -y -f lavfi -i {source} -af {filters} {form}"


def vibrato_delay_s(run: Run, flutter_hz: float, depth: float) -> NDArray[np.float64]:
    """Delay of `vibrato`, sample by sample, from the ramp that it lets through."""
    ramp = f"aevalsrc='n*1e-6':s={RATE_HZ}:d=12"
    vibrato = f"vibrato=f={flutter_hz}:d={depth}"
    late = np.frombuffer(run(ffmpeg(ramp, vibrato, "-f f64le -c:a pcm_f64le -"))) / 1e-6
    delay_s = (np.arange(late.size) - late) / RATE_HZ
    return delay_s[RATE_HZ // 10 :]  # the line fills first


def sine_in(values: NDArray[np.float64], rate_hz: float) -> tuple[float, float]:
    """Peak of the sine of this rate by least squares, and the r.m.s. of what it leaves."""
    turn = 2 * np.pi * rate_hz * np.arange(values.size) / RATE_HZ
    columns = np.column_stack((np.ones_like(turn), np.cos(turn), np.sin(turn)))
    parts = np.linalg.lstsq(columns, values, rcond=None)[0]
    left = values - columns @ parts
    return float(np.hypot(parts[1], parts[2])), float(np.sqrt(np.mean(left**2)))


# rates that fit a whole number of times into 96 kHz, so that the filter's own table of one
# period holds them exactly; depths for about 0.1 % peak
@pytest.mark.parametrize(
    ("flutter_hz", "depth"), [(0.5, 0.128), (1, 0.064), (4, 0.016), (10, 0.0064), (20, 0.0032)]
)
def test_vibrato_is_read_back(
    tmp_path: Path, run: Run, read_file: Run, flutter_hz: float, depth: float
) -> None:
    swing_s, left_s = sine_in(vibrato_delay_s(run, flutter_hz, depth), flutter_hz)
    assert left_s < 1e-6 * swing_s, "the delay is the sinusoid that the page promises"
    peak = 100 * 2 * np.pi * flutter_hz * swing_s

    path = tmp_path / "vibrato.wav"
    tone = f"aevalsrc='0.5*sin(2*PI*3150*t)':s={RATE_HZ}:d=64"
    run(ffmpeg(tone, f"vibrato=f={flutter_hz}:d={depth}", "-c:a pcm_s24le"), path)
    reading = read_file(path)

    # ffmpeg interpolates between samples along a straight line: at ω = 2π·3150/96000 that
    # turns the phase by up to ω³/125 = 7e-5 rad. Against the flutter's own swing of the phase
    # (β = Δf/f = 3.15 Hz/f) that is at most 4.4e-4 at 20 Hz, and it leaves the mean alone
    # but for its end values: 7e-5·4/T/2π Hz, 2e-8 % over 64 s.
    phase_swing = 31.50 * peak / flutter_hz
    interpolation = 7e-5 / phase_swing
    assert abs(reading.value("speed.deviation")) < 1e-6
    assert abs(reading.value("speed.drift")) < 1e-4
    line = reading.lines[0]
    assert line.rate_hz == pytest.approx(flutter_hz, abs=1e-4)
    assert line.peak_percent == pytest.approx(peak, rel=interpolation + 5e-4)
    # unweighted: −3 dB at 0.5 Hz, second-order Butterworth, |H|² = 1/(1 + (0.5/f)⁴)
    flat = peak / np.sqrt(1 + (0.5 / flutter_hz) ** 4)
    # a record that holds no whole number of half periods reads up to 1/(4πfT) off
    uneven = 1 / (4 * np.pi * flutter_hz * 55)
    assert reading.value("flutter.unweighted_rms") == pytest.approx(
        flat / np.sqrt(2), rel=uneven + interpolation + 5e-4
    )
    # weighted: the table of IEC 60386, with the ±0.3 dB that the filter is allowed
    table_hz, _ = weighting_table()
    assert flutter_hz == 0.5 or flutter_hz in table_hz
    weight = 10 ** (float(interpolate_weighting_db(flutter_hz)) / 20)
    allowed = 10 ** (0.3 / 20) - 1
    assert reading.value("flutter.weighted_peak") == pytest.approx(
        weight * peak * TWO_SIGMA_OF_SINE, rel=allowed
    )
    assert reading.value("flutter.weighted_rms") == pytest.approx(
        weight * peak / np.sqrt(2), rel=allowed
    )
    # between each other, the two detectors have no such excuse
    assert reading.value("flutter.weighted_peak") / reading.value(
        "flutter.weighted_rms"
    ) == pytest.approx(TWO_SIGMA_OF_SINE * np.sqrt(2), rel=5e-3)


def test_asetrate_is_a_speed(tmp_path: Path, run: Run, read_file: Run) -> None:
    path = tmp_path / "fast.flac"
    tone = "aevalsrc='0.5*sin(2*PI*3150*t)':s=48000:d=40"
    bits = "-sample_fmt s32 -bits_per_raw_sample 24"
    run(ffmpeg(tone, "asetrate=48149,aresample=48000", bits), path)
    reading = read_file(path)
    # 48149 / 48000 − 1; the resampler counts in whole fractions, so the ratio is exact
    assert reading.value("speed.deviation") == pytest.approx(100 * 149 / 48_000, abs=1e-6)
    assert abs(reading.value("speed.drift")) < 1e-5


@pytest.mark.parametrize("rate_hz", [16_000, 44_100, 96_000])
def test_resampling_leaves_speed_and_flutter_alone(
    tmp_path: Path, run: Run, read_file: Run, rate_hz: int
) -> None:
    path = tmp_path / "other-rate.wav"
    # 0.1 % at 6.4 Hz: the phase swings by β = 3.15/6.4 rad
    tone = "aevalsrc='0.5*sin(2*PI*3150*t-3.15/6.4*cos(2*PI*6.4*t))':s=48000:d=40"
    run(ffmpeg(tone, f"aresample={rate_hz}", "-c:a pcm_s24le"), path)
    reading = read_file(path)
    assert abs(reading.value("speed.deviation")) < 1e-6
    line = reading.lines[0]
    assert line.rate_hz == pytest.approx(6.4, abs=1e-4)
    # its filter is flat within 0.01 dB around the tone (common practice for a band-limited
    # resampler), which bears on the level alone; phase is linear
    assert line.peak_percent == pytest.approx(0.1, rel=5e-4)


def test_the_sine_source_reads_as_a_plain_tone(tmp_path: Path, run: Run, read_file: Run) -> None:
    path = tmp_path / "sine.flac"
    run(ffmpeg("sine=frequency=3150:sample_rate=48000:duration=20", "anull", ""), path)
    reading = read_file(path)
    # 16 bits without dither at an amplitude of 1/8: rounding repeats with the tone and is
    # phase noise of at most half a step of 4096, 1.2e-4 rad, at its two ends
    assert abs(reading.value("speed.deviation")) < 100 * 1.2e-4 * 4 / 19 / 6.28 / 3150
    assert reading.value("flutter.weighted_peak") <= 0.0003
