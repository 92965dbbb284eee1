"""Dropouts: short losses of level of a steady tone, sorted by depth and length.

No standard says where a dropout begins, so every loss is sorted by both (practice of AES papers:
a histogram over depth and length), and the figure is the number a minute deeper than 6 dB for
longer than 10 ms (own choice, stated with it). Level is the envelope of the tone, smoothed over
2 ms, against its own median over the seconds around, so that a slow change of level is none.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from runstrue.errors import SignalError
from runstrue.measure.sections import Stretch
from runstrue.quantity import Budget, Contribution
from runstrue.result import Condition, Result, Trace

Array = NDArray[np.float64]

DEPTHS_DB = (3.0, 6.0, 10.0, 15.0, 20.0)
LENGTHS_MS = (2.0, 5.0, 10.0, 20.0, 50.0, 100.0)
COUNTED_DEPTH_DB, COUNTED_LENGTH_MS = 6.0, 10.0
STEP_S = 0.0005
SMOOTH_S = 0.002
AROUND_S = 2.0
SHORTEST_S = 10.0


@dataclass(frozen=True, slots=True)
class Dropout:
    """One loss: when it began, how long it lay 3 dB down or deeper, and how deep it went."""

    at_s: float
    length_ms: float
    depth_db: float


class ToneSlices:
    """A tone in slices of half a millisecond, gathered while its sound passes by.

    Parameters
    ----------
    rate_hz : float
    tone_hz : float
        As played.
    channels : int

    Notes
    -----
    Each slice is the mean of the sound turned back by the tone's own phase: one complex number
    that stands still while tone and level do. A minute of stereo takes 4 MB.
    """

    def __init__(self, rate_hz: float, tone_hz: float, channels: int) -> None:
        self.rate_hz, self.tone_hz = rate_hz, tone_hz
        self.step = step_frames(rate_hz)
        self._turns = tone_hz / rate_hz
        self._back = np.exp(-2j * np.pi * self._turns * np.arange(self.step)) / self.step
        self._left = np.zeros((channels, 0))
        self._slices: list[NDArray[np.complex128]] = [np.zeros((channels, 0), np.complex128)]
        self._count = 0

    def add(self, block: NDArray[np.floating]) -> None:
        """Take the next frames, shape (channel, frame)."""
        held = np.concatenate((self._left, block), axis=1)
        count = held.shape[1] // self.step
        rows = held[:, : count * self.step].reshape(held.shape[0], count, self.step)
        first = self._turns * self.step * np.arange(self._count, self._count + count)
        turned = np.exp(-2j * np.pi * (first - np.rint(first)))
        self._slices.append((rows @ self._back.real + 1j * (rows @ self._back.imag)) * turned)
        self._left = held[:, count * self.step :]
        self._count += count

    @property
    def step_s(self) -> float:
        """From one slice to the next."""
        return self.step / self.rate_hz

    @property
    def duration_s(self) -> float:
        """Length of what has passed."""
        return (self._count * self.step + self._left.shape[1]) / self.rate_hz

    def levels_db(self) -> Array:
        """Level by slice against the median around it, shape (channel, slice)."""
        whole = np.concatenate(self._slices, axis=1)
        return np.stack([_level_db(channel) for channel in whole])


def slices_of(
    blocks: Iterable[NDArray[np.floating]], rate_hz: float, tone_hz: float, channels: int
) -> ToneSlices:
    """Gather a tone's slices from the blocks of its sound."""
    slices = ToneSlices(rate_hz, tone_hz, channels)
    for block in blocks:
        slices.add(block)
    return slices


def measure_dropouts(stretch: Stretch, channels: Sequence[str]) -> tuple[Result, ...]:
    """Dropouts of each channel in a steady tone; see `read_dropouts`."""
    tone_hz = stretch.section.frequencies_hz[0] * stretch.found.speed_ratio
    slices = slices_of([stretch.samples], stretch.rate_hz, tone_hz, stretch.channels)
    return read_dropouts(slices, channels)


def read_dropouts(slices: ToneSlices, channels: Sequence[str]) -> tuple[Result, ...]:
    """Dropouts of each channel in a steady tone.

    Parameters
    ----------
    slices : ToneSlices
        Of one tone, 10 s or more.
    channels : sequence of str

    Returns
    -------
    tuple of Result
        `dropout.count` a minute (6 dB, 10 ms); conditions hold the whole table as words, the
        trace the level over time.

    Raises
    ------
    SignalError
        When the tone is shorter than 10 s.
    """
    if slices.duration_s < SHORTEST_S:
        raise SignalError(
            f"Only {slices.duration_s:.1f} s of steady tone were found",
            f"{SHORTEST_S:g} s are needed to count dropouts",
        )
    minutes, step_s = slices.duration_s / 60, slices.step_s
    results = []
    for name, level in zip(channels, slices.levels_db(), strict=True):
        found = losses(level, step_s)
        counted = [one for one in found if _counts(one)]
        # Poisson: the variance of a count is the count; of none, that of one half (Jeffreys)
        u = np.sqrt(len(counted) + 0.5) / minutes
        budget = Budget((Contribution("chance of a count", float(u), "random"),))
        conditions: dict[str, Condition] = {
            "counted": f"{COUNTED_DEPTH_DB:g} dB for {COUNTED_LENGTH_MS:g} ms and more",
            "length": f"{slices.duration_s:.0f} s",
            "all losses": float(len(found)),
        }
        for depth_db in DEPTHS_DB:
            row = [
                sum(one.depth_db >= depth_db and one.length_ms >= length_ms for one in found)
                for length_ms in LENGTHS_MS
            ]
            conditions[f"{depth_db:g} dB"] = ", ".join(
                f"{count} of {length_ms:g} ms" for count, length_ms in
                zip(row, LENGTHS_MS, strict=True) if count
            ) or "none"  # fmt: skip
        keep = max(level.size // 4000, 1)
        lowest = level[: level.size // keep * keep].reshape(-1, keep).min(axis=1)
        trace = Trace(
            "level", np.arange(lowest.size) * keep * step_s, lowest, "time", "s", "level", "dB",
            name,
        )  # fmt: skip
        results.append(
            Result("dropout.count", "dropouts-6db-10ms/1", name,
                   budget.quantity(len(counted) / minutes, "per minute"), budget,
                   conditions=conditions, traces=(trace,))
        )  # fmt: skip
    return tuple(results)


def level_over_time(samples: NDArray[np.floating], rate_hz: float, tone_hz: float) -> Array:
    """Level of a tone about every half millisecond, in dB against the median around it."""
    return np.asarray(slices_of([samples[None]], rate_hz, tone_hz, 1).levels_db()[0])


def _level_db(narrow: NDArray[np.complex128]) -> Array:
    taps = np.hanning(round(2 * SMOOTH_S / STEP_S) + 2)
    envelope = np.abs(np.convolve(narrow, taps / taps.sum(), mode="valid"))
    coarse = round(0.05 / STEP_S)
    whole = envelope.size // coarse * coarse
    medians = np.median(envelope[:whole].reshape(-1, coarse), axis=1)
    reach = max(round(AROUND_S / 0.05), 1)
    padded = np.pad(medians, reach, mode="reflect" if medians.size > reach else "edge")
    around = np.median(np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1), axis=1)
    usual = np.interp(np.arange(envelope.size), (np.arange(around.size) + 0.5) * coarse, around)
    return np.asarray(20 * np.log10(np.maximum(envelope, 1e-9) / np.maximum(usual, 1e-9)))


def step_frames(rate_hz: float) -> int:
    """Frames between two levels: half a millisecond, as near as whole frames come."""
    return max(round(STEP_S * rate_hz), 1)


def losses(level_db: Array, step_s: float = STEP_S) -> list[Dropout]:
    """Every stretch that lies 3 dB or more below its surroundings."""
    below = np.concatenate(([False], level_db < -DEPTHS_DB[0], [False]))
    edges = np.flatnonzero(np.diff(below.astype(np.int8)))
    return [
        Dropout(
            float(first * step_s), float((last - first) * step_s * 1000),
            float(-level_db[first:last].min()),
        )
        for first, last in edges.reshape(-1, 2)
    ]  # fmt: skip


def _counts(one: Dropout) -> bool:
    return one.depth_db >= COUNTED_DEPTH_DB and one.length_ms >= COUNTED_LENGTH_MS
