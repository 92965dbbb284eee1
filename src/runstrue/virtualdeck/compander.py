"""Companding noise reduction, B-type, as a law in decibels.

The recording half lifts treble by ``lift(level) · share(f)`` decibels, the playing half takes as
much away again. `share` is next to nothing at 400 Hz and next to 1 at 5 kHz; the lift is 10 dB
for soft treble and nothing at reference level (usual figures, from memory). Real systems slide
their band instead; this one stands still, and knows no time constants longer than a frame of
21 ms at 48 kHz. The playing half finds the lift from what reaches it, as it has to: it solves

    lift(level of what is left after lowering by l, plus the level error) = l

which has one root, since the lift changes by less than 1 dB for each dB of level.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray
from scipy import fft

from runstrue.virtualdeck.zero_phase import surrounded

Array = NDArray[np.float64]

MOST_DB = 10.0
HALF_WAY_DB = -20.0
STEEPNESS_DB = 12.0
"""One decade of 10^((level − half way) / steepness): the lift then turns by 0.48 dB a dB."""
FROM_HZ = 1300.0
FRAME = 1024
HOP = 512
GRID_DB = np.linspace(0.0, MOST_DB, 81)


def share(frequencies_hz: Array) -> Array:
    """How much of the lift acts at a frequency, 0 to 1."""
    fourth = (frequencies_hz / FROM_HZ) ** 4
    return np.asarray(fourth / (1 + fourth))


def lift_db(treble_level_db: Array) -> Array:
    """Lift for a level of treble against the reference level."""
    tenths = np.clip((treble_level_db - HALF_WAY_DB) / STEEPNESS_DB, -30.0, 30.0)
    return np.asarray(MOST_DB / (1 + 10**tenths))


def undone_db(treble_level_db: float, share_there: float, level_error_db: float) -> float:
    """Lift that the playing half takes away from a tone of this level as it arrives."""
    left_db = treble_level_db - GRID_DB * share_there + level_error_db
    return float(np.interp(0.0, GRID_DB - lift_db(left_db), GRID_DB))


class Companding:
    """One half at work.

    Parameters
    ----------
    reference_peak : float
    rate_hz : float
    """

    def __init__(self, reference_peak: float, rate_hz: float) -> None:
        rates_hz = np.arange(FRAME // 2 + 1, dtype=np.float64) * (rate_hz / FRAME)
        self.share = share(rates_hz)
        # a sine of peak A under the root of a Hann window: ∑|X|² over its lines is A² FRAME² / 8
        self._scale = 8 / (FRAME * reference_peak) ** 2
        self._window = np.sin(np.pi * np.arange(FRAME) / FRAME)
        self._lowered = 10 ** (-np.outer(self.share, GRID_DB) / 10)  # (line, grid) of power

    def recorded(self, stretches: Iterator[Array]) -> Iterator[Array]:
        """Lift the treble of every stretch."""
        for lines in self._frames(stretches):
            lifts = lift_db(self._level_db((np.abs(lines) ** 2) @ self.share))
            yield self._joined(lines * 10 ** (lifts[..., None] * self.share / 20))

    def played(self, stretches: Iterator[Array], level_error_db: float) -> Iterator[Array]:
        """Lower it again."""
        for lines in self._frames(stretches):
            power = (np.abs(lines) ** 2 * self.share) @ self._lowered  # (channel, frame, grid)
            excess = lift_db(self._level_db(power) + level_error_db) - GRID_DB
            above = np.minimum((excess > 0).sum(axis=-1) - 1, GRID_DB.size - 2).clip(0)
            low, high = (
                np.take_along_axis(excess, above[..., None] + step, axis=-1)[..., 0]
                for step in (0, 1)
            )
            step_db = GRID_DB[1]
            lifts = np.clip(GRID_DB[above] + step_db * low / (low - high), 0.0, MOST_DB)
            yield self._joined(lines * 10 ** (-lifts[..., None] * self.share / 20))

    def _level_db(self, power: Array) -> Array:
        return np.asarray(10 * np.log10(np.maximum(power * self._scale, 1e-15)))

    def _frames(self, stretches: Iterator[Array]) -> Iterator[NDArray[np.complex128]]:
        for whole in surrounded(stretches, HOP):
            frames = sliding_window_view(whole, FRAME, axis=1)[:, ::HOP]
            yield fft.rfft(frames * self._window, axis=-1)

    def _joined(self, lines: NDArray[np.complex128]) -> Array:
        """Lay the frames over each other again; half a frame at both ends belongs elsewhere."""
        frames = fft.irfft(lines, FRAME, axis=-1) * self._window
        channels, count, _ = frames.shape
        out = np.zeros((channels, count + 1, HOP))
        out[:, :-1] += frames[..., :HOP]
        out[:, 1:] += frames[..., HOP:]
        return np.asarray(out.reshape(channels, -1)[:, HOP:-HOP])
