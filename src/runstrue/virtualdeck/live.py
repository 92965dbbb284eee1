"""A virtual deck that runs now: its faults can be turned while it plays.

It plays a test tape's tone. The phase of the tone is the integral of the tape speed, sample by
sample, so that a fault may change at any time without a jump. Parts turn with the tape.
"""

from __future__ import annotations

import math
import threading
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from runstrue.errors import InputError

Array = NDArray[np.float64]

TONE_HZ = 3150.0
CAPSTAN_HZ, BELT_HZ, ROLLER_HZ = 6.316, 3.969, 1.378
"""Rates of the example transport 'one-belt' at nominal speed."""
WAVER_HZ = 0.6
DROPOUT_S, DROPOUT_DB = 0.06, -25.0


@dataclass(frozen=True, slots=True)
class Slider:
    """What can be turned.

    Parameters
    ----------
    name, words, unit : str
    low, high, step, begins : float
    """

    name: str
    words: str
    unit: str
    low: float
    high: float
    step: float
    begins: float


SLIDERS = (
    Slider("speed", "Speed, by its trimmer", "%", -4.0, 4.0, 0.01, -1.9),
    Slider("capstan", "Bent capstan", "%", 0.0, 0.5, 0.005, 0.03),
    Slider("belt", "Lumpy belt", "%", 0.0, 0.5, 0.005, 0.05),
    Slider("roller", "Eccentric pinch roller", "%", 0.0, 0.5, 0.005, 0.02),
    Slider("waver", "Slipping belt, slow waver", "%", 0.0, 0.5, 0.005, 0.03),
    Slider("level", "Level", "dB", -40.0, 0.0, 0.5, -8.0),
    Slider("balance", "Left over right", "dB", -12.0, 12.0, 0.5, 0.0),
    Slider("hiss", "Hiss under the tone", "dB", 20.0, 70.0, 1.0, 55.0),
    Slider("dropouts", "Dropouts a minute", "", 0.0, 60.0, 1.0, 0.0),
)


class LiveDeck:
    """Makes sound as it is asked for.

    Parameters
    ----------
    rate_hz : float
    seed : int
    """

    def __init__(self, rate_hz: float = 48_000.0, seed: int = 1) -> None:
        self.rate_hz = rate_hz
        self._source = np.random.default_rng(seed)
        self._values = {one.name: one.begins for one in SLIDERS}
        self._lock = threading.Lock()
        self._turned = 0.0  # of the tone, in periods
        self._gone_s = 0.0  # of tape, at nominal speed
        self._speed = 1 + self._values["speed"] / 100
        sections: Any = signal.butter(1, WAVER_HZ, fs=rate_hz / 480, output="sos")
        self._sections = sections
        self._state = np.zeros((sections.shape[0], 2))
        self._waver = 0.0
        self._fading = np.zeros(0)

    def settings(self) -> dict[str, float]:
        """Where the sliders stand."""
        with self._lock:
            return dict(self._values)

    def turn(self, name: str, value: float) -> None:
        """Turn a slider.

        Raises
        ------
        InputError
            When there is none of this name, or it does not go so far.
        """
        slider = next((one for one in SLIDERS if one.name == name), None)
        if slider is None:
            listed = ", ".join(one.name for one in SLIDERS)
            raise InputError(f"There is no slider '{name}'", f"one of {listed} is needed")
        if not slider.low <= value <= slider.high:
            raise InputError(
                f"The slider '{slider.words}' was turned to {value:g}",
                f"{slider.low:g} to {slider.high:g} is needed",
            )
        with self._lock:
            self._values[name] = value

    def next(self, frames: int) -> NDArray[np.float32]:
        """Make the next frames, shape (2, frame)."""
        told = self.settings()
        speed = self._speeds(told, frames)
        turned = self._turned + np.cumsum(TONE_HZ * speed) / self.rate_hz
        self._turned = float(turned[-1] % 1.0)
        level = 10 ** (told["level"] / 20)
        tone = level * np.sin(2 * math.pi * turned) * self._dropouts(told["dropouts"], frames)
        half = 10 ** (told["balance"] / 40)
        # power of a sine of this level over white noise from 0 to half the rate, in 20 Hz – 20 kHz
        noise = level / math.sqrt(2) * 10 ** (-told["hiss"] / 20)
        noise *= math.sqrt(self.rate_hz / 2 / 19_980)
        rows = np.stack([tone * half, tone / half])
        rows += noise * self._source.standard_normal(rows.shape)
        return np.asarray(np.clip(rows, -1.0, 1.0), dtype=np.float32)

    def _speeds(self, told: dict[str, float], frames: int) -> Array:
        """Speed over nominal at each frame; the trimmer moves within half a second or so."""
        wanted = 1 + told["speed"] / 100
        base = wanted + (self._speed - wanted) * np.exp(
            -np.arange(1, frames + 1) / (0.2 * self.rate_hz)
        )
        self._speed = float(base[-1])
        gone = self._gone_s + np.cumsum(base) / self.rate_hz
        self._gone_s = float(gone[-1])
        parts = (
            (told["capstan"], CAPSTAN_HZ, 0.0),
            (0.25 * told["capstan"], 2 * CAPSTAN_HZ, 0.3),
            (told["belt"], BELT_HZ, 0.1),
            (0.5 * told["belt"], 2 * BELT_HZ, 0.6),
            (told["roller"], ROLLER_HZ, 0.2),
        )
        sway = sum(
            (peak * np.sin(2 * math.pi * (rate * gone + phase)) for peak, rate, phase in parts),
            np.zeros(frames),
        )
        return np.asarray(base * (1 + (sway + told["waver"] * self._wavering(frames)) / 100))

    def _wavering(self, frames: int) -> Array:
        """Slow noise of r.m.s. 1, made at a hundredth of the rate and joined by lines."""
        steps = -(-frames // 480) + 1
        white = self._source.standard_normal(steps)
        slow, self._state = signal.sosfilt(self._sections, white, zi=self._state)
        slow = slow / math.sqrt(math.pi * WAVER_HZ / (self.rate_hz / 480))
        knots = np.concatenate(([self._waver], slow))
        values = np.interp(np.arange(1, frames + 1) / frames * steps, np.arange(steps + 1), knots)
        self._waver = float(values[-1])
        return np.asarray(values)

    def _dropouts(self, a_minute: float, frames: int) -> Array:
        """Gain with what drops out, and how that ends in what comes next."""
        gain = np.ones(frames + round(DROPOUT_S * self.rate_hz) + 1)
        gain[: self._fading.size] *= self._fading[: gain.size]
        for at in self._source.integers(
            0, frames, self._source.poisson(a_minute * frames / self.rate_hz / 60)
        ):
            length = round(DROPOUT_S * self.rate_hz)
            fall = np.sin(math.pi * np.arange(length) / length) ** 2
            gain[at : at + length] *= 1 - fall * (1 - 10 ** (DROPOUT_DB / 20))
        self._fading = gain[frames:]
        return gain[:frames]
