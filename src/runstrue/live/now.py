"""What is read from moment to moment: the strip chart, the needle, the speed of the last seconds.

A place where the tone is lost takes 0.1 s on either side with it, as in a file. To know the
0.1 s before a loss, everything here is told 0.1 s late.
"""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from runstrue.dsp.demodulate import CELL_SAMPLES, Band, Demodulated
from runstrue.dsp.needle import SETTLING_S as NEEDLE_SETTLING_S
from runstrue.dsp.needle import Needle
from runstrue.dsp.weighting import Weighting
from runstrue.live.figure import figure
from runstrue.live.models import Figure, SpeedNow, Strip
from runstrue.live.presence import Mask
from runstrue.live.trail import Trail
from runstrue.measure.flutter import BRIDGED_S
from runstrue.measure.gate import GUARD_S
from runstrue.measure.pieces import Pieces
from runstrue.measure.speed import BLOCK_S as NODE_S
from runstrue.measure.speed import SlowSeries, bell_mean, cents, speed_over
from runstrue.measure.tape_tone import TonePlan
from runstrue.measure.tone import choose_tone
from runstrue.quantity import Quantity

Array = NDArray[np.float64]

OVER_S = 2.0
LEAST_S = 1.0
POINT_SAMPLES = 5  # of the deviation in one point of the strip chart
SPECTRUM_S = 32.0
PERCENT_TO_CENTS = 12 / math.log(2)


class Now:
    """The deviation as it arrives.

    Parameters
    ----------
    band : Band
    rate_hz : float
        Of the deviation.
    channels : int
    plan : TonePlan

    Attributes
    ----------
    nominal_hz : float or None
        The tape's tone, once one was heard.
    needle_percent : float or None
    points : int
        Points of the strip chart so far.
    point_rate_hz : float
    """

    def __init__(self, band: Band, rate_hz: float, channels: int, plan: TonePlan) -> None:
        self._band, self._rate_hz, self._plan = band, rate_hz, plan
        self._guard = round(GUARD_S * rate_hz / CELL_SAMPLES)
        self._offset = np.zeros((channels, 0))
        self._present = np.zeros((channels, self._guard), dtype=np.bool_)
        self._noise = np.zeros((channels, 0))
        self._trail = Trail(channels, round(SPECTRUM_S * rate_hz))
        self._weighting, self._needle = Weighting(rate_hz), Needle(rate_hz)
        self._settle = math.ceil(self._weighting.settling_s * rate_hz)
        self._needle_settle = self._settle + math.ceil(NEEDLE_SETTLING_S * rate_hz)
        self._most_lost = int((BRIDGED_S + 2 * GUARD_S) * rate_hz)
        self._ran, self._lost, self._held = 0, 0, 0.0
        self.points, self.point_rate_hz = 0, rate_hz / POINT_SAMPLES
        self._noise_per_hz = 0.0
        self.nominal_hz: float | None = plan.named_hz
        self.needle_percent: float | None = None

    def add(self, part: Demodulated, present: Mask) -> Strip:
        """Take what the demodulator gave, with its cells judged; return the new points."""
        self._offset = np.concatenate((self._offset, part.offset_hz), axis=1)
        self._present = np.concatenate((self._present, present), axis=1)
        self._noise = np.concatenate((self._noise, part.noise_per_hz), axis=1)
        cells = self._present.shape[1] - 2 * self._guard
        cells = min(cells, self._offset.shape[1] // CELL_SAMPLES)
        if cells <= 0:
            return Strip(self.points, self.point_rate_hz, (), ())
        windows = np.lib.stride_tricks.sliding_window_view(
            self._present, 2 * self._guard + 1, axis=1
        )
        good = windows[:, :cells].all(axis=2)
        offset = self._offset[:, : cells * CELL_SAMPLES]
        noise = self._noise[:, :cells]
        self._offset = self._offset[:, cells * CELL_SAMPLES :]
        self._present = self._present[:, cells:]
        self._noise = self._noise[:, cells:]
        if good.any():
            self._noise_per_hz += 0.02 * cells * (float(noise[good].mean()) - self._noise_per_hz)
        self._choose(offset, np.repeat(good, CELL_SAMPLES, axis=1))
        return self._follow(offset, np.repeat(good, CELL_SAMPLES, axis=1))

    def speed(self, drift: Figure | None) -> SpeedNow | None:
        """Speed over the last seconds, or None without a tone.

        Parameters
        ----------
        drift : Figure or None
            Slope over the longest stretch that was read.
        """
        if self.nominal_hz is None:
            return None
        size = round(NODE_S * self._rate_hz)
        samples = min(round(OVER_S * self._rate_hz), self._trail.end) // size * size
        newest = self._trail.newest(samples)
        rows = self._tracks(newest)
        usable = np.isfinite(newest[rows]).all(axis=0)
        if not rows or np.count_nonzero(usable) < LEAST_S * self._rate_hz:
            return None
        series = SlowSeries.of(newest[rows], Pieces.of(usable), self._rate_hz)
        mean = bell_mean(series)
        noise = self._noise_per_hz / len(rows)
        over = speed_over(mean, "bell-mean/1", "both", self.nominal_hz, self._plan.tape,
                          self._plan.card, noise, series, {}, ())  # fmt: skip
        assert over.quantity is not None
        percent = over.quantity
        per_percent = PERCENT_TO_CENTS / (1 + percent.value / 100)
        own_u = math.hypot(over.budget.random_u, self._plan.card.u_clock_ppm * 1e-4)
        turn = 0.0 if drift is None or abs(drift.value) <= 2 * drift.u else drift.value
        return SpeedNow(
            percent=figure(percent, "speed.deviation"),
            cents=figure(
                Quantity(cents(percent.value), "cents", per_percent * percent.u), signed=True
            ),
            hz=figure(
                Quantity(
                    self.nominal_hz * (1 + mean.percent / 100),
                    "Hz",
                    self.nominal_hz * own_u / 100,
                )
            ),
            over_s=samples / self._rate_hz,
            turn="rising" if turn > 0 else "falling" if turn < 0 else "steady",
            percent_per_min=drift,
        )

    def heard_hz(self) -> float | None:
        """Frequency of the newest tenth of a second of tone, or None."""
        newest = self._trail.newest(round(0.1 * self._rate_hz))
        if self.nominal_hz is None or not np.isfinite(newest).any():
            return None
        return self.nominal_hz * (1 + float(np.nanmean(newest)) / 100)

    def unbroken(self) -> Array:
        """The newest deviation without a gap, in %, of the channels that carry the tone."""
        held = self._trail.newest(round(SPECTRUM_S * self._rate_hz))
        rows = self._tracks(held[:, -round(self._rate_hz) :])
        broken = np.flatnonzero(~np.isfinite(held[rows]).all(axis=0))
        return np.asarray(held[rows][:, (int(broken[-1]) + 1 if broken.size else 0) :])

    def _tracks(self, percent: NDArray[np.floating]) -> list[int]:
        """Channels that carry the tone somewhere in this stretch."""
        return [row for row, values in enumerate(percent) if np.isfinite(values).any()]

    def _choose(self, offset_hz: Array, good: Mask) -> None:
        """Name the tape's tone by what is heard, and stay with it while that is in doubt."""
        if self._plan.named_hz is not None or not good.any():
            return
        if self.nominal_hz is not None and self._ran % round(self._rate_hz) > offset_hz.shape[1]:
            return  # once a second is enough
        choice = choose_tone(
            self._band.centre_hz + float(offset_hz[good].mean()), self._plan.named_hz
        )
        if self.nominal_hz is None or (choice.decided and choice.nominal_hz != self.nominal_hz):
            self.nominal_hz = choice.nominal_hz
            self._restart()

    def _follow(self, offset_hz: Array, good: Mask) -> Strip:
        nominal_hz = self.nominal_hz or self._band.centre_hz
        percent = (offset_hz + (self._band.centre_hz - nominal_hz)) * (100 / nominal_hz)
        percent[~good] = np.nan
        self._trail.extend(percent.astype(np.float32))
        any_good: Mask = np.asarray(good.any(axis=0))
        share = good.sum(axis=0)
        mean = np.where(any_good, np.where(good, percent, 0.0).sum(axis=0) / np.maximum(share, 1),
                        np.nan)  # fmt: skip
        weighted = self._weigh(mean, any_good)
        first = self.points
        points = mean.size // POINT_SAMPLES
        self.points += points
        rows = mean.reshape(points, POINT_SAMPLES).mean(axis=1)
        peaks = weighted.reshape(points, POINT_SAMPLES)
        highest = np.take_along_axis(
            peaks, np.abs(np.nan_to_num(peaks)).argmax(axis=1)[:, None], axis=1
        )[:, 0]
        return Strip(first, self.point_rate_hz, _told(rows), _told(highest))

    def _weigh(self, percent: Array, good: Mask) -> Array:
        """Weighted deviation; not a number where it is lost or has not settled."""
        weighted = np.full(percent.size, np.nan)
        edges = np.flatnonzero(np.diff(good, prepend=~good[:1], append=~good[-1:]))
        for begin, end in pairwise(edges.tolist()):
            length = end - begin
            if not good[begin]:
                self._lost += length
                if self._lost > self._most_lost:
                    self._restart()
                elif self._ran:  # a short loss: the filters keep their memory
                    self._run(np.full(length, self._held))
                continue
            self._lost, self._held = 0, float(percent[end - 1])
            weighted[begin:end] = self._run(percent[begin:end])
        return weighted

    def _run(self, percent: Array) -> Array:
        speed = 1 + self._held / 100
        weighted = self._weighting.process(percent) / speed
        shown = self._needle.process(weighted)
        before, self._ran = self._ran, self._ran + percent.size
        weighted[: max(self._settle - before, 0)] = np.nan
        self.needle_percent = float(shown[-1]) if self._ran >= self._needle_settle else None
        return np.asarray(weighted)

    def _restart(self) -> None:
        self._weighting.reset()
        self._needle.reset()
        self._ran, self.needle_percent = 0, None


def _told(values: Array) -> tuple[float | None, ...]:
    """Plain numbers of four decimals (a strip chart is no reading); None for what is not one."""
    return tuple(None if math.isnan(value) else round(value, 4) for value in values.tolist())
