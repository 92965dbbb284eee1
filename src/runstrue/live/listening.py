"""Following the tone through live sound, and cutting out of it what a file would have given.

The demodulator of the file path runs along with the sound. A stretch of what it gave is the same
as what it would have given for a file of that stretch, but for the ends: a file has silence
before and after, which reaches 0.07 s into it through the filters. So both ends are gone through
once more on their own, and the outcome is the file's, to rounding, at a hundredth of the work.
"""

from __future__ import annotations

import threading
from collections import deque
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from runstrue.dsp.demodulate import CELL_SAMPLES, Band, Demodulated, Demodulator
from runstrue.live.trail import Trail
from runstrue.measure.listen import CELL_FIELDS, Health, HealthCheck, ToneTrack, channel_names

EDGE_S = 0.3  # of either end, gone through again; the filters reach 0.07 s
LEAST_S = 3 * EDGE_S


@dataclass(frozen=True, slots=True)
class _Seen:
    """What one block was like, per channel."""

    end: int
    frames: int
    health: Health


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """A stretch of live sound, followed as if it were a file of its own.

    Parameters
    ----------
    first_frame, frames : int
        Where it lies; `first_frame` is a multiple of the demodulator's grid.
    track : ToneTrack
    """

    first_frame: int
    frames: int
    track: ToneTrack


class Listening:
    """The tone through the newest sound.

    Parameters
    ----------
    rate_hz : float
    channels : int
    band : Band
    held_s : float
        How far back a stretch may reach.
    """

    def __init__(self, rate_hz: float, channels: int, band: Band, held_s: float) -> None:
        self.rate_hz, self.channels, self.band = rate_hz, channels, band
        self._demodulator = Demodulator(rate_hz, channels, band, prompt=True)
        self._for_ends = Demodulator(rate_hz, channels, band)
        self.value_rate_hz = self._demodulator.deviation_rate_hz
        self.grid_frames = self._demodulator.grid_frames
        self._cells_per_grid = round(self.grid_frames / rate_hz * self.value_rate_hz / CELL_SAMPLES)
        held = held_s + self.grid_frames / rate_hz + 1.0
        self._sound = Trail(channels, int(held * rate_hz))
        self._offset = Trail(channels, int(held * self.value_rate_hz))
        cells = int(held * self.value_rate_hz / CELL_SAMPLES) + 1
        self._cells = {name: Trail(channels, cells) for name in CELL_FIELDS}
        self._seen: deque[_Seen] = deque()
        self._lock = threading.Lock()

    @property
    def frames(self) -> int:
        """Frames heard so far."""
        return self._sound.end

    @property
    def held_frames(self) -> int:
        """Frames that a stretch may reach back."""
        return self._sound.end - self._sound.first

    def add(self, samples: NDArray[np.float32]) -> tuple[Demodulated, Health]:
        """Take the next block, shape (channel, frame); return what it completes and was like.

        Raises
        ------
        SignalError
            When a sample is not a number.
        """
        check = HealthCheck(self.channels, self.rate_hz)
        check.add(samples)
        health = check.health()
        with self._lock:
            part = self._demodulator.process(samples)
            self._sound.extend(samples)
            self._offset.extend(part.offset_hz)
            for name, trail in self._cells.items():
                trail.extend(getattr(part, name))
            self._seen.append(_Seen(self.frames, samples.shape[1], health))
            while self._seen and self._seen[0].end <= self._sound.first:
                self._seen.popleft()
        return part, health

    def stretch(self, seconds: float, end_frame: int | None = None) -> Stretch | None:
        """Return the newest stretch of at least this length as a file of it would be followed.

        Parameters
        ----------
        seconds : float
            Lengthened to the demodulator's grid; shortened to what is there.
        end_frame : int, optional
            Where it ends, if not at the newest frame.

        Returns
        -------
        Stretch or None
            None when there is too little sound.
        """
        with self._lock:
            end = self.frames if end_frame is None else min(end_frame, self.frames)
            grid = self.grid_frames
            oldest = -(-self._sound.first // grid)
            first = max((end - round(seconds * self.rate_hz)) // grid, oldest) * grid
            if end - first < max(LEAST_S * self.rate_hz, 3 * self._edge_frames):
                return None
            return self._cut(first, end)

    @property
    def _edge_frames(self) -> int:
        """`EDGE_S`, lengthened to the grid."""
        return -(-int(EDGE_S * self.rate_hz) // self.grid_frames) * self.grid_frames

    def _cut(self, first: int, end: int) -> Stretch:
        edge, grid = self._edge_frames, self.grid_frames
        tail = (end - edge) // grid * grid
        head_cells = edge // grid * self._cells_per_grid
        head = self._again(first, first + 2 * edge, finish=False)
        last = self._again(tail - edge, end, finish=True)
        from_cell = first // grid * self._cells_per_grid
        to_cell = tail // grid * self._cells_per_grid
        track = ToneTrack(
            rate_hz=self.value_rate_hz,
            band=self.band,
            offset_hz=np.concatenate(
                (
                    head.offset_hz[:, : head_cells * CELL_SAMPLES],
                    self._offset.between(
                        (from_cell + head_cells) * CELL_SAMPLES, to_cell * CELL_SAMPLES
                    ),
                    last.offset_hz[:, head_cells * CELL_SAMPLES :],
                ),
                axis=1,
                dtype=np.float32,
            ),
            **{
                name: np.concatenate(
                    (
                        getattr(head, name)[:, :head_cells],
                        trail.between(from_cell + head_cells, to_cell),
                        getattr(last, name)[:, head_cells:],
                    ),
                    axis=1,
                    dtype=np.float32,
                )
                for name, trail in self._cells.items()
            },
            duration_s=(end - first) / self.rate_hz,
            channels=channel_names(self.channels),
            health=self._health(first, end),
        )
        return Stretch(first, end - first, track)

    def _again(self, first: int, end: int, *, finish: bool) -> Demodulated:
        """Follow a short stretch anew, with silence before it and, if asked, after it."""
        demodulator = self._for_ends.fresh()
        part = demodulator.process(self._sound.between(first, end))
        if not finish:
            return part
        rest = demodulator.finish()
        return Demodulated(
            *(
                np.concatenate((getattr(part, name), getattr(rest, name)), axis=1)
                for name in Demodulated.__slots__
            )
        )

    def _health(self, first: int, end: int) -> Health:
        """What the blocks of a stretch were like, taken together."""
        seen = [one for one in self._seen if one.end > first and one.end - one.frames < end]
        frames = np.array([one.frames for one in seen], dtype=np.float64)
        share = frames / frames.sum()
        peak, rms, mean, clipped = (
            np.array([getattr(one.health, name) for one in seen])
            for name in ("peak", "rms", "mean", "clipped_share")
        )
        whole_mean = share @ mean
        square = share @ (rms**2 + mean**2)
        newest = HealthCheck(self.channels, self.rate_hz)
        newest.add(self._sound.between(max(end - 16_384, first), end))
        return Health(
            tuple(peak.max(axis=0).tolist()),
            tuple(np.sqrt(np.maximum(square - whole_mean**2, 0)).tolist()),
            tuple(whole_mean.tolist()),
            tuple((share @ clipped).tolist()),
            newest.health().lone_tone_hz,
        )
