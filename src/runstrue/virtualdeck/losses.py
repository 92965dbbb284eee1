"""What equalisation and short wavelengths do to the level, by formula.

equalisation   flux² = (1 + 1/(ω t₂)²) / (1 + (ω t₁)²)      IEC 60094-1:1981, from memory
gap            |sin x / x|, x = π · 1.11 g / λ              Eargle, Electroacoustical Reference
                                                            Data, eq. 167.1
spacing        e^(−2π d / λ)                                Wallace 1951, from memory
azimuth        |sin x / x|, x = π w tan α / λ               from memory
print-through  k e^(1−k), k = 2π h / λ                      from memory
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from runstrue.virtualdeck.chain import (
    BiasNoise,
    Chain,
    Crosstalk,
    PrintThrough,
    Replay,
    Shelf,
    TimeConstants,
)

Array = NDArray[np.float64]

EFFECTIVE_GAP = 1.11
LOWEST_HZ = 1.0


def replayed(chain: Chain, tape_us: TimeConstants, speed_ratio: float, played_hz: Array) -> Array:
    """Gain from the flux that a tape should carry to the output, at frequencies as played.

    Parameters
    ----------
    chain : Chain
    tape_us : (float, float or None)
        Time constants that the tape was made for.
    speed_ratio : float
        Played over nominal speed: wavelengths on the tape belong to `played_hz / speed_ratio`.
    played_hz : ndarray of float64
    """
    replay = chain.replay
    nominal_hz = played_hz / speed_ratio
    gain = flux(tape_us, nominal_hz) / flux(replay.equalisation_us, played_hz)
    return np.asarray(
        gain
        * shelf(replay.treble, played_hz)
        * short_waves(replay, chain.speed_mm_per_s, nominal_hz)
    )


def flux(constants_us: TimeConstants, frequencies_hz: Array) -> Array:
    """Standard recorded flux, 1 in the middle."""
    treble_us, bass_us = constants_us
    omega = 2 * math.pi * np.maximum(frequencies_hz, LOWEST_HZ)
    power = 1 / (1 + (omega * treble_us * 1e-6) ** 2)
    if bass_us is not None:
        power = power * (1 + 1 / (omega * bass_us * 1e-6) ** 2)
    return np.asarray(np.sqrt(power))


def short_waves(replay: Replay, speed_mm_per_s: float, nominal_hz: Array) -> Array:
    """Gap, spacing and azimuth together."""
    per_um = nominal_hz / (1000 * speed_mm_per_s)  # 1/λ
    tilt = math.tan(math.radians(replay.azimuth_minutes / 60))
    return np.asarray(
        np.abs(np.sinc(EFFECTIVE_GAP * replay.gap_um * per_um))
        * np.exp(-2 * math.pi * replay.spacing_um * per_um)
        * np.abs(np.sinc(1000 * replay.track_mm * tilt * per_um))
    )


def shelf(one: Shelf | None, frequencies_hz: Array) -> Array:
    """Gain of a shelf."""
    if one is None:
        return np.ones(frequencies_hz.shape)
    square = (frequencies_hz / one.corner_hz) ** 2
    return np.asarray(np.sqrt((1 + square * 10 ** (one.gain_db / 10)) / (1 + square)))


def across(one: Crosstalk, played_hz: Array) -> Array:
    """Share of each channel that comes out of the other."""
    gain = np.full(played_hz.shape, 10 ** (one.level_db / 20))
    if one.corner_hz is not None:
        gain *= np.sqrt((1 + (played_hz / one.corner_hz) ** 2) / (1 + (1000 / one.corner_hz) ** 2))
    return np.asarray(gain)


def printed(one: PrintThrough, speed_mm_per_s: float, nominal_hz: Array) -> Array:
    """Strength of an echo over its strongest."""
    k = 2 * math.pi * one.thickness_um * nominal_hz / (1000 * speed_mm_per_s)
    return np.asarray(k * np.exp(1 - k))


def noise_shape(one: BiasNoise, played_hz: Array) -> Array:
    """Power density of tape noise, without its scale."""
    f = played_hz
    power = (1 + (f / one.zero_hz) ** 2) / (1 + (f / one.pole_hz) ** 2)
    return np.asarray(power / (1 + (f / one.fall_hz) ** 2))


def azimuth_delay_us(azimuth_minutes: float, apart_mm: float, speed_mm_per_s: float) -> float:
    """How much the second channel trails the first: s tan α / v."""
    return apart_mm * math.tan(math.radians(azimuth_minutes / 60)) / speed_mm_per_s * 1e6
