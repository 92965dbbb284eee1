"""One transport moves both tracks alike; two channels that differ are no pass of one deck."""

from __future__ import annotations

import numpy as np
import pytest

from runstrue.errors import SignalError
from runstrue.measure.tape_tone import TonePlan, measure_tone

RATE_HZ = 16_000.0
TIME_S = np.arange(int(20 * RATE_HZ)) / RATE_HZ


def tone(frequency_hz: float) -> np.ndarray:
    return 0.5 * np.sin(2 * np.pi * frequency_hz * TIME_S)


@pytest.mark.parametrize("right_hz", [3000.0, 3181.5, 3151.0])
def test_channels_with_two_speeds_are_refused_with_both(right_hz: float) -> None:
    with pytest.raises(SignalError, match=rf"3150\.0 Hz .*{right_hz:.1f} Hz, which one transport"):
        measure_tone([np.stack([tone(3150.0), tone(right_hz)])], RATE_HZ, 2, TonePlan(3150.0))


def test_a_swaying_head_is_no_second_speed() -> None:
    # 10 µs of skew that turns over once in the record: a phase, not a speed
    delay_s = 1e-5 * np.sin(2 * np.pi * TIME_S / 20)
    right = 0.5 * np.sin(2 * np.pi * 3150.0 * (TIME_S + delay_s))
    measured = measure_tone([np.stack([tone(3150.0), right])], RATE_HZ, 2, TonePlan(3150.0))
    assert measured.find("speed.deviation", "both") is not None


@pytest.mark.parametrize("frequency_hz", [315.0, 1000.0, 6300.0])
def test_another_tone_is_named_with_what_to_type(frequency_hz: float) -> None:
    with pytest.raises(SignalError) as caught:
        measure_tone([tone(frequency_hz)[None]], RATE_HZ, 1, TonePlan())
    named = float(str(caught.value).rsplit("--tone ", 1)[1].rstrip("."))
    # named to a bin of the transform: 16 kHz / 16384
    assert named == pytest.approx(frequency_hz, abs=RATE_HZ / 16_384)
