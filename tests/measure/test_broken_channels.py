"""A channel full of holes must not take the sound one with it."""

from __future__ import annotations

import numpy as np
import pytest

from runstrue.errors import SignalError
from runstrue.measure.tape_tone import TonePlan, measure_tone

RATE_HZ = 8000.0


def tone_with_holes(every_s: float, length_s: float = 40.0) -> np.ndarray:
    """3150 Hz that is lost for half a second again and again."""
    time_s = np.arange(int(length_s * RATE_HZ)) / RATE_HZ
    tone = 0.5 * np.sin(2 * np.pi * 3150.0 * time_s)
    return np.where(time_s % every_s < 0.5, 0.0, tone)


def test_the_sound_channel_is_read_and_the_broken_one_is_told() -> None:
    whole = tone_with_holes(1e9)
    # pieces of 2.5 s: the weighting needs four to settle, so none of it can be read
    measured = measure_tone([np.stack([whole, tone_with_holes(3.0)])], RATE_HZ, 2, TonePlan())
    moving = [one for one in measured.results if one.id.startswith(("speed.", "flutter."))]
    assert {one.channel for one in moving} == {"left"}
    # holes at 3, 6 … 36 s lie between the first and the last use (what follows 39 s is too short)
    lost = {one.channel: one.quantity for one in measured.results if one.id == "dropout.count"}
    used_s = 39 - 0.5 - 2 * 0.1 - 0.1  # the guards, and 0.1 s of the first hole's end at most
    assert lost["right"].value == pytest.approx(12 / used_s * 60, rel=0.01)
    assert lost["left"].value == 0
    assert "The right channel is too broken up by losses to be read." in measured.doubts


def test_a_recording_in_pieces_is_refused_with_what_to_do() -> None:
    with pytest.raises(
        SignalError, match=r"broken up by losses; .* in one piece are needed; clean"
    ):
        measure_tone([tone_with_holes(3.0)[None]], RATE_HZ, 1, TonePlan())


def test_a_needle_that_never_settles_has_no_reading() -> None:
    # pieces of 6.3 s: 2 s each past the weighting's 4 s, none past the needle's 3 s after that
    measured = measure_tone([tone_with_holes(7.0)[None]], RATE_HZ, 1, TonePlan())
    needle = measured.find("flutter.indicated_peak", "mono")
    assert needle is not None
    assert needle.quantity is None
    assert measured.find("flutter.weighted_peak", "mono").quantity is not None
