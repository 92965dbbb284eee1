"""The figures over the newest 5, 10 and 30 seconds, by the very road of a file.

A window is a stretch of sound that holds so many seconds of settled tone: the settling of the
weighting and what the gate takes off at the ends come on top. `read_window` says of it what
`runstrue measure` would say of a file of that stretch.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from runstrue.errors import SignalError
from runstrue.live.figure import figure_of
from runstrue.live.listening import Listening, Stretch
from runstrue.live.models import Window
from runstrue.measure.flutter import settling_s
from runstrue.measure.gate import GUARD_S, LEAST_TONE_S, RUN_UP_S, gate
from runstrue.measure.tape_tone import TonePlan, read_track
from runstrue.measure.words import loss_doubts
from runstrue.result import Measured, Result

WINDOWS_S = (5.0, 10.0, 30.0)
EVERY_S = (2.0, 4.0, 8.0)
"""How often each is read anew: the long ones change slowly and cost more."""

SPARE_S = 0.3
"""The cells at the ends, which a file's silence around it may spoil, and a jerk of the speed that
the gate takes for a run-up."""


@dataclass(frozen=True, slots=True, eq=False)
class Reading:
    """What one window said.

    Parameters
    ----------
    window : Window
    measured : Measured or None
        None when there was not enough tone; `why` then says so.
    doubts : tuple of str
        Of the sound itself; losses are told on their own.
    """

    window: Window
    measured: Measured | None = None
    doubts: tuple[str, ...] = ()
    why: SignalError | None = None


def stretch_s(name_s: float, rate_hz: float) -> float:
    """Length of sound that holds so many seconds of settled tone.

    Parameters
    ----------
    name_s : float
    rate_hz : float
        Of the deviation.
    """
    return name_s + settling_s(rate_hz) + 2 * GUARD_S + SPARE_S


def held_s() -> float:
    """How far back the longest window reaches, at the usual rate of the deviation."""
    return stretch_s(max(WINDOWS_S), 500.0) + RUN_UP_S


def least_tone_s(name_s: float, rate_hz: float) -> float:
    """The least tone that a window asks for: as a file does, or all that it can hold."""
    return min(LEAST_TONE_S, name_s + settling_s(rate_hz))


def latest_window(listening: Listening, name_s: float, plan: TonePlan) -> Reading:
    """Read the newest window of a length, lengthened where the gate takes off more in front."""
    needed_s = stretch_s(name_s, listening.value_rate_hz)
    reading = Reading(Window(name_s, 0.0, listening.frames, 0))
    for length_s in (needed_s, needed_s + RUN_UP_S):
        stretch = listening.stretch(length_s)
        if stretch is not None:
            reading = read_window(stretch, name_s, plan)
        if reading.measured is not None:
            break
    return reading


def read_window(stretch: Stretch, name_s: float, plan: TonePlan) -> Reading:
    """Read one stretch as a file of it would be read."""
    track = stretch.track
    try:
        found = gate(track, least_tone_s(name_s, track.rate_hz))
        measured = read_track(track, plan, found, each_channel=False)
    except SignalError as error:
        return Reading(Window(name_s, 0.0, stretch.first_frame, stretch.frames), why=error)
    losses = loss_doubts(found)
    return Reading(
        _window(stretch, name_s, measured),
        measured,
        tuple(doubt for doubt in measured.doubts if doubt not in losses),
    )


def _window(stretch: Stretch, name_s: float, measured: Measured) -> Window:
    peak = measured.find("flutter.weighted_peak")
    needle = measured.find("flutter.indicated_peak")
    played = None if needle is None else needle.spread
    counted_s = 0.0 if peak is None else float(peak.conditions["used_s"])
    return Window(
        name_s=name_s,
        counted_s=counted_s,
        first_frame=stretch.first_frame,
        frames=stretch.frames,
        flutter=figure_of(peak),
        needle=figure_of(needle),
        needle_low=played.low if played else None,
        needle_high=played.high if played else None,
        weighted_rms=figure_of(measured.find("flutter.weighted_rms")),
        unweighted_peak=figure_of(measured.find("flutter.unweighted_peak")),
        unweighted_rms=figure_of(measured.find("flutter.unweighted_rms")),
        wow=figure_of(measured.find("flutter.wow_rms")),
        flutter_rms=figure_of(measured.find("flutter.flutter_rms")),
        speed=figure_of(_whole_speed(measured)),
        drift=figure_of(measured.find("speed.drift")),
        balance=figure_of(measured.find("level.balance")),
    )


def _whole_speed(measured: Measured) -> Result | None:
    """The mean over the whole stretch; None where two tones fit and neither was named."""
    found = [one for one in measured.results if one.method == "bell-mean/1"]
    return found[0] if found and not found[0].conditions.get("tone_undecided") else None


def seconds_until_read(tone_s: float, rate_hz: float) -> int:
    """Whole seconds until a tone that stands so long gives its first figure."""
    needed = least_tone_s(WINDOWS_S[0], rate_hz) + 2 * GUARD_S + SPARE_S
    return max(math.ceil(needed - tone_s), 1)
