"""A steady tone, known by its phase at every place of the tape."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from runstrue.errors import InputError
from runstrue.stimulus.protocol import Positions, Samples

# A tone that is cut hard rings in every converter; recorders fade in and out. Own choice.
EDGE_S = 0.005


@dataclass(frozen=True, slots=True)
class Tone:
    """A sine on all tracks.

    Parameters
    ----------
    frequency_hz : float
        At nominal tape speed, more than 0.
    level_dbfs : float
        Level against a sine that just reaches full scale (AES17: 0 dB FS is the level of
        such a sine): −6 gives an amplitude of 0.501.
    starts_s, lasts_s : float
        Where on the tape the tone begins, and its length, in seconds at nominal speed. Before
        and after there is silence, with fades of 5 ms inside the tone.

    Raises
    ------
    InputError
        When a figure is out of its range.
    """

    frequency_hz: float
    level_dbfs: float = -6.0
    starts_s: float = -math.inf
    lasts_s: float = math.inf

    def __post_init__(self) -> None:
        if not (math.isfinite(self.frequency_hz) and self.frequency_hz > 0):
            raise InputError(
                f"A tone of {self.frequency_hz} Hz was asked for",
                "a frequency above 0 is needed",
            )
        if not math.isfinite(self.level_dbfs):
            raise InputError(
                f"A tone at {self.level_dbfs} dB FS was asked for", "a finite level is needed"
            )
        if math.isnan(self.starts_s) or not self.lasts_s > 0:
            raise InputError(
                f"A tone of {self.lasts_s} s was asked for", "a length above 0 is needed"
            )

    @property
    def name(self) -> str:
        """In plain words."""
        return f"tone of {self.frequency_hz:g} Hz"

    @property
    def tracks(self) -> int:
        """All channels carry the same."""
        return 1

    @property
    def amplitude(self) -> float:
        """Peak value; full scale is 1."""
        return float(10 ** (self.level_dbfs / 20))

    @property
    def rms(self) -> float:
        """Root mean square where the tone sounds."""
        return self.amplitude / math.sqrt(2)

    @property
    def tone_hz(self) -> float:
        """The tone at nominal speed."""
        return self.frequency_hz

    def read(self, track: int, base_s: Fraction, offsets_s: Positions) -> Samples:
        """Read the tone; see `Stimulus.read`.

        Notes
        -----
        The phase at the exact part is reduced to one cycle in exact arithmetic, so that only
        the rest is rounded: 15 kHz times an offset of 1 s leaves 2·10⁻¹² of a cycle.
        """
        start_turns = float(Fraction(self.frequency_hz) * base_s % 1)
        turns = start_turns + self.frequency_hz * offsets_s
        turns -= np.rint(turns)
        tone = self.amplitude * np.sin(2 * np.pi * turns)
        if math.isfinite(self.starts_s) or math.isfinite(self.lasts_s):
            tone *= self._presence(float(base_s) + offsets_s)
        return tone

    def _presence(self, positions_s: Positions) -> Samples:
        """1 inside the tone, 0 outside, a raised cosine at its edges."""
        presence = np.ones_like(positions_s)
        ends_s = self.starts_s + self.lasts_s
        for inward_s in (positions_s - self.starts_s, ends_s - positions_s):
            presence *= 0.5 - 0.5 * np.cos(np.pi * np.clip(inward_s / EDGE_S, 0, 1))
        return presence
