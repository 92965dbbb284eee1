"""Hiss whose density is known exactly at every frequency and every sample rate."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from runstrue.virtualdeck.deck import Hiss

Array = NDArray[np.float64]

# The band in which the ratio is stated: 20 Hz to 20 kHz, as unweighted noise of tape decks is
# given (common practice, no source).
BAND_HZ = (20.0, 20_000.0)


class HissMaker:
    """Draws the hiss of all channels, one stretch after the other.

    Parameters
    ----------
    hiss : Hiss
    reference_rms : float
        The stimulus, full scale ±1.
    rate_hz : float
    channels : int
    seed : int
    """

    def __init__(
        self, hiss: Hiss, reference_rms: float, rate_hz: float, channels: int, seed: int
    ) -> None:
        if hiss.reference_dbfs is not None:
            reference_rms = 10 ** (hiss.reference_dbfs / 20) / math.sqrt(2)
        self._rate_hz = rate_hz
        self._filter = _shelf(hiss, rate_hz)
        power = reference_rms**2 * 10 ** (-hiss.ratio_db / 10)
        self._plain_density = power / self._band_gain()
        self._draws = [np.random.default_rng([seed, 1, channel]) for channel in range(channels)]
        self._memories = [np.zeros(1) for _ in range(channels)]

    def density_per_hz(self, frequency_hz: float) -> float:
        """One-sided power density at a frequency, full scale² per Hz."""
        return float(self._plain_density * self._gain(np.array([frequency_hz]))[0])

    def draw(self, frames: int) -> Array:
        """Return the next frames, shape (channel, frame)."""
        # white noise of density N per Hz up to half the rate has the power N · rate / 2
        deviation = math.sqrt(self._plain_density * self._rate_hz / 2)
        noise = np.empty((len(self._draws), frames))
        for channel, draw in enumerate(self._draws):
            white = deviation * draw.standard_normal(frames)
            if self._filter is None:
                noise[channel] = white
            else:
                shaped, self._memories[channel] = lfilter(
                    *self._filter, white, zi=self._memories[channel]
                )
                noise[channel] = shaped
        return noise

    def _gain(self, frequencies_hz: Array) -> Array:
        """Power gain of the digital filter itself."""
        if self._filter is None:
            return np.ones(frequencies_hz.shape)
        b, a = self._filter
        z = np.exp(-2j * math.pi * frequencies_hz / self._rate_hz)
        return np.asarray(np.abs((b[0] + b[1] * z) / (a[0] + a[1] * z)) ** 2)

    def _band_gain(self) -> float:
        """Integral of the power gain over 20 Hz to 20 kHz.

        At rates below 40 kHz the part of the band that cannot be recorded counts with the gain
        at half the rate, so that white noise keeps its density at every rate.
        """
        edges = np.linspace(*BAND_HZ, 40_001)
        middles = np.minimum((edges[:-1] + edges[1:]) / 2, self._rate_hz / 2)
        return float(np.sum(self._gain(middles)) * (edges[1] - edges[0]))


def _shelf(hiss: Hiss, rate_hz: float) -> tuple[Array, Array] | None:
    """(1 + s/zero) / (1 + s/pole) by the bilinear transform, corners pre-warped."""
    if hiss.pole_hz is None or hiss.zero_hz is None:
        return None
    highest = 0.49 * rate_hz
    zero, pole = (
        math.tan(math.pi * min(corner, highest) / rate_hz)
        for corner in (hiss.zero_hz, hiss.pole_hz)
    )
    b = np.array([1 + 1 / zero, 1 - 1 / zero])
    a = np.array([1 + 1 / pole, 1 - 1 / pole])
    return b / a[0], a / a[0]
