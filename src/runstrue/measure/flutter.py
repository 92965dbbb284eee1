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
from runstrue.dsp.finer import Finer
from runstrue.dsp.needle import SETTLING_S as NEEDLE_SETTLING_S
from runstrue.dsp.needle import Needle, wander
from runstrue.dsp.weighting import Weighting
from runstrue.measure.gate import GUARD_S
from runstrue.measure.pieces import Mask, Pieces
from runstrue.result import Spread

Array = NDArray[np.float64]

BRIDGED_S = 0.1  # a shorter loss does not restart the filters
CHUNK = 1 << 15  # pieces that stay in the processor's cache
FLAT_LOW_HZ = 0.5
WOW_LOW_HZ, WOW_FLUTTER_HZ = 0.1, 10.0
"""IEC 60386 (JIS C 5569-1991 2.1, 2.2): wow from 0.1 to 10 Hz, flutter above 10 Hz."""
EXCERPT_S = 20.0
LEAST_WATCHED_S = 1.5  # of a settled needle; less says nothing about its wandering
NEEDLE_EVERY = 10  # samples between looks at the needle: 50 looks a second see all of it
PEAK_POINTS = 4  # points to a sample where peaks are read
STRETCH_S, FEWEST_STRETCHES, MOST_STRETCHES = 6.0, 4, 24
"""Pieces for the jackknife: long against the slow end of the weighting (a period of 2 s), and ten
of them in a minute."""


@dataclass(frozen=True, slots=True)
class Figures:
    """The figures of one channel, in %, over all of the record or without one piece of it."""

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
        The same with one piece of the record left out at a time.
    needle : Spread or None
        What a needle showed: low, middle, high; None where it never settled for long enough.
    needle_pieces : tuple of float
        Middle of the needle in each piece of the record.
    used_s : float
        Time that the weighted readings rest on.
    bridged : int
        Short losses across which a filter's memory was kept.
    histogram : tuple of ndarray
        Centres of classes (%) and share of the time in each, of the weighted deviation.
    excerpt : dict of str to ndarray
        Up to `EXCERPT_S` of each filtered deviation, for the uncertainty from hiss; with
        `PEAK_POINTS` points a sample where peaks are read.
    """

    figures: Figures
    without: tuple[Figures, ...]
    needle: Spread | None
    needle_pieces: tuple[float, ...]
    used_s: float
    bridged: int
    histogram: tuple[Array, Array]
    excerpt: dict[str, Array] = field(default_factory=dict)


def read_flutter(
    percent: NDArray[np.floating], usable: Pieces, mean_percent: float, rate_hz: float
) -> FlutterReadout:
    """Run a deviation through all filters and detectors.

    Parameters
    ----------
    percent : ndarray, shape (channel, sample)
        Deviation from nominal of the channels that are to be taken together: their mean is
        read, since the motion of the tape is common to the tracks and their noise is not.
    usable : Pieces
    mean_percent : float
        Mean of the usable samples, about which the deviation is taken.
    rate_hz : float
    """
    settle = int(np.ceil(settling_s(rate_hz) * rate_hz))
    total = counted(usable, rate_hz)
    pieces = int(np.clip(total / rate_hz / STRETCH_S, FEWEST_STRETCHES, MOST_STRETCHES))
    bands = _bands(rate_hz, max(-(-total // pieces), 1))
    needle = Needle(rate_hz)
    needle_settle = settle + int(np.ceil(NEEDLE_SETTLING_S * rate_hz))
    shown: list[NDArray[np.float32]] = []
    bridged = 0
    for begin, end in _filter_runs(usable, rate_hz).spans:
        for band in bands.values():
            band.restart()
        needle.reset()
        bridged += sum(begin < gap < end for gap, _ in usable.gaps())
        for start, stop in _chunks(begin, end):
            inside = usable.mask(start, stop)
            values = about_mean(_bridged(percent[:, start:stop], inside), mean_percent)
            counts = _settled(inside, begin + settle - start)
            filtered = {name: band.process(values, counts) for name, band in bands.items()}
            indication = needle.process(filtered["weighted"])
            seen = _settled(inside, begin + needle_settle - start)
            seen &= np.arange(start, stop) % NEEDLE_EVERY == 0
            shown.append(indication[seen].astype(np.float32))
    needle_shown = np.concatenate(shown)
    watched = needle_shown.size * NEEDLE_EVERY >= LEAST_WATCHED_S * rate_hz
    left_out = min(band.whole_stretches() for band in bands.values())
    return FlutterReadout(
        figures=_figures(bands, None),
        without=tuple(_figures(bands, stretch) for stretch in range(left_out)),
        needle=wander(needle_shown, rate_hz / NEEDLE_EVERY, discard_s=0.0) if watched else None,
        needle_pieces=tuple(
            float(np.median(piece)) for piece in np.array_split(needle_shown, pieces) if watched
        ),
        used_s=total / rate_hz,
        bridged=bridged,
        histogram=bands["weighted"].histogram.classes(),
        excerpt={name: band.excerpt() for name, band in bands.items()},
    )


def about_mean(percent: Array, mean_percent: float) -> Array:
    """Deviation about the mean speed, in % of the mean speed, from that about nominal."""
    return np.asarray((percent - mean_percent) / (1 + mean_percent / 100))


def settling_s(rate_hz: float) -> float:
    """Time after a start that is left out of the readings."""
    return Weighting(rate_hz).settling_s


def counted(usable: Pieces, rate_hz: float) -> int:
    """Samples that count in the readings: usable and past the settling of the filters."""
    settle = int(np.ceil(settling_s(rate_hz) * rate_hz))
    settled = [
        (begin + settle, end)
        for begin, end in _filter_runs(usable, rate_hz).spans
        if end - begin > settle
    ]
    return usable.meet(Pieces(tuple(settled))).samples


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

    def __init__(self, sections: Array, rate_hz: float) -> None:
        self._sections = sections
        self._second = round(rate_hz)
        self.reset()

    def reset(self) -> None:
        """Start anew: the mean of the next second counts as having stood for ever."""
        self._state: Array | None = None

    def process(self, values: Array) -> Array:
        if self._state is None:
            stood = values[: self._second].mean()  # one sample alone would be mostly hiss
            self._state = signal.sosfilt_zi(self._sections) * stood
        filtered, self._state = signal.sosfilt(self._sections, values, zi=self._state)
        return np.asarray(filtered)


class _Band:
    """One filter with the detectors behind it.

    Parameters
    ----------
    band_filter : _Sections or Weighting
    rate_hz : float
    stretch : int
        Samples in each piece of the jackknife.
    peaks : bool
        Whether peaks are looked for, which needs points between the samples: a steady 100 Hz
        is met at five points of its cycle only.
    """

    def __init__(
        self, band_filter: _Sections | Weighting, rate_hz: float, stretch: int, *, peaks: bool
    ) -> None:
        self._filter = band_filter
        self._finer = Finer(PEAK_POINTS) if peaks else None
        points = PEAK_POINTS if peaks else 1
        self.detectors = Detectors(stretch * points, thresholds=peaks)
        self.histogram = _Histogram()
        self._owed = np.zeros(0, dtype=np.bool_)
        self._kept: list[Array] = []
        self._room = int(EXCERPT_S * rate_hz) * points

    def restart(self) -> None:
        self._filter.reset()
        if self._finer:
            self._finer.reset()
            self._owed = np.zeros(self._finer.lag_samples * PEAK_POINTS, dtype=np.bool_)

    def process(self, values: Array, counts: Mask) -> Array:
        """Filter a chunk and give what counts of it to the detectors."""
        filtered = self._filter.process(values)
        self.histogram.add(filtered[counts])
        points, marks = filtered, counts
        if self._finer:
            points = self._finer.process(filtered)
            marks = np.concatenate((self._owed, np.repeat(counts, PEAK_POINTS)))
            marks, self._owed = marks[: points.size], marks[points.size :]
        counted_points = points[marks]
        self.detectors.add(counted_points)
        if self._room > 0:
            self._kept.append(counted_points[: self._room])
            self._room -= self._kept[-1].size
        return filtered

    def excerpt(self) -> Array:
        return np.concatenate(self._kept) if self._kept else np.zeros(0)

    def whole_stretches(self) -> int:
        """Pieces that can be left out one at a time; a last one under half length stays in."""
        sizes = self.detectors.stretches
        return len(sizes) - (1 if 2 * sizes[-1] < sizes[0] else 0)


class _Histogram:
    """Share of the time by signed value, in classes fine enough to be drawn."""

    _FINE = 4000
    _SHOWN = 120

    def __init__(self) -> None:
        self._limit = 0.0
        self._counts = np.zeros(2 * self._FINE, dtype=np.int64)

    def add(self, values: Array) -> None:
        if not values.size:
            return
        if not self._limit:  # four times the first chunk's peak; what is beyond counts at the end
            self._limit = max(4 * float(np.max(np.abs(values))), 1e-9)
        place = ((values / self._limit + 1) * self._FINE).astype(np.int64)
        np.clip(place, 0, 2 * self._FINE - 1, out=place)
        self._counts += np.bincount(place, minlength=2 * self._FINE)

    def classes(self) -> tuple[Array, Array]:
        """Middles of the classes in % and the share of the time in each, in %."""
        filled = np.flatnonzero(self._counts)
        reach = max(int(np.max(np.abs(filled - self._FINE + 0.5)) + 1), 1)
        width = -(-reach // (self._SHOWN // 2))
        half = -(-reach // width)
        edges = self._FINE + width * np.arange(-half, half + 1)
        below = np.concatenate(([0], np.cumsum(self._counts)))
        counts = np.diff(below[np.clip(edges, 0, 2 * self._FINE)])
        middles = ((edges[:-1] + edges[1:]) / 2 / self._FINE - 1) * self._limit
        return middles, 100 * counts / max(int(below[-1]), 1)


def _bands(rate_hz: float, stretch: int) -> dict[str, _Band]:
    return {
        "weighted": _Band(Weighting(rate_hz), rate_hz, stretch, peaks=True),
        "flat": _Band(_Sections(flat_sections(rate_hz), rate_hz), rate_hz, stretch, peaks=True),
        "wow": _Band(_Sections(wow_sections(rate_hz), rate_hz), rate_hz, stretch, peaks=False),
        "flutter": _Band(
            _Sections(flutter_sections(rate_hz), rate_hz), rate_hz, stretch, peaks=False
        ),
    }


def _figures(bands: dict[str, _Band], leave_out: int | None) -> Figures:
    weighted, flat = bands["weighted"].detectors, bands["flat"].detectors
    return Figures(
        weighted_peak=weighted.two_sigma(leave_out),
        weighted_rms=weighted.rms(leave_out),
        unweighted_peak=flat.two_sigma(leave_out),
        unweighted_rms=flat.rms(leave_out),
        unweighted_average=flat.average(leave_out),
        wow_rms=bands["wow"].detectors.rms(leave_out),
        flutter_rms=bands["flutter"].detectors.rms(leave_out),
    )


def _settled(inside: Mask, first: int) -> Mask:
    """Usable samples of a chunk from the first one at which the filters have settled."""
    counts = inside.copy()
    counts[: max(first, 0)] = False
    return counts


def _filter_runs(usable: Pieces, rate_hz: float) -> Pieces:
    """Stretches through which the filters keep their memory."""
    return usable.bridged(int((BRIDGED_S + 2 * GUARD_S) * rate_hz))


def _chunks(begin: int, end: int) -> Iterator[tuple[int, int]]:
    for start in range(begin, end, CHUNK):
        yield start, min(start + CHUNK, end)


def _bridged(percent: NDArray[np.floating], inside: Mask) -> Array:
    """Mean of the channels, unusable samples replaced by a straight line between neighbours."""
    values = percent[0].astype(np.float64)
    for other in percent[1:]:
        values += other
    values /= len(percent)
    if not inside.all():
        good, bad = np.flatnonzero(inside), np.flatnonzero(~inside)
        values[bad] = np.interp(bad, good, values[good]) if good.size else 0.0
    return np.asarray(values)
