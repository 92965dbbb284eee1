"""From block to reading, against the truth that the virtual deck tells of itself.

The virtual deck shares no code with the measurement (a layer test holds that), and its own
checks are elsewhere (quadrature, decimal arithmetic, scipy).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from runstrue.measure.conditions import SoundCard
from runstrue.measure.tape_tone import TonePlan, measure_tone
from runstrue.stimulus.tone import Tone
from runstrue.virtualdeck.deck import (
    Component,
    Dropout,
    Hiss,
    HumLine,
    Skew,
    Unrest,
    VirtualDeck,
    Wobble,
)
from runstrue.virtualdeck.play import Performance, Recording, play

Array = NDArray[np.float64]
Read = Callable[..., Any]

DECK = VirtualDeck(
    "measured deck",
    speed_error_percent=0.62,
    drift_percent_per_min=-0.05,
    components=(Component("capstan", 6.41, 0.08, 0.2), Component("roller", 1.37, 0.05, 0.7)),
    unrest=(Unrest("belt", 0.02, 0.3, 30.0, -2.0),),
    hiss=Hiss(50.0),
    skew=Skew(20.0, 2.0, 1.37),
)
RATE_HZ = 16_000.0


def in_blocks(samples: Array, block: int) -> Iterator[Array]:
    for start in range(0, samples.shape[1], block):
        yield samples[:, start : start + block]


@pytest.fixture(scope="module")
def recording() -> Recording:
    return play(DECK, Tone(3150), duration_s=20, rate_hz=RATE_HZ, seed=4)


@pytest.mark.parametrize("block", [480, 2400, 65_536])
def test_every_result_is_the_same_for_every_block_size(
    recording: Recording, read: Read, block: int
) -> None:
    samples = recording.signal.samples
    whole = read(samples, RATE_HZ)
    parts = read(in_blocks(samples, block), RATE_HZ, channels=2)
    assert len(whole.values) > 60
    assert parts.values == pytest.approx(whole.values, rel=1e-9, abs=1e-9)
    assert parts.measured.summary == whole.measured.summary
    assert parts.measured.doubts == whole.measured.doubts
    kept, same = parts.measured.deviation, whole.measured.deviation
    assert kept is not None
    assert same is not None
    assert np.array_equal(kept.percent, same.percent, equal_nan=True)


def test_every_result_is_the_same_frame_by_frame(read: Read) -> None:
    short = play(DECK, Tone(3150), duration_s=13, rate_hz=8000.0, channels=1, seed=4)
    whole = read(short.signal.samples, 8000.0)
    parts = read(in_blocks(short.signal.samples, 1), 8000.0)
    assert parts.values == pytest.approx(whole.values, rel=1e-9, abs=1e-9)


def test_odd_blocks_and_empty_ones_change_nothing(recording: Recording, read: Read) -> None:
    samples = recording.signal.samples
    draw = np.random.default_rng(1)

    def cut() -> Iterator[Array]:
        start = 0
        while start < samples.shape[1]:
            size = int(draw.choice([0, 1, 7, 333, 5000, 40_000]))
            yield samples[:, start : start + size]
            start += size

    assert read(cut(), RATE_HZ, channels=2).values == pytest.approx(
        read(samples, RATE_HZ).values, rel=1e-9, abs=1e-9
    )


@pytest.mark.parametrize(
    "rate_hz", [8000.0, 11_025.0, 22_050.0, 44_100.0, 47_999.0, 48_000.0, 96_000.0, 192_000.0]
)
def test_every_sample_rate_reads_the_same_deck(read: Read, rate_hz: float) -> None:
    quiet = replace(DECK, hiss=None)
    at_rate = read(_mono(quiet, rate_hz), rate_hz)
    reference = read(_mono(quiet, RATE_HZ), RATE_HZ)
    for one, other in zip(at_rate.measured.results, reference.measured.results, strict=True):
        assert (one.id, one.method, one.channel) == (other.id, other.method, other.channel)
        if one.id in ("speed.deviation", "speed.drift"):
            # where the usable stretch begins is known to a cell of 20 ms; what the mean owes
            # to that is a hundredth of the uncertainty that the record's length leaves
            allowed = 0.02 * one.budget.random_u + 1e-6
        elif one.id == "flutter.indicated_peak":
            # a needle waits and falls: a value at another instant may move it by its swing
            allowed = 0.01 * one.quantity.value
        else:
            # the grid of values lies elsewhere, and 20 ms more or less of 17 s count
            allowed = 0.004 * one.quantity.value
        assert one.quantity.value == pytest.approx(other.quantity.value, abs=allowed), one.id
    for one, other in zip(at_rate.lines[:2], reference.lines[:2], strict=True):
        assert one.rate_hz == pytest.approx(other.rate_hz, abs=0.002)
        assert one.peak_percent == pytest.approx(other.peak_percent, rel=0.01)


def test_speed_lines_and_drift_come_out_as_they_were_put_in(
    recording: Recording, read: Read
) -> None:
    longer = play(DECK, Tone(3150), duration_s=60, rate_hz=RATE_HZ, seed=4)
    reading = read(longer.signal.samples, RATE_HZ)
    speed = reading.result("speed.deviation")
    # the truth is a plain mean, in which each line leaves up to peak/(π·rate·T)
    left = 0.08 / (np.pi * 6.41 * 60) + 0.05 / (np.pi * 1.37 * 60)
    assert speed.quantity.value == pytest.approx(
        longer.truth.apparent_mean_deviation_percent, abs=3 * speed.budget.random_u + left
    )
    drift = reading.result("speed.drift")
    assert drift.quantity.value == pytest.approx(-0.05, abs=3 * drift.quantity.u)
    for line, (rate_hz, peak) in zip(reading.lines[:2], [(6.41, 0.08), (1.37, 0.05)], strict=True):
        assert line.rate_hz == pytest.approx(rate_hz, abs=3 * line.u_rate_hz + 1e-4)
        # a share of the mean speed, 0.6 % high
        assert line.peak_percent * 1.006 == pytest.approx(peak, abs=4 * line.u_peak_percent)
    # the hiss that was put in, in each channel
    density_db = longer.truth.carrier_to_noise_density_db_hz[0]
    assert density_db is not None
    # 43 dB is 20 kHz
    assert reading.measured.conditions["tone_to_hiss_db"] == pytest.approx(
        density_db - 43.01, abs=0.4
    )


def test_mono_is_called_mono(read: Read) -> None:
    reading = read(_mono(DECK, RATE_HZ), RATE_HZ)
    assert {result.channel for result in reading.measured.results} == {"mono"}
    assert "one channel" in reading.measured.summary


def test_a_dead_channel_is_told_and_the_other_is_read(read: Read) -> None:
    dead = play(
        replace(DECK, dead_channels=(1,)), Tone(3150), duration_s=20, rate_hz=RATE_HZ, seed=4
    )
    reading = read(dead.signal.samples, RATE_HZ)
    balance = reading.measured.find("level.balance")
    assert balance is not None
    assert balance.quantity is None
    assert balance.conditions["no tone"] == "right"
    others = [one for one in reading.measured.results if one is not balance]
    assert {one.channel for one in others} == {"left"}
    assert any("right" in doubt for doubt in reading.measured.doubts)
    alone = read(dead.signal.samples[:1], RATE_HZ)
    assert reading.value("flutter.weighted_peak") == pytest.approx(
        alone.value("flutter.weighted_peak"), rel=1e-9
    )


@pytest.mark.parametrize("imbalance_db", [-10.0, 6.0])
def test_unequal_channels_read_the_same_flutter(read: Read, imbalance_db: float) -> None:
    tilted = play(
        replace(DECK, imbalance_db=imbalance_db, hiss=Hiss(60.0), skew=Skew(), level_db=-8.0),
        Tone(3150), duration_s=20, rate_hz=RATE_HZ, seed=4,
    )  # fmt: skip
    reading = read(tilted.signal.samples, RATE_HZ)
    left, right = (reading.value("flutter.weighted_peak", channel=ear) for ear in ("left", "right"))
    assert left == pytest.approx(right, rel=5e-3)
    assert reading.value("speed.deviation", channel="left") == pytest.approx(
        reading.value("speed.deviation", channel="right"), abs=1e-5
    )


def test_dropouts_are_counted_placed_and_left_out(read: Read) -> None:
    lost = (
        Dropout(6.0, 0.05, 30.0),
        Dropout(11.3, 0.4, 40.0, channel=1),
        Dropout(17.7, 1.2, 60.0),
    )
    deck = replace(DECK, dropouts=lost)
    damaged = play(deck, Tone(3150), duration_s=40, rate_hz=RATE_HZ, seed=4)
    whole = play(DECK, Tone(3150), duration_s=40, rate_hz=RATE_HZ, seed=4)
    reading, sound = read(damaged.signal.samples, RATE_HZ), read(whole.signal.samples, RATE_HZ)
    told = [doubt for doubt in reading.measured.doubts if " lost " in doubt]
    # on each channel by itself: two on the left, three on the right
    assert len(told) == 1
    assert "lost 5 times" in told[0]
    # 0.05 + 1.2 on the left, 0.4 more on the right, each up to two cells of 20 ms longer
    seconds = float(told[0].split("times, ")[1].split(" s in all")[0])
    assert 2.9 <= seconds + 1e-9 <= 2.9 + 5 * 0.06
    for quantity_id in ("speed.deviation", "flutter.weighted_peak", "flutter.weighted_rms",
                        "flutter.unweighted_peak", "flutter.wow_rms"):  # fmt: skip
        result = reading.result(quantity_id)
        # some other 95 % of the same tape: within what the budget gives the record's length
        assert result.quantity.value == pytest.approx(
            sound.value(quantity_id), abs=2 * result.budget.random_u
        )


def test_a_dropout_is_never_bridged_in_what_is_kept(read: Read) -> None:
    deck = replace(DECK, dropouts=(Dropout(8.0, 0.3, 50.0),))
    reading = read(play(deck, Tone(3150), duration_s=20, rate_hz=RATE_HZ).signal.samples, RATE_HZ)
    kept = reading.measured.deviation
    assert kept is not None
    time_s = np.arange(kept.percent.shape[1]) / kept.rate_hz
    # gone, with 0.1 s either side; there again a little after
    assert np.isnan(kept.percent[:, (time_s > 7.92) & (time_s < 8.38)]).all()
    assert np.isfinite(kept.percent[:, (time_s > 7.0) & (time_s < 7.8)]).all()
    assert np.isfinite(kept.percent[:, (time_s > 8.5) & (time_s < 12.0)]).all()


def test_leader_run_up_and_stop_are_left_out(read: Read) -> None:
    deck = replace(DECK, run_up_s=0.8, run_down_s=0.5, hum=(HumLine(50.0, -40.0),))
    performance = Performance(
        deck, Tone(3150), duration_s=40, rate_hz=RATE_HZ, seed=4, lead_in_s=5.0, lead_out_s=3.0
    )
    reading = read(performance.blocks(5000), RATE_HZ, channels=2)
    truth = performance.truth
    kept = reading.measured.deviation
    assert kept is not None
    there = np.flatnonzero(np.isfinite(kept.percent).all(axis=0)) / kept.rate_hz
    assert truth.steady_from_s - 0.1 <= there[0] <= truth.steady_from_s + 0.5
    assert truth.steady_to_s - 0.5 <= there[-1] <= truth.steady_to_s + 0.1
    speed = reading.result("speed.deviation")
    assert speed.quantity.value == pytest.approx(
        truth.apparent_mean_deviation_percent, abs=3 * speed.budget.random_u + 1e-3
    )
    assert "beginning and end left out" in reading.measured.summary


def test_talk_before_and_after_the_tone_is_left_out(read: Read) -> None:
    # speech-like: harmonics of a wandering pitch with a level that comes and goes
    time_s = np.arange(round(6 * RATE_HZ)) / RATE_HZ
    pitch = 120 * (time_s + 0.1 * np.sin(2 * np.pi * 0.7 * time_s))
    voice = sum(np.sin(2 * np.pi * k * pitch) / k for k in range(1, 40))
    voice = 0.15 * voice * (0.5 + 0.5 * np.sin(2 * np.pi * 3 * time_s)) ** 2
    tone = play(replace(DECK, hiss=Hiss(55.0)), Tone(3150), duration_s=30, rate_hz=RATE_HZ, seed=4)
    talk = np.stack((voice, voice))
    joined = np.concatenate((talk, tone.signal.samples, talk), axis=1)
    reading, alone = read(joined, RATE_HZ), read(tone.signal.samples, RATE_HZ)
    assert reading.measured.conditions["used_s"] == pytest.approx(
        alone.measured.conditions["used_s"], abs=0.5
    )
    for quantity_id in ("speed.deviation", "flutter.weighted_peak", "flutter.weighted_rms"):
        assert reading.value(quantity_id) == pytest.approx(
            alone.value(quantity_id), rel=0.01, abs=2e-3
        )


def test_the_sound_cards_clock_is_taken_out_where_it_is_known() -> None:
    deck = VirtualDeck("steady", speed_error_percent=0.62, clock_error_ppm=180.0)
    recording = play(deck, Tone(3150), duration_s=30, rate_hz=RATE_HZ, channels=1, seed=4)
    truth = recording.truth
    # a card that takes its samples too fast makes the tape look slow
    assert truth.mean_deviation_percent == pytest.approx(0.62, abs=1e-9)
    assert truth.apparent_mean_deviation_percent == pytest.approx(
        100 * (1.0062 / 1.00018 - 1), abs=1e-9
    )
    known = TonePlan(card=SoundCard("card", 180.0, 2.0))
    found = measure_tone([recording.signal.samples], RATE_HZ, 1, known).results[0]
    assert found.quantity is not None
    # taken out by adding it up: second order, 180 ppm of 0.62 %, is left
    assert found.quantity.value == pytest.approx(0.62, abs=1.2 * 180e-6 * 0.62)
    unknown = measure_tone([recording.signal.samples], RATE_HZ, 1, TonePlan()).results[0]
    clock = [part.u for part in unknown.budget if "clock" in part.name]
    # ±100 ppm, rectangular: 0.01 %/√3
    assert clock == pytest.approx([0.01 / np.sqrt(3)])


@pytest.mark.parametrize("level_db", [-40.0, 0.0])
def test_neither_level_nor_a_wobble_of_it_matters(read: Read, level_db: float) -> None:
    plain = read(_mono(replace(DECK, hiss=None), RATE_HZ), RATE_HZ)
    deck = replace(DECK, hiss=None, level_db=level_db, wobbles=(Wobble(3.0, 20.0),))
    assert read(_mono(deck, RATE_HZ), RATE_HZ).value("flutter.weighted_peak") == pytest.approx(
        plain.value("flutter.weighted_peak"), rel=1e-3
    )


@pytest.mark.parametrize("off_percent", [-1.2, 0.0, 1.4])
@pytest.mark.parametrize("tone_hz", [3000.0, 3150.0])
def test_either_test_tone_is_recognised_within_the_tolerance_of_a_deck(
    read: Read, tone_hz: float, off_percent: float
) -> None:
    deck = replace(DECK, speed_error_percent=off_percent, drift_percent_per_min=0.0)
    reading = read(_mono(deck, RATE_HZ, tone_hz=tone_hz), RATE_HZ)
    result = reading.result("speed.deviation")
    assert result.conditions["tone_hz"] == tone_hz
    assert result.quantity.value == pytest.approx(off_percent, abs=0.01)


def test_a_tone_between_the_two_is_left_undecided(read: Read) -> None:
    # 3078 Hz is 3150 Hz run 2.3 % slow, or 3000 Hz run 2.6 % fast
    samples = _mono(replace(DECK, speed_error_percent=-2.3, drift_percent_per_min=0.0), RATE_HZ)
    reading = read(samples, RATE_HZ)
    both = [
        (result.conditions["tone_hz"], result.quantity.value)
        for result in reading.measured.results
        if result.id == "speed.deviation" and result.method == "bell-mean/1"
    ]
    assert sorted(tone_hz for tone_hz, _ in both) == [3000.0, 3150.0]
    against = dict(both)
    assert against[3150.0] == pytest.approx(-2.3, abs=0.01)
    assert against[3000.0] == pytest.approx(100 * (3150 * 0.977 / 3000 - 1), abs=0.01)
    assert all(
        result.conditions.get("tone_undecided")
        for result in reading.measured.results
        if result.id == "speed.deviation"
    )
    named = read(samples, RATE_HZ, tone_hz=3150.0)
    assert named.value("speed.deviation") == pytest.approx(-2.3, abs=0.01)
    assert not named.result("speed.deviation").conditions.get("tone_undecided")
    # percentages of flutter are the same either way: they refer to the mean
    assert named.value("flutter.weighted_peak") == pytest.approx(
        reading.value("flutter.weighted_peak"), rel=1e-3
    )


def _mono(deck: VirtualDeck, rate_hz: float, tone_hz: float = 3150.0) -> Array:
    return play(
        deck, Tone(tone_hz), duration_s=20, rate_hz=rate_hz, channels=1, seed=4
    ).signal.samples
