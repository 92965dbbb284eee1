"""Mains hum by where it comes from: induced in the head, or carried by the supply.

A stray field of a mains transformer holds the mains frequency and its odd multiples. What it
induces rises with frequency, and replay equalisation lifts the low end of it. A full-wave
rectifier leaves ripple at twice the mains frequency and multiples of that (IEC-standard time
constants; patterns: common practice, no source).
"""

from __future__ import annotations

import math

from runstrue.virtualdeck.chain import TYPE_I_US, TimeConstants
from runstrue.virtualdeck.deck import HumLine

STRAY_DB = {1: 0.0, 3: -16.0, 5: -26.0, 7: -34.0}
"""Stray field of a transformer driven to its knee, against the mains line (own choice)."""
RIPPLE_DB = {2: 0.0, 4: -12.0, 6: -19.0}
"""Ripple of a full-wave rectifier: about 1/n² (own reckoning from a sawtooth, less the pulses)."""


def induced_hum(
    level_db: float, mains_hz: float = 50.0, replay_us: TimeConstants = TYPE_I_US
) -> tuple[HumLine, ...]:
    """Hum that a transformer induces into the replay head.

    Parameters
    ----------
    level_db : float
        Of the line at the mains frequency, at the output, against the stimulus.
    mains_hz : float
    replay_us : (float, float or None)
    """
    base = _replay_gain(mains_hz, replay_us)
    return tuple(
        HumLine(
            n * mains_hz,
            level_db + stray_db
            + 20 * math.log10(n * _replay_gain(n * mains_hz, replay_us) / base),
            0.07 * n,
        )
        for n, stray_db in STRAY_DB.items()
    )  # fmt: skip


def supply_hum(level_db: float, mains_hz: float = 50.0) -> tuple[HumLine, ...]:
    """Ripple of a tired supply; the level is that of the line at twice the mains frequency."""
    return tuple(
        HumLine(n * mains_hz, level_db + ripple_db, 0.05 * n) for n, ripple_db in RIPPLE_DB.items()
    )


def hum_sum_db(lines: tuple[HumLine, ...]) -> float:
    """All lines together, in dB against the stimulus."""
    return 10 * math.log10(sum(10 ** (line.level_db / 10) for line in lines))


def _replay_gain(frequency_hz: float, constants_us: TimeConstants) -> float:
    """|1 + jωt₁| / |1 + jωt₂|; without a bass constant |1 + jωt₁| / ω."""
    treble_us, bass_us = constants_us
    omega = 2e-6 * math.pi * frequency_hz
    below = omega if bass_us is None else math.hypot(1, omega * bass_us)
    return math.hypot(1, omega * treble_us) / below
