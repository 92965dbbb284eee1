"""What is kept of a recording while it passes by, so that sections can be looked for afterwards.

Per frame of about 50 ms and channel: the strongest spectral peak of every half octave, its
frequency between the bins, and the power of the half octave. Per cell of about 5 ms: the power of
everything, for the edges. Below 250 Hz a slower copy of the sound gives windows of 0.34 s, in which
31.5 and 40 Hz lie apart. A quarter of an hour comes to 20 MB; the sound itself is not kept.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np
import scipy.fft
import scipy.signal
from numpy.typing import NDArray

from runstrue.errors import SignalError
from runstrue.samples import channel_name

Array = NDArray[np.float64]
Single = NDArray[np.float32]

FRAME_S = 0.05
WINDOW_S = 0.085
SLOW_RATE_HZ = 3000.0
SLOW_WINDOW = 1024
CELLS_PER_FRAME = 10
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
        listener.add(np.ascontiguousarray(block, dtype=np.float32))
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
        self._held = np.zeros((channels, 0), dtype=np.float32)
        self._left_over = np.zeros((channels, 0), dtype=np.float32)
        # the slow window's middle lies where the fast one's does
        ahead = SLOW_WINDOW // 2 - self.window // (2 * self.slower)
        self._slow_held = np.zeros((channels, max(ahead, 0)), dtype=np.float32)
        self._parts: list[tuple[Single, Single, Single]] = []
        self._slow_parts: list[tuple[Single, Single, Single]] = []
        self._cells: list[Single] = []
        self._clipped: list[NDArray[np.int32]] = []
        self._seen = 0
        self._powers = np.zeros(2)

    @property
    def seen_s(self) -> float:
        return self._seen / self.rate_hz

    def add(self, block: Single) -> None:
        self._refuse_bad(block)
        self._seen += block.shape[1]
        if self.channels == 2:
            both, apart = block[0] + block[1], block[0] - block[1]
            self._powers += float(both @ both), float(apart @ apart)
        self._held = np.concatenate([self._held, block], axis=1)
        count = max((self._held.shape[1] - self.window) // self.hop + 1, 0)
        if count:
            self._parts.append(self._fast.of(self._held, self.hop, count))
            self._held = self._held[:, count * self.hop :]
        fresh = np.concatenate([self._left_over, block], axis=1)
        self._add_cells(fresh)

    def _add_cells(self, fresh: Single) -> None:
        """Powers, clipping and the slower copy, in whole cells."""
        cells = fresh.shape[1] // self.cell
        whole = fresh[:, : cells * self.cell]
        self._left_over = fresh[:, cells * self.cell :]
        by_cell = whole.reshape(self.channels, cells, self.cell)
        self._cells.append(np.einsum("ijk,ijk->ij", by_cell, by_cell) / np.float32(self.cell))
        self._clipped.append(_standing_at_the_top(by_cell))
        slow = whole.reshape(self.channels, -1, self.slower).mean(axis=2)
        self._slow_held = np.concatenate([self._slow_held, slow], axis=1)
        count = max((self._slow_held.shape[1] - SLOW_WINDOW) // self.slow_hop + 1, 0)
        if count:
            self._slow_parts.append(self._slow.of(self._slow_held, self.slow_hop, count))
            self._slow_held = self._slow_held[:, count * self.slow_hop :]

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
            needed = (missing - 1) * self.slow_hop + SLOW_WINDOW - self._slow_held.shape[1]
            rest = np.pad(self._slow_held, ((0, 0), (0, max(needed, 0))))
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
        both, apart = self._powers
        return Features(
            frame_s=self.hop / self.rate_hz,
            first_s=self.window / (2 * self.rate_hz),
            cell_s=self.cell / self.rate_hz,
            peak_hz=joined[0],
            peak_power=joined[1],
            band_power=joined[2],
            cell_power=np.concatenate(self._cells, axis=1),
            clipped=np.concatenate(self._clipped, axis=1),
            edges_hz=self.edges_hz,
            duration_s=self._seen / self.rate_hz,
            difference=float(np.sqrt(apart / (both + apart))) if both + apart > 0 else 0.0,
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


class _Peaks:
    """Peaks of the spectrum, one in each of some half octaves."""

    def __init__(self, rate_hz: float, window: int, edges_hz: Array, bands: range) -> None:
        self.bin_hz = rate_hz / window
        self.shape = scipy.signal.windows.hann(window, sym=False).astype(np.float32)
        self.size = window
        last = window // 2
        edges = np.clip(np.rint(edges_hz / self.bin_hz).astype(int), 1, last)
        self.spans = [(int(edges[band]), int(edges[band + 1])) for band in bands]
        # a sine of amplitude 1 leaves (window/2)² / 4 in its bin of a Hann spectrum, and half as
        # much again in the neighbours; its mean square is 1/2
        self.scale = np.float32(2.0 * 4.0 / (window**2 * 1.5) / 1.0)

    def of(self, held: Single, hop: int, count: int) -> tuple[Single, Single, Single]:
        """Frequency and power of the peaks, and power of the bands: (channel, frame, band)."""
        windows = np.lib.stride_tricks.sliding_window_view(held, self.size, axis=1)
        windows = windows[:, : (count - 1) * hop + 1 : hop]
        spectrum = scipy.fft.rfft(windows * self.shape, axis=2)
        power = spectrum.real**2 + spectrum.imag**2
        shape = (*power.shape[:2], len(self.spans))
        hz, peak, total = (np.zeros(shape, dtype=np.float32) for _ in range(3))
        rows, columns = np.ogrid[: shape[0], : shape[1]]
        for number, (begin, end) in enumerate(self.spans):
            if end <= begin:
                continue
            part = power[:, :, begin:end]
            best = part.argmax(axis=2) + begin
            best = np.minimum(best, power.shape[2] - 2)
            low = power[rows, columns, best - 1]
            mid = power[rows, columns, best]
            high = power[rows, columns, best + 1]
            # between the bins: for a Hann window the ratio a of the larger neighbour to the peak
            # puts the tone (2a − 1) / (a + 1) of a bin aside (exact for a lone sine)
            aside = np.where(high > low, 1.0, -1.0)
            ratio = np.sqrt(np.maximum(low, high) / np.maximum(mid, 1e-30))
            offset = np.clip((2 * ratio - 1) / (ratio + 1), 0.0, 0.5) * aside
            hz[:, :, number] = (best + offset) * self.bin_hz
            total[:, :, number] = part.sum(axis=2) * self.scale
            # what rises towards the edge belongs to a neighbour and is no peak of this band
            tops = (mid >= low) & (mid >= high)
            even = total[:, :, number] * np.float32(min(3 / (end - begin), 1.0))
            peak[:, :, number] = np.where(tops, (low + mid + high) * self.scale, even)
        return hz, peak, total


def _standing_at_the_top(by_cell: Single) -> NDArray[np.int32]:
    """Samples per cell that are at full scale, like the one before."""
    counts = np.zeros(by_cell.shape[:2], dtype=np.int32)
    top = np.maximum(by_cell.max(axis=2), -by_cell.min(axis=2))
    for channel, cell in np.argwhere(top >= CLIP_FROM):
        row = np.abs(by_cell[channel, cell])
        at_top = row >= 0.9999 * row.max()
        counts[channel, cell] = np.count_nonzero(at_top[1:] & at_top[:-1])
    return counts
