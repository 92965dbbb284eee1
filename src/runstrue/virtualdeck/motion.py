"""How the tape moves: speed and place at any time, from one exact expression.

Two clocks are told apart. The *running time* stands still while the transport stands, follows
the tape while it is brought up to speed, and then keeps pace with true time; every turning part
lives in it. True time counts from the first sample. So the place of the tape at a true time is

    place(running(true))  with  place(m) = m + ∫₀ᵐ deviation/100

and both are closed expressions: nothing is summed up sample by sample.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from runstrue.errors import InputError
from runstrue.virtualdeck.deck import Component, VirtualDeck
from runstrue.virtualdeck.hubs import Pack
from runstrue.virtualdeck.sinusoids import Sinusoids
from runstrue.virtualdeck.unrest import RandomSpeed

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Schedule:
    """When the transport starts and stops, in true seconds from the first sample.

    Parameters
    ----------
    start_s : float
        Where the tape begins to move.
    run_up_s, run_down_s : float
    stop_s : float
        Where it stands again; infinite when it is not stopped.

    Raises
    ------
    InputError
        When no steady running is left between run-up and run-down.
    """

    start_s: float = 0.0
    run_up_s: float = 0.0
    run_down_s: float = 0.0
    stop_s: float = math.inf

    def __post_init__(self) -> None:
        if not self.steady_to_s > self.steady_from_s:
            raise InputError(
                "No steady running is left between the start and the stop of the transport",
                f"more than {self.start_s + self.run_up_s + self.run_down_s:g} s are needed",
                "make the recording longer",
            )

    @property
    def steady_from_s(self) -> float:
        """Where full speed is reached."""
        return self.start_s + self.run_up_s

    @property
    def steady_to_s(self) -> float:
        """Where the tape begins to slow down."""
        return self.stop_s - self.run_down_s

    def running(self, base_s: Fraction, offsets_s: Array) -> tuple[Fraction, Array]:
        """Return the running time at ``base + offsets``, again as an exact part and a rest.

        While the tape runs steadily the rest is `offsets_s` itself.
        """
        first = float(base_s) + float(offsets_s.min())
        last = float(base_s) + float(offsets_s.max())
        if first >= self.steady_from_s and last <= self.steady_to_s:
            return base_s - self._lost_s, offsets_s
        # counted from the nearer ramp, so that the end of a long record is as exact as its start
        if first < self.steady_from_s:
            behind = Fraction(0)
            ran = self._ran_up(float(base_s - Fraction(self.start_s)) + offsets_s)
        else:
            behind = Fraction(self.steady_to_s) - self._lost_s
            ran = float(base_s - Fraction(self.steady_to_s)) + offsets_s
        if math.isfinite(self.stop_s):
            into_stop = float(base_s - Fraction(self.steady_to_s)) + offsets_s
            at_stop = float(Fraction(self.steady_to_s) - self._lost_s - behind)
            ran = np.where(into_stop > 0, at_stop + self._ran_down(into_stop), ran)
        return behind, ran

    def pace(self, times_s: Array) -> Array:
        """Share of full speed at true times: 0 at standstill, 1 in steady running."""
        return _rise(times_s - self.start_s, self.run_up_s) * _rise(
            self.stop_s - times_s, self.run_down_s
        )

    @property
    def _lost_s(self) -> Fraction:
        """By how much the running time lags behind true time in steady running."""
        return Fraction(self.start_s) + Fraction(self.run_up_s) / 2

    def _ran_up(self, since_start: Array) -> Array:
        up = self.run_up_s
        if up == 0:
            return np.maximum(since_start, 0.0)
        x = np.clip(since_start, 0.0, up)
        return (x - up / math.pi * np.sin(math.pi * x / up)) / 2 + np.maximum(since_start - up, 0)

    def _ran_down(self, into_stop: Array) -> Array:
        down = self.run_down_s
        if down == 0:
            return np.zeros(into_stop.shape)
        y = np.clip(into_stop, 0.0, down)
        return (y + down / math.pi * np.sin(math.pi * y / down)) / 2


class Motion:
    """The movement of one deck in one recording.

    Parameters
    ----------
    deck : VirtualDeck
    seed : int
        At least 0; decides what is random.
    schedule : Schedule
        By default the transport has just reached its speed at time 0 and never stops.
    """

    def __init__(self, deck: VirtualDeck, seed: int = 0, schedule: Schedule | None = None) -> None:
        self.deck = deck
        self.schedule = schedule or Schedule()
        rows = [row for component in deck.components for row in _rows(component)]
        self._turning = Sinusoids.of(rows)
        self._turned = self._turning.integral()
        self._turned_at_start = float(self._turned.at(np.zeros(1))[0])
        self._random = RandomSpeed(deck.unrest, seed)
        self.packs = tuple(Pack(hub, 1 + deck.speed_error_percent / 100) for hub in deck.hubs)

    def deviation_percent(self, times_s: Array, channel: int = 0) -> Array:
        """Deviation of the tape speed from nominal at true times, −100 at standstill.

        Parameters
        ----------
        times_s : ndarray of float64
            True seconds from the first sample.
        channel : int
            The second and further channels see a skew that sways as a deviation of its own.
        """
        pace, running_s = self.schedule.pace(times_s), self._running_s(times_s)
        deviation = self.running_deviation_percent(running_s)
        skew = self.deck.skew
        if channel > 0 and skew.sway_us:
            angle = 2 * math.pi * skew.sway_rate_hz * running_s
            turning = 2 * math.pi * skew.sway_rate_hz * np.cos(angle)
            deviation -= 100 * skew.sway_us * 1e-6 * turning
        return pace * (100 + deviation) - 100

    def running_deviation_percent(self, running_s: Array) -> Array:
        """Return the deviation at running times, with the transport at full speed."""
        deck = self.deck
        deviation = deck.speed_error_percent + deck.drift_percent_per_min / 60 * running_s
        deviation += self._turning.at(running_s) + self._random.deviation(running_s)
        for pack in self.packs:
            deviation += pack.deviation_percent(running_s)
        if deck.warm_up:
            deviation += deck.warm_up.start_percent * np.exp(
                -running_s / deck.warm_up.time_constant_s
            )
        return np.asarray(deviation)

    def tape_position_s(self, times_s: Array, channel: int = 0) -> Array:
        """Place of the tape at true times, in seconds at nominal speed: the exact integral."""
        running_s = self._running_s(times_s)
        base_s, offsets_s = self.place(Fraction(0), running_s, step_s=None)
        return float(base_s) + offsets_s - self.skew_s(running_s, channel)

    def place(
        self, running_base_s: Fraction, rest_s: Array, step_s: float | None
    ) -> tuple[Fraction, Array]:
        """Return the place of the tape at running times, as an exact part and a rest.

        Parameters
        ----------
        running_base_s : Fraction
        rest_s : ndarray of float64
        step_s : float or None
            When `rest_s` is 0, step, 2 step, … with a multiple of 64 values: the step, which
            allows the fast road. Its values are the same to rounding.
        """
        deck = self.deck
        speed = 1 + Fraction(deck.speed_error_percent) / 100
        bend_per_s = Fraction(deck.drift_percent_per_min) / 6000
        base_s = running_base_s * speed + running_base_s**2 * bend_per_s / 2
        slope = float(speed + bend_per_s * running_base_s)
        running_s = float(running_base_s) + rest_s
        wander = self._random.integral(running_s)
        if step_s is None:
            wander += self._turned.at(running_s)
        else:
            wander += self._turned.at_even_times(float(running_base_s), step_s, rest_s.size)
        wander -= self._turned_at_start
        for pack in self.packs:
            wander += pack.integral(running_s)
        if deck.warm_up:
            constant_s = deck.warm_up.time_constant_s
            wander -= deck.warm_up.start_percent * constant_s * np.expm1(-running_s / constant_s)
        return base_s, slope * rest_s + float(bend_per_s) / 2 * rest_s**2 + wander / 100

    def skew_s(self, running_s: Array, channel: int) -> Array:
        """How much a channel trails the first, in seconds at nominal speed."""
        skew = self.deck.skew
        if channel == 0:
            return np.zeros(running_s.shape)
        sway = np.sin(2 * math.pi * skew.sway_rate_hz * running_s)
        return (skew.delay_us + skew.sway_us * sway) * 1e-6

    def mean_deviation_percent(self, from_s: float, to_s: float) -> float:
        """Mean deviation between two true times, from the places of the tape there."""
        first, last = self.tape_position_s(np.array([from_s, to_s]))
        return float(100 * ((last - first) / (to_s - from_s) - 1))

    def _running_s(self, times_s: Array) -> Array:
        if not times_s.size:
            return np.zeros(times_s.shape)
        base_s, rest_s = self.schedule.running(Fraction(0), times_s)
        return float(base_s) + rest_s


def _rows(component: Component) -> list[tuple[float, float, float]]:
    return [
        (
            component.rate_hz * one.multiple,
            component.peak_percent * one.share,
            one.multiple * component.phase_turns + one.phase_turns,
        )
        for one in component.harmonics
    ]


def _rise(since_s: Array, length_s: float) -> Array:
    if length_s == 0:
        return np.where(since_s >= 0, 1.0, 0.0)
    return np.asarray(0.5 - 0.5 * np.cos(math.pi * np.clip(since_s / length_s, 0, 1)))
