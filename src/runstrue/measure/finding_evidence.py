"""Is a section really there? Every kind of section is looked at for what it must sound like."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from runstrue.measure.finding_features import Features
from runstrue.measure.finding_runs import Tonal
from runstrue.stimulus.programme import Section
from runstrue.stimulus.section_sound import sweep_constant_s

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Frames = NDArray[np.intp]

EDGE_S = 0.06  # half a window and a fade: frames nearer to an edge hold something else too
NEAR = 0.015
WEAK = 10**0.9  # 9 dB over what is always there, for a tone whose place is known
SLOW_PULSES_PER_S = 30.0
NEEDED = {
    "tone": 0.6, "ramp": 0.5, "pilot": 0.6, "sweep": 0.5, "silence": 0.97, "polarity": 0.8,
    "bursts": 0.8,
}  # fmt: skip
NEEDED_ELSE = 0.5
STANDS_OUT = 3.0  # a pulse over its period
PULSE_NEAR_S = 0.03  # half a minute from a known edge, its time is no surer
LEAST, ENOUGH_S = 0.4, 3.0  # of a section, to say anything of it
QUIET_BELOW_REFERENCE_DB = 28.0
TREBLE_HZ = 2000.0


class Evidence:
    """What a recording shows at a place.

    Parameters
    ----------
    features : Features
    tonal : Tonal
    reference_db : float
        About the level of the programme's reference in this recording, in dB against a
        full-scale sine: what is silence depends on it.
    """

    def __init__(self, features: Features, tonal: Tonal, reference_db: float) -> None:
        self.features, self.tonal = features, tonal
        self._reference = 0.5 * 10 ** (reference_db / 10)
        self._cell = features.cell_power.astype(np.float64).sum(axis=0)

    def shows(self, section: Section, starts_s: float, speed: float) -> bool:
        """Whether enough of a section's frames sound as they should."""
        return self.share(section, starts_s, speed) >= NEEDED.get(section.kind, NEEDED_ELSE)

    def share(self, section: Section, starts_s: float, speed: float) -> float:
        """Share of a section's frames in the recording that sound as they should; 0 for none."""
        frames = self.frames(section, starts_s, speed)
        if frames.size * self.features.frame_s < min(LEAST * section.lasts_s / speed, ENOUGH_S):
            return 0.0
        if section.kind in ("polarity", "bursts") and _period_s(section) > 1 / SLOW_PULSES_PER_S:
            return self._pulsed(section, starts_s, speed)
        return float(self._match(section, frames, starts_s, speed).mean())

    def heard_between(self, section: Section, speed: float, from_s: float, to_s: float) -> bool:
        """Whether a tone goes on in a piece of the recording."""
        features = self.features
        frames = np.arange(features.frame_at(from_s), features.frame_at(to_s) + 1)
        return bool(self._match(section, frames, from_s, speed).mean() > NEEDED["tone"])

    def frames(self, section: Section, starts_s: float, speed: float) -> Frames:
        """Frames that lie wholly inside a section and the recording."""
        features = self.features
        first_s, last_s = starts_s + EDGE_S, starts_s + section.lasts_s / speed - EDGE_S
        first = np.ceil((first_s - features.first_s) / features.frame_s)
        last = np.floor((last_s - features.first_s) / features.frame_s)
        return np.arange(max(int(first), 0), min(int(last), features.frames - 1) + 1)

    def _match(self, section: Section, frames: Frames, starts_s: float, speed: float) -> Mask:
        inside_s = (self.features.first_s + frames * self.features.frame_s - starts_s) * speed
        tones_hz = np.array(section.frequencies_hz) * speed
        if section.kind in ("tone", "ramp"):
            return self._holds(frames, np.full(frames.size, tones_hz[0]), NEAR, section.level_db)
        if section.kind == "pilot":
            number = (inside_s / (section.lasts_s / tones_hz.size)).astype(int)
            return self._holds(
                frames, tones_hz[np.clip(number, 0, tones_hz.size - 1)], 0.02, section.level_db
            )
        if section.kind == "sweep":
            expected_hz = tones_hz[0] * np.exp(inside_s / sweep_constant_s(section))
            return self._holds(frames, np.minimum(expected_hz, tones_hz[1]), 0.04, section.level_db)
        if section.kind == "silence":
            return self._quiet(frames)
        if section.kind.startswith("noise"):
            return self._wide(frames, tones_hz[0], tones_hz[1])
        if section.kind == "polarity":
            tones_hz = tones_hz[0] * np.arange(1, 9)
        return self._chord(frames, tones_hz)

    def _holds(self, frames: Frames, tones_hz: Array, near: float, level_db: float) -> Mask:
        """Where a tone stands out, or is a peak of its half octave and loud enough at least."""
        features = self.features
        allowed_hz = near * tones_hz + 0.5
        short_db = np.where(tones_hz < TREBLE_HZ, 15.0, 50.0)  # worn heads lose treble only
        least = self._reference * 10 ** ((level_db - short_db) / 10)
        alone_db = self.tonal.level_db[:, frames].max(axis=0)
        out = np.abs(self.tonal.hz[frames] - tones_hz) < allowed_hz
        out &= alone_db > 10 * np.log10(2 * least)
        bands = np.searchsorted(features.edges_hz, tones_hz) - 1
        bands = np.clip(bands, 0, features.edges_hz.size - 2)
        for channel in range(features.channels):
            power = features.peak_power[channel, frames, bands]
            there = np.abs(features.peak_hz[channel, frames, bands] - tones_hz) < allowed_hz
            out |= there & (power > WEAK * self.tonal.floor[channel, bands]) & (power > least)
        return np.asarray(out)

    def _chord(self, frames: Frames, tones_hz: Array) -> Mask:
        """Where most half octaves that should hold a tone have their peak on one."""
        features = self.features
        bands = np.clip(np.searchsorted(features.edges_hz, tones_hz) - 1, 0, None)
        bands = np.unique(bands[bands < features.edges_hz.size - 1])
        held = np.zeros((frames.size, bands.size), dtype=bool)
        for column, band in enumerate(bands):
            for channel in range(features.channels):
                peak_hz = features.peak_hz[channel, frames, band]
                off = np.abs(peak_hz[:, None] / tones_hz[None, :] - 1).min(axis=1)
                loud = (
                    features.peak_power[channel, frames, band]
                    > WEAK * (self.tonal.floor[channel, band])
                )
                held[:, column] |= (off < NEAR) & loud
        needed = 1.0 if bands.size == 1 else 0.6
        return np.asarray(held.mean(axis=1) >= needed)

    def _wide(self, frames: Frames, low_hz: float, high_hz: float) -> Mask:
        """Where most half octaves are filled, and no tone stands out."""
        features = self.features
        middles_hz = np.sqrt(features.edges_hz[1:] * features.edges_hz[:-1])
        bands = np.flatnonzero((middles_hz > 2 * low_hz) & (middles_hz < min(high_hz / 1.5, 9000)))
        filled = np.zeros((frames.size, bands.size), dtype=bool)
        for channel in range(features.channels):
            power = features.band_power[channel][np.ix_(frames, bands)]
            filled |= power > 3 * self.tonal.band_floor[channel, bands]
        return np.asarray((filled.mean(axis=1) > 0.7) & (self.tonal.hz[frames] == 0))

    def _quiet(self, frames: Frames) -> Mask:
        """Where nothing stands out and the level is far below the reference."""
        power = self.features.band_power[:, frames].astype(np.float64).sum(axis=2).max(axis=0)
        always = self.tonal.band_floor.sum(axis=1).max()
        below = self._reference * 10 ** (-QUIET_BELOW_REFERENCE_DB / 10)
        loudest_db = self.tonal.level_db[:, frames].max(axis=0)
        faint = loudest_db < 10 * np.log10(2 * below)
        return np.asarray((power < np.maximum(6 * always, below)) & faint)

    def _pulsed(self, section: Section, starts_s: float, speed: float) -> float:
        """Share of the section's periods that have their power in the middle, where it belongs."""
        cell_s = self.features.cell_s
        period_s = _period_s(section) / speed
        wanted = section.burst_s / speed / cell_s
        half_s = section.burst_s / speed / 2 + PULSE_NEAR_S
        good, all_of_them = 0, 0
        for number in range(int(section.lasts_s / _period_s(section) + 0.5)):
            begin_s = starts_s + number * period_s
            if begin_s < 0 or begin_s + period_s > self.features.duration_s:
                continue
            power = self._cell[round(begin_s / cell_s) : round((begin_s + period_s) / cell_s)]
            middle = power.size * cell_s / 2
            near = slice(max(round((middle - half_s) / cell_s), 0),
                         round((middle + half_s) / cell_s) + 1)  # fmt: skip
            all_of_them += 1
            top = power[near].max()
            # louder elsewhere, or not as long as it should be: something else
            long = np.count_nonzero(power > 0.25 * top)
            good += bool(
                top == power.max()
                and top > STANDS_OUT * np.median(power)
                and abs(long - wanted) <= 2 + 0.3 * wanted
            )
        return good / all_of_them if all_of_them else 0.0


def _period_s(section: Section) -> float:
    return section.every_s if section.kind == "bursts" else 1 / section.frequencies_hz[0]
