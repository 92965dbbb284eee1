"""What each kind of section sounds like, as a function of the place in it.

Everything but noise is a formula, so it can be read at any place: a file at any rate, or a tape
that runs off speed, is exact. Noise is drawn once at 48 kHz and read between its samples.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from runstrue.stimulus.sampled import Sampled

if TYPE_CHECKING:
    from runstrue.stimulus.programme import Section

Array = NDArray[np.float64]

# Cut hard, a tone clicks in every converter and its click rings through the deck. Own choice.
EDGE_S = 0.010
NOISE_RATE_HZ = 48_000.0
PULSE_WIDTH_S = 0.0005
"""Of a polarity pulse: its spectrum then peaks at √2 / (2π · 0.5 ms) = 450 Hz. Own choice."""
PHASE_TRIALS = 200


@dataclass(frozen=True, slots=True)
class Sound:
    """One section, ready to be read.

    Parameters
    ----------
    section : Section
    wave : callable
        Takes places in seconds from the section's beginning and returns values of which a sine
        at the reference level has the peak 1.
    """

    section: Section
    wave: Callable[[Array], Array]

    def at(self, places_s: Array) -> Array:
        """Return the section at these places, faded at both ends; all must lie inside it."""
        inward_s = np.minimum(places_s, self.section.lasts_s - places_s)
        fade = 0.5 - 0.5 * np.cos(np.pi * np.clip(inward_s / EDGE_S, 0.0, 1.0))
        return np.asarray(fade * self.wave(places_s))


@lru_cache(maxsize=4)
def sound_of(section: Section) -> Sound:
    """Return the sound of a section."""
    return Sound(section, _WAVES[section.kind](section))


def sweep_constant_s(section: Section) -> float:
    """The constant L of an exponential sweep sin(2π f₁ L e^(t/L)), in seconds.

    Notes
    -----
    The synchronised sweep of Novak, Lotton and Simon (J. Audio Eng. Soc. 63, 2015): f₁ · L is a
    whole number, so that the phases of harmonics come out too. Here it is rounded down, so that
    the sweep ends inside the section: it lasts `sweep_lasts_s`.
    """
    low, high = section.frequencies_hz
    whole = math.floor(low * section.lasts_s / math.log(high / low) + 1e-9)
    return max(whole, 1) / low


def sweep_lasts_s(section: Section) -> float:
    """How long a sweep takes from its first to its last frequency, in seconds."""
    low, high = section.frequencies_hz
    return sweep_constant_s(section) * math.log(high / low)


def _tone(section: Section) -> Callable[[Array], Array]:
    (tone_hz,) = section.frequencies_hz
    return lambda t: _gain(section.level_db) * _sine(tone_hz, t)


def _ramp(section: Section) -> Callable[[Array], Array]:
    (tone_hz,) = section.frequencies_hz
    rise_db = (section.level_to_db or 0.0) - section.level_db

    def wave(t: Array) -> Array:
        level_db = section.level_db + rise_db * t / section.lasts_s
        return np.asarray(10 ** (level_db / 20) * _sine(tone_hz, t))

    return wave


def _sweep(section: Section) -> Callable[[Array], Array]:
    low, _ = section.frequencies_hz
    constant_s, ends_s = sweep_constant_s(section), sweep_lasts_s(section)

    def wave(t: Array) -> Array:
        turns = low * constant_s * np.exp(np.minimum(t, ends_s) / constant_s)
        fade = np.clip((ends_s - t) / EDGE_S, 0.0, 1.0)
        return np.asarray(_gain(section.level_db) * fade * np.sin(2 * np.pi * (turns % 1.0)))

    return wave


def _multitone(section: Section) -> Callable[[Array], Array]:
    tones_hz = section.frequencies_hz
    phases = _kind_phases(tones_hz)
    each = _gain(section.level_db) / math.sqrt(len(tones_hz))

    def wave(t: Array) -> Array:
        out = np.zeros(t.shape)
        for tone_hz, phase in zip(tones_hz, phases, strict=True):
            out += _sine(tone_hz, t, phase)
        return np.asarray(each * out)

    return wave


def _two_tone(section: Section) -> Callable[[Array], Array]:
    first_hz, second_hz = section.frequencies_hz
    each = _gain(section.level_db) / math.sqrt(2)
    return lambda t: np.asarray(each * (_sine(first_hz, t) + _sine(second_hz, t)))


def noise_values(section: Section) -> Array:
    """Gaussian noise in a band, white or with 3 dB less an octave; its r.m.s. is exact.

    Returns
    -------
    ndarray of float64, shape (frame,)
        At `NOISE_RATE_HZ`, without the fades at its ends; a sine at the reference level has the
        peak 1.
    """
    frames = math.ceil(section.lasts_s * NOISE_RATE_HZ)
    draw = np.random.default_rng(zlib.crc32(section.id.encode()))
    rates_hz = np.fft.rfftfreq(frames, 1 / NOISE_RATE_HZ)
    low, high = section.frequencies_hz
    weight = ((rates_hz >= low) & (rates_hz <= high)).astype(np.float64)
    if section.kind == "noise-pink":
        weight /= np.sqrt(np.maximum(rates_hz, low))
    lines = weight * (
        draw.standard_normal(rates_hz.size) + 1j * draw.standard_normal(rates_hz.size)
    )
    values = np.fft.irfft(lines, frames)
    values *= _gain(section.level_db) / math.sqrt(2) / np.sqrt(np.mean(values**2))
    return np.asarray(values)


def _noise(section: Section) -> Callable[[Array], Array]:
    held = Sampled(noise_values(section)[None, :], NOISE_RATE_HZ)
    return lambda t: held.read(0, Fraction(0), t)


def _silence(section: Section) -> Callable[[Array], Array]:
    return lambda t: np.zeros(t.shape)


def _polarity(section: Section) -> Callable[[Array], Array]:
    """Pulses of a sharp hill between two shallow dips, without a constant part.

    The second derivative of a bell curve: its hill is 2.24 times as high as its dips are deep
    (e^1.5 / 2), and it passes a channel that carries no constant part unchanged.
    """
    (per_s,) = section.frequencies_hz
    peak = _gain(section.level_db) * (-1.0 if section.inverted else 1.0)

    def wave(t: Array) -> Array:
        from_hill_s = (t * per_s % 1.0 - 0.5) / per_s
        square = (from_hill_s / PULSE_WIDTH_S) ** 2
        return np.asarray(peak * (1 - square) * np.exp(-square / 2))

    return wave


def _pilot(section: Section) -> Callable[[Array], Array]:
    """One tone after the other, all of the same length."""
    tones_hz = np.array(section.frequencies_hz)
    each_s = section.lasts_s / tones_hz.size

    def wave(t: Array) -> Array:
        number = np.clip((t / each_s).astype(np.intp), 0, tones_hz.size - 1)
        inside_s = t - number * each_s
        inward_s = np.minimum(inside_s, each_s - inside_s)
        fade = 0.5 - 0.5 * np.cos(np.pi * np.clip(inward_s / EDGE_S, 0.0, 1.0))
        turns = tones_hz[number] * inside_s
        return np.asarray(_gain(section.level_db) * fade * np.sin(2 * np.pi * (turns % 1.0)))

    return wave


def _bursts(section: Section) -> Callable[[Array], Array]:
    """Bursts that begin where the sine passes zero, the first after half a pause."""
    (tone_hz,) = section.frequencies_hz
    wait_s = (section.every_s - section.burst_s) / 2

    def wave(t: Array) -> Array:
        inside_s = (t - wait_s) % section.every_s
        sounds = (inside_s < section.burst_s) & (t >= wait_s)
        return np.asarray(np.where(sounds, _gain(section.level_db) * _sine(tone_hz, inside_s), 0.0))

    return wave


_WAVES: dict[str, Callable[[Section], Callable[[Array], Array]]] = {
    "tone": _tone,
    "ramp": _ramp,
    "sweep": _sweep,
    "multitone": _multitone,
    "two-tone": _two_tone,
    "noise-pink": _noise,
    "noise-white": _noise,
    "silence": _silence,
    "polarity": _polarity,
    "pilot": _pilot,
    "bursts": _bursts,
}


def _gain(level_db: float) -> float:
    return float(10 ** (level_db / 20))


def _sine(tone_hz: float, t: Array, phase_turns: float = 0.0) -> Array:
    return np.asarray(np.sin(2 * np.pi * ((tone_hz * t + phase_turns) % 1.0)))


@lru_cache(maxsize=32)
def _kind_phases(tones_hz: tuple[float, ...]) -> tuple[float, ...]:
    """Phases in turns with a low crest factor: the best of many random ones, seeded.

    Schroeder's phases (1970) are for evenly spaced tones; for tones a third of an octave apart
    drawing does better.
    """
    draw = np.random.default_rng(1970)
    t = np.arange(8192) * (0.5 / 8192)  # half a second, at a rate that has no tie to the tones
    best, kept = math.inf, np.zeros(len(tones_hz))
    sines = [np.exp(2j * np.pi * ((tone_hz * t) % 1.0)) for tone_hz in tones_hz]
    table = np.stack(sines)
    for _ in range(PHASE_TRIALS):
        phases = draw.random(len(tones_hz))
        crest = float(np.abs((np.exp(2j * np.pi * phases) @ table).imag).max())
        if crest < best:
            best, kept = crest, phases
    return tuple(kept.tolist())
