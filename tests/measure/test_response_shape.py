"""Shapes of treble loss by published formulas and tables, told apart.

Spacing: 54.575 dB a wavelength (Wallace 1951): 0.5 µm at 10 kHz and 47.6 mm/s is 5.73 dB. Gap:
1.5 µm at 16 kHz, 4.00 dB. Azimuth: 5′ on 0.6 mm at 10 kHz, 0.49 dB; 10′ 2.01 dB. Shelf 120/70 µs
at 10 kHz: 4.54 dB at equal low-frequency gain, 4.38 dB against 315 Hz, 3.35 dB against 1 kHz.
(Worked out apart from the formulas; tables of short-wavelength losses at cassette speed.)
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from runstrue.measure.response_shape import read_shape, shapes
from runstrue.result import Result, Table
from runstrue.stimulus.equalisation import EQUALISATIONS, flux_db, shelf_db

SPEED = 47.6
TONES_HZ = (315.0, 1000, 1600, 2500, 4000, 6300, 8000, 10_000, 12_500, 14_000, 16_000)


def gain(levels_db: list[float]) -> Result:
    table = Table(TONES_HZ, tuple(levels_db), tuple(0.05 for _ in TONES_HZ), "Hz", "dB")
    return Result("response.gain", "response-tones/1", "left", None, table=table)


@pytest.mark.parametrize(
    ("key", "size", "frequency_hz", "loss_db"),
    [
        ("spacing", 0.1, 10_000, 1.15), ("spacing", 0.5, 10_000, 5.73),
        ("spacing", 1.0, 16_000, 18.34), ("spacing", 0.25, 6300, 1.81),
        ("azimuth-or-gap", 0.8, 16_000, 1.06), ("azimuth-or-gap", 1.5, 16_000, 4.00),
        ("azimuth-or-gap", 2.0, 12_500, 4.38),
        # azimuth is the same curve with the track's width times the tilt
        ("azimuth-or-gap", 600 * math.tan(math.radians(5 / 60)), 10_000, 0.49),
        ("azimuth-or-gap", 600 * math.tan(math.radians(10 / 60)), 16_000, 5.64),
    ],
)  # fmt: skip
def test_losses_follow_the_printed_tables(
    key: str, size: float, frequency_hz: float, loss_db: float
) -> None:
    curve = next(one.curve for one in shapes(SPEED, None) if one.key == key)
    assert -curve(np.array([frequency_hz]), size)[0] == pytest.approx(loss_db, abs=0.006)


def test_shelf_between_120_and_70_microseconds() -> None:
    at = {hz: shelf_db(hz, 70, 120) for hz in (315, 1000, 10_000)}
    assert at[10_000] == pytest.approx(4.54, abs=0.005)
    assert at[10_000] - at[315] == pytest.approx(4.38, abs=0.005)
    assert at[10_000] - at[1000] == pytest.approx(3.35, abs=0.005)
    assert shelf_db(1e6, 70, 120) == pytest.approx(20 * math.log10(120 / 70), abs=0.001)


@pytest.mark.parametrize(
    ("frequency_hz", "flux_120", "flux_70"),
    [
        (31.5, 5.60, 5.44), (63, 2.25, 2.10), (100, 1.08, 0.94), (1000, -1.81, -0.78),
        (3150, -8.09, -4.68), (6300, -13.59, -9.41), (10_000, -17.49, -13.11),
        (16_000, -21.53, -17.06), (20_000, -23.46, -18.97),
    ],
)  # fmt: skip
def test_flux_against_315_hz(frequency_hz: float, flux_120: float, flux_70: float) -> None:
    """Standard flux of cassettes, IEC 60094-1:1981 clause 15, worked out apart."""
    for treble_us, wanted in ((120.0, flux_120), (70.0, flux_70)):
        found = flux_db(frequency_hz, treble_us, 3180) - flux_db(315, treble_us, 3180)
        assert found == pytest.approx(wanted, abs=0.005)


@pytest.mark.parametrize(
    ("key", "turnover_hz"),
    [("AES 76", 9095), ("IEC1 38", 4547), ("NAB 38", 3183), ("70", 2274), ("120", 1326),
     ("9.5", 1768)],
)  # fmt: skip
def test_turnover_frequencies(key: str, turnover_hz: float) -> None:
    treble_s = EQUALISATIONS[key].treble_us * 1e-6
    assert 1 / (2 * math.pi * treble_s) == pytest.approx(turnover_hz, abs=1)


def wobble(seed: int) -> np.ndarray:
    return np.random.default_rng(seed).normal(0, 0.3, len(TONES_HZ))


CASES = {
    "flat": lambda f: 0.0 * f,
    "spacing": lambda f: -54.575 * 0.5 * f / 47_600,
    "azimuth-or-gap": lambda f: 20 * np.log10(np.abs(np.sinc(1.9 * f / 47_600))),
    "shelf-up": lambda f: np.array([shelf_db(x, 70, 120) for x in f]),
    "shelf-down": lambda f: np.array([shelf_db(x, 120, 70) for x in f]),
}


@pytest.mark.parametrize("key", CASES)
def test_shapes_are_told_apart_under_a_deck_s_own_ripple(key: str) -> None:
    """Ripple of 0.3 dB r.m.s.; of 60 decks at most three may be told another shape."""
    f = np.array(TONES_HZ)
    wrong = 0
    for seed in range(60):
        levels_db = CASES[key](f) + wobble(seed)
        found = read_shape(gain((levels_db - levels_db[0]).tolist()), SPEED)
        assert found is not None
        wrong += found.conditions["pattern"] not in (key, "unlike any")
    assert wrong <= 3
    clean = CASES[key](f)
    found = read_shape(gain((clean - clean[0]).tolist()), SPEED)
    assert found is not None
    assert found.conditions["pattern"] == key


def test_size_of_the_spacing_is_fitted() -> None:
    f = np.array(TONES_HZ)
    levels_db = CASES["spacing"](f)
    found = read_shape(gain((levels_db - levels_db[0]).tolist()), SPEED)
    assert found is not None
    assert found.conditions["size"] == "0.5 µm"
    assert found.quantity is not None
    # 0.5 µm: 5.73 dB at 10 kHz and 0.57 dB at 1 kHz
    assert found.quantity.value == pytest.approx(-5.16, abs=0.01)


def test_too_few_points_have_no_shape() -> None:
    table = Table((315.0, 1000, 4000), (0.0, 0, -2), (0.1, 0.1, 0.1), "Hz", "dB")
    assert read_shape(Result("response.gain", "x", "left", None, table=table), SPEED) is None
