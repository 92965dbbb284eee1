"""What every stimulus answers: what is on the tape at given places of the tape."""

from __future__ import annotations

from fractions import Fraction
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

Positions = NDArray[np.float64]
Samples = NDArray[np.float64]


class Stimulus(Protocol):
    """Something recorded on a tape, read by tape position.

    A tape position is given in seconds at nominal speed, from the beginning of the tape. It
    comes in two parts, an exact one and a small rest, because a tone of 15 kHz has gone
    through 40 million cycles after 45 minutes, and one double can no longer place it within a
    thousand-millionth of a cycle.
    """

    @property
    def name(self) -> str:
        """In plain words, for the record: 'tone of 3150 Hz'."""
        ...

    @property
    def tracks(self) -> int:
        """Number of different tracks; 1 when all channels carry the same."""
        ...

    @property
    def rms(self) -> float:
        """Root mean square where it sounds; full scale is ±1."""
        ...

    @property
    def tone_hz(self) -> float | None:
        """The tone at nominal speed, or None where there is not just one."""
        ...

    def read(self, track: int, base_s: Fraction, offsets_s: Positions) -> Samples:
        """Read one track.

        Parameters
        ----------
        track : int
            From 0 to ``tracks − 1``.
        base_s : Fraction
            Exact part of the tape position, in seconds at nominal speed.
        offsets_s : ndarray of float64, shape (frame,)
            What is added to it.

        Returns
        -------
        ndarray of float64, shape (frame,)
        """
        ...
