"""Sections read from a file while the one before them is measured.

Decoding a file takes as long as measuring what is in it, and runs in a thread of its own: with two
cores it costs nothing. One piece at most is held beside the one that is measured.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from runstrue.measure.sections import Found, SeekSource, Stretch, read_stretch

S = TypeVar("S")
T = TypeVar("T")

BLOCK_S = 2.0


def stretches_ahead(source: SeekSource, chosen: Sequence[Found]) -> Iterator[Stretch]:
    """Yield the sound of some sections, in order."""
    return _ahead(lambda found: read_stretch(source, found), chosen)


def blocks_ahead(source: SeekSource, found: Found) -> Iterator[NDArray[np.float32]]:
    """Yield the sound of one section in blocks of 2 s, shape (channel, frame), left first."""
    size = round(BLOCK_S * source.rate_hz)
    begin = round(found.starts_s * source.rate_hz)
    end = begin + round(found.lasts_s * source.rate_hz)
    places = [(first, min(size, end - first)) for first in range(begin, end, size)]
    for block in _ahead(lambda place: source.read(*place), places):
        if not block.shape[1]:
            return
        yield (block[::-1] if found.swapped else block).astype(np.float32, copy=False)


def also(
    take: Callable[[NDArray[np.float32]], None], blocks: Iterator[NDArray[np.float32]]
) -> Iterator[NDArray[np.float32]]:
    """Hand blocks on, and let something else have each one as it passes."""
    for block in blocks:
        take(block)
        yield block


def _ahead(read: Callable[[S], T], places: Sequence[S]) -> Iterator[T]:
    """Read from one place after the other, the next while the last is worked on."""
    with ThreadPoolExecutor(1) as reader:
        ahead = [reader.submit(read, place) for place in places[:1]]
        for number in range(len(places)):
            now = ahead.pop().result()
            ahead += [reader.submit(read, place) for place in places[number + 1 : number + 2]]
            yield now
            del now
