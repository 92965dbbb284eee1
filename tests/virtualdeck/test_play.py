"""Playing: blocks, channels, levels and what is told about them."""

from __future__ import annotations

import math
import time
import tracemalloc
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import trapezoid
from scipy.signal import hilbert

from runstrue.errors import InputError
from runstrue.stimulus.sampled import Sampled
from runstrue.stimulus.tone import Tone
from runstrue.virtualdeck.deck import (
    Component,
    Dropout,
    Hiss,
    HumLine,
    RandomDropouts,
    Skew,
    VirtualDeck,
    Wobble,
)
from runstrue.virtualdeck.play import STRETCH, Performance, blocks, play
from runstrue.virtualdeck.presets import PRESETS

STEADY = VirtualDeck("steady")


@pytest.mark.parametrize("size", [1, 480, 2400, 65_536, 10**9])
def test_block_size_changes_no_bit(size: int) -> None:
    deck = PRESETS["worn-out"].deck
    common = {"duration_s": 2.0, "rate_hz": 8000.0, "seed": 3, "lead_in_s": 0.1}
    whole = play(deck, Tone(3150), **common).signal.samples
    pieces = list(blocks(deck, Tone(3150), frames_per_block=size, **common))
    assert np.array_equal(np.concatenate(pieces, axis=1), whole)
    assert all(piece.shape[1] == size for piece in pieces[:-1])
    assert whole.shape == (2, 16_000)


def test_same_seed_gives_the_same_and_another_seed_another_recording() -> None:
    deck = PRESETS["healthy"].deck
    one, two, other = (
        play(deck, Tone(3150), duration_s=1.5, seed=seed).signal.samples for seed in (1, 1, 2)
    )
    assert np.array_equal(one, two)
    assert not np.array_equal(one, other)


def test_any_part_can_be_had_without_what_came_before() -> None:
    deck = replace(PRESETS["flattened-roller"].deck, hiss=None)
    performance = Performance(deck, Tone(3150), duration_s=3.0, seed=1)
    whole = np.concatenate(list(performance.blocks(48_000)), axis=1)
    first = STRETCH * 5 - 100
    assert np.array_equal(performance.clean(first, 9000), whole[:, first : first + 9000])


def test_given_samples_of_a_tone_play_like_the_tone() -> None:
    deck = replace(PRESETS["bent-capstan"].deck, hiss=None)
    times = np.arange(5 * 48_000) / 48_000
    sampled = Sampled(0.5 * np.sin(2 * np.pi * 3150 * times)[None], 48_000)
    analytic = Tone(3150, 20 * math.log10(0.5))
    one, two = (
        play(deck, stimulus, duration_s=4).signal.samples[:, 24_000:-24_000]
        for stimulus in (sampled, analytic)
    )
    # the interpolation promises 120 dB; ten times that in the sum of all images is not reached.
    # Hum is stated against the stimulus: its r.m.s. from samples differs by the last cycle.
    assert np.abs(one - two).max() < 2e-6


def test_two_tracks_keep_to_their_channels() -> None:
    times = np.arange(48_000) / 48_000
    tracks = np.stack([np.sin(2 * np.pi * 1000 * times), np.sin(2 * np.pi * 400 * times)])
    samples = play(STEADY, Sampled(tracks, 48_000), duration_s=0.8).signal.samples
    assert samples[:, 4800:] == pytest.approx(tracks[:, 4800:38_400], abs=1e-6)


def test_skew_delays_the_right_channel_by_what_was_asked() -> None:
    deck = VirtualDeck("tilted", skew=Skew(delay_us=40.0, sway_us=10.0, sway_rate_hz=2.0))
    signal = play(deck, Tone(1000, 0.0), duration_s=3).signal
    left, right = (np.unwrap(np.angle(hilbert(one))) for one in signal.samples)
    late_us = (left - right) / (2 * np.pi * 1000) * 1e6
    times = np.arange(signal.frames) / signal.rate_hz
    wanted = 40 + 10 * np.sin(2 * np.pi * 2 * times)
    middle = slice(48_000, 96_000)
    # 3 s hold whole cycles of all that sounds, so the Hilbert transform is exact but for the
    # sidebands' own: the envelope of a phase of 0.06 rad; 0.01 µs is 6e-5 rad
    assert late_us[middle] == pytest.approx(wanted[middle], abs=0.01)


def test_level_imbalance_and_dead_channel() -> None:
    hissing = VirtualDeck("one side", hiss=Hiss(60.0), dead_channels=(1,), level_db=-3.0)
    left, right = play(hissing, Tone(1000, -6.0), duration_s=2).signal.samples
    assert 20 * np.log10(left.std() * math.sqrt(2)) == pytest.approx(-9.0, abs=0.001)
    # 60 dB in 20 kHz is 59.2 dB in 24 kHz; the hiss passes the deck's gain like the tone.
    # 96 000 samples: 0.02 dB a sigma
    assert 20 * np.log10(left.std() / right.std()) == pytest.approx(
        60 - 10 * math.log10(24_000 / 19_980), abs=0.08
    )
    uneven = replace(hissing, dead_channels=(), imbalance_db=-2.5, hiss=None)
    left, right = play(uneven, Tone(1000, -6.0), duration_s=2).signal.samples
    assert 20 * np.log10(right.std() / left.std()) == pytest.approx(-2.5, abs=1e-9)


def test_carrier_to_noise_density_is_told_for_each_channel() -> None:
    deck = VirtualDeck("uneven", hiss=Hiss(50.0), imbalance_db=-4.0, level_db=-7.0)
    truth = play(deck, Tone(3150), duration_s=0.5, channels=3).truth
    # white noise: C/N0 = ratio + 10 log10 of the band; the gain of the whole deck cancels
    white = 50 + 10 * math.log10(19_980)
    assert truth.carrier_to_noise_density_db_hz == pytest.approx((white, white - 4, white - 4))
    silent = play(replace(deck, dead_channels=(0,)), Tone(3150), duration_s=0.5).truth
    assert silent.carrier_to_noise_density_db_hz[0] is None
    plain = play(replace(deck, hiss=None), Tone(3150), duration_s=0.5).truth
    assert plain.carrier_to_noise_density_db_hz == (None, None)


def test_hum_stands_at_its_frequency_and_level() -> None:
    deck = VirtualDeck("hum", hum=(HumLine(50.0, -40.0, 0.25), HumLine(150.0, -46.0)))
    deck = replace(deck, dead_channels=(0, 1))
    samples = play(deck, Tone(3150, 0.0), duration_s=1).signal.samples[0]
    times = np.arange(48_000) / 48_000
    wanted = 0.01 * np.cos(2 * np.pi * 50 * times)
    wanted += 10 ** (-46 / 20) * np.sin(2 * np.pi * 150 * times)
    assert samples == pytest.approx(wanted, abs=1e-12)


def test_wobble_swings_the_level_of_its_channel() -> None:
    deck = VirtualDeck("wobble", wobbles=(Wobble(2.0, 20.0, 0.25, channel=1),))
    left, right = play(deck, Tone(1000, 0.0), duration_s=2).signal.samples
    times = np.arange(96_000) / 48_000
    assert right == pytest.approx(left * (1 + 0.2 * np.cos(2 * np.pi * 2 * times)), abs=1e-12)


def test_dropout_takes_the_level_down_for_its_length_only() -> None:
    deck = VirtualDeck("dropout", dropouts=(Dropout(0.5, 0.1, 20.0, channel=0),))
    left, right = play(deck, Tone(1000, 0.0), duration_s=1).signal.samples
    times = np.arange(48_000) / 48_000
    deep = (times > 0.501) & (times < 0.599)
    outside = (times < 0.5) | (times > 0.6)
    assert left[deep] == pytest.approx(right[deep] / 10)
    assert np.array_equal(left[outside], right[outside])
    # never a click: the gain falls over a millisecond, by at most 0.16 of full scale a sample
    gain = left[23_990:24_060] / np.where(right[23_990:24_060], right[23_990:24_060], np.nan)
    assert np.nanmax(np.abs(np.diff(gain))) < 0.1


def test_random_dropouts_are_told_and_are_where_they_are_told() -> None:
    deck = VirtualDeck("flaky", dropouts=(RandomDropouts(20.0, 0.05, 30.0),), clock_error_ppm=500)
    recording = play(deck, Tone(3150, 0.0), duration_s=60, rate_hz=16_000, seed=2)
    told = recording.truth.dropouts
    # Poisson: 20 ± √20 in a minute; four sigma
    assert 2 < len(told) < 38
    level = np.abs(hilbert(recording.signal.samples[0]))
    low = level < 0.5
    starts = np.flatnonzero(np.diff(low.astype(int)) == 1) / 16_000
    # half level lies within the edge of 1 ms
    assert starts == pytest.approx([one.at_s for one in told], abs=0.001)


def test_transport_that_starts_and_stops_is_told_and_heard() -> None:
    deck = VirtualDeck("start", run_up_s=0.5, run_down_s=0.25)
    recording = play(deck, Tone(3000, 0.0), duration_s=4, lead_in_s=1.0, lead_out_s=0.5)
    truth, samples = recording.truth, recording.signal.samples[0]
    assert (truth.steady_from_s, truth.steady_to_s) == pytest.approx((1.5, 3.25))
    assert truth.mean_deviation_percent == pytest.approx(0, abs=1e-10)
    assert not samples[:48_000].any()
    assert not samples[-24_000:].any()
    level = np.abs(hilbert(samples))
    # at half of the run-up both speed and level are half of what they become
    assert level[60_000] == pytest.approx(0.5, abs=0.01)
    heard = np.diff(np.unwrap(np.angle(hilbert(samples)))) * 48_000 / (2 * np.pi)
    assert heard[60_000] == pytest.approx(1500, rel=0.01)
    assert heard[100_000] == pytest.approx(3000, rel=1e-4)


def test_phase_that_scipy_hears_is_the_place_of_the_tape_that_is_told() -> None:
    deck = replace(PRESETS["lumpy-belt"].deck, hiss=None, hum=(), clock_error_ppm=200.0)
    recording = play(deck, Tone(3150), duration_s=8, seed=6)
    phase = np.unwrap(np.angle(hilbert(recording.signal.samples[0])))
    frames = np.arange(2 * 48_000, 6 * 48_000)
    heard_turns = (phase[frames] - phase[frames[0]]) / (2 * np.pi)
    performance = recording.performance
    place_s = performance.motion.tape_position_s(performance.true_time_s(frames / 48_000))
    # the tone does not fit the record, and 2 s away its ends leave about 1/(pi · 2 · 3150 · 2)
    assert heard_turns == pytest.approx(3150 * (place_s - place_s[0]), abs=3e-5)
    # the mean over those 4 s by the deviation: trapezoids of 1/48000 s under flutter up to
    # 200 Hz are right to (2 pi 200 / 48000)²/12 = 6e-5 of it; 3e-5 turns of 12 600 are 2.4e-7 %
    told = performance.apparent_deviation_percent(frames / 48_000)
    mean = 100 * (heard_turns[-1] / 3150 / ((frames.size - 1) / 48_000) - 1)
    assert mean == pytest.approx(trapezoid(told) / (frames.size - 1), abs=1e-5)


def test_apparent_mean_of_the_truth_is_what_scipy_hears() -> None:
    deck = replace(PRESETS["perished-belt"].deck, hiss=None, hum=(), clock_error_ppm=-300.0)
    recording = play(deck, Tone(3000), duration_s=12, seed=6, lead_in_s=1.0, lead_out_s=1.0)
    truth = recording.truth
    phase = np.unwrap(np.angle(hilbert(recording.signal.samples[0])))
    first, last = (round(one * 48_000) for one in (truth.steady_from_s, truth.steady_to_s))
    heard = (phase[last] - phase[first]) / (2 * np.pi) / 3000 / ((last - first) / 48_000)
    # the ends lie within a frame, 1e-5 s of some 8.8 s, where the speed is 2 to 3 % off its
    # mean at most: 3e-6 %; the rest is the Hilbert transform's
    assert 100 * (heard - 1) == pytest.approx(truth.apparent_mean_deviation_percent, abs=2e-5)
    assert truth.apparent_mean_deviation_percent - truth.mean_deviation_percent == pytest.approx(
        0.03, rel=0.03
    )


def test_truth_is_plain_and_whole() -> None:
    deck = PRESETS["worn-out"].deck
    plain = play(deck, Tone(3150), duration_s=3, seed=11).truth.to_plain()
    assert plain["format"] == "runstrue-truth/1"
    assert plain["seed"] == 11
    assert plain["deck"]["preset"] == "worn-out"
    assert plain["deck"]["speed_error_percent"] == -2.1
    assert plain["deck"]["components"][0]["part"] == "capstan"
    assert len(plain["hub_rates_hz"]) == 2


def test_memory_stays_flat_however_long_the_recording_is() -> None:
    def peak_bytes(duration_s: float) -> int:
        tracemalloc.start()
        for _ in Performance(
            PRESETS["worn-out"].deck, Tone(3150), duration_s=duration_s, rate_hz=16_000
        ).blocks(16_000):
            pass
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return peak

    # the generator of unrest keeps three hops whatever comes; the samples of the longer record
    # alone would be 16000 · 2 · 8 · 360 = 92 MB
    assert peak_bytes(420) < peak_bytes(240) + 1_000_000


def test_time_grows_with_length_and_stays_below_real_time_by_far() -> None:
    def seconds(duration_s: float) -> float:
        start = time.process_time()
        play(PRESETS["healthy"].deck, Tone(3150), duration_s=duration_s)
        return time.process_time() - start

    seconds(1)
    assert seconds(40) < 8 * seconds(10) + 0.5


@pytest.mark.parametrize(
    "wrong",
    [
        {"duration_s": 0.0},
        {"duration_s": math.nan},
        {"rate_hz": 0.0},
        {"rate_hz": math.inf},
        {"channels": 0},
        {"seed": -1},
        {"lead_in_s": -0.1},
        {"lead_in_s": 20.0},
    ],
)
def test_impossible_recordings_are_refused_in_a_sentence(wrong: dict[str, float]) -> None:
    with pytest.raises(InputError, match="needed"):
        play(STEADY, Tone(3150), **{"duration_s": 10.0, **wrong})


@pytest.mark.parametrize(
    "make",
    [
        lambda: VirtualDeck("x", speed_error_percent=math.nan),
        lambda: VirtualDeck("x", speed_error_percent=-100),
        lambda: VirtualDeck("x", run_up_s=-1),
        lambda: Component("x", 0.0, 0.1),
        lambda: Hiss(40, pole_hz=50),
        lambda: Dropout(1.0, 0.0, 20.0),
    ],
)
def test_impossible_decks_are_refused_in_a_sentence(make) -> None:
    with pytest.raises(InputError, match="needed"):
        make()
