"""What is kept of a recording while it passes by, so that sections can be looked for afterwards.

Per frame of about 60 ms and channel: the strongest spectral peak of every half octave, its
frequency between the bins, and the power of the half octave. Per cell of about 5 ms: the power of
everything, for the edges. Below 250 Hz a slower copy of the sound gives windows of 0.34 s, in which
31.5 and 40 Hz lie apart. A quarter of an hour comes to 20 MB; the sound itself is not kept.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import scipy.fft
import scipy.signal
from numpy.typing import NDArray

from runstrue.errors import SignalError
from runstrue.samples import channel_name

Array = NDArray[np.float64]
Single = NDArray[np.float32]

FRAME_S = 0.06
WINDOW_S = 0.085
SLOW_RATE_HZ = 3000.0
SLOW_WINDOW = 1024
CELLS_PER_FRAME = 12
LOWEST_HZ = 15.625  # 1000 Hz / 2^6
BANDS = 21
SLOW_BANDS = 8  # up to 250 Hz
CLIP_FROM = 0.98  # of full scale, or of a converter that gives up a little below


@dataclass(frozen=True, slots=True, eq=False)
class Features:
    """A recording in short.

    Parameters
    ----------
    frame_s, cell_s : float
        From one frame, or cell, to the next. The middle of frame k lies at
        `first_s` + k · `frame_s`; cell k begins at k · `cell_s`.
    first_s : float
    peak_hz, peak_power, band_power : ndarray of float32, shape (channel, frame, band)
        Power is the mean square; of a full-scale sine 0.5.
    cell_power : ndarray of float32, shape (channel, cell)
        Mean square of everything.
    clipped : ndarray of int32, shape (channel, cell)
        Samples that stand still at the top.
    edges_hz : ndarray, shape (band + 1,)
    duration_s : float
    difference : float
        R.m.s. of left less right over the r.m.s. of both; 0 when both channels are one, and for
        a single channel.
    """

    frame_s: float
    first_s: float
    cell_s: float
    peak_hz: Single
    peak_power: Single
    band_power: Single
    cell_power: Single
    clipped: NDArray[np.int32]
    edges_hz: Array
    duration_s: float
    difference: float

    @property
    def channels(self) -> int:
        """Number of channels."""
        return int(self.peak_hz.shape[0])

    @property
    def frames(self) -> int:
        """Number of frames."""
        return int(self.peak_hz.shape[1])

    def middle_s(self, frame: int) -> float:
        """Where the middle of a frame lies."""
        return self.first_s + frame * self.frame_s

    def frame_at(self, time_s: float) -> int:
        """The frame whose middle is nearest to a time, within the recording."""
        return int(np.clip(round((time_s - self.first_s) / self.frame_s), 0, self.frames - 1))

    def band_of(self, frequency_hz: float) -> int:
        """The half octave that a frequency lies in."""
        return int(np.clip(np.searchsorted(self.edges_hz, frequency_hz) - 1, 0, BANDS - 1))


def features_of(
    blocks: Iterable[NDArray[np.floating]],
    rate_hz: float,
    channels: int,
    progress: Callable[[float], None] | None = None,
) -> Features:
    """Listen to a recording once.

    Parameters
    ----------
    blocks : iterable of ndarray, shape (channel, frame)
        Any block sizes; the outcome does not depend on them.
    rate_hz : float
    channels : int
    progress : callable, optional
        Called with the seconds listened to so far.

    Raises
    ------
    SignalError
        When a sample is not a number, or the recording is too short to hold a section.
    """
    listener = _Listener(rate_hz, channels)
    for block in blocks:
        listener.add(np.asarray(block, dtype=np.float32))
        if progress:
            progress(listener.seen_s)
    return listener.features()


class _Listener:
    def __init__(self, rate_hz: float, channels: int) -> None:
        self.rate_hz, self.channels = rate_hz, channels
        self.slower = max(round(rate_hz / SLOW_RATE_HZ), 1)
        unit = self.slower * CELLS_PER_FRAME
        self.hop = max(round(FRAME_S * rate_hz / unit), 1) * unit
        self.window = 1 << round(np.log2(WINDOW_S * rate_hz))
        self.slow_hop = self.hop // self.slower
        self.cell = self.hop // CELLS_PER_FRAME
        self.edges_hz = LOWEST_HZ * 2.0 ** (np.arange(BANDS + 1) / 2)
        self._fast = _Peaks(rate_hz, self.window, self.edges_hz, range(SLOW_BANDS, BANDS))
        self._slow = _Peaks(rate_hz / self.slower, SLOW_WINDOW, self.edges_hz, range(SLOW_BANDS))
        self._for_frames, self._for_cells = _Room(channels), _Room(channels)
        # the slow window's middle lies where the fast one's does
        ahead = SLOW_WINDOW // 2 - self.window // (2 * self.slower)
        self._for_slow = _Room(channels, max(ahead, 0))
        self._parts: list[tuple[Single, Single, Single]] = []
        self._slow_parts: list[tuple[Single, Single, Single]] = []
        self._cells: list[Single] = []
        self._clipped: list[NDArray[np.int32]] = []
        self._mean = np.full(self.slower, 1 / self.slower, dtype=np.float32)
        self._seen = 0
        self._apart = 0.0

    @property
    def seen_s(self) -> float:
        return self._seen / self.rate_hz

    def add(self, block: Single) -> None:
        self._for_frames.extend(block)
        fresh = self._for_frames.values[:, -block.shape[1] :] if block.size else block
        self._refuse_bad(fresh)
        self._seen += block.shape[1]
        if self.channels == 2:
            apart = fresh[0] - fresh[1]
            self._apart += float(apart @ apart)
        self._for_cells.extend(block)
        held = self._for_frames.values
        count = max((held.shape[1] - self.window) // self.hop + 1, 0)
        if count:
            self._parts.append(self._fast.of(held, self.hop, count))
            self._for_frames.drop(count * self.hop)
        self._add_cells()

    def _add_cells(self) -> None:
        """Powers, clipping and the slower copy, in whole cells."""
        cells = self._for_cells.values.shape[1] // self.cell
        whole = self._for_cells.values[:, : cells * self.cell]
        by_cell = whole.reshape(self.channels, cells, self.cell)
        self._cells.append(np.einsum("ijk,ijk->ij", by_cell, by_cell) / np.float32(self.cell))
        self._clipped.append(_standing_at_the_top(by_cell))
        self._for_slow.extend(whole.reshape(self.channels, -1, self.slower) @ self._mean)
        self._for_cells.drop(whole.shape[1])
        held = self._for_slow.values
        count = max((held.shape[1] - SLOW_WINDOW) // self.slow_hop + 1, 0)
        if count:
            self._slow_parts.append(self._slow.of(held, self.slow_hop, count))
            self._for_slow.drop(count * self.slow_hop)

    def features(self) -> Features:
        frames = sum(part[0].shape[1] for part in self._parts)
        if frames < 2:
            raise SignalError(
                f"The recording lasts {self._seen / self.rate_hz:.2f} s",
                "a second at least is needed to find anything in it",
                "record the whole programme",
            )
        # what the last slow windows lack is silence
        missing = frames - sum(part[0].shape[1] for part in self._slow_parts)
        if missing > 0:
            held = self._for_slow.values
            needed = (missing - 1) * self.slow_hop + SLOW_WINDOW - held.shape[1]
            rest = np.pad(held, ((0, 0), (0, max(needed, 0))))
            self._slow_parts.append(self._slow.of(rest, self.slow_hop, missing))
        joined = [
            np.concatenate(
                [
                    np.concatenate([part[kind] for part in self._slow_parts], axis=1)[:, :frames],
                    np.concatenate([part[kind] for part in self._parts], axis=1),
                ],
                axis=2,
            )
            for kind in range(3)
        ]
        cell_power = np.concatenate(self._cells, axis=1)
        power = float(cell_power.sum(dtype=np.float64)) * self.cell
        return Features(
            frame_s=self.hop / self.rate_hz,
            first_s=self.window / (2 * self.rate_hz),
            cell_s=self.cell / self.rate_hz,
            peak_hz=joined[0],
            peak_power=joined[1],
            band_power=joined[2],
            cell_power=cell_power,
            clipped=np.concatenate(self._clipped, axis=1),
            edges_hz=self.edges_hz,
            duration_s=self._seen / self.rate_hz,
            # (left − right)² and (left + right)² together are twice left² and right²
            difference=float(np.sqrt(self._apart / (2 * power))) if power > 0 else 0.0,
        )

    def _refuse_bad(self, block: Single) -> None:
        for channel, row in enumerate(block):
            if row.size and not np.isfinite(row.sum()):
                where = self._seen + int(np.flatnonzero(~np.isfinite(row))[:1].sum())
                raise SignalError(
                    f"The sample at {where / self.rate_hz:.3f} s on the "
                    f"{channel_name(channel, self.channels)} channel is not a number",
                    "finite samples are needed",
                    "export the recording again as 16 or 24 bit",
                )


class _Room:
    """Sound that waits until there is enough of it, in memory that is used again and again."""

    def __init__(self, channels: int, silent: int = 0) -> None:
        self._held = np.zeros((channels, silent), dtype=np.float32)
        self._used = silent

    @property
    def values(self) -> Single:
        return self._held[:, : self._used]

    def extend(self, block: Single) -> None:
        needed = self._used + block.shape[1]
        if needed > self._held.shape[1]:
            larger = np.empty((self._held.shape[0], needed + needed // 4), dtype=np.float32)
            larger[:, : self._used] = self.values
            self._held = larger
        self._held[:, self._used : needed] = block
        self._used = needed

    def drop(self, count: int) -> None:
        left = self._used - count
        self._held[:, :left] = self._held[:, count : self._used].copy()
        self._used = left


class _Peaks:
    """Peaks of the spectrum, one in each of some half octaves."""

    def __init__(self, rate_hz: float, window: int, edges_hz: Array, bands: range) -> None:
        self.bin_hz = rate_hz / window
        self.shape = scipy.signal.windows.hann(window, sym=False).astype(np.float32)
        self.size = window
        # kept from call to call: fresh memory costs more than the sums that go into it
        self._shaped = np.empty((0, 0, window), dtype=np.float32)
        edges = np.rint(np.asarray(edges_hz[bands.start : bands.stop + 1]) / self.bin_hz)
        # at a low rate the highest bands lie beyond its half: they get one bin each
        most = window // 2 - np.arange(len(bands), -1, -1)
        self.edges = np.minimum(edges.astype(int), most)
        self.spans = list(pairwise(self.edges.tolist()))
        widths = np.diff(self.edges)
        self.even = np.minimum(3 / widths, 1.0).astype(np.float32)
        # a sine of amplitude 1 leaves (window/2)² / 4 in its bin of a Hann spectrum, and half as
        # much again in the neighbours; its mean square is 1/2
        self.scale = np.float32(2.0 * 4.0 / (window**2 * 1.5) / 1.0)

    def of(self, held: Single, hop: int, count: int) -> tuple[Single, Single, Single]:
        """Frequency and power of the peaks, and power of the bands: (channel, frame, band)."""
        windows = np.lib.stride_tricks.sliding_window_view(held, self.size, axis=1)
        windows = windows[:, : (count - 1) * hop + 1 : hop]
        if self._shaped.shape[1] < count or self._shaped.shape[0] != windows.shape[0]:
            self._shaped = np.empty(windows.shape, dtype=np.float32)
        shaped = np.multiply(windows, self.shape, out=self._shaped[:, :count])
        spectrum = scipy.fft.rfft(shaped, axis=2)
        parts = spectrum.view(np.float32)
        parts *= parts
        power = parts[:, :, ::2] + parts[:, :, 1::2]
        best = np.stack(
            [power[:, :, begin:end].argmax(axis=2) + begin for begin, end in self.spans], axis=2
        )
        total = np.add.reduceat(power, self.edges, axis=2)[:, :, : len(self.spans)] * self.scale
        best = np.minimum(best, power.shape[2] - 2)
        low, mid, high = (np.take_along_axis(power, best + aside, 2) for aside in (-1, 0, 1))
        # between the bins: for a Hann window the ratio a of the larger neighbour to the peak puts
        # the tone (2a − 1) / (a + 1) of a bin aside (exact for a lone sine)
        ratio = np.sqrt(np.maximum(low, high) / np.maximum(mid, 1e-30))
        offset = np.clip((2 * ratio - 1) / (ratio + 1), 0.0, 0.5) * np.where(high > low, 1.0, -1.0)
        # what rises towards the edge belongs to a neighbour and is no peak of this band
        tops = (mid >= low) & (mid >= high)
        peak = np.where(tops, (low + mid + high) * self.scale, total * self.even)
        hz = (best + offset) * self.bin_hz
        return hz.astype(np.float32), peak.astype(np.float32), total.astype(np.float32)


def _standing_at_the_top(by_cell: Single) -> NDArray[np.int32]:
    """Samples per cell that are at full scale, like the one before."""
    counts = np.zeros(by_cell.shape[:2], dtype=np.int32)
    if not by_cell.size or max(by_cell.max(), -by_cell.min()) < CLIP_FROM:
        return counts
    top = np.maximum(by_cell.max(axis=2), -by_cell.min(axis=2))
    for channel, cell in np.argwhere(top >= CLIP_FROM):
        row = np.abs(by_cell[channel, cell])
        at_top = row >= 0.9999 * row.max()
        counts[channel, cell] = np.count_nonzero(at_top[1:] & at_top[:-1])
    return counts
