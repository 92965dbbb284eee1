"""Stretches of a record, kept as their ends.

A mask of every sample would weigh a quarter of the deviation itself.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Mask = NDArray[np.bool_]
Span = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Pieces:
    """Stretches in order of time that do not touch.

    Parameters
    ----------
    spans : tuple of (int, int)
        First sample and the one after the last, of each.
    """

    spans: tuple[Span, ...] = ()

    @classmethod
    def of(cls, mask: Mask, size: int = 1) -> Pieces:
        """Return the runs of True in a mask of which each value stands for `size` samples."""
        padded = np.concatenate(([False], mask, [False]))
        edges = np.flatnonzero(padded[1:] != padded[:-1]) * size
        return cls(tuple((begin, end) for begin, end in edges.reshape(-1, 2).tolist()))

    @property
    def samples(self) -> int:
        """Samples in all of them."""
        return sum(end - begin for begin, end in self.spans)

    def mask(self, start: int, stop: int) -> Mask:
        """Which of the samples from `start` to before `stop` lie in them."""
        inside = np.zeros(stop - start, dtype=np.bool_)
        for begin, end in self.spans:
            inside[max(begin - start, 0) : max(end - start, 0)] = True
        return inside

    def meet(self, other: Pieces) -> Pieces:
        """Where both lie."""
        found = (
            (max(begin, first), min(end, last))
            for begin, end in self.spans
            for first, last in other.spans
        )
        return Pieces(tuple(sorted(span for span in found if span[0] < span[1])))

    def join(self, other: Pieces) -> Pieces:
        """Where either lies."""
        return Pieces(tuple(sorted((*self.spans, *other.spans)))).bridged(0)

    def bridged(self, most: int) -> Pieces:
        """The same, with gaps of at most `most` samples closed."""
        found: list[Span] = []
        for begin, end in self.spans:
            if found and begin - found[-1][1] <= most:
                found[-1] = (found[-1][0], max(end, found[-1][1]))
            else:
                found.append((begin, end))
        return Pieces(tuple(found))

    def outside(self, length: int) -> tuple[Span, ...]:
        """Spans of a record of this length that lie in none of them."""
        ends = [0, *(edge for span in self.spans for edge in span), length]
        return tuple((begin, end) for begin, end in zip(ends[::2], ends[1::2], strict=True))

    def gaps(self) -> tuple[Span, ...]:
        """Spans between one and the next."""
        return tuple((end, begin) for (_, end), (begin, _) in pairwise(self.spans))
