"""Modulation noise: what a recorded tone adds to the noise of the tape.

The noise from 20 Hz to 20 kHz beside a tone, with the tone, its harmonics and what flutter makes
of them left out, less the noise of a silent stretch. Tape data sheets know it in several forms
(notch and side bands, or noise of a recorded direct current); this is the first, and the width
left out is stated with it.
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
from runstrue.result import Result

BAND_HZ = (20.0, 20_000.0)
LEFT_OUT = 1.5  # half widths of a tone's own band, either side
PARTS = 8  # the stretches are cut into so many: their scatter tells the uncertainty
SHORTEST_S = 4.0


def measure_modulation_noise(
    tone: Stretch, silence: Stretch, channels: Sequence[str]
) -> tuple[Result, ...]:
    """Noise that a tone brings with it, in dB below the tone.

    Parameters
    ----------
    tone : Stretch
        Of one tone, 4 s or more.
    silence : Stretch
        Of the same tape, 4 s or more.
    channels : sequence of str

    Returns
    -------
    tuple of Result
        `noise.modulation`; without a figure where the tone adds nothing that can be seen.
    """
    shortest_s = min(tone.duration_s, silence.duration_s)
    if shortest_s < SHORTEST_S:
        raise SignalError(
            f"Only {shortest_s:.1f} s of tone or silence were found",
            f"{SHORTEST_S:g} s of each are needed for modulation noise",
        )
    tone_hz = tone.section.frequencies_hz[0] * tone.found.speed_ratio
    gaps = [
        (n * tone_hz, LEFT_OUT * half_width_hz(n * tone_hz))
        for n in range(1, int(BAND_HZ[1] / tone_hz) + 1)
    ]
    results = []
    for index, name in enumerate(channels):
        with_tone = _beside(tone.samples[index], tone.rate_hz, gaps)
        without = _beside(silence.samples[index], silence.rate_hz, gaps)
        full = Spectrum(tone.samples[index], tone.rate_hz).around(tone_hz, gaps[0][1] / LEFT_OUT)
        added = float(with_tone.mean() - without.mean())
        u_added = math.hypot(
            *(float(part.std(ddof=1)) / math.sqrt(PARTS) for part in (with_tone, without))
        )
        conditions = {
            "tone": f"{tone.section.frequencies_hz[0]:g} Hz",
            "left out": f"±{gaps[0][1]:.0f} Hz around the tone, likewise its harmonics",
        }
        if added < 2 * u_added:
            doubt = "The tone adds no noise that stands above the tape's own."
            results.append(
                Result("noise.modulation", "modulation-noise/1", name, None,
                       conditions=conditions, doubts=(doubt,))
            )  # fmt: skip
            continue
        budget = Budget(
            (
                Contribution(
                    "finite length", 10 / math.log(10) * u_added / added, "random",
                    degrees_of_freedom=2 * (PARTS - 1),
                ),
            )
        )  # fmt: skip
        below_db = 10 * math.log10(full.power / added)
        results.append(
            Result("noise.modulation", "modulation-noise/1", name, budget.quantity(below_db, "dB"),
                   budget, conditions=conditions)
        )  # fmt: skip
    return tuple(results)


def _beside(
    samples: NDArray[np.floating], rate_hz: float, gaps: Sequence[tuple[float, float]]
) -> NDArray[np.float64]:
    """Power outside of the gaps, part by part."""
    powers = []
    for part in np.array_split(samples, PARTS):
        spectrum = Spectrum(part, rate_hz)
        frequency_hz = np.arange(spectrum.size) * spectrum.bin_hz
        kept = (frequency_hz >= BAND_HZ[0]) & (frequency_hz <= BAND_HZ[1])
        for middle_hz, half_hz in gaps:
            kept &= np.abs(frequency_hz - middle_hz) > half_hz
        powers.append(float(spectrum.power[kept].sum()))
    return np.array(powers)
