"""A long curve made small enough to draw without hiding its extremes.

Forty-five minutes at 500 Hz are 1.35 million points; a page is some hundred dots wide. Each
column keeps its lowest and highest value, and a bell-weighted mean runs in front. Samples
that are not numbers (lost tone) count for nothing, and a column without any stays open.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

COLUMNS = 900


@dataclass(frozen=True, slots=True, eq=False)
class Envelope:
    """Columns of a curve.

    Parameters
    ----------
    time_s : ndarray, shape (column,)
        Middle of each column.
    low, high : ndarray, shape (channel, column)
        Extremes; not a number where the column holds no sample.
    mean : ndarray, shape (channel, column)
        Bell-weighted running mean over `mean_width_s`; open where the column is.
    mean_width_s : float
        Full width at half height of the bell.
    """

    time_s: NDArray[np.float64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    mean: NDArray[np.float64]
    mean_width_s: float


def envelope_of(percent: NDArray[np.floating], rate_hz: float, columns: int = COLUMNS) -> Envelope:
    """Return the columns of a curve with gaps.

    Parameters
    ----------
    percent : ndarray of float, shape (channel, sample)
        Not a number where the tone was lost.
    rate_hz : float
        Samples per second.
    columns : int
        At most so many columns.

    Returns
    -------
    Envelope
        The bell of the mean is about 1/120 of the record wide, and at least half a second:
        wide enough to average wow away, narrow enough to show drift.
    """
    samples = percent.shape[1]
    per_column = max(1, -(-samples // columns))
    whole = -(-samples // per_column)
    padded = np.full((percent.shape[0], whole * per_column), np.nan, dtype=np.float64)
    padded[:, :samples] = percent
    blocks = padded.reshape(percent.shape[0], whole, per_column)
    there = np.isfinite(blocks)
    count = there.sum(axis=2)
    empty = count == 0
    low = np.where(there, blocks, np.inf).min(axis=2)
    high = np.where(there, blocks, -np.inf).max(axis=2)
    low[empty] = high[empty] = np.nan
    total = np.where(there, blocks, 0.0).sum(axis=2)
    column_s = per_column / rate_hz
    width_s = max(0.5, whole * column_s / 120)
    # A Hann bell is as wide at half height as half its length.
    length = 2 * max(1, round(width_s / column_s)) + 1
    bell = np.hanning(length + 2)[1:-1]
    mean = np.empty_like(low)
    for channel in range(percent.shape[0]):
        weight = _same(count[channel].astype(float), bell)
        with np.errstate(invalid="ignore", divide="ignore"):
            mean[channel] = _same(total[channel], bell) / weight
    mean[empty] = np.nan
    time_s = (np.arange(whole) + 0.5) * column_s
    return Envelope(time_s, low, high, mean, max(width_s, column_s))


def _same(values: NDArray[np.float64], bell: NDArray[np.float64]) -> NDArray[np.float64]:
    """Convolve and keep the length of `values`, even where the bell is longer."""
    start = len(bell) // 2
    return np.convolve(values, bell)[start : start + len(values)]
