"""Runs of one steady tone in a recording: what the sections of a programme are recognised by.

A frame counts as a tone when one peak stands well above what its half octave holds at most times,
and holds most of what is there beyond that. So hiss and mains hum, which are always there, do not
count, however loud they are against a weak treble tone.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from runstrue.measure.finding_features import Features

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

QUIET_TIMES = 10.0  # %: the quietest tenth of the recording shows what is always there
OVER_NEIGHBOURS = 10**2.5  # but not 25 dB more than next to it: there a tone never stops
STANDS_OUT = 10**1.2  # 12 dB
LONE_SHARE, DROWNED = 0.5, 0.01
NEAR = 0.015  # wow and flutter of a bad deck, and of its reading in a window of 85 ms
DROPOUT_FRAMES = 3
SHORTEST_FRAMES = 4
STEP_FRAMES, STEP_DB = 6, 4.0
FAR_SOFTER_DB = 25.0  # more than half of what a rising tone rises by


@dataclass(frozen=True, slots=True, eq=False)
class Tonal:
    """Which frames hold one tone.

    Parameters
    ----------
    hz : ndarray, shape (frame,)
        The tone, in the channel where it is stronger; 0 where there is none.
    level_db : ndarray, shape (channel, frame)
        Of that tone, against a full-scale sine; −200 where it is not heard.
    floor : ndarray, shape (channel, band)
        Peak power that is always there.
    band_floor : ndarray, shape (channel, band)
        Power that is always there.
    """

    hz: Array
    level_db: Array
    floor: Array
    band_floor: Array


@dataclass(frozen=True, slots=True)
class Run:
    """One steady tone.

    Parameters
    ----------
    first, last : int
        Frames, both in it.
    starts_s, ends_s : float
        About right, to a few hundredths of a second.
    hz : float
        Median.
    level_db : tuple of float
        Per channel, median, against a full-scale sine.
    """

    first: int
    last: int
    starts_s: float
    ends_s: float
    hz: float
    level_db: tuple[float, ...]

    @property
    def lasts_s(self) -> float:
        """Length."""
        return self.ends_s - self.starts_s


def tonal_frames(features: Features) -> Tonal:
    """Look in every frame for one tone that stands out."""
    peak = features.peak_power.astype(np.float64)
    floor = _always_there(peak)
    band = features.band_power.astype(np.float64)
    band_floor = _always_there(band)
    present = peak > STANDS_OUT * floor[:, None, :]
    standing = np.where(present, peak, 0.0)
    best = standing.argmax(axis=2)
    at = np.take_along_axis(standing, best[:, :, None], 2)[:, :, 0]
    beyond = np.maximum(band - 2 * band_floor[:, None, :], 0.0).sum(axis=2)
    # hum in a dead channel is no tone while the other one is full of noise
    lone = (at > 0) & (at > LONE_SHARE * beyond) & (at > DROWNED * beyond.max(axis=0))
    leader = np.where(lone, at, 0.0).argmax(axis=0)
    frames = np.arange(features.frames)
    tonal = lone[leader, frames]
    band_there = best[leader, frames]
    hz = np.where(tonal, features.peak_hz[leader, frames, band_there], 0.0).astype(np.float64)
    level_db = np.full((features.channels, features.frames), -200.0)
    for channel in range(features.channels):
        alike = np.abs(features.peak_hz[channel, frames, band_there] - hz) < 0.02 * hz
        power = peak[channel, frames, band_there]
        heard = tonal & alike & (power > 0)
        level_db[channel, heard] = 10 * np.log10(2 * power[heard])
    return Tonal(hz, level_db, floor, band_floor)


def _always_there(power: Array) -> Array:
    """Power per channel and band in the quietest tenth of the recording."""
    quiet = np.percentile(power, QUIET_TIMES, axis=1)
    padded = np.pad(quiet, ((0, 0), (2, 2)), mode="reflect")
    around = np.median(np.lib.stride_tricks.sliding_window_view(padded, 5, axis=1), axis=2)
    return np.asarray(np.minimum(quiet, OVER_NEIGHBOURS * around) + 1e-20)


def runs_of(features: Features, tonal: Tonal) -> list[Run]:
    """Gather frames of one tone into runs; short losses of it are bridged."""
    spans: list[tuple[int, int]] = []
    hz = tonal.hz
    frames = np.flatnonzero(hz > 0)
    position = 0
    while position < frames.size:
        begin = int(frames[position])
        middle, last, count = hz[begin], begin, 1
        position += 1
        while position < frames.size:
            at = int(frames[position])
            if at - last > DROPOUT_FRAMES + 1:
                break
            if abs(hz[at] - middle) <= NEAR * middle:
                count += 1
                middle += (hz[at] - middle) / min(count, 20)
                last = at
            elif count < SHORTEST_FRAMES or at - last > DROPOUT_FRAMES:
                break
            position += 1
        if position < frames.size and frames[position] > last + 1:
            # frames that were passed over as a dropout may begin the next run
            position = int(np.searchsorted(frames, last, side="right"))
        if last - begin + 1 >= SHORTEST_FRAMES:
            spans.append((begin, last))
    return [
        _run(features, tonal, first, last)
        for begin, end in spans
        for loud_from, loud_to in _loud_pieces(tonal, begin, end)
        for first, last in _level_pieces(tonal, loud_from, loud_to)
    ]


def _loud_pieces(tonal: Tonal, begin: int, end: int) -> list[tuple[int, int]]:
    """Cut off what is far softer than the run: hum of the tone's own pitch in the pauses."""
    level_db = tonal.level_db[:, begin : end + 1].max(axis=0)
    loud = np.flatnonzero(level_db > np.median(level_db[level_db > -200]) - FAR_SOFTER_DB)
    breaks = np.flatnonzero(np.diff(loud) > DROPOUT_FRAMES + 1)
    firsts = loud[np.concatenate(([0], breaks + 1))]
    lasts = loud[np.concatenate((breaks, [loud.size - 1]))]
    return [
        (begin + int(first), begin + int(last))
        for first, last in zip(firsts, lasts, strict=True)
        if last - first + 1 >= SHORTEST_FRAMES
    ]


def _level_pieces(tonal: Tonal, begin: int, end: int) -> list[tuple[int, int]]:
    """Cut a run where its level steps: tones of one frequency without a gap between them."""
    if end - begin + 1 < 4 * STEP_FRAMES:
        return [(begin, end)]
    levels = np.maximum(tonal.level_db[:, begin : end + 1], -90.0)
    windows = np.lib.stride_tricks.sliding_window_view(levels, STEP_FRAMES, axis=1)
    medians = np.median(windows, axis=2)
    steps = np.abs(medians[:, STEP_FRAMES:] - medians[:, :-STEP_FRAMES]).max(axis=0)
    # a ramp rises slowly: within 0.6 s by less than a decibel
    cuts: list[int] = []
    for at in np.argsort(-steps):
        if steps[at] < STEP_DB:
            break
        place = begin + int(at) + STEP_FRAMES
        if all(abs(place - other) > 3 * STEP_FRAMES for other in (*cuts, begin, end)):
            cuts.append(place)
    edges = [begin, *sorted(cuts), end + 1]
    return [(first, last - 1) for first, last in pairwise(edges)]


def _run(features: Features, tonal: Tonal, first: int, last: int) -> Run:
    inside = slice(first, last + 1)
    there = tonal.hz[inside] > 0
    half_s = features.frame_s / 2
    return Run(
        first,
        last,
        features.middle_s(first) - half_s,
        features.middle_s(last) + half_s,
        float(np.median(tonal.hz[inside][there])),
        tuple(float(np.median(row[inside][there])) for row in tonal.level_db),
    )
