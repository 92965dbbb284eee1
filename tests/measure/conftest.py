"""What the checks of the measurement share: a way to read, and a tape that adds nothing."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from runstrue.measure.conditions import SoundCard
from runstrue.measure.tape_tone import TonePlan, measure_tone
from runstrue.result import Line, Measured, Result
from runstrue.runner import measure_file
from runstrue.stimulus.testtape import TestTape

# `benchmarks` lies beside `tests` and is no installed package
sys.path.insert(0, str(Path(__file__).parents[2]))

Array = NDArray[np.float64]

PERFECT_TAPE = TestTape(name="perfect", speed_tolerance_percent=0.0, own_flutter_percent=0.0)
PERFECT_CARD = SoundCard("perfect", 0.0, 0.0)


@dataclass(frozen=True)
class Reading:
    """A measured recording, asked by id."""

    measured: Measured

    def result(self, quantity_id: str, method: str = "", channel: str = "") -> Result:
        """Return the first that fits, or fail with what is there."""
        for result in self.measured.results:
            if (
                result.id == quantity_id
                and method in ("", result.method)
                and channel in ("", result.channel)
            ):
                return result
        there = [(one.id, one.method, one.channel) for one in self.measured.results]
        pytest.fail(f"no {quantity_id} {method} {channel} among {there}")

    def value(self, quantity_id: str, method: str = "", channel: str = "") -> float:
        quantity = self.result(quantity_id, method, channel).quantity
        assert quantity is not None
        return quantity.value

    @property
    def lines(self) -> tuple[Line, ...]:
        return self.result("flutter.weighted_peak").lines

    @property
    def values(self) -> Array:
        """Return every figure that the reading holds, uncertainties too, in a fixed order."""
        return np.array(
            [
                number
                for result in self.measured.results
                if result.quantity is not None
                for number in (
                    result.quantity.value,
                    result.quantity.u,
                    *(
                        (result.spread.low, result.spread.middle, result.spread.high)
                        if result.spread
                        else ()
                    ),
                    *(
                        figure
                        for line in result.lines
                        for figure in (line.rate_hz, line.peak_percent)
                    ),
                )
            ]
        )


def plan_for(tone_hz: float | None = None) -> TonePlan:
    """Return a plan in which tape and sound card add no uncertainty."""
    return TonePlan(tone_hz=tone_hz, tape=PERFECT_TAPE, card=PERFECT_CARD)


@pytest.fixture(scope="session")
def read() -> Callable[..., Reading]:
    """Return what reads samples of shape (channel, frame), or blocks of them."""

    def reader(
        sound: NDArray[np.floating] | Iterable[NDArray[np.floating]],
        rate_hz: float,
        tone_hz: float | None = None,
        channels: int = 1,
    ) -> Reading:
        if isinstance(sound, np.ndarray):
            channels = sound.shape[0]
            sound = [sound]
        return Reading(measure_tone(sound, rate_hz, channels, plan_for(tone_hz)))

    return reader


@pytest.fixture(scope="session")
def read_file() -> Callable[..., Reading]:
    """Return what reads a file on the road that every file takes."""

    def reader(path: Path, tone_hz: float | None = None) -> Reading:
        outcome = measure_file(path, plan_for(tone_hz))
        if outcome.error is not None:
            raise outcome.error
        assert outcome.measured is not None
        return Reading(outcome.measured)

    return reader


@pytest.fixture(scope="session")
def run() -> Callable[..., bytes]:
    """Return what runs a program from Debian and gives its standard output.

    Texts are split at blanks, so that a line reads as it would be typed; paths are not.
    """

    def runner(*parts: str | Path) -> bytes:
        words = [
            word
            for part in parts
            for word in (part.split() if isinstance(part, str) else [str(part)])
        ]
        done = subprocess.run(words, capture_output=True, check=False)
        assert done.returncode == 0, done.stderr.decode()
        return done.stdout

    return runner


@pytest.fixture(scope="session")
def tone_with_flutter() -> Callable[..., Array]:
    """Return a generator that shares nothing with the virtual deck: a phase written down.

    The speed deviates by peak·sin(2πft + phase), so the phase of the tone is
    2π f₀ (t − peak/(2πf)·(cos(2πft + phase) − cos(phase))).
    """

    def generator(
        rate_hz: float,
        duration_s: float,
        flutter: Sequence[tuple[float, float, float]] = (),
        *,
        tone_hz: float = 3150.0,
        speed_percent: float = 0.0,
        amplitude: float = 0.5,
    ) -> Array:
        time_s = np.arange(round(rate_hz * duration_s)) / rate_hz
        place_s = (1 + speed_percent / 100) * time_s
        for flutter_hz, peak_percent, phase in flutter:
            turn = 2 * np.pi * flutter_hz
            place_s -= peak_percent / 100 / turn * (np.cos(turn * time_s + phase) - np.cos(phase))
        return amplitude * np.sin(2 * np.pi * tone_hz * place_s)

    return generator
