"""The level of a tone that flutter has spread: power in a band, less the noise beside it.

Flutter turns a tone into a carrier with sidebands. The tallest bin of a long spectrum can then
read many decibels low (a 10 kHz tone with 0.1 % flutter at 4 Hz: 26 dB), while the power in a
band that holds the sidebands is all there. How wide the band must be follows from the peak
deviation p and the highest rate f_m of the flutter: p f + f_m (Carson's rule, from memory, sure).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.fft import prev_fast_len, rfft

Array = NDArray[np.float64]

FASTEST_FLUTTER_HZ = 200.0
"""Above it weighted flutter meters and transports have little (IEC 60386: band to 200 Hz)."""
WINDOW_POWER = 3 / 8  # mean square of the Hann window
MOST_KEPT_FRAMES = 1 << 18
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
        frames = prev_fast_len(samples.size, real=True)  # at most a few per cent are let go
        first = (samples.size - frames) // 2
        held = samples[first : first + frames]
        spectrum = rfft((held - held.mean()) * _window(frames))
        power = spectrum.real**2 + spectrum.imag**2
        self.power: Array = np.asarray(power * (2 / (frames * WINDOW_POWER * frames)))
        self.bin_hz = rate_hz / frames
        self.length_s = frames / rate_hz

    def band(self, low_hz: float, high_hz: float) -> float:
        """Power between two frequencies, edges included."""
        first = max(math.ceil(low_hz / self.bin_hz), 1)
        last = min(math.floor(high_hz / self.bin_hz), self.power.size - 1)
        return float(self.power[first : last + 1].sum()) if last >= first else 0.0

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
        bins = self._bins(centre_hz - half, centre_hz + half)
        beside, count = 0.0, 0
        for low_hz, high_hz in (
            (centre_hz - 2 * half, centre_hz - half - self.bin_hz / 2),
            (centre_hz + half + self.bin_hz / 2, centre_hz + 2 * half),
        ):
            if low_hz > 0:
                beside += self.band(low_hz, high_hz)
                count += self._bins(low_hz, high_hz)
        per_bin = beside / count if count else 0.0
        noise = per_bin * bins
        tone = inside - noise
        # A Hann window makes 1.5 bins of noise one: powers scatter by √(1.5 · bins), the tone
        # beats with the noise of its own bins.
        u_noise = per_bin * math.sqrt(1.5 * bins * (1 + bins / max(count, 1)))
        u_beat = math.sqrt(max(2 * 1.5 * 2 * tone * per_bin, 0.0))
        return BandPower(tone, math.hypot(u_noise, u_beat), noise)

    def _bins(self, low_hz: float, high_hz: float) -> int:
        first = max(math.ceil(low_hz / self.bin_hz), 1)
        last = min(math.floor(high_hz / self.bin_hz), self.power.size - 1)
        return max(last - first + 1, 0)


def _window(frames: int) -> Array:
    """Periodic Hann window; its mean square is 3/8. Long ones are not kept: they fill memory."""
    return _kept_window(frames) if frames <= MOST_KEPT_FRAMES else _new_window(frames)


@lru_cache(maxsize=8)
def _kept_window(frames: int) -> Array:
    return _new_window(frames)


def _new_window(frames: int) -> Array:
    window = 0.5 - 0.5 * np.cos(2 * np.pi / frames * np.arange(frames))
    window.flags.writeable = False
    return np.asarray(window)


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
