"""Frequency response: gain over frequency from whatever a programme holds, and its band.

    tones          the band power of each (`runstrue.dsp.band_power`)
    a multitone    likewise, all at once
    a sweep        its power while it passes each frequency
    noise          third-octave bands, against those of the declared noise: the very same noise

Every one gives the same table: gain in dB against the reference frequency, by the frequency at
nominal speed. What the programme declares of each level (and a bought tape's corrections) is
taken off, so that an ideal chain reads 0 everywhere.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from runstrue.dsp.band_power import (
    BandPower,
    Spectrum,
    half_width_hz,
    level_db,
    u_level_db,
)
from runstrue.errors import SignalError
from runstrue.measure.sections import Stretch
from runstrue.quantity import Budget, Contribution
from runstrue.result import Condition, Result, Table
from runstrue.stimulus.programme import Programme, Section
from runstrue.stimulus.section_sound import NOISE_RATE_HZ, noise_values, sweep_constant_s

Array = NDArray[np.float64]

SUNK_DB = 6.0
"""A tone less than this above the noise in its band is no reading (the noise's own uncertainty is
then of its size): it is left out of the table and named."""
SWEEP_POINTS_PER_OCTAVE = 6
SWEEP_HALF_OCTAVES = 1 / 8
MOVED_BINS = 4.0
"""Bins that flutter, and a speed known to a tenth of a per mille, move across a band's edges."""
NOISE_BANDS_PER_OCTAVE = 3


@dataclass(frozen=True, slots=True)
class Point:
    """Level of one frequency in one channel, as declared taken off.

    Parameters
    ----------
    frequency_hz : float
        At nominal speed.
    level_dbfs : float
        Read, less what the programme declares above its reference level.
    u_db : float
        From noise, or from the randomness of a noise band.
    section_id : str
    """

    frequency_hz: float
    level_dbfs: float
    u_db: float
    section_id: str


def measure_response(
    stretches: Iterable[Stretch],
    programme: Programme,
    channels: Sequence[str],
    *,
    reference_hz: float | None = None,
    path: str = "playback",
) -> tuple[Result, ...]:
    """Frequency response of each channel at each level that was played.

    Parameters
    ----------
    stretches : iterable of Stretch
        Sections that serve `response.gain`; each is read and let go, so that a programme need
        not be in memory.
    programme : Programme
        Its declared levels, corrections and tolerance count.
    channels : sequence of str
        What each row of the samples is.
    reference_hz : float, optional
        Where the gain is 0; else the programme's own.
    path : {'playback', 'record and play'}
        Whether a bought tape was played, or the deck's own recording.

    Returns
    -------
    tuple of Result
        `response.gain` with its table, by channel, level and kind of stimulus; the quantity is
        the gain's total window in dB over the whole table.

    Raises
    ------
    SignalError
        When no stretch holds anything that can be read.
    """
    at_hz = reference_hz or programme.reference_hz
    read: dict[_Told, tuple[list[Point], list[float]]] = {}
    for stretch in stretches:
        kind = stretch.section.kind.partition("-")[0]
        for index, name in enumerate(channels):
            if kind in METHOD_OF and _sounds(stretch.section, name):
                told = _Told(kind, stretch.section.level_db, name, path)
                points, sunk = read.setdefault(told, ([], []))
                found, lost = read_points(stretch, index, programme)
                points += found
                sunk += lost
    results = [
        _result(told, points, sunk, programme, at_hz)
        for told, (points, sunk) in read.items() if len(points) > 2
    ]  # fmt: skip
    if not results:
        raise SignalError(
            "No tones of a frequency response could be read",
            "three at least are needed, above the noise",
            "check the level and the programme",
        )
    return tuple(results)


def read_points(
    stretch: Stretch, index: int, programme: Programme
) -> tuple[list[Point], list[float]]:
    """Levels that one section gives for one channel, and frequencies lost in noise."""
    section = stretch.section
    corrected_db = programme.corrections_db.get(section.id, 0.0)
    points, sunk = [], []
    for frequency_hz, power, declared_db in _READERS[section.kind.partition("-")[0]](
        stretch, stretch.samples[index]
    ):
        if power.power <= 0 or level_db(power.power) < level_db(power.noise_power) + SUNK_DB:
            sunk.append(frequency_hz)
            continue
        level = level_db(power.power) - declared_db - corrected_db
        points.append(Point(frequency_hz, level, u_level_db(power), section.id))
    return points, sunk


@dataclass(frozen=True, slots=True)
class _Told:
    """What a table is about."""

    kind: str
    level_db: float
    channel: str
    path: str


METHOD_OF = {
    "tone": "response-tones/1",
    "multitone": "response-multitone/1",
    "sweep": "response-sweep/1",
    "noise": "response-noise/1",
}


def _sounds(section: Section, channel: str) -> bool:
    return channel == "mono" or section.channels in ("both", channel)


def _result(
    told: _Told,
    points: Sequence[Point],
    sunk: Sequence[float],
    programme: Programme,
    reference_hz: float,
) -> Result:
    frequency_hz, level, u_db = _merged(points)
    zero_db, u_zero_db = _at(reference_hz, frequency_hz, level, u_db)
    gain_db = level - zero_db
    tolerance_db = programme.tolerance_db / math.sqrt(3)
    u_all_db = np.sqrt(u_db**2 + u_zero_db**2 + 2 * tolerance_db**2)
    window_db = float(gain_db.max() - gain_db.min())
    worst = [int(np.argmax(gain_db)), int(np.argmin(gain_db))]
    parts = [Contribution("noise", float(np.hypot(*u_db[worst])), "random")]
    if programme.tolerance_db:
        parts.append(
            Contribution(
                "tolerance of the test tape", math.sqrt(2) * tolerance_db, "shared",
                programme.source,
            )
        )  # fmt: skip
    budget = Budget(tuple(parts))
    conditions: dict[str, Condition] = {
        "path": told.path,
        "level, dB": told.level_db,
        "0 dB at": f"{reference_hz:g} Hz",
    }
    if programme.equalisation_us:
        treble, bass = programme.equalisation_us
        conditions["equalisation"] = f"{treble:g} µs" + (f", {bass:g} µs" if bass else "")
    doubts = []
    if sunk:
        named = ", ".join(f"{one:g}" for one in sorted(set(sunk)))
        doubts.append(f"Lost in the noise and left out: {named} Hz.")
    return Result(
        "response.gain",
        METHOD_OF[told.kind],
        told.channel,
        budget.quantity(window_db, "dB"),
        budget,
        table=Table(
            tuple(frequency_hz.tolist()), tuple(gain_db.tolist()), tuple(u_all_db.tolist()),
            "Hz", "dB",
        ),
        conditions=conditions,
        doubts=tuple(doubts),
    )  # fmt: skip


def _merged(points: Sequence[Point]) -> tuple[Array, Array, Array]:
    """Sort by frequency; what was read twice (315 Hz first and last) is averaged."""
    by_frequency: dict[float, list[Point]] = {}
    for point in points:
        by_frequency.setdefault(point.frequency_hz, []).append(point)
    rows = [
        (
            frequency_hz,
            float(np.mean([one.level_dbfs for one in alike])),
            math.sqrt(sum(one.u_db**2 for one in alike)) / len(alike),
        )
        for frequency_hz, alike in sorted(by_frequency.items())
    ]
    frequency_hz, level, u_db = np.array(rows).T
    return frequency_hz, level, u_db


def _at(reference_hz: float, frequency_hz: Array, level: Array, u_db: Array) -> tuple[float, float]:
    """Level at the reference frequency: read there, or between its neighbours."""
    nearest = int(np.argmin(np.abs(np.log(frequency_hz / reference_hz))))
    if abs(frequency_hz[nearest] / reference_hz - 1) < 0.01:
        return float(level[nearest]), float(u_db[nearest])
    at = float(np.interp(math.log(reference_hz), np.log(frequency_hz), level))
    return at, float(u_db[nearest])


def _bands(section: Section, per_octave: int) -> list[tuple[float, float, float]]:
    """Middle, lower and upper edge of bands that fill a section's range."""
    low_hz, high_hz = section.frequencies_hz
    count = math.floor(per_octave * math.log2(high_hz / low_hz))
    step = 2 ** (1 / per_octave)
    start = low_hz * (high_hz / low_hz / step**count) ** 0.5
    return [
        (start * step ** (n + 0.5), start * step**n, start * step ** (n + 1)) for n in range(count)
    ]


Read = tuple[float, BandPower, float]
"""Nominal frequency in Hz, what was read there, and its declared level in dB."""


def _tones(stretch: Stretch, samples: NDArray[np.floating]) -> Iterator[Read]:
    """One tone, or several that share the declared power."""
    section, ratio = stretch.section, stretch.found.speed_ratio
    tones_hz = np.sort(section.frequencies_hz)
    declared_db = section.level_db - 10 * math.log10(tones_hz.size)
    gaps_hz = np.diff(tones_hz, prepend=-math.inf, append=math.inf)
    spectrum = Spectrum(samples, stretch.rate_hz)
    for index, tone_hz in enumerate(tones_hz.tolist()):
        # the noise is read as far out again as the tone: a third keeps clear of the neighbour
        room_hz = float(min(gaps_hz[index], gaps_hz[index + 1])) * ratio / 3
        half = min(half_width_hz(tone_hz * ratio), room_hz)
        if tone_hz * ratio + half < stretch.rate_hz / 2:
            yield tone_hz, spectrum.around(tone_hz * ratio, half), declared_db


def _sweep(stretch: Stretch, samples: NDArray[np.floating]) -> Iterator[Read]:
    """Mean square over the quarter octave around each frequency, while the sweep is in it.

    The power at a moment is looked at, not the energy in a band: flutter makes a sweep dwell
    longer here and shorter there (with 0.2 % at 6 Hz by several per cent), its level stays.
    """
    section, ratio, rate_hz = stretch.section, stretch.found.speed_ratio, stretch.rate_hz
    constant_s = sweep_constant_s(section) / ratio
    # where in the section the stretch begins is known to some ms only: what is missing is shared
    offset_s = (stretch.duration_s - section.lasts_s / ratio) / 2
    reach = 2**SWEEP_HALF_OCTAVES
    for middle_hz, _, _ in _bands(section, SWEEP_POINTS_PER_OCTAVE):
        played_hz = middle_hz * ratio
        passes_s = constant_s * math.log(middle_hz / section.frequencies_hz[0]) + offset_s
        half_s = max(constant_s * math.log(reach), 4 / played_hz)
        first, last = round((passes_s - half_s) * rate_hz), round((passes_s + half_s) * rate_hz)
        # two bins of the window, and what it moves within it
        high_hz = (
            played_hz * math.exp(half_s / constant_s) + half_width_hz(played_hz) / 2 + 1 / half_s
        )
        if first < 0 or last > samples.size or high_hz > rate_hz / 2:
            continue  # cut off at the edge of the stretch, or of the recording
        spectrum = Spectrum(samples[first:last], rate_hz)
        low_hz = max(2 * played_hz - high_hz, 0.0)
        inside = spectrum.band(low_hz, high_hz)
        bins = (high_hz - low_hz) / spectrum.bin_hz
        # below, not above: there are the harmonics
        beside = spectrum.powers(
            int(low_hz / 1.6 / spectrum.bin_hz), int(low_hz / 1.15 / spectrum.bin_hz)
        )
        per_bin = float(beside.mean()) if beside.size >= 3 else 0.0
        noise = per_bin * bins
        tone = inside - noise
        u_noise = per_bin * math.sqrt(1.5 * bins)
        u_beat = math.sqrt(max(6 * tone * per_bin, 0.0))
        yield middle_hz, BandPower(tone, math.hypot(u_noise, u_beat), noise), section.level_db


def _noise(stretch: Stretch, samples: NDArray[np.floating]) -> Iterator[Read]:
    """Third octaves of a noise that is known sample by sample: little of it is left to chance."""
    section, ratio = stretch.section, stretch.found.speed_ratio
    heard = Spectrum(samples, stretch.rate_hz)
    bands = _bands(section, NOISE_BANDS_PER_OCTAVE)
    for (middle_hz, below_hz, above_hz), declared_db in zip(
        bands, _declared_db(section), strict=True
    ):
        if above_hz * ratio > stretch.rate_hz / 2:
            break
        power = heard.band(below_hz * ratio, above_hz * ratio)
        bins = (above_hz - below_hz) * ratio / heard.bin_hz
        u_power = power * math.sqrt(1.5 * MOVED_BINS) / max(bins, 1)
        yield middle_hz, BandPower(power, u_power, 0.0), declared_db


@lru_cache(maxsize=4)
def _declared_db(section: Section) -> tuple[float, ...]:
    """Levels of the bands of a declared noise."""
    declared = Spectrum(noise_values(section), NOISE_RATE_HZ)
    return tuple(
        level_db(declared.band(below_hz, above_hz))
        for _, below_hz, above_hz in _bands(section, NOISE_BANDS_PER_OCTAVE)
    )


_READERS: dict[str, Callable[[Stretch, NDArray[np.floating]], Iterator[Read]]] = {
    "tone": _tones,
    "multitone": _tones,
    "sweep": _sweep,
    "noise": _noise,
}
