"""Recorded on one deck and played on another, or on the same."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import hilbert

from runstrue.stimulus.tone import Tone
from runstrue.virtualdeck.deck import Component, VirtualDeck
from runstrue.virtualdeck.play import Performance, play
from runstrue.virtualdeck.presets import PRESETS
from runstrue.virtualdeck.record import RecordedBy, started_anew

PURE = replace(
    PRESETS["worn-out"].deck,
    hiss=None, hum=(), wobbles=(), dropouts=(), run_up_s=0.0, run_down_s=0.0, imbalance_db=0.0,
    clock_error_ppm=0.0,
)  # fmt: skip


@pytest.mark.parametrize("after_s", [0, 1300])
def test_deck_that_moves_as_it_did_in_recording_gives_back_the_tone_that_was_fed(
    after_s: int,
) -> None:
    tone = Tone(10_000, 0.0)
    performance = Performance(PURE, RecordedBy(PURE, tone, seed=3), duration_s=1400, seed=3)
    first = after_s * 48_000
    played = performance.clean(first, 10_000)[0]
    turns = np.arange(10_000) * 10_000 / 48_000  # after_s holds whole cycles
    # speed, drift and all flutter cancel to a thousand-millionth of a cycle
    assert np.abs(played - np.sin(2 * np.pi * turns)).max() < 2 * np.pi * 1e-9


@pytest.mark.parametrize("apart_turns", [0.0, 0.25, 0.4, 0.5])
def test_two_equal_flutters_add_as_vectors(apart_turns: float) -> None:
    # Recorder's and player's flutter add as vectors, from nearly nothing to twice the one (a
    # calibration-tape maker's data sheet): r = 2 a |cos(φ/2)|. A recording made too fast plays
    # slow, so parts that stand alike cancel, and φ is half a turn more than they are apart.
    peak, rate_hz = 0.1, 4.0
    recorder = VirtualDeck("recorder", components=(Component("capstan", rate_hz, peak),))
    player = VirtualDeck("player", components=(Component("capstan", rate_hz, peak, apart_turns),))
    signal = play(player, RecordedBy(recorder, Tone(3150)), duration_s=4, channels=1).signal
    turns = np.unwrap(np.angle(hilbert(signal.samples[0]))) / (2 * np.pi)
    times = np.arange(signal.frames) / 48_000
    middle = slice(48_000, 144_000)  # whole turns of the part
    swing = 2 * np.mean(
        (turns - 3150 * times)[middle] * np.exp(-2j * np.pi * rate_hz * times[middle])
    )
    heard_peak = 100 * abs(swing) * 2 * np.pi * rate_hz / 3150
    wanted = 2 * peak * abs(math.cos(math.pi * (apart_turns + 0.5)))
    # the flutter of recording is read at a place that itself sways by a/(2 pi f): 4e-5 s, which
    # turns the vector by 1e-3 at most
    assert heard_peak == pytest.approx(wanted, abs=2e-4)


def test_tape_recorded_fast_plays_slow_on_a_true_deck() -> None:
    recorder = VirtualDeck("fast", speed_error_percent=2.0)
    played = play(VirtualDeck("true"), RecordedBy(recorder, Tone(3060, 0.0)), duration_s=1)
    times = np.arange(48_000) / 48_000
    # 3060 Hz laid down on 2 % more tape is 3000 Hz
    assert played.signal.samples[0] == pytest.approx(np.sin(2 * np.pi * 3000 * times), abs=1e-8)


def test_start_anew_moves_every_part_and_nothing_else() -> None:
    deck = PRESETS["healthy"].deck
    one, same, other = (started_anew(deck, seed) for seed in (1, 1, 2))
    assert one == same != other
    phases = [part.phase_turns for part in (*one.components, *one.hubs, *one.wobbles)]
    assert len(set(phases)) == len(phases)
    back = replace(one, components=deck.components, hubs=deck.hubs, wobbles=deck.wobbles)
    assert back == deck
