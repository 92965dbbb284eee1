"""Azimuth: how much one channel trails the other, what tilt that is, and how it sways.

The phase between the channels is read frame by frame from their cross-spectrum around each tone;
flutter is common to both and drops out. How many whole turns a fine tone has made is told by the
lower ones and by polarity pulses (`runstrue.measure.azimuth_turns`); where they leave a doubt, no
delay is told.

Delay = s tan α / v, with s the distance of the two tracks' middles and v the tape speed; a tilt
costs treble by |sin x / x| with x = π w tan α f / v over a track of width w (Camras, Jorgensen,
from memory, sure; geometry agrees with McKnight, 'Azimuth in a Magnetic Tape Recorder').
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from runstrue.dsp.band_power import half_width_hz
from runstrue.errors import SignalError
from runstrue.measure.azimuth_turns import Settled, ToneTurns, settle
from runstrue.measure.polarity import read_pulses
from runstrue.measure.sections import Stretch
from runstrue.quantity import Budget, Contribution
from runstrue.result import Condition, Result, Trace

Array = NDArray[np.float64]

FRAME_S = 0.1
SHORTEST_S = 10.0
"""Sway is slow: less would tell a moment."""
TAPE_MINUTES = 1.0
"""Recorded azimuth of a calibration tape: 90° ± 1′ (JIS C 5563-1996 = IEC 94-2:1994 clause 3)."""
CLEAREST = 0.2  # r.m.s. phase noise of a frame in turns at which a tone is of no use


@dataclass(frozen=True, slots=True)
class Tracks:
    """Where the two channels lie on the tape.

    Parameters
    ----------
    spacing_mm : float
        From middle to middle. Cassette stereo 0.90 (two tracks of 0.6 mm and a gap of 0.3 mm,
        second-hand).
    width_mm : float
        That a head reads.
    speed_mm_per_s : float
    """

    spacing_mm: float = 0.90
    width_mm: float = 0.60
    speed_mm_per_s: float = 47.625

    def angle_minutes(self, delay_us: float) -> float:
        """Tilt in minutes of arc that gives a delay in µs."""
        return 60 * math.degrees(math.atan(delay_us * 1e-6 * self.speed_mm_per_s / self.spacing_mm))

    def loss_db(self, angle_minutes: float, frequency_hz: float) -> float:
        """Treble loss of a tilt, in dB, 0 or less."""
        x = self.width_mm * math.tan(math.radians(angle_minutes / 60)) * frequency_hz
        return 20 * math.log10(max(abs(float(np.sinc(x / self.speed_mm_per_s))), 1e-6))


CASSETTE = Tracks()


def measure_azimuth(
    stretches: Sequence[Stretch],
    tracks: Tracks = CASSETTE,
    tape_source: str = "",
    *,
    coarser: Sequence[Stretch] = (),
) -> tuple[Result, ...]:
    """Delay, tilt and sway from tones that both channels carry alike.

    Parameters
    ----------
    stretches : sequence of Stretch
        Sections of one tone each, or multitones; two channels; one of them for 10 s. The highest
        tone of that length is the one that the figures are read from.
    tracks : Tracks
    tape_source : str
        What the recorded azimuth's uncertainty belongs to (a bought tape); empty for the deck's
        own recording, whose zero is its own record head.
    coarser : sequence of Stretch
        Other tones that both channels carry, short ones too, and polarity pulses: they tell how
        many whole turns a high tone has made, and which way the channels point.

    Returns
    -------
    tuple of Result
        `azimuth.delay` in µs at nominal speed (positive: the right channel trails),
        `azimuth.angle` in minutes of arc, `azimuth.sway` (twice the standard deviation of the
        angle), and `phase.polarity` (0 or 180°). Delay, angle and polarity have no figure where
        several fit.

    Raises
    ------
    SignalError
        When there are not two channels, the tones are too weak, or none lasts 10 s.
    """
    readings = _phases([one for one in stretches if one.section.kind != "polarity"])
    long = [one for one in readings if one.length_s >= SHORTEST_S * 0.95]
    if not long:
        longest_s = max((one.length_s for one in readings), default=0.0)
        raise SignalError(
            f"Only {longest_s:.1f} s of tone were found on both channels",
            f"{SHORTEST_S:g} s are needed to read azimuth and its sway",
            "play the azimuth section in full",
        )
    best = max(long, key=lambda one: one.tone_hz)
    readings += _phases([one for one in coarser if one.section.kind != "polarity"])
    pulses = [
        said for one in (*stretches, *coarser)
        if one.section.kind == "polarity" and (said := read_pulses(one)) is not None
    ]  # fmt: skip
    settled = settle(best.toned, [one.toned for one in readings], pulses[0] if pulses else None)
    frames_us = settled.way.delay_us + _wrapped(best.turns - best.mean_turns) / best.tone_hz * 1e6
    noise_us = best.u_turns / best.tone_hz * 1e6
    sway_us = math.sqrt(max(float(np.var(frames_us)) - noise_us**2, 0.0))
    seen = _Seen(best, readings, bool(pulses), frames_us, noise_us, sway_us)
    return _results(seen, settled, tracks, tape_source)


@dataclass(frozen=True, slots=True, eq=False)
class _Phase:
    """Phase of the left channel against the right, frame by frame, at one tone."""

    tone_hz: float  # at nominal speed, so that delays are too
    turns: Array
    mean_turns: float
    u_turns: float  # r.m.s. noise of one frame
    length_s: float

    @property
    def toned(self) -> ToneTurns:
        """Its mean."""
        return ToneTurns(
            self.tone_hz, self.mean_turns, self.u_turns / math.sqrt(max(self.turns.size, 1))
        )


@dataclass(frozen=True, slots=True, eq=False)
class _Seen:
    """What the figures are made from: the tone that they are read from, and all that were seen."""

    best: _Phase
    readings: Sequence[_Phase]
    pulses: bool
    frames_us: Array
    noise_us: float
    sway_us: float


def _phases(stretches: Sequence[Stretch]) -> list[_Phase]:
    found: dict[float, _Phase] = {}
    for stretch in stretches:
        if stretch.channels != 2:
            raise SignalError(
                "The recording has one channel", "azimuth is read from two", "record in stereo"
            )
        for nominal_hz in stretch.section.frequencies_hz:
            phase = _phase(stretch, nominal_hz)
            known = found.get(nominal_hz)
            if phase is not None and (known is None or phase.length_s > known.length_s):
                found[nominal_hz] = phase
    return list(found.values())


def _phase(stretch: Stretch, nominal_hz: float) -> _Phase | None:
    tone_hz = nominal_hz * stretch.found.speed_ratio
    frame = round(FRAME_S * stretch.rate_hz)
    count = stretch.samples.shape[1] // frame
    if not count:
        return None
    window = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(frame) / frame)
    framed = stretch.samples[:, : count * frame].reshape(2, count, frame)
    bins = np.fft.rfft(framed * window, axis=2)
    bin_hz = stretch.rate_hz / frame
    half_hz = min(half_width_hz(tone_hz), 60.0) + 2 * bin_hz
    first, last = round((tone_hz - half_hz) / bin_hz), round((tone_hz + half_hz) / bin_hz)
    if first < 1 or last >= bins.shape[2]:
        return None
    cross = np.sum(bins[0, :, first : last + 1] * np.conj(bins[1, :, first : last + 1]), axis=1)
    # noise of a frame's phase: half the noise in a bin over the tone, for each channel, times
    # 35/128 over (3/8)², what a Hann window costs
    power = np.mean(np.abs(bins) ** 2, axis=1)
    width = last - first
    beside = np.concatenate(
        (power[:, max(first - width, 1) : first - 2], power[:, last + 3 : last + width]), axis=1
    )
    noise = beside.mean(axis=1) if beside.size else np.zeros(2)
    tone = np.maximum(power[:, first : last + 1].sum(axis=1) - noise * (width + 1), 1e-30)
    variance = float(np.sum(0.5 * 1.944 * noise / tone))
    u_turns = math.sqrt(variance) / (2 * math.pi)
    if u_turns > CLEAREST:
        return None
    mean = float(np.angle(cross.sum())) / (2 * math.pi)
    return _Phase(nominal_hz, np.angle(cross) / (2 * math.pi), mean, u_turns, count * FRAME_S)


def _wrapped(turns: Array | float) -> Array:
    """Into half a turn either way."""
    return np.asarray(turns - np.rint(turns), dtype=np.float64)


def _doubts(seen: _Seen, settled: Settled, tape_source: str) -> list[str]:
    doubts = []
    if settled.others:
        ways = [settled.way, *settled.others]
        shown = ", ".join(
            f"{way.delay_us:+.0f} µs".replace("-", "−") + (" with a channel turned round"
                                                            if way.turned else "")
            for way in sorted(ways[:4], key=lambda way: abs(way.delay_us))
        )  # fmt: skip
        more = " and others" if len(ways) > 4 else ""
        heard = "Only a tone" if len(seen.readings) == 1 else "The finest tone"
        doubts.append(
            f"{heard} of {seen.best.tone_hz:.0f} Hz was found to read the azimuth from, and "
            f"it is known up to whole turns of {1e6 / seen.best.tone_hz:.0f} µs: {shown}{more} fit "
            "alike, so no figure is told; play a tone of 315 Hz or 1 kHz and polarity pulses too."
        )
    elif settled.odd_hz:
        listed = ", ".join(f"{hz:.0f}" for hz in sorted(settled.odd_hz))
        doubts.append(
            f"The phase at {listed} Hz does not go with that of the other tones: perhaps the "
            "amplifiers of the channels differ there."
        )
    if tape_source:
        doubts.append(
            "A calibration tape's own azimuth is good to about ±1′: nothing finer can be known "
            "with it."
        )
    else:
        doubts.append(
            "Recorded and played on the same head, a tilt cancels: what is left tells the "
            "electronics and the sway. With two heads it is their tilt against each other."
        )
    return doubts


def _results(seen: _Seen, settled: Settled, tracks: Tracks, tape_source: str) -> tuple[Result, ...]:
    best, frames_us, delay_us = seen.best, seen.frames_us, settled.way.delay_us
    noise_us, sway_us = seen.noise_us, seen.sway_us
    frames = frames_us.size
    per_minute = 1 / tracks.angle_minutes(1.0)  # µs
    scatter = Contribution("noise", noise_us / math.sqrt(frames), "random")
    # sway is slow: about one independent value in a quarter of a second (own choice; 2 Hz sway)
    independent = max(best.length_s / 0.25, 2)
    moving = Contribution(
        "sway over a finite time", sway_us / math.sqrt(independent), "random",
        degrees_of_freedom=independent - 1,
    )  # fmt: skip
    parts = [scatter, moving]
    if tape_source:
        parts.append(
            Contribution(
                "azimuth of the test tape", TAPE_MINUTES * per_minute / math.sqrt(3), "shared",
                tape_source,
            )
        )  # fmt: skip
    budget = Budget(tuple(parts))
    in_minutes = Budget(
        tuple(
            Contribution(part.name, part.u / per_minute, part.kind, part.source,
                         part.degrees_of_freedom)
            for part in parts
        )
    )  # fmt: skip
    angle = tracks.angle_minutes(delay_us)
    conditions: dict[str, Condition] = {
        "tones": ", ".join(
            f"{one:.0f} Hz" for one in sorted({other.tone_hz for other in seen.readings})
        )
        + (", polarity pulses" if seen.pulses else ""),
        "read from": f"{best.tone_hz:.0f} Hz",
        "length": f"{best.length_s:.1f} s",
    }
    if settled.sure:
        conditions["10 kHz, dB"] = round(tracks.loss_db(angle, 10_000), 2)
        conditions["16 kHz, dB"] = round(tracks.loss_db(angle, 16_000), 2)
    doubts = tuple(_doubts(seen, settled, tape_source))
    times_s = (np.arange(frames) + 0.5) * FRAME_S
    trace = Trace(
        "azimuth", times_s, frames_us / per_minute, "time", "s", "angle", "′", "both",
        {"mean": angle},
    )  # fmt: skip
    sway = 2 * sway_us / per_minute
    sway_budget = Budget(
        (
            Contribution("noise", 2 * noise_us / per_minute / math.sqrt(frames), "random"),
            Contribution("finite length", sway / math.sqrt(2 * independent), "random"),
        )
    )
    turned = settled.turned
    told: dict[str, Condition] = {
        "polarity": "not known" if turned is None else "turned" if turned else "alike"
    }
    return (
        Result("azimuth.delay", "azimuth-phase/1", "both",
               budget.quantity(delay_us, "µs") if settled.sure else None, budget,
               conditions=conditions, doubts=doubts),
        Result("azimuth.angle", "azimuth-phase/1", "both",
               in_minutes.quantity(angle, "′") if settled.sure else None,
               in_minutes, conditions=conditions, traces=(trace,) if settled.sure else (),
               doubts=doubts),
        Result("azimuth.sway", "azimuth-sway/1", "both", sway_budget.quantity(sway, "′"),
               sway_budget, conditions=conditions),
        Result("phase.polarity", "polarity-phase/1", "both",
               None if turned is None else Budget().quantity(180.0 if turned else 0.0, "°"),
               conditions=told),
    )  # fmt: skip
