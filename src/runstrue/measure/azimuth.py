"""Azimuth: how much one channel trails the other, what tilt that is, and how it sways.

The phase between the channels is read frame by frame from their cross-spectrum around each tone;
flutter is common to both and drops out. The lowest tone says without doubt where zero is, and
each higher one, being finer, is unwrapped by the one below it. A phase that stays at half a turn
however low the tone is no delay but a channel of turned polarity.

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
from runstrue.measure.sections import Stretch
from runstrue.quantity import Budget, Contribution
from runstrue.result import Condition, Result, Trace

Array = NDArray[np.float64]

FRAME_S = 0.1
SHORTEST_S = 10.0
"""Sway is slow: less would tell a moment."""
TAPE_MINUTES = 1.0
"""Recorded azimuth of a calibration tape: 90° ± 1′ (JIS C 5563-1996 = IEC 94-2:1994 clause 3)."""
STEP_TURNS = 0.16
"""By how much a tone's phase may differ from what the one below foretold: 57° of a turn."""
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
    stretches: Sequence[Stretch], tracks: Tracks = CASSETTE, tape_source: str = ""
) -> tuple[Result, ...]:
    """Delay, tilt and sway from tones that both channels carry alike.

    Parameters
    ----------
    stretches : sequence of Stretch
        Sections of one tone each, or multitones; two channels; the highest tone for 10 s.
    tracks : Tracks
    tape_source : str
        What the recorded azimuth's uncertainty belongs to (a bought tape); empty for the deck's
        own recording, whose zero is its own record head.

    Returns
    -------
    tuple of Result
        `azimuth.delay` in µs at nominal speed (positive: the right channel trails),
        `azimuth.angle` in minutes of arc, `azimuth.sway` (twice the standard deviation of the
        angle), and `phase.polarity` (0 or 180°).

    Raises
    ------
    SignalError
        When there are not two channels, the tones are too weak, or none lasts 10 s.
    """
    readings = sorted(_phases(stretches), key=lambda one: one.tone_hz)
    if not readings or readings[-1].length_s < SHORTEST_S * 0.95:
        longest_s = max((one.length_s for one in readings), default=0.0)
        raise SignalError(
            f"Only {longest_s:.1f} s of tone were found on both channels",
            f"{SHORTEST_S:g} s are needed to read azimuth and its sway",
            "play the azimuth section in full",
        )
    turned = _is_turned(readings)
    delays_us = _unwrapped(readings, turned)
    best = readings[-1]
    delay_us = delays_us[-1]
    frames_us = delay_us + _wrapped(best.turns - best.mean_turns) / best.tone_hz * 1e6
    noise_us = best.u_turns / best.tone_hz * 1e6
    sway_us = math.sqrt(max(float(np.var(frames_us)) - noise_us**2, 0.0))
    return _results(readings, frames_us, delay_us, noise_us, sway_us, turned, tracks, tape_source)


@dataclass(frozen=True, slots=True, eq=False)
class _Phase:
    """Phase of the left channel against the right, frame by frame, at one tone."""

    tone_hz: float  # at nominal speed, so that delays are too
    turns: Array
    mean_turns: float
    u_turns: float  # r.m.s. noise of one frame
    length_s: float


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


def _is_turned(readings: Sequence[_Phase]) -> bool:
    """Whether half a turn at every tone fits better than none; a lone tone decides by itself."""
    if len(readings) == 1:
        return bool(abs(readings[0].mean_turns) > 0.25)

    def disagreement(turned: bool) -> float:
        delays_us = np.array(_unwrapped(readings, turned))
        tones_hz = np.array([one.tone_hz for one in readings[1:]])
        return float(np.sum(np.abs(np.diff(delays_us)) * 1e-6 * tones_hz))

    return disagreement(True) < disagreement(False)


def _unwrapped(readings: Sequence[_Phase], turned: bool) -> list[float]:
    """Delay in µs at each tone, from the lowest up."""
    delays_us: list[float] = []
    for one in readings:
        turns = one.mean_turns - (0.5 if turned else 0.0)
        foretold = delays_us[-1] * 1e-6 * one.tone_hz if delays_us else 0.0
        if not delays_us:
            turns = float(_wrapped(turns))
        else:
            turns += round(foretold - turns)
        delays_us.append(turns / one.tone_hz * 1e6)
    return delays_us


def _doubts(readings: Sequence[_Phase], delays_us: Sequence[float], tape_source: str) -> list[str]:
    doubts = []
    for below_us, above_us, one in zip(delays_us, delays_us[1:], readings[1:], strict=False):
        if abs(above_us - below_us) * 1e-6 * one.tone_hz > STEP_TURNS:
            doubts.append(
                f"The tone of {one.tone_hz:.0f} Hz does not go with the one below it: the azimuth "
                "may be a whole turn of phase off."
            )
            break
    if len(readings) == 1 and readings[0].tone_hz > 2000:
        doubts.append(
            f"Only a tone of {readings[0].tone_hz:.0f} Hz was found: the delay is known up to "
            f"whole turns of {1e6 / readings[0].tone_hz:.0f} µs; play a low tone too."
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


def _results(
    readings: Sequence[_Phase],
    frames_us: Array,
    delay_us: float,
    noise_us: float,
    sway_us: float,
    turned: bool,
    tracks: Tracks,
    tape_source: str,
) -> tuple[Result, ...]:
    best = readings[-1]
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
        "tones": ", ".join(f"{one.tone_hz:.0f} Hz" for one in readings),
        "length": f"{best.length_s:.1f} s",
        "10 kHz, dB": round(tracks.loss_db(angle, 10_000), 2),
        "16 kHz, dB": round(tracks.loss_db(angle, 16_000), 2),
    }
    doubts = tuple(_doubts(readings, _unwrapped(readings, turned), tape_source))
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
    return (
        Result("azimuth.delay", "azimuth-phase/1", "both", budget.quantity(delay_us, "µs"), budget,
               conditions=conditions, doubts=doubts),
        Result("azimuth.angle", "azimuth-phase/1", "both", in_minutes.quantity(angle, "′"),
               in_minutes, conditions=conditions, traces=(trace,), doubts=doubts),
        Result("azimuth.sway", "azimuth-sway/1", "both", sway_budget.quantity(sway, "′"),
               sway_budget, conditions=conditions),
        Result("phase.polarity", "polarity-phase/1", "both",
               Budget().quantity(180.0 if turned else 0.0, "°"),
               conditions={"polarity": "turned" if turned else "alike"}),
    )  # fmt: skip
