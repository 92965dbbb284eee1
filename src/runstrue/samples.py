"""The one shape in which sound travels: samples, rate and origin together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from runstrue.errors import SignalError

SourceKind = Literal["file", "device", "virtual"]

CHANNEL_NAMES = ("left", "right")


@dataclass(frozen=True, slots=True)
class Origin:
    """Where a signal came from.

    Parameters
    ----------
    kind : {'file', 'device', 'virtual'}
    name : str
        File name without its folder, device name, or preset name.
    sha256 : str
        Of the file's bytes; empty where there is no file.
    calibrated : bool
        Whether full scale is tied to a known voltage.
    overflows : int
        Blocks that the device lost.
    """

    kind: SourceKind
    name: str
    sha256: str = ""
    calibrated: bool = False
    overflows: int = 0


@dataclass(frozen=True, slots=True, eq=False)
class Signal:
    """A stretch of sound.

    Parameters
    ----------
    samples : ndarray of float, shape (channel, frame)
        Full scale is ±1.
    rate_hz : float
        Frames per second, more than 0.
    origin : Origin

    Raises
    ------
    SignalError
        When the shape or the rate is wrong.
    """

    samples: NDArray[np.floating]
    rate_hz: float
    origin: Origin

    def __post_init__(self) -> None:
        if self.samples.ndim != 2 or not self.samples.shape[0]:
            raise SignalError(
                f"Samples of shape {self.samples.shape} were handed over",
                "the shape (channel, frame) is needed",
            )
        if not self.rate_hz > 0:
            raise SignalError(f"A rate of {self.rate_hz} Hz was handed over", "it must be above 0")

    @property
    def channels(self) -> int:
        """Number of channels."""
        return int(self.samples.shape[0])

    @property
    def frames(self) -> int:
        """Number of frames."""
        return int(self.samples.shape[1])

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return self.frames / self.rate_hz


def channel_name(index: int, channels: int) -> str:
    """Name of a channel: 'mono' where it is alone, else 'left', 'right', 'channel 3'."""
    if channels == 1:
        return "mono"
    return CHANNEL_NAMES[index] if index < len(CHANNEL_NAMES) else f"channel {index + 1}"
