"""What becomes of a stretch that is kept."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Kept:
    """A stretch of live sound as a file, ready to be measured like any other recording.

    Parameters
    ----------
    path : Path
        A FLAC file of 24 bits that holds the very numbers the live figures rest on.
    rate_hz : float
    first_frame, frames : int
        Where it lies in the session.
    source : str
        Name of the source.
    began : str
        Local date and time of its first frame, ISO 8601.
    doubts : tuple of str
        What befell it: lost sound, a lost device. To be told with its reading.
    """

    path: Path
    rate_hz: float
    first_frame: int
    frames: int
    source: str
    began: str
    doubts: tuple[str, ...] = ()

    @property
    def length_s(self) -> float:
        """Length in seconds."""
        return self.frames / self.rate_hz
