"""Where the tone is there, cell by cell, as it arrives; and each loss of it.

The gate of the file path looks at a whole record before it decides. Here a cell of 20 ms is
judged when it comes, by the gate's own measures of a single tone, against the usual level of the
last seconds. The figures do not rest on this; the strip chart, the needle and the count of
dropouts do.
"""

from __future__ import annotations

from collections import deque

import numpy as np
from numpy.typing import NDArray

from runstrue.dsp.demodulate import CELL_SAMPLES, Demodulated
from runstrue.live.models import Dropouts, Lost
from runstrue.measure.gate import (
    FAINTEST_DB,
    GUARD_S,
    LOST_BELOW_DB,
    MOST_JITTER_RAD,
    ONE_TONE_FLICKER,
    WEAK_CHANNEL_DB,
)

Mask = NDArray[np.bool_]

USUAL_S = 10.0
RENEWED_S = 0.5  # the usual level is taken anew so often
LONGEST_LOSS_S = 2.0  # the tape was stopped, or the tone ended: no dropout (own choice)
FEWEST_S = 10.0
TOLD = 5


class Presence:
    """Which cells hold the tone, on each channel.

    Parameters
    ----------
    channels : tuple of str
    rate_hz : float
        Of the deviation.
    """

    def __init__(self, channels: tuple[str, ...], rate_hz: float) -> None:
        self._names = channels
        self.cell_s = CELL_SAMPLES / rate_hz
        self.guard_cells = round(GUARD_S / self.cell_s)
        kept = round(USUAL_S / self.cell_s)
        self._levels: list[deque[float]] = [deque(maxlen=kept) for _ in channels]
        self._usual_db = np.full(len(channels), np.nan)
        self._since_renewed = 0
        self.cells = 0
        self._there = [False] * len(channels)
        self._lost_since: list[int | None] = [None] * len(channels)
        self._losses: deque[Lost] = deque(maxlen=TOLD)
        self._count = 0
        self._with_tone = 0
        self.newest_db: tuple[float, ...] = (np.nan,) * len(channels)

    def add(self, part: Demodulated) -> Mask:
        """Judge the cells of what the demodulator gave, shape (channel, cell)."""
        single = (part.jitter < MOST_JITTER_RAD) & (part.flicker < ONE_TONE_FLICKER)
        single &= part.level_db > FAINTEST_DB
        for row, levels in enumerate(self._levels):
            levels.extend(part.level_db[row][single[row]].tolist())
        self._since_renewed += part.level_db.shape[1]
        if self._since_renewed * self.cell_s >= RENEWED_S or not np.isfinite(self._usual_db).all():
            self._since_renewed = 0
            self._usual_db = np.array(
                [np.median(levels) if levels else np.nan for levels in self._levels]
            )
        strongest = np.nanmax(self._usual_db) if np.isfinite(self._usual_db).any() else np.nan
        own = self._usual_db >= strongest - WEAK_CHANNEL_DB
        present = single & own[:, None]
        present &= part.level_db > self._usual_db[:, None] - LOST_BELOW_DB
        self._count_losses(present)
        if present.shape[1]:
            self.newest_db = tuple(
                float(level) if there else np.nan
                for level, there in zip(part.level_db[:, -1], present[:, -1], strict=True)
            )
        self.cells += present.shape[1]
        return np.asarray(present)

    def dropouts(self) -> Dropouts:
        """Return the losses so far."""
        minutes = self._with_tone * self.cell_s / 60
        rate = self._count / minutes if minutes * 60 >= FEWEST_S else None
        return Dropouts(self._count, rate, tuple(self._losses))

    def _count_losses(self, present: Mask) -> None:
        self._with_tone += int(np.count_nonzero(present.any(axis=0)))
        for row, name in enumerate(self._names):
            for number in np.flatnonzero(np.diff(present[row], prepend=self._there[row])):
                cell = self.cells + int(number)
                if not present[row, number]:
                    self._lost_since[row] = cell
                    continue
                since, self._lost_since[row] = self._lost_since[row], None
                if since is None:
                    continue
                length_s = (cell - since) * self.cell_s
                if length_s <= LONGEST_LOSS_S:
                    self._count += 1
                    self._losses.appendleft(Lost(name, since * self.cell_s, length_s))
            if present.shape[1]:
                self._there[row] = bool(present[row, -1])
