"""A jolt once a turn: a flat on a roller, a lump on a belt."""

from __future__ import annotations

import math

from runstrue.errors import InputError
from runstrue.virtualdeck.deck import Component, Harmonic


def pulse(
    part: str, rate_hz: float, peak_percent: float, width_s: float, phase_turns: float = 0.0
) -> Component:
    """Return a part that jolts the tape once a turn.

    Parameters
    ----------
    rate_hz : float
        Turns per second.
    peak_percent : float
        Height of the jolt over the rest of the turn; negative slows the tape.
    width_s : float
        Full width at half height, less than half a turn.
    phase_turns : float
        How far before the jolt the part stands when the transport starts.

    Notes
    -----
    A Gaussian bell repeated once a turn, as its Fourier series without the mean: for a standard
    deviation of s turns the k-th coefficient is 2 s √(2π) exp(−2 π² s² k²), taken as far as it
    is above a ten-thousandth of the first.
    """
    # a Gaussian bell is 2 sqrt(2 ln 2) standard deviations wide at half height
    s = width_s * rate_hz / (2 * math.sqrt(2 * math.log(2)))
    if not 0 < width_s * rate_hz < 0.5:
        raise InputError(
            f"A jolt of {width_s} s at {rate_hz} Hz was asked for",
            "more than 0 and less than half a turn is needed",
        )
    harmonics = []
    for multiple in range(1, 200):
        fall = math.exp(-2 * (math.pi * s) ** 2 * (multiple**2 - 1))
        if fall < 1e-4:
            break
        # a quarter turn makes the sine of `Component` a cosine, centred on the jolt
        harmonics.append(Harmonic(multiple, fall, 0.25))
    first = 2 * s * math.sqrt(2 * math.pi) * math.exp(-2 * (math.pi * s) ** 2)
    return Component(part, rate_hz, peak_percent * first, phase_turns, tuple(harmonics))
