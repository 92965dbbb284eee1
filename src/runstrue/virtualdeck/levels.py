"""What happens to the level on its way from the tape: imbalance, wobble, dropouts."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from runstrue.virtualdeck.deck import Dropout, RandomDropouts, VirtualDeck

Array = NDArray[np.float64]

# Steepest edge of a dropout: 1 ms is about 0.05 mm of cassette tape. Own choice.
EDGE_S = 0.001


class Levels:
    """Gain of the stimulus in each channel over time.

    Parameters
    ----------
    deck : VirtualDeck
    seed : int
    between_s : tuple of float
        True times between which random dropouts fall.
    channels : int
    """

    def __init__(
        self, deck: VirtualDeck, seed: int, between_s: tuple[float, float], channels: int
    ) -> None:
        self._deck = deck
        self.steady = tuple(_steady_gain(deck, channel) for channel in range(channels))
        self.dropouts = tuple(sorted(_dropouts(deck, seed, between_s), key=lambda one: one.at_s))

    def alike(self) -> bool:
        """Tell whether every channel has the same gain at every time."""
        channels = {one.channel for one in self._deck.wobbles}
        channels |= {one.channel for one in self.dropouts}
        return len(set(self.steady)) == 1 and channels <= {None}

    def gain(self, channel: int, times_s: Array, running_s: Array) -> Array | float:
        """Return the gain at true times (dropouts) and running times (wobble).

        Returns
        -------
        ndarray of float64, shape (frame,), or float
            A plain number where the gain is the same at all these times.
        """
        gain: Array | float = self.steady[channel]
        if gain == 0:
            return gain
        for wobble in self._deck.wobbles:
            if wobble.channel in (None, channel):
                turns = wobble.rate_hz * running_s + wobble.phase_turns
                swing = np.sin(2 * math.pi * (turns - np.rint(turns)))
                gain = gain * (1 + wobble.peak_percent / 100 * swing)
        for dropout in self.dropouts:
            if dropout.channel not in (None, channel):
                continue
            if times_s[-1] > dropout.at_s and times_s[0] < dropout.at_s + dropout.length_s:
                gain = gain * 10 ** (-dropout.depth_db / 20 * _presence(dropout, times_s))
        return gain


def _steady_gain(deck: VirtualDeck, channel: int) -> float:
    if channel in deck.dead_channels:
        return 0.0
    return float(10 ** ((deck.level_db + (deck.imbalance_db if channel else 0.0)) / 20))


def _presence(dropout: Dropout, times_s: Array) -> Array:
    """0 outside a dropout, 1 in its depth, a raised cosine (of the decibels) at its edges."""
    edge_s = min(EDGE_S, dropout.length_s / 4)
    since_s = times_s - dropout.at_s
    inward = np.clip(np.minimum(since_s, dropout.length_s - since_s) / edge_s, 0, 1)
    return np.asarray(0.5 - 0.5 * np.cos(math.pi * inward))


def _dropouts(deck: VirtualDeck, seed: int, between_s: tuple[float, float]) -> Iterator[Dropout]:
    for number, source in enumerate(deck.dropouts):
        if isinstance(source, Dropout):
            yield source
            continue
        draw = np.random.default_rng([seed, 3, number])
        yield from _at_random(source, draw, between_s)


def _at_random(
    source: RandomDropouts, draw: np.random.Generator, between_s: tuple[float, float]
) -> Iterator[Dropout]:
    """Draw the waiting times of a Poisson process; dropouts of one source do not overlap."""
    if source.per_minute == 0:
        return
    at_s = between_s[0]
    while True:
        at_s += draw.exponential(60 / source.per_minute)
        if at_s + source.length_s > between_s[1]:
            return
        yield Dropout(at_s, source.length_s, source.depth_db, source.channel)
        at_s += source.length_s
