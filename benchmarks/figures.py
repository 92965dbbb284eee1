"""How right the readings are, against formulas; tones written down as phases, no virtual deck."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from benchmarks.recordings import twenty_four_bits
from benchmarks.row import Row
from runstrue.dsp.weighting import Weighting
from runstrue.measure.hiss import floor_percent
from runstrue.measure.tape_tone import TonePlan, measure_tone
from runstrue.result import Measured

Array = NDArray[np.float64]

TONE_HZ = 3150.0
RATE_HZ = 16_000.0
TWO_SIGMA_OF_SINE = math.sin(0.475 * math.pi)  # |sin| is above it for 5 % of the time


def figure_rows() -> Iterator[Row]:
    """Every figure of accuracy."""
    yield _block_row()
    yield _speed_row()
    yield from _sine_rows()
    yield _residual_row()
    yield from _floor_rows()


def _block_row() -> Row:
    worst = 0.0
    for rate_hz, duration_s, blocks in (
        (8000.0, 13.0, (1,)),
        (48_000.0, 20.0, (480, 2400, 65_536)),
    ):
        mono = _tone(rate_hz, duration_s, [(6.4, 0.1, 0.3), (0.9, 0.05, 1.0)], 0.4)
        hiss = np.random.default_rng(1).standard_normal((2, mono.size))
        samples = mono + 1e-3 * hiss
        whole = _everything(_read(samples, rate_hz))
        for block in blocks:
            parts = _everything(_read(samples, rate_hz, block=block))
            worst = max(worst, float(np.max(np.abs(parts - whole))))
    return Row(
        "results for blocks of 1, 480, 2400, 65 536 frames",
        f"equal to {worst:.0e}" if worst else "equal to the last bit",
        "equal to 1e-9",
        worst / 1e-9,
        remark="largest difference of any value, uncertainty or line, stereo with hiss",
    )


def _speed_row() -> Row:
    worst = 0.0
    for off_percent in (-10.0, -5.0, 5.0, 10.0):
        for turn in range(8):
            phase = 2 * math.pi * turn / 8
            clean = _tone(RATE_HZ, 30, [(0.55, 0.1, phase)], off_percent)
            reading = _read(_with_hiss(clean, 40.0, seed=turn)[None], RATE_HZ, TONE_HZ)
            worst = max(worst, abs(_value(reading, "speed.deviation") - off_percent))
    return Row(
        "speed error, ±10 % off, 40 dB noise, 30 s, 0.1 % wow",
        f"{worst:.5f} %",
        "≤ 0.0005 %",
        worst / 0.0005,
        remark="largest of 32: four speeds, eight phases of wow at 0.55 Hz, tone named",
    )


def _sine_rows() -> Iterator[Row]:
    worst = {"weighted two-sigma": 0.0, "weighted r.m.s.": 0.0}
    for flutter_hz in np.geomspace(0.5, 100, 12).tolist():
        for peak_percent in (0.02, 0.1, 1.0):
            samples = _tone(RATE_HZ, 60, [(flutter_hz, peak_percent, 0.7)])
            reading = _read(samples[None], RATE_HZ)
            gain = float(np.abs(Weighting(500.0).response(np.array([flutter_hz])))[0])
            for name, quantity, share in (
                ("weighted two-sigma", "flutter.weighted_peak", TWO_SIGMA_OF_SINE),
                ("weighted r.m.s.", "flutter.weighted_rms", 1 / math.sqrt(2)),
            ):
                expected = gain * peak_percent * share
                error = abs(_value(reading, quantity) / expected - 1)
                worst[name] = max(worst[name], error)
    for name, error in worst.items():
        yield Row(
            f"{name} of sine flutter",
            f"within {100 * error:.2f} %",
            "within 1 %",
            error / 0.01,
            remark="0.5 to 100 Hz (12 rates), 0.02, 0.1 and 1 % peak, 60 s, against the filter's "
            "own gain",
        )


def _residual_row() -> Row:
    worst = 0.0
    for rate_hz in (44_100.0, 48_000.0, 96_000.0):
        samples = twenty_four_bits(_tone(rate_hz, 30, speed_percent=0.3))
        worst = max(worst, _value(_read(samples[None], rate_hz), "flutter.weighted_peak"))
    return Row(
        "residual of a clean 24-bit tone, weighted two-sigma",
        f"{worst:.1e} %",
        "≤ 0.0003 %",
        worst / 0.0003,
    )


def _floor_rows() -> Iterator[Row]:
    for ratio_db, brick_percent in ((40.0, 0.00367), (50.0, 0.00116), (60.0, 0.00037)):
        reading = _read(_with_hiss(_tone(RATE_HZ, 60), ratio_db, seed=3)[None], RATE_HZ)
        expected = floor_percent(10 ** (-ratio_db / 10) / 20_000, TONE_HZ, 500.0)
        flat = _value(reading, "flutter.unweighted_rms")
        errors = [
            abs(_value(reading, quantity) / expected[band] - 1)
            for quantity, band in (
                ("flutter.unweighted_rms", "flat"),
                ("flutter.weighted_rms", "weighted"),
            )
        ]
        yield Row(
            f"floor at {ratio_db:.0f} dB in 20 kHz",
            f"{flat:.5f} %, {100 * max(errors):.1f} % off",
            "within 10 %",
            max(errors) / 0.1,
            remark=f"unweighted r.m.s.; of the law with the program's own edges "
            f"({expected['flat']:.5f} %; a brick wall at 200 Hz: {brick_percent:.5f} %), the worse "
            "of unweighted and weighted",
        )


def _tone(
    rate_hz: float,
    duration_s: float,
    flutter: Sequence[tuple[float, float, float]] = (),
    speed_percent: float = 0.0,
) -> Array:
    """A tone whose speed is off by a constant and by peak·sin(2πft + phase)."""
    time_s = np.arange(round(rate_hz * duration_s)) / rate_hz
    place_s = (1 + speed_percent / 100) * time_s
    for flutter_hz, peak_percent, phase in flutter:
        turn = 2 * np.pi * flutter_hz
        place_s -= peak_percent / 100 / turn * np.cos(turn * time_s + phase)
    return np.asarray(0.5 * np.sin(2 * np.pi * TONE_HZ * place_s))


def _with_hiss(samples: Array, ratio_db: float, seed: int) -> Array:
    """Add white noise that is so far below the tone in 20 kHz (density N₀: variance N₀·rate/2)."""
    density = 0.125 * 10 ** (-ratio_db / 10) / 20_000
    noise = np.random.default_rng([seed, 7]).standard_normal(samples.size)
    return samples + math.sqrt(density * RATE_HZ / 2) * noise


def _read(
    samples: Array, rate_hz: float, tone_hz: float | None = None, block: int = 65_536
) -> Measured:
    blocks = (samples[:, at : at + block] for at in range(0, samples.shape[1], block))
    return measure_tone(blocks, rate_hz, samples.shape[0], TonePlan(tone_hz=tone_hz))


def _value(measured: Measured, quantity_id: str) -> float:
    found = measured.find(quantity_id)
    if found is None or found.quantity is None:
        raise RuntimeError(f"there is no {quantity_id}")
    return found.quantity.value


def _everything(measured: Measured) -> Array:
    """Every number that a reading holds."""
    numbers: list[float] = []
    for result in measured.results:
        if result.quantity is not None:
            numbers += [result.quantity.value, result.quantity.u]
        for line in result.lines:
            numbers += [line.rate_hz, line.u_rate_hz, line.peak_percent, line.u_peak_percent]
    return np.array(numbers)
