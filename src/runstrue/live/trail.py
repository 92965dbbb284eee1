"""The newest part of something that never ends: rows that grow in front and are dropped behind."""

from __future__ import annotations

import threading
from typing import Any

import numpy as np
from numpy.typing import DTypeLike, NDArray


class Trail:
    """The newest values of a few rows, each known by its number since the start.

    May be read by other threads than the one that extends it.

    Parameters
    ----------
    rows : int
    held : int
        Values a row that are surely still there.
    dtype : dtype-like

    Attributes
    ----------
    end : int
        Number of the next value to come.
    """

    def __init__(self, rows: int, held: int, dtype: DTypeLike = np.float32) -> None:
        self._held = held
        self._room: NDArray[Any] = np.empty((rows, 2 * held), dtype=dtype)
        self._used = 0
        self._lock = threading.Lock()
        self.end = 0

    @property
    def first(self) -> int:
        """Number of the oldest value that is still there."""
        return self.end - self._used

    def extend(self, values: NDArray[Any]) -> None:
        """Take the next values, shape (row, value)."""
        with self._lock:
            self._extend(values)

    def between(self, start: int, stop: int) -> NDArray[Any]:
        """Return a copy of the values from number `start` to before `stop`.

        Raises
        ------
        IndexError
            When not all of them are there.
        """
        with self._lock:
            return self._between(start, stop)

    def newest(self, most: int) -> NDArray[Any]:
        """Return a copy of the newest values, at most so many a row."""
        with self._lock:
            return self._between(max(self.first, self.end - most), self.end)

    def _between(self, start: int, stop: int) -> NDArray[Any]:
        first = self.first
        if not first <= start <= stop <= self.end:
            raise IndexError(f"{start} to {stop} asked of {first} to {self.end}")
        return self._room[:, start - first : stop - first].copy()

    def _extend(self, values: NDArray[Any]) -> None:
        self.end += values.shape[1]
        values = values[:, -self._held :]
        if self._used + values.shape[1] > self._room.shape[1]:
            keep = self._held - values.shape[1]
            self._room[:, :keep] = self._room[:, self._used - keep : self._used].copy()
            self._used = keep
        self._room[:, self._used : self._used + values.shape[1]] = values
        self._used += values.shape[1]
