"""Print-through: echoes of a loud passage, one turn of the pack before and after it.

A tone burst is recorded at full level on an otherwise silent tape, wound and left (24 h at 20 °C
by DIN 45519, from memory). Layers that touched it carry its copy: an echo each turn of the spool,
1.45 s apart at a cassette's hub to 3.3 s at a full pack, strongest where the wavelength is 2π
times the tape's thickness (from memory). The highest of them is told against the burst.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from runstrue.dsp.band_power import Spectrum, half_width_hz
from runstrue.errors import SignalError
from runstrue.measure.sections import Stretch
from runstrue.quantity import Budget, Contribution
from runstrue.result import Condition, Result, Trace

WINDOW_S = 0.8
STEP_S = 0.1
STANDS_OUT = 5.0
"""An echo counts from five times the usual scatter of the windows: some 200 are looked at."""
SHORTEST_S = 5.0
WINDOW_DB = 0.1
"""A window of the silence may hold the echo's edges or a little of what is beside it: as a
rectangle (own estimate)."""


def measure_print_through(
    loud: Stretch, silences: Sequence[Stretch], channels: Sequence[str]
) -> tuple[Result, ...]:
    """Highest echo of a burst in the silence around it, in dB below the burst.

    Parameters
    ----------
    loud : Stretch
        The burst.
    silences : sequence of Stretch
        Before it, after it, or both; 5 s or more each.
    channels : sequence of str

    Returns
    -------
    tuple of Result
        `print.through`; where none stands out, the least that it can be, and a doubt.
    """
    heard = [one for one in silences if one.duration_s >= SHORTEST_S]
    if not heard:
        raise SignalError(
            "No silence next to the loud burst was found", f"{SHORTEST_S:g} s are needed"
        )
    tone_hz = loud.section.frequencies_hz[0] * loud.found.speed_ratio
    half_hz = half_width_hz(tone_hz)
    results = []
    for index, name in enumerate(channels):
        full = Spectrum(loud.samples[index], loud.rate_hz).around(tone_hz, half_hz).power
        times_s, power = _along(heard, index, tone_hz, half_hz)
        usual = float(np.median(power))
        scatter = 1.4826 * float(np.median(np.abs(power - usual)))
        place = int(np.argmax(power))
        highest = float(power[place])
        apart_s = times_s[place] - loud.found.starts_s - loud.found.lasts_s / 2
        conditions: dict[str, Condition] = {"tone": f"{loud.section.frequencies_hz[0]:g} Hz"}
        trace = Trace(
            "echoes", times_s - loud.found.starts_s,
            10 * np.log10(np.maximum(power, 1e-12 * full) / full),
            "time from the burst", "s", "level", "dB", name,
        )  # fmt: skip
        sure = highest - usual > STANDS_OUT * scatter
        echo = highest - usual if sure else STANDS_OUT * scatter
        u_db = 10 / math.log(10) * (scatter / echo if sure else 1 / STANDS_OUT)
        budget = Budget(
            (
                Contribution("noise", u_db, "random"),
                Contribution("edges of the echo", WINDOW_DB / math.sqrt(3), "random"),
            )
        )
        below_db = 10 * math.log10(full / max(echo, 1e-30))
        doubts = [
            "Print-through grows with the time a tape lies and with warmth: say how long it lay."
        ]
        if sure:
            conditions["echo"] = f"{abs(apart_s):.1f} s {'after' if apart_s > 0 else 'before'} it"
        else:
            conditions["at least"] = True
            doubts.insert(0, f"No echo stands out: at least {below_db:.0f} dB.")
        results.append(
            Result("print.through", "print-through-band/1", name, budget.quantity(below_db, "dB"),
                   budget, conditions=conditions, traces=(trace,), doubts=tuple(doubts))
        )  # fmt: skip
    return tuple(results)


def _along(
    silences: Sequence[Stretch], index: int, tone_hz: float, half_hz: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Band power in windows through the silences, and the middles of these in s."""
    times_s, powers = [], []
    for one in silences:
        frames, step = round(WINDOW_S * one.rate_hz), round(STEP_S * one.rate_hz)
        samples = one.samples[index]
        for first in range(0, samples.size - frames + 1, step):
            spectrum = Spectrum(samples[first : first + frames], one.rate_hz)
            powers.append(spectrum.band(tone_hz - half_hz, tone_hz + half_hz))
            times_s.append(one.found.starts_s + (first + frames / 2) / one.rate_hz)
    return np.array(times_s), np.array(powers)
