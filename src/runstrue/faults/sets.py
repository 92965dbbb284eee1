"""Every set of at most three causes, as arrays."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations
from math import comb

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Places = NDArray[np.intp]

MOST = 3
"""Causes that may be there at once."""


@dataclass(frozen=True, slots=True, eq=False)
class CauseSets:
    """Sets of causes.

    Parameters
    ----------
    count : int
        Causes to choose from.
    members : array of int, shape (MOST or more, sets)
        Places of the causes in each set; `count` stands for nobody. The first set is empty.
    """

    count: int
    members: Places

    def __len__(self) -> int:
        return int(self.members.shape[1])

    def total(self, values: Array) -> Array:
        """Return what the members of each set have together.

        Parameters
        ----------
        values : array, shape (count,) or (count, columns)

        Returns
        -------
        array, shape (sets,) or (sets, columns)
        """
        padded = np.concatenate([values, np.zeros((1, *values.shape[1:]))])
        out: Array = padded[self.members[0]]
        for row in self.members[1:]:
            out += padded[row]
        return out

    def with_each(self, weights: Array) -> Array:
        """Return the weight of all sets that hold a cause, for each cause.

        Parameters
        ----------
        weights : array, shape (sets,)

        Returns
        -------
        array, shape (count,)
        """
        out = np.zeros(self.count + 1)
        for row in self.members:
            out += np.bincount(row, weights, minlength=self.count + 1)
        return out[: self.count]

    def some(self, chosen: Places) -> CauseSets:
        """Return some of the sets."""
        return CauseSets(self.count, self.members[:, chosen])


@lru_cache(maxsize=64)
def sets_of(count: int, at_most: int = MOST) -> CauseSets:
    """Return every set of at most `at_most` of `count` causes, the smaller ones first.

    Examples
    --------
    >>> len(sets_of(4, 2))
    11
    """
    rows = max(at_most, MOST)
    blocks = [np.full((rows, 1), count, dtype=np.intp)]
    for size in range(1, min(at_most, count) + 1):
        block = np.full((rows, comb(count, size)), count, dtype=np.intp)
        block[:size] = _combinations(count, size)
        blocks.append(block)
    members = np.ascontiguousarray(np.concatenate(blocks, axis=1))
    members.flags.writeable = False
    return CauseSets(count, members)


def _combinations(count: int, size: int) -> Places:
    """Return all sets of one size, shape (size, sets)."""
    if size == 3:  # the large one, without a Python loop
        first, second = np.triu_indices(count, 1)
        later = count - 1 - second
        starts = np.repeat(np.cumsum(later) - later, later)
        third = np.arange(int(later.sum())) - starts + np.repeat(second, later) + 1
        return np.stack([np.repeat(first, later), np.repeat(second, later), third])
    chosen = list(combinations(range(count), size))
    return np.array(chosen, dtype=np.intp).reshape(-1, size).T
