"""Speed, wow and flutter from a recording of a test tape's tone: the main measurement.

`TonePlan` declares it; `measure_tone` is the one function from blocks of sound to everything
that they say.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from runstrue.errors import SignalError
from runstrue.measure.balance import count_losses, read_balance
from runstrue.measure.conditions import SoundCard
from runstrue.measure.flutter import counted, read_flutter, settling_s
from runstrue.measure.flutter_results import flutter_results
from runstrue.measure.gate import Gate, gate
from runstrue.measure.hiss import Hiss, hiss_uncertainty
from runstrue.measure.listen import Progress, ToneTrack, listen
from runstrue.measure.rhythm import read_rhythm
from runstrue.measure.speed import SlowSeries, speed_results
from runstrue.measure.tone import ToneChoice, band_for, choose_tone
from runstrue.measure.words import gate_words, health_doubts, loss_doubts, the_channel
from runstrue.result import Condition, Deviation, Line, Measured, Result, Trace
from runstrue.stimulus.testtape import CAUTIOUS, TestTape

LEAST_COUNTED_S = 5.0
"""AES6-2008: the two-sigma reading rests on at least 5 s."""

MOST_APART_PERCENT = 0.02
"""The mean speed of two tracks of one tape can only differ as their skew changes: 0.1 mm in a
minute at 47.6 mm/s would be 0.0035 % (own reckoning; a head that tilts so far is broken)."""


@dataclass(frozen=True, slots=True)
class TonePlan:
    """What to measure, and what it rests on.

    Parameters
    ----------
    tone_hz : float or None
        The tone when it is named, 300 Hz to 15 kHz; else 3150 or 3000 Hz is recognised.
    tape : TestTape
        The tape that was played.
    card : SoundCard
        The sound card that recorded.
    self_recorded : bool
        The tone was recorded on the deck that plays it.
    """

    tone_hz: float | None = None
    tape: TestTape = CAUTIOUS
    card: SoundCard = SoundCard()  # noqa: RUF009  frozen and equal for all
    self_recorded: bool = False

    @property
    def named_hz(self) -> float | None:
        """The tone that the user or the tape's description names."""
        return self.tone_hz if self.tone_hz is not None else self.tape.tone_hz


def measure_tone(
    blocks: Iterable[NDArray[np.floating]],
    rate_hz: float,
    channels: int,
    plan: TonePlan,
    *,
    expected_frames: int = 0,
    progress: Progress | None = None,
) -> Measured:
    """Everything that a recording of a tone says about the transport.

    Parameters
    ----------
    blocks : iterable of ndarray, shape (channel, frame)
        Of any sizes.
    rate_hz : float
        Sample rate.
    channels : int
    plan : TonePlan
    expected_frames : int
        Length if it is known; it saves copying.
    progress : callable, optional
        Called with the seconds listened to.

    Raises
    ------
    SignalError
        When there is no tone that can be measured; the sentence says what was heard.
    InputError
        When the named tone is out of range.

    Examples
    --------
    >>> tone = np.sin(2 * np.pi * 3159.45 * np.arange(12 * 8000) / 8000)
    >>> measured = measure_tone([tone[None]], 8000.0, 1, TonePlan())
    >>> str(measured.find("speed.deviation").quantity)
    '0.30 % (u 0.29 %)'
    """
    band = band_for(plan.named_hz)
    # The matrices are small: more than one thread of the linear-algebra library only spins, and
    # takes the core on which the file is decoded.
    with threadpool_limits(limits=1, user_api="blas"):
        # handed on without a name, so that what is kept per cell is freed once it was looked at
        return read_track(
            listen(
                blocks,
                rate_hz,
                channels,
                band,
                expected_frames=expected_frames,
                progress=progress,
            ),
            plan,
        )


def read_track(
    track: ToneTrack, plan: TonePlan, found: Gate | None = None, *, each_channel: bool = True
) -> Measured:
    """Everything that a tone followed through a recording says about the transport.

    Parameters
    ----------
    track : ToneTrack
        With its cells; its offsets are turned into percent in place.
    plan : TonePlan
    found : Gate, optional
        Where the tone can be trusted, if that was looked for already.
    each_channel : bool
        Whether each channel is read for itself too, where both can be read together.

    Raises
    ------
    SignalError
        When there is too little tone, it is too broken up, or the channels' tones differ.
    """
    found = gate(track) if found is None else found
    levels = _levels(track, found, plan)
    track = track.without_cells()
    return _Reading(track, found, plan, levels, each_channel).measured()


def _levels(track: ToneTrack, found: Gate, plan: TonePlan) -> tuple[Result, ...]:
    """Left against right, and losses, while what is kept of the level is still there."""
    balance = read_balance(track, found, plan.tape, plan.card, self_recorded=plan.self_recorded)
    return (*(() if balance is None else (balance,)), *count_losses(track, found))


class _Reading:
    """The steps from a gated track to the results."""

    def __init__(
        self,
        track: ToneTrack,
        found: Gate,
        plan: TonePlan,
        levels: tuple[Result, ...],
        each_channel: bool,
    ) -> None:
        self.track, self.gate, self.plan, self.levels = track, found, plan, levels
        self._each_channel = each_channel
        self._readable = self._find_readable()
        self._refuse_two_speeds()
        self.choice = self._choose()
        self.percent = self._about_nominal()
        self._hiss: tuple[Hiss, float] | None = None  # of the first group, with its noise

    def measured(self) -> Measured:
        results: list[Result] = []
        conditions = self._conditions()
        for name, rows in self._groups():
            results += self._channel(name, rows, conditions)
        for row, pieces in zip(self.percent, self.gate.usable, strict=True):
            for begin, end in pieces.outside(row.size):
                row[begin:end] = np.nan
        used_s = self.gate.any_track().samples / self.track.rate_hz
        return Measured(
            summary=gate_words(self.track, self.gate, self.choice, used_s),
            results=(*results, *self.levels),
            deviation=Deviation(
                self.percent, self.track.rate_hz, self.choice.nominal_hz, self.track.channels
            ),
            conditions={**conditions, "used_s": used_s},
            doubts=(
                *health_doubts(self.track, self.gate, self._noise(self.gate.tracks)),
                *loss_doubts(self.gate),
                *self._broken_doubts(),
                *self._plan_doubts(),
            ),
        )

    def _choose(self) -> ToneChoice:
        usual_hz = [self.gate.usual_hz[channel] for channel in self.gate.tracks]
        return choose_tone(sum(usual_hz) / len(usual_hz), self.plan.named_hz)

    def _about_nominal(self) -> NDArray[np.float32]:
        """Turn the offsets into percent of nominal, in place: a long record is held once."""
        nominal_hz = self.choice.nominal_hz
        percent = self.track.offset_hz
        percent += np.float32(self.track.band.centre_hz - nominal_hz)
        percent *= np.float32(100 / nominal_hz)
        return percent

    def _groups(self) -> list[tuple[str, tuple[int, ...]]]:
        """Channels to read: both together where there are two, then each."""
        readable = self._readable
        alone: list[tuple[str, tuple[int, ...]]] = [
            (self.track.channels[index], (index,)) for index in readable
        ]
        if len(readable) == 2 and self._counted_s(readable) >= LEAST_COUNTED_S:
            return [("both", readable), *(alone if self._each_channel else ())]
        return alone

    def _find_readable(self) -> tuple[int, ...]:
        """Channels with enough tone in pieces long enough for the weighting to settle."""
        tracks = self.gate.tracks
        readable = tuple(row for row in tracks if self._counted_s((row,)) >= LEAST_COUNTED_S)
        if not readable:
            tone_s = self.gate.any_track().samples / self.track.rate_hz
            raise SignalError(
                f"The {tone_s:.1f} s of tone that were found are broken up by losses",
                f"{settling_s(self.track.rate_hz) + LEAST_COUNTED_S:.0f} s in one piece are needed",
                "clean the heads or play another part of the tape",
            )
        return readable

    def _refuse_two_speeds(self) -> None:
        """Refuse channels whose tones differ: one transport moves both tracks alike."""
        if len(self._readable) < 2:
            return
        common = self.gate.common(self._readable)
        if common.samples < self.track.rate_hz:
            return
        longest = slice(*max(common.spans, key=lambda span: span[1] - span[0]))
        heard_hz = [
            self.track.band.centre_hz
            + float(self.track.offset_hz[row, longest].mean(dtype=np.float64))
            for row in self._readable
        ]
        if abs(heard_hz[0] / heard_hz[1] - 1) > MOST_APART_PERCENT / 100:
            raise SignalError(
                f"The left channel holds {heard_hz[0]:.1f} Hz and the right one "
                f"{heard_hz[1]:.1f} Hz, which one transport cannot do",
                "both channels of one pass are needed",
                "record again, or export the channel you want as a file of its own",
            )

    def _counted_s(self, rows: tuple[int, ...]) -> float:
        return counted(self.gate.common(rows), self.track.rate_hz) / self.track.rate_hz

    def _channel(
        self, name: str, rows: tuple[int, ...], conditions: dict[str, Condition]
    ) -> list[Result]:
        rate_hz, plan = self.track.rate_hz, self.plan
        usable = self.gate.common(rows)
        percent = self.percent[rows[0] : rows[-1] + 1]  # a view: a long record is held once
        series = SlowSeries.of(percent, usable, rate_hz)
        mean_percent = series.mean_percent
        mean_hz = self.choice.nominal_hz * (1 + mean_percent / 100)
        noise = self._noise(rows)
        results: list[Result] = []
        if not plan.self_recorded:
            results += self._speed(series, name, noise, conditions)
        elif name in ("both", "mono") or len(self.gate.tracks) == 1:
            results.append(self._speed_unknown(name, conditions))
        readout = read_flutter(percent, usable, mean_percent, rate_hz)
        lines: tuple[Line, ...] = ()
        trace: Trace | None = None
        if self._hiss is None:  # the first group; the motion is one and the same on both tracks
            lines, trace = read_rhythm(percent, usable, mean_percent, rate_hz)
            hiss = hiss_uncertainty(readout.excerpt, noise, mean_hz, rate_hz, readout.used_s)
            self._hiss = hiss, noise
        else:
            hiss = self._hiss[0].at(noise / self._hiss[1])
        results += flutter_results(
            readout, hiss, lines, trace, name, plan.tape,
            self_recorded=plan.self_recorded, conditions=conditions,
        )  # fmt: skip
        return results

    def _speed(
        self, series: SlowSeries, name: str, noise: float, conditions: dict[str, Condition]
    ) -> tuple[Result, ...]:
        """Speed against the tone, or against each of two that fit."""
        results: list[Result] = []
        for nominal_hz in self.choice.candidates_hz:
            scale = self.choice.nominal_hz / nominal_hz
            against = SlowSeries(series.time_s, (100 + series.percent) * scale - 100, series.share)
            told: dict[str, Condition] = {**conditions, "tone_hz": nominal_hz}
            doubts: tuple[str, ...] = ()
            if not self.choice.decided:
                told["tone_undecided"] = True
                doubts = (f"If the tape holds {nominal_hz:.0f} Hz; {self.choice.reason}.",)
            results += speed_results(
                against, name, nominal_hz, self.plan.tape, self.plan.card,
                noise_per_hz=noise, conditions=told, doubts=doubts,
            )  # fmt: skip
        return tuple(results)

    def _speed_unknown(self, name: str, conditions: dict[str, Condition]) -> Result:
        return Result(
            id="speed.deviation",
            method="bell-mean/1",
            channel=name,
            quantity=None,
            conditions=conditions,
            doubts=(
                "Recorded and played on the same deck: its speed error cancels and cannot be "
                "known this way; a test tape is needed.",
            ),
        )

    def _noise(self, rows: tuple[int, ...]) -> float:
        """Noise-to-carrier density of the mean of these channels."""
        return sum(self.gate.noise_per_hz[row] for row in rows) / len(rows) ** 2

    def _conditions(self) -> dict[str, Condition]:
        noise = self._noise(self.gate.tracks[:1])
        return {
            "tone_hz": self.choice.nominal_hz,
            "tone_reason": self.choice.reason,
            "duration_s": self.track.duration_s,
            "tone_to_hiss_db": -10 * math.log10(max(noise * HISS_BAND_HZ, 1e-20)),
            "tape": self.plan.tape.name,
            "sound_card": self.plan.card.name,
            "self_recorded": self.plan.self_recorded,
        }

    def _broken_doubts(self) -> tuple[str, ...]:
        return tuple(
            f"{the_channel(self.track.channels[row])} is too broken up by losses to be read."
            for row in self.gate.tracks
            if row not in self._readable
        )

    def _plan_doubts(self) -> tuple[str, ...]:
        if self.plan.self_recorded:
            return (
                "Recorded and played on the same deck: the flutter of the two passes adds or "
                "cancels by chance, so one start can read low by any amount; make at least three "
                "starts and measure them together with --starts.",
            )
        return ()


HISS_BAND_HZ = 20_000.0
"""Tone-to-hiss ratios are told for the usual band of 20 Hz to 20 kHz."""
