"""A stimulus that is given as samples: speech, music, a sweep, a whole test programme.

Between the samples it is read by a windowed sinc, so that a deck that runs off speed plays it
as a real one would.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from runstrue.errors import SignalError
from runstrue.stimulus.protocol import Positions, Samples

# Kaiser's formulas (Kaiser 1974; in Oppenheim & Schafer, Discrete-Time Signal Processing):
# 120 dB of stop band need beta = 0.1102 (120 − 8.7) = 12.3, and 64 taps then need a transition
# of (120 − 8) / (2.285 · 64) = 0.77 rad = 0.122 of the rate, half of it below the Nyquist
# frequency: content up to 0.438 of the rate is read to about −120 dB.
TAPS = 64
KAISER_BETA = 12.3
CLEAN_SHARE_OF_RATE = 0.438

# Steps of the table between two samples. It is interpolated linearly; the second derivative of
# a sinc is at most pi²/3, so the error is at most (pi²/3) / (8 · 4096²) = 2.5e-8 (−152 dB) a tap.
STEPS = 4096


@dataclass(frozen=True, slots=True, eq=False)
class Sampled:
    """Samples as recorded on a tape at nominal speed, beginning at position 0.

    Parameters
    ----------
    samples : ndarray of float, shape (track, frame)
        Full scale is ±1. Before and after them the tape is silent.
    rate_hz : float
        More than 0.
    name : str
        In plain words.
    tone_hz : float or None
        Set it when the samples hold one tone.

    Raises
    ------
    SignalError
        When the shape is wrong, there are no samples, or one is not a finite number.

    Notes
    -----
    Content up to 0.438 of `rate_hz` is read with an error of about −120 dB of its own level;
    above it the error rises until the Nyquist frequency. Where the deck plays so fast that
    content would pass half the rate of the recording, it folds back, as nothing filters it.
    """

    samples: NDArray[np.floating]
    rate_hz: float
    name: str = "given samples"
    tone_hz: float | None = None
    _padded: NDArray[np.float64] = field(init=False, repr=False)
    _rms: float = field(init=False, repr=False)

    def __post_init__(self) -> None:
        if self.samples.ndim != 2 or 0 in self.samples.shape:
            raise SignalError(
                f"A stimulus of shape {self.samples.shape} was handed over",
                "the shape (track, frame) with at least one frame is needed",
            )
        if not (math.isfinite(self.rate_hz) and self.rate_hz > 0):
            raise SignalError(f"A rate of {self.rate_hz} Hz was handed over", "it must be above 0")
        if not np.isfinite(self.samples).all():
            raise SignalError(
                "A stimulus with samples that are not finite numbers was handed over",
                "finite samples are needed",
            )
        silence = ((0, 0), (TAPS, TAPS))
        padded = np.pad(np.asarray(self.samples, dtype=np.float64), silence)
        object.__setattr__(self, "_padded", padded)
        object.__setattr__(self, "_rms", float(np.sqrt(np.mean(np.square(padded)))))

    @property
    def tracks(self) -> int:
        """Number of tracks."""
        return int(self.samples.shape[0])

    @property
    def rms(self) -> float:
        """Root mean square over all tracks and frames."""
        frames = self.samples.shape[1]
        return self._rms * math.sqrt((frames + 2 * TAPS) / frames)

    def read(self, track: int, base_s: Fraction, offsets_s: Positions) -> Samples:
        """Read one track between its samples; see `Stimulus.read`."""
        exact = Fraction(self.rate_hz) * base_s
        whole = math.floor(exact)
        places = float(exact - whole) + self.rate_hz * offsets_s
        floors = np.floor(places)
        steps = (places - floors) * STEPS
        rows = np.minimum(steps.astype(np.intp), STEPS - 1)
        between = steps - rows
        # the sample at place 0 is number TAPS of the padded ones and tap TAPS/2 − 1 of its window
        first = whole + floors.astype(np.int64) + TAPS - (TAPS // 2 - 1)
        last = self._padded.shape[1] - TAPS
        inside = (first >= 0) & (first <= last)
        windows = sliding_window_view(self._padded[track], TAPS)[np.clip(first, 0, last)]
        table = _sinc_table()
        below = np.einsum("ij,ij->i", windows, table[rows])
        above = np.einsum("ij,ij->i", windows, table[rows + 1])
        return np.where(inside, below + between * (above - below), 0.0)


@lru_cache(maxsize=1)
def _sinc_table() -> NDArray[np.float64]:
    """Rows of taps for each step between two samples, shape (STEPS + 1, TAPS)."""
    distance = np.arange(STEPS + 1)[:, None] / STEPS - (np.arange(TAPS)[None, :] - TAPS // 2 + 1)
    inside = np.clip(1 - (distance / (TAPS / 2)) ** 2, 0, None)
    window = np.i0(KAISER_BETA * np.sqrt(inside)) / np.i0(KAISER_BETA)
    return np.asarray(np.sinc(distance) * window)
