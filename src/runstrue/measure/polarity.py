"""Polarity pulses: whether both channels point the same way, and roughly how far apart they are.

A pulse's hill is higher than its dips are deep, so that the strongest peak of the correlation
between the channels tells both at once: its sign the polarity, its place the delay. No tone can
do that; half a turn of a tone looks like a delay of half its period. Own method.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.fft import irfft, next_fast_len, rfft

from runstrue.measure.sections import Stretch

BAND_HZ = (100.0, 2000.0)
"""Most of the pulse (its spectrum peaks at 450 Hz); hum below and treble loss above stay out."""
LONGEST_S = 1.5e-3
CLEARLY = 1.2
"""By how much the peak must outgrow the strongest one of the other sign; a clean pulse: 1.6."""
ALIKE = 0.5  # of two channels that hold the same, 1
FINE = 8


@dataclass(frozen=True, slots=True)
class Pulses:
    """What the pulses say.

    Parameters
    ----------
    turned : bool
        The channels point opposite ways.
    delay_us : float
        How much the right channel trails, at nominal speed; rough, some tens of µs.
    """

    turned: bool
    delay_us: float


def read_pulses(stretch: Stretch) -> Pulses | None:
    """Read a section of polarity pulses, both channels sounding; None where they do not say.

    Parameters
    ----------
    stretch : Stretch
        Two channels.
    """
    if stretch.channels != 2:
        return None
    frames = next_fast_len(stretch.samples.shape[1], real=True)
    lines = rfft(stretch.samples, frames, axis=1)
    at_hz = np.arange(lines.shape[1]) * stretch.rate_hz / frames
    lines[:, (at_hz < BAND_HZ[0]) | (at_hz > BAND_HZ[1])] = 0.0
    powers = np.sum(np.abs(lines) ** 2, axis=1)
    if not (powers > 0).all():
        return None
    cross = np.conj(lines[0]) * lines[1] / math.sqrt(powers[0] * powers[1])
    # half of the lines stand for all: twice their real parts, 1 for channels that are the same
    correlation = irfft(cross, frames * FINE) * frames * FINE / 2
    step_s = 1 / (stretch.rate_hz * FINE)
    reach = round(LONGEST_S / step_s)
    near = np.concatenate((correlation[-reach:], correlation[: reach + 1]))
    highest, lowest = float(near.max()), float(-near.min())
    turned = lowest > highest
    if max(highest, lowest) < max(ALIKE, CLEARLY * min(highest, lowest)):
        return None
    place = int(np.argmax(-near if turned else near)) - reach
    return Pulses(turned, place * step_s * 1e6 * stretch.found.speed_ratio)
