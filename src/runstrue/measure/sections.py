"""Sections of a programme, found again in a recording, and the stretches that are measured.

    finding = find_sections(source, programme)      # one pass over the recording, block by block
    stretch = read_stretch(source, finding.found[3])   # seeks; only this stretch is in memory

`runstrue.measure.finding` does the finding; here stand the types that cross.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from runstrue.errors import InputError, SignalError
from runstrue.stimulus.programme import Programme, Section


class Source(Protocol):
    """Anything that gives a recording block by block: a file, a signal in memory."""

    rate_hz: float
    channels: int

    def blocks(self) -> Iterator[NDArray[np.float32]]:
        """Yield blocks of shape (channel, frame)."""
        ...


class SeekSource(Source, Protocol):
    """A source that can also be read from any place."""

    def read(self, first_frame: int, frames: int) -> NDArray[np.floating]:
        """Return frames from a place, shape (channel, frame); fewer at the end."""
        ...


@dataclass(frozen=True, slots=True)
class Found:
    """Where a section lies in a recording.

    Parameters
    ----------
    section : Section
    starts_s, lasts_s : float
        In seconds of the recording. The edges are already inside the section: nothing of the
        fades and of the silence around it is in there.
    speed_ratio : float
        Played frequency over nominal frequency, there.
    level_dbfs : tuple of float
        Per channel: r.m.s. of everything that is heard, against a sine that just reaches full
        scale (AES17).
    swapped : bool
        The first channel of the file holds the right one. Levels here and the samples that
        `read_stretch` returns are in the programme's order, left first.
    """

    section: Section
    starts_s: float
    lasts_s: float
    speed_ratio: float
    level_dbfs: tuple[float, ...]
    swapped: bool = False


@dataclass(frozen=True, slots=True)
class Missing:
    """A section that was not found, or not enough of it; `why` ends a sentence."""

    section: Section
    why: str


@dataclass(frozen=True, slots=True)
class Finding:
    """What was found of a programme.

    Parameters
    ----------
    programme : Programme
    found : tuple of Found
        In the order of the recording.
    missing : tuple of Missing
        In the order of the programme.
    remarks : tuple of str
        Whole sentences: 'This looks like …'.
    trusted : bool
        False when something is wrong with the recording as a whole, so that nothing of it may be
        measured; `remarks` say what.
    channels : tuple of str
        What each channel of the file carries: ('left', 'right'), ('right', 'left') when they are
        swapped, ('mono',).
    speed_ratio : float
        Over the whole recording; 1 where nothing was found.
    """

    programme: Programme
    found: tuple[Found, ...]
    missing: tuple[Missing, ...]
    remarks: tuple[str, ...] = ()
    trusted: bool = True
    channels: tuple[str, ...] = ("left", "right")
    speed_ratio: float = 1.0

    def by_id(self, section_id: str) -> Found | None:
        """Return where one section lies, or None."""
        return next((one for one in self.found if one.section.id == section_id), None)

    def serving(self, quantity_id: str) -> tuple[Found, ...]:
        """Return what was found for a quantity."""
        return tuple(one for one in self.found if quantity_id in one.section.serves)


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """The sound of one section.

    Parameters
    ----------
    found : Found
    samples : ndarray of float, shape (channel, frame)
        Full scale is ±1. Single precision holds 24 bits whole, and half the memory.
    rate_hz : float
    """

    found: Found
    samples: NDArray[np.floating]
    rate_hz: float

    def __post_init__(self) -> None:
        if self.samples.ndim != 2 or not self.rate_hz > 0:
            raise SignalError(
                f"A stretch of shape {self.samples.shape} at {self.rate_hz} Hz was handed over",
                "the shape (channel, frame) and a rate above 0 are needed",
            )

    @property
    def section(self) -> Section:
        """The section that it is of."""
        return self.found.section

    @property
    def channels(self) -> int:
        """Number of channels."""
        return int(self.samples.shape[0])

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return int(self.samples.shape[1]) / self.rate_hz


class HeldSource:
    """A recording that is in memory already.

    Parameters
    ----------
    samples : ndarray of float, shape (channel, frame)
    rate_hz : float
    """

    def __init__(self, samples: NDArray[np.floating], rate_hz: float) -> None:
        if samples.ndim != 2 or not samples.shape[0]:
            raise SignalError(
                f"Samples of shape {samples.shape} were handed over",
                "the shape (channel, frame) is needed",
            )
        self.samples, self.rate_hz = samples, float(rate_hz)
        self.channels, self.frames = int(samples.shape[0]), int(samples.shape[1])

    def blocks(self) -> Iterator[NDArray[np.float32]]:
        """Yield blocks of 2 s."""
        size = max(round(2 * self.rate_hz), 1)
        for first in range(0, self.frames, size):
            yield self.samples[:, first : first + size].astype(np.float32)

    def read(self, first_frame: int, frames: int) -> NDArray[np.float64]:
        """Return frames from a place."""
        return self.samples[:, first_frame : first_frame + frames].astype(np.float64)


def read_stretch(source: SeekSource, found: Found) -> Stretch:
    """Read the sound of one section.

    Raises
    ------
    InputError
        When the recording ends before.
    """
    first = round(found.starts_s * source.rate_hz)
    frames = round(found.lasts_s * source.rate_hz)
    samples = source.read(first, frames)
    if samples.shape[1] < frames:
        raise InputError(
            f"The recording ends inside the section '{found.section.id}'",
            f"{found.lasts_s:.1f} s from {found.starts_s:.1f} s on are needed",
            "find the sections anew in the file as it is now",
        )
    return Stretch(found, samples[::-1] if found.swapped else samples, source.rate_hz)
