"""Controls with clicks, losses and tracking errors put in by hand, and counted again."""

from __future__ import annotations

import numpy as np
import pytest

from runstrue.errors import SignalError
from runstrue.measure.controls import measure_control
from runstrue.result import Result

RATE_HZ = 48_000.0
TONE_HZ = 1000.0
LENGTH_S = 20.0
TIMES_S = np.arange(round(LENGTH_S * RATE_HZ)) / RATE_HZ


def travel(lowest_db: float = -45.0) -> np.ndarray:
    """Up and down four times, smoothly, as a hand moves a slider."""
    swing = 0.5 - 0.5 * np.cos(2 * np.pi * TIMES_S / 5)
    return np.asarray(10 ** (lowest_db * swing / 20))


def played(seed: int = 1, apart_db_at_bottom: float = 0.0, hiss: float = 1e-4) -> np.ndarray:
    draw = np.random.default_rng(seed)
    tone = 0.3 * np.sin(2 * np.pi * TONE_HZ * TIMES_S) * travel()
    # so many decibels lower at the bottom of the travel, −45 dB, and in step between
    right = tone * 10 ** (-apart_db_at_bottom * (20 * np.log10(travel()) / -45.0) / 20)
    return np.stack((tone, right)) + hiss * draw.standard_normal((2, TIMES_S.size))


def crackled(sound: np.ndarray, at_s: list[float], size: float) -> np.ndarray:
    """Clicks of 0.2 ms, as a bad spot of a carbon track makes."""
    spoiled = sound.copy()
    for one in at_s:
        first = round(one * RATE_HZ)
        spoiled[0, first : first + 10] += size * np.hanning(10)
    return spoiled


def found(sound: np.ndarray, quantity_id: str, channel: str = "left") -> Result:
    results = measure_control(sound, RATE_HZ, ("left", "right"), TONE_HZ)
    return next(one for one in results if one.id == quantity_id and one.channel == channel)


def count(result: Result) -> float:
    assert result.quantity is not None
    return result.quantity.value * LENGTH_S / 60


def test_clean_control_has_no_crackle_however_it_is_moved() -> None:
    for seed in range(10):
        sound = played(seed)
        assert count(found(sound, "control.crackle")) == 0
        assert count(found(sound, "control.dropouts")) == 0


@pytest.mark.parametrize("size", [0.3, 0.1, 0.03])
def test_every_click_is_counted_and_sized(size: float) -> None:
    at_s = [1.3, 2.5, 2.6, 7.4, 11.1, 15.9, 18.2]
    result = found(crackled(played(), at_s, size), "control.crackle")
    assert count(result) == pytest.approx(len(at_s))
    # its peak against the tone's peak of 0.3; where it falls on the border of two frames, or
    # looks like the tone for a moment, the fit takes up to a third of it (3.5 dB) with it
    largest_db = 20 * np.log10(size / 0.3)
    assert largest_db - 3.5 < float(result.conditions["largest, dB"]) < largest_db + 0.5
    assert count(found(crackled(played(), at_s, size), "control.crackle", "right")) == 0


def test_moments_without_sound_are_counted() -> None:
    sound = played()
    fade = 0.5 - 0.5 * np.cos(np.pi * np.arange(96) / 96)
    for at_s, length_s in ((0.4, 0.05), (4.8, 0.1), (9.9, 0.02)):
        first, last = round(at_s * RATE_HZ), round((at_s + length_s) * RATE_HZ)
        sound[0, first:last] *= 0.003
        sound[0, last : last + 96] *= fade
    assert count(found(sound, "control.dropouts")) == pytest.approx(3)


def test_slider_moved_to_the_bottom_and_up_again_is_no_loss() -> None:
    assert count(found(played(), "control.dropouts")) == 0


@pytest.mark.parametrize("apart_db", [-3.0, 2.0, 6.0])
def test_tracking_over_the_travel(apart_db: float) -> None:
    """Right falls behind in step with the travel: at −40 dB it is 40/45 of what it is at −45."""
    result = found(played(apart_db_at_bottom=apart_db), "control.tracking", "both")
    assert result.table is not None
    for travel_db, value_db in zip(result.table.x, result.table.y, strict=True):
        # the travel is told by the mean of both channels, at whose bottom −45 dB of the left and
        # −45 − apart of the right make −45 − apart / 2; a row's median lies within its ±2.5 dB
        behind = travel_db / (-45.0 - apart_db / 2)
        assert value_db == pytest.approx(apart_db * behind, abs=abs(apart_db) * 2.5 / 45)


def test_what_cannot_be_read_is_refused() -> None:
    with pytest.raises(SignalError, match="3 s are needed"):
        measure_control(played()[:, :48_000], RATE_HZ, ("left", "right"), TONE_HZ)
    silence = 1e-4 * np.random.default_rng(1).standard_normal((2, TIMES_S.size))
    with pytest.raises(SignalError, match="No tone of 1000 Hz"):
        measure_control(silence, RATE_HZ, ("left", "right"), TONE_HZ)
