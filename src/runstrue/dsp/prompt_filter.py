"""The same filter as `runstrue.dsp.block_filter`, for sound that is heard while it arrives.

Every output is given as soon as the last input that it stands on is there, rather than a row of
outputs at a time. Each output is a product of its own with a short row of taps, which suits the
few hundred outputs a second of a live reading and would be slow for a long record.
"""

from __future__ import annotations

import copy

import numpy as np
from numpy.typing import NDArray

from runstrue.dsp.block_filter import Kernel

Array = NDArray[np.float64]


class PromptFilter:
    """Filter streamed rows of samples with one real kernel while changing the rate.

    Parameters
    ----------
    kernel, reach, up, down, channels, offset, unity
        As for `runstrue.dsp.block_filter.BlockFilter`; the outputs are the same to rounding.
    """

    def __init__(
        self,
        kernel: Kernel,
        reach: int,
        up: int,
        down: int,
        channels: int,
        *,
        offset: float = 0.0,
        unity: bool = False,
    ) -> None:
        self._up, self._down = up, down
        self._width = 2 * reach + 2
        place = np.arange(up) * (down / up) + offset
        first = np.floor(place).astype(int) - reach
        distance = place[:, None] - (first[:, None] + np.arange(self._width))
        taps = np.where(np.abs(distance) <= reach, kernel(distance), 0.0)
        self._taps: Array = taps / taps.sum(axis=1, keepdims=True) if unity else taps
        self._first = first
        self._lead = max(-int(first.min()), 0)
        self._begin(channels)

    def fresh(self) -> PromptFilter:
        """Return the same filter as it was before its first input."""
        anew = copy.copy(self)
        anew._begin(self._held.shape[0])
        return anew

    def _begin(self, channels: int) -> None:
        self._held = np.zeros((channels, self._lead))
        self._dropped = -self._lead  # number of the input at which `_held` begins
        self._seen = self._given = 0

    def process(self, samples: NDArray[np.floating]) -> Array:
        """Take more input of shape (channel, frame) and return the outputs that are complete."""
        self._seen += samples.shape[1]
        return self._advance(samples)

    def finish(self) -> Array:
        """Return the outputs still owed, up to the one at the last input."""
        owed = -(-self._seen * self._up // self._down) - self._given
        silence = np.zeros((self._held.shape[0], self._width + self._down))
        return self._advance(silence)[:, : max(owed, 0)]

    def _advance(self, samples: NDArray[np.floating]) -> Array:
        self._held = np.concatenate((self._held, samples), axis=1)
        end = self._dropped + self._held.shape[1]
        # at most one period more than there is; what is not complete falls away
        numbers = self._given + np.arange(
            max((end - self._dropped) * self._up // self._down + self._up, 0)
        )
        begins = self._begins(numbers)
        numbers = numbers[begins + self._width <= end]
        if not numbers.size:
            return np.zeros((self._held.shape[0], 0))
        windows = np.lib.stride_tricks.sliding_window_view(self._held, self._width, axis=1)
        stood_on = windows[:, begins[: numbers.size] - self._dropped]
        outputs = np.einsum("cnw,nw->cn", stood_on, self._taps[numbers % self._up])
        self._given += numbers.size
        keep = int(self._begins(np.array([self._given]))[0]) - self._dropped
        self._held = self._held[:, max(keep, 0) :].copy()
        self._dropped += max(keep, 0)
        return np.asarray(outputs)

    def _begins(self, numbers: NDArray[np.int_]) -> NDArray[np.int_]:
        """First input of each of these outputs."""
        return np.asarray(numbers // self._up * self._down + self._first[numbers % self._up])
