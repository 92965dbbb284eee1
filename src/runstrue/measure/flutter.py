"""Wow and flutter by every method of the old sheets, all from one deviation signal.

First the percent deviation about the mean of the record, then the weighting, then the detector,
as the standards do. The usable stretches run through the filters one after the other; a loss
under 0.1 s is bridged by a straight line only to keep the filters' memory and is left out of
every reading, a longer one restarts them. What a filter gives before it has settled is left
out as well.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from runstrue.dsp.detectors import Detectors
from runstrue.dsp.needle import Needle, wander
from runstrue.dsp.weighting import Weighting
from runstrue.measure.gate import GUARD_S, runs
from runstrue.result import Spread

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

BRIDGED_S = 0.1  # a shorter loss does not restart the filters
CHUNK = 1 << 15
FLAT_LOW_HZ = 0.5
WOW_LOW_HZ, WOW_FLUTTER_HZ = 0.1, 10.0
"""IEC 60386 (JIS C 5569-1991 2.1, 2.2): wow from 0.1 to 10 Hz, flutter above 10 Hz."""
EXCERPT_S = 60.0
BLOCK_S, FEWEST_BLOCKS, MOST_BLOCKS = 3.0, 4, 24


@dataclass(frozen=True, slots=True)
class Figures:
    """The figures of one channel, in %, over all of the record or without one block of it."""

    weighted_peak: float
    weighted_rms: float
    unweighted_peak: float
    unweighted_rms: float
    unweighted_average: float
    wow_rms: float
    flutter_rms: float


@dataclass(frozen=True, slots=True, eq=False)
class FlutterReadout:
    """Everything the detectors said about one channel.

    Parameters
    ----------
    figures : Figures
    without : tuple of Figures
        The same with one block of the record left out at a time.
    needle : Spread
        What a needle showed: low, middle, high.
    needle_blocks : tuple of float
        Middle of the needle in each block.
    used_s : float
        Time that the weighted readings rest on.
    bridged : int
        Short losses across which a filter's memory was kept.
    histogram : tuple of ndarray
        Centres of classes (%) and share of the time in each, of the weighted deviation.
    excerpt : dict of str to ndarray
        Up to `EXCERPT_S` of each filtered deviation, for the uncertainty from hiss.
    """

    figures: Figures
    without: tuple[Figures, ...]
    needle: Spread
    needle_blocks: tuple[float, ...]
    used_s: float
    bridged: int
    histogram: tuple[Array, Array]
    excerpt: dict[str, Array] = field(default_factory=dict)


def read_flutter(
    percent: NDArray[np.floating], usable: Mask, mean_percent: float, rate_hz: float
) -> FlutterReadout:
    """Run a deviation through all filters and detectors.

    Parameters
    ----------
    percent : ndarray, shape (channel, sample)
        Deviation from nominal of the channels that are to be taken together: their mean is
        read, since the motion of the tape is common to the tracks and their noise is not.
    usable : ndarray of bool, shape (sample,)
    mean_percent : float
        Mean of the usable samples, about which the deviation is taken.
    rate_hz : float
    """
    chains = _chains(rate_hz)
    settle = int(np.ceil(settling_s(rate_hz) * rate_hz))
    total = max(counted(usable, rate_hz), 1)
    blocks = int(np.clip(total / rate_hz / BLOCK_S, FEWEST_BLOCKS, MOST_BLOCKS))
    edges = [total * (index + 1) // blocks for index in range(blocks)]
    needle = Needle(rate_hz)
    indications: list[Array] = []
    done = bridged = 0
    for begin, end in _filter_runs(usable, rate_hz):
        for chain in chains.values():
            chain.restart()
        needle.reset()
        bridged += len(runs(~usable[begin:end]))
        for start, stop in _chunks(begin, end):
            values = about_mean(_bridged(percent, usable, start, stop), mean_percent)
            counts = usable[start:stop].copy()
            counts[: max(begin + settle - start, 0)] = False
            filtered = {name: chain.process(values) for name, chain in chains.items()}
            shown = needle.process(filtered["weighted"])
            indications.append(shown[counts].astype(np.float32))
            done = _hand_out(chains, filtered, counts, edges, done)
    shown = np.concatenate(indications) if indications else np.zeros(1, dtype=np.float32)
    pieces = np.array_split(shown, blocks)
    return FlutterReadout(
        figures=_figures(chains, None),
        without=tuple(_figures(chains, block) for block in range(blocks)),
        needle=wander(shown, rate_hz),
        needle_blocks=tuple(float(np.median(piece)) for piece in pieces if piece.size),
        used_s=done / rate_hz,
        bridged=bridged,
        histogram=chains["weighted"].detectors.histogram(),
        excerpt={name: chain.excerpt() for name, chain in chains.items()},
    )


def about_mean(percent: Array, mean_percent: float) -> Array:
    """Deviation about the mean speed, in % of the mean speed, from that about nominal."""
    return np.asarray((percent - mean_percent) / (1 + mean_percent / 100))


def settling_s(rate_hz: float) -> float:
    """Time after a start that is left out of the readings."""
    return Weighting(rate_hz).settling_s


def counted(usable: Mask, rate_hz: float) -> int:
    """Samples that count in the readings: usable and past the settling of the filters."""
    settle = int(np.ceil(settling_s(rate_hz) * rate_hz))
    return sum(
        int(np.count_nonzero(usable[begin + settle : end]))
        for begin, end in _filter_runs(usable, rate_hz)
    )


def flat_sections(rate_hz: float) -> Array:
    """High-pass of the unweighted readings: −3 dB at 0.5 Hz, second order.

    The upper edge is that of the deviation itself: flat to 200 Hz, −6 dB at 225 Hz.
    """
    return np.asarray(
        signal.butter(2, FLAT_LOW_HZ, "highpass", fs=rate_hz, output="sos"), dtype=np.float64
    )


def wow_sections(rate_hz: float) -> Array:
    """Band-pass of wow: 0.1 Hz (second order) to 10 Hz (fourth order), −3 dB at both."""
    low = signal.butter(2, WOW_LOW_HZ, "highpass", fs=rate_hz, output="sos")
    high = signal.butter(4, WOW_FLUTTER_HZ, "lowpass", fs=rate_hz, output="sos")
    return np.concatenate((low, high))


def flutter_sections(rate_hz: float) -> Array:
    """High-pass of flutter: −3 dB at 10 Hz, fourth order; complements wow in power."""
    return np.asarray(
        signal.butter(4, WOW_FLUTTER_HZ, "highpass", fs=rate_hz, output="sos"), dtype=np.float64
    )


class _Sections:
    """A streamed filter of second-order sections."""

    def __init__(self, sections: Array) -> None:
        self._sections = sections
        self.reset()

    def reset(self) -> None:
        self._state = np.zeros((self._sections.shape[0], 2))

    def process(self, values: Array) -> Array:
        filtered, self._state = signal.sosfilt(self._sections, values, zi=self._state)
        return np.asarray(filtered)


class _Chain:
    """One filter with the detectors behind it."""

    def __init__(self, band: _Sections | Weighting, rate_hz: float) -> None:
        self._filter = band
        self.detectors = Detectors()
        self._kept: list[Array] = []
        self._room = int(EXCERPT_S * rate_hz)

    def restart(self) -> None:
        self._filter.reset()

    def process(self, values: Array) -> Array:
        return self._filter.process(values)

    def add(self, values: Array, block: int) -> None:
        self.detectors.add(values, block)
        if self._room > 0:
            self._kept.append(values[: self._room].copy())
            self._room -= values.size

    def excerpt(self) -> Array:
        return np.concatenate(self._kept) if self._kept else np.zeros(0)


def _chains(rate_hz: float) -> dict[str, _Chain]:
    return {
        "weighted": _Chain(Weighting(rate_hz), rate_hz),
        "flat": _Chain(_Sections(flat_sections(rate_hz)), rate_hz),
        "wow": _Chain(_Sections(wow_sections(rate_hz)), rate_hz),
        "flutter": _Chain(_Sections(flutter_sections(rate_hz)), rate_hz),
    }


def _figures(chains: dict[str, _Chain], leave_out: int | None) -> Figures:
    weighted, flat = chains["weighted"].detectors, chains["flat"].detectors
    return Figures(
        weighted_peak=weighted.two_sigma(leave_out),
        weighted_rms=weighted.rms(leave_out),
        unweighted_peak=flat.two_sigma(leave_out),
        unweighted_rms=flat.rms(leave_out),
        unweighted_average=flat.average(leave_out),
        wow_rms=chains["wow"].detectors.rms(leave_out),
        flutter_rms=chains["flutter"].detectors.rms(leave_out),
    )


def _hand_out(
    chains: dict[str, _Chain],
    filtered: dict[str, Array],
    counts: Mask,
    edges: list[int],
    done: int,
) -> int:
    """Give the counted samples to the detectors, block by block; return how many are done."""
    kept = {name: values[counts] for name, values in filtered.items()}
    size = int(np.count_nonzero(counts))
    position = 0
    while position < size:
        block = int(np.searchsorted(edges, done, side="right"))
        block = min(block, len(edges) - 1)
        room = edges[block] - done if block < len(edges) - 1 else size - position
        take = min(room, size - position)
        for name, chain in chains.items():
            chain.add(kept[name][position : position + take], block)
        position += take
        done += take
    return done


def _filter_runs(usable: Mask, rate_hz: float) -> list[tuple[int, int]]:
    """Stretches through which the filters keep their memory."""
    return runs(usable, join=int((BRIDGED_S + 2 * GUARD_S) * rate_hz))


def _chunks(begin: int, end: int) -> Iterator[tuple[int, int]]:
    for start in range(begin, end, CHUNK):
        yield start, min(start + CHUNK, end)


def _bridged(percent: NDArray[np.floating], usable: Mask, start: int, stop: int) -> Array:
    """The deviation with unusable samples replaced by a straight line between neighbours."""
    values = percent[:, start:stop].mean(axis=0, dtype=np.float64)
    bad = ~usable[start:stop]
    if bad.any():
        good = np.flatnonzero(~bad)
        places = np.flatnonzero(bad)
        values[places] = np.interp(places, good, values[good]) if good.size else 0.0
    return np.asarray(values)
