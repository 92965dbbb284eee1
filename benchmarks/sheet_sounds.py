"""Sections under the conditions of the bench, written down by formula: no virtual deck.

0.2 % peak flutter in three lines of any phase, 1.5 % off speed, hiss 55 dB below the reference
between 20 Hz and 20 kHz, different in each channel. A section is cut where it is known to lie, and
its speed is known as well as the finder knows it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from runstrue.measure.sections import Found, Stretch
from runstrue.stimulus.programme import Programme, Section

Array = NDArray[np.float64]

RATE_HZ = 48_000.0
REFERENCE_DBFS = -12.0
PEAK = 10 ** (REFERENCE_DBFS / 20)
FLUTTER = ((6.3, 0.08), (1.38, 0.07), (4.0, 0.05))
"""Rates in Hz and peaks in %: 0.2 % together."""
OFF_SPEED = 0.015
SPEED_KNOWN_TO = 2e-5
"""Standard error of a section's speed as the finder tells it (`benchmarks.finding`)."""
INWARD_S = 0.05
PAUSE_S = 0.5


@dataclass(frozen=True, slots=True)
class Conditions:
    """What the deck does to a programme.

    Parameters
    ----------
    seed : int
    hiss_db : float
        Below the reference, between 20 Hz and 20 kHz.
    curve : callable, optional
        What the tape does to the sound before the hiss comes: sample by sample.
    delay_us : callable, optional
        By how much the right channel trails, at nominal speed, over time in s.
    """

    seed: int
    hiss_db: float = 55.0
    curve: Callable[[Array], Array] | None = None
    delay_us: Callable[[Array], Array] | None = None


def programme_of(*sections: Section) -> Programme:
    """Put sections one after the other, with pauses; their own starts do not count."""
    placed, at_s = [], PAUSE_S
    for section in sections:
        placed.append(replace(section, starts_s=at_s))
        at_s += section.lasts_s + PAUSE_S
    return Programme("bench", "bench", tuple(placed), reference_dbfs=REFERENCE_DBFS)


def played(made: Programme, conditions: Conditions) -> list[Stretch]:
    """Every section of a programme as it comes back."""
    draw = np.random.default_rng([conditions.seed, 4001])
    phases = draw.uniform(0, 2 * np.pi, len(FLUTTER))
    ratio = 1 + OFF_SPEED
    found = []
    for section in made.sections:
        starts_s, lasts_s = section.starts_s / ratio + INWARD_S, section.lasts_s / ratio
        frames = round((lasts_s - 2 * INWARD_S) * RATE_HZ)
        times_s = starts_s + np.arange(frames) / RATE_HZ
        places_s = place_s(times_s, phases)
        left = made.read(0, Fraction(0), places_s)
        if conditions.delay_us is not None:
            late_s = conditions.delay_us(times_s) * 1e-6
            right = made.read(1, Fraction(0), places_s - late_s)
        else:
            alike = section.channels == "both"
            right = left if alike else made.read(1, Fraction(0), places_s)
        sound = np.stack([left, right])
        if conditions.curve is not None:
            sound = conditions.curve(sound)
        sound += hiss(draw, frames, conditions.hiss_db)
        with np.errstate(divide="ignore"):
            level_db = tuple((10 * np.log10(2 * np.mean(sound**2, axis=1))).tolist())
        heard = ratio * (1 + SPEED_KNOWN_TO * float(draw.standard_normal()))
        place = Found(section, starts_s, frames / RATE_HZ, heard, level_db)
        found.append(Stretch(place, sound, RATE_HZ))
    return found


def place_s(times_s: Array, phases: Array) -> Array:
    """Place on the tape at each time: steady speed and what flutter moves it."""
    places_s = (1 + OFF_SPEED) * times_s
    for (rate_hz, percent), phase in zip(FLUTTER, phases.tolist(), strict=True):
        turn = 2 * np.pi * rate_hz
        places_s = places_s - percent / 100 / turn * np.cos(turn * times_s + phase)
    return np.asarray(places_s)


def hiss(draw: np.random.Generator, frames: int, below_db: float) -> Array:
    """White noise in both channels, so far below the reference between 20 Hz and 20 kHz."""
    rms = PEAK / math.sqrt(2) * 10 ** (-below_db / 20) * math.sqrt(RATE_HZ / 2 / 19_980)
    return np.asarray(rms * draw.standard_normal((2, frames)))


def cubic(third: float) -> float:
    """C of y = x − c x³ with this third harmonic (a share) of a sine at the reference level.

    A sine of amplitude a has ¼ c a³ of it over a − ¾ c a³ (sin³ = ¾ sin − ¼ sin 3).
    """
    return 4 * third / (1 + 3 * third) / PEAK**2
