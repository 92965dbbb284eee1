"""The level of a tone that flutter has spread: power in a band, less the noise beside it.

Flutter turns a tone into a carrier with sidebands. The tallest bin of a long spectrum can then
read many decibels low (a 10 kHz tone with 0.1 % flutter at 4 Hz: 26 dB), while the power in a
band that holds the sidebands is all there. How wide the band must be follows from the peak
deviation p and the highest rate f_m of the flutter: p f + f_m (Carson's rule, from memory, sure).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import prev_fast_len, rfft

Array = NDArray[np.float64]

FASTEST_FLUTTER_HZ = 200.0
"""Above it weighted flutter meters and transports have little (IEC 60386: band to 200 Hz)."""
WINDOW_POWER = 3 / 8  # mean square of the Hann window
LOBE_HZ_S = 2.0  # the main lobe of the Hann window reaches 2 / length either way


@dataclass(frozen=True, slots=True)
class BandPower:
    """Power of one tone.

    Parameters
    ----------
    power : float
        Mean square, less the noise; may be negative where there is only noise.
    u_power : float
        Standard uncertainty from the noise.
    noise_power : float
        What was taken off: mean square of the noise in the band.
    """

    power: float
    u_power: float
    noise_power: float


class Spectrum:
    """Power of one stretch of one channel by frequency.

    Parameters
    ----------
    samples : ndarray of float, shape (frame,)
    rate_hz : float

    Notes
    -----
    A periodic Hann window over the whole stretch: instants in its middle count most. Bins add up
    to the mean square under the window.
    """

    def __init__(self, samples: NDArray[np.floating], rate_hz: float) -> None:
        # an even number, and quickly transformed: at most a few per cent are let go
        frames = 2 * prev_fast_len(samples.size // 2, real=True)
        first = (samples.size - frames) // 2
        held = samples[first : first + frames]
        self._bins = rfft(held)
        self._bins[0] = 0  # a constant part would leak into the next bin, and no further
        self._scale = 2 / (frames * WINDOW_POWER * frames)
        self.bin_hz = rate_hz / frames
        self.length_s = frames / rate_hz

    @property
    def size(self) -> int:
        """Number of bins, from 0 Hz to half the rate."""
        return int(self._bins.size)

    @property
    def power(self) -> Array:
        """Mean square by bin, shape (bin,)."""
        return self.powers()

    def powers(self, first: int = 0, stop: int | None = None) -> Array:
        """Power of some bins, mean square; of all of them unless told otherwise.

        Notes
        -----
        The window 1/2 − cos/2 is three lines: under it each bin is half of itself less a quarter
        of either neighbour, so that only the bins asked for need be reckoned. In single precision
        what is lost lies 140 dB below the strongest line.
        """
        stop = self.size if stop is None else min(stop, self.size)
        middle = self._bins[first:stop]
        # beyond either end the spectrum of real samples is its own mirror image
        below = self._bins[first - 1 : stop - 1] if first else np.append(
            np.conj(self._bins[1:2]), self._bins[: stop - 1]
        )  # fmt: skip
        above = self._bins[first + 1 : stop + 1] if stop < self.size else np.append(
            self._bins[first + 1 :], np.conj(self._bins[-2:-1])
        )  # fmt: skip
        windowed = middle / 2 - (below + above) / 4
        power = np.square(windowed.real, dtype=np.float64)
        power += np.square(windowed.imag, dtype=np.float64)
        return np.asarray(power * self._scale)

    def band(self, low_hz: float, high_hz: float) -> float:
        """Power between two frequencies, edges included."""
        first, last = self._edges(low_hz, high_hz)
        return float(self.powers(first, last + 1).sum()) if last >= first else 0.0

    def around(self, centre_hz: float, half_width_hz: float) -> BandPower:
        """Power of a tone: its band, less what the bands on both sides hold.

        Parameters
        ----------
        centre_hz : float
            Where the tone is.
        half_width_hz : float
            The noise is taken from bands of half this width on either side, as far as the
            spectrum reaches.
        """
        half = max(half_width_hz, 2 * LOBE_HZ_S / self.length_s)
        inside = self.band(centre_hz - half, centre_hz + half)
        bins = self._count(centre_hz - half, centre_hz + half)
        beside, count = 0.0, 0
        for low_hz, high_hz in (
            (centre_hz - 2 * half, centre_hz - half - self.bin_hz / 2),
            (centre_hz + half + self.bin_hz / 2, centre_hz + 2 * half),
        ):
            if low_hz > 0:
                beside += self.band(low_hz, high_hz)
                count += self._count(low_hz, high_hz)
        per_bin = beside / count if count else 0.0
        noise = per_bin * bins
        tone = inside - noise
        # A Hann window makes 1.5 bins of noise one: powers scatter by √(1.5 · bins), the tone
        # beats with the noise of its own bins.
        u_noise = per_bin * math.sqrt(1.5 * bins * (1 + bins / max(count, 1)))
        u_beat = math.sqrt(max(2 * 1.5 * 2 * tone * per_bin, 0.0))
        return BandPower(tone, math.hypot(u_noise, u_beat), noise)

    def _edges(self, low_hz: float, high_hz: float) -> tuple[int, int]:
        """First and last bin of a band; none when the last is below the first."""
        first = max(math.ceil(low_hz / self.bin_hz), 1)
        return first, min(math.floor(high_hz / self.bin_hz), self.size - 1)

    def _count(self, low_hz: float, high_hz: float) -> int:
        first, last = self._edges(low_hz, high_hz)
        return max(last - first + 1, 0)


def half_width_hz(frequency_hz: float, flutter_peak: float = 0.003) -> float:
    """Half the band that holds a tone with its flutter.

    Parameters
    ----------
    frequency_hz : float
        More than 0.
    flutter_peak : float
        Peak deviation of the speed as a share of it: 0.003 is three times a usual limit.

    Returns
    -------
    float
        In Hz: 2.5 at and below 63 Hz, so that mains hum at 50 and 60 Hz stays out; p f + 200
        from 3 kHz on; straight in log frequency between.

    Notes
    -----
    At 63 Hz a sideband 2.5 Hz or more away, from flutter of 0.3 %, has an index of
    0.003 · 63 / 2.5 = 0.08 and holds 0.3 % of the power (0.014 dB); at 315 Hz, where the band is
    28 Hz, 0.06 % (0.0025 dB).
    """
    low_hz, high_hz = 63.0, 3000.0
    if frequency_hz <= low_hz:
        return 2.5
    edge = FASTEST_FLUTTER_HZ
    if frequency_hz >= high_hz:
        return flutter_peak * frequency_hz + edge
    share = math.log(frequency_hz / low_hz) / math.log(high_hz / low_hz)
    return flutter_peak * frequency_hz + 2.5 * float((edge / 2.5) ** share)


def level_db(power: float) -> float:
    """Level of a mean square against a full-scale sine (AES17); −inf for none."""
    return 10 * math.log10(2 * power) if power > 0 else -math.inf


def u_level_db(found: BandPower) -> float:
    """Standard uncertainty of a level in dB."""
    return 10 / math.log(10) * found.u_power / found.power if found.power > 0 else math.inf
