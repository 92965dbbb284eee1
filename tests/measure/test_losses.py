"""Dropouts, modulation noise and print-through of known size got back."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from tests.measure.programme_on_deck import RATE_HZ, bench_deck, programme, stretches

from runstrue.errors import SignalError
from runstrue.measure.dropouts import STEP_S, level_over_time, losses, measure_dropouts
from runstrue.measure.modulation_noise import measure_modulation_noise
from runstrue.measure.print_through import measure_print_through
from runstrue.measure.sections import Stretch
from runstrue.stimulus.programme import Section
from runstrue.virtualdeck.deck import Dropout

TONE = programme(Section("tone", "tone", 0, 40, level_db=-10, frequencies_hz=(3150,)))
# (ms, dB): from full level to full level, with edges of up to 1 ms
GIVEN = ((5, 20), (12, 8), (20, 12), (50, 4), (100, 25), (30, 30), (60, 7), (15, 2))


def dropped(seed: int = 1) -> Stretch:
    given = tuple(
        Dropout(3 + 4 * number, length_ms / 1000, depth_db)
        for number, (length_ms, depth_db) in enumerate(GIVEN)
    )
    return stretches(bench_deck(dropouts=given), TONE, seed)[0]


def test_every_loss_is_found_where_it_is_with_its_depth_and_length() -> None:
    one = dropped()
    found = losses(level_over_time(one.samples[0], one.rate_hz, 3150 * 1.015))
    wanted = [
        (3 + 4 * number - one.found.starts_s, length_ms, depth_db)
        for number, (length_ms, depth_db) in enumerate(GIVEN) if depth_db > 3
    ]  # fmt: skip
    assert len(found) == len(wanted)
    for loss, (at_s, length_ms, depth_db) in zip(found, wanted, strict=True):
        # edges of a millisecond and a smoothing of two
        assert loss.at_s == pytest.approx(at_s, abs=0.004)
        assert loss.length_ms == pytest.approx(length_ms, abs=3)
        # hiss at −45 dB below this tone, in the 1 kHz of a 2 ms window, moves what is left
        assert loss.depth_db == pytest.approx(depth_db, abs=0.5 if depth_db < 15 else 2.5)


def test_count_a_minute_by_the_stated_bounds() -> None:
    """Deeper than 6 dB for 10 ms and more: 12/8, 20/12, 100/25, 30/30 and 60/7."""
    for result in measure_dropouts(dropped(), ("left", "right")):
        assert result.quantity is not None
        length_s = dropped().duration_s
        assert result.quantity.value == pytest.approx(5 * 60 / length_s)
        assert result.quantity.u == pytest.approx(math.sqrt(5.5) * 60 / length_s)
        assert result.conditions["all losses"] == 7


def test_sound_tape_has_none_and_says_how_sure() -> None:
    result = measure_dropouts(stretches(bench_deck(), TONE)[0], ("left", "right"))[0]
    assert result.quantity is not None
    assert result.quantity.value == 0
    assert result.quantity.u > 0


def test_slow_change_of_level_is_no_loss() -> None:
    one = stretches(bench_deck(), TONE)[0]
    times_s = np.arange(one.samples.shape[1]) / RATE_HZ
    swinging = one.samples * 10 ** (4 * np.sin(2 * np.pi * times_s / 20) / 20)
    result = measure_dropouts(replace(one, samples=swinging), ("left", "right"))[0]
    assert result.conditions["all losses"] == 0
    assert STEP_S < 0.001


def test_short_tone_is_refused() -> None:
    one = stretches(bench_deck(), TONE)[0]
    with pytest.raises(SignalError, match="10 s are needed"):
        measure_dropouts(replace(one, samples=one.samples[:, :96_000]), ("left", "right"))


MODULATED = programme(
    Section("tone", "tone", 0, 12, frequencies_hz=(1000,)),
    Section("rest", "silence", 0, 12, level_db=-math.inf),
)


@pytest.mark.parametrize("below_db", [35.0, 45.0, 52.0])
def test_modulation_noise_is_what_the_tone_adds(below_db: float) -> None:
    """White noise from 20 Hz to 20 kHz beside the tone; what is left out costs its share."""
    tone, rest = stretches(bench_deck(), MODULATED)
    draw = np.random.default_rng(9)
    rms = 10 ** ((-12 - below_db) / 20) / math.sqrt(2) * math.sqrt(24_000 / 19_980)
    noisy = replace(tone, samples=tone.samples + rms * draw.standard_normal(tone.samples.shape))
    for result in measure_modulation_noise(noisy, rest, ("left", "right")):
        assert result.quantity is not None
        # nineteen gaps take between 0.2 and 0.7 kHz each of 20 kHz away: counted here by hand
        ratio = 1.015
        gaps = [1.5 * (0.003 * f + _edge(f)) for f in np.arange(1, 20) * 1000.0 * ratio]
        share = 1 - 2 * sum(gaps) / 19_980
        wanted = below_db - 10 * math.log10(share)
        assert result.quantity.value == pytest.approx(wanted, abs=4 * result.quantity.u + 0.1)


def _edge(f: float) -> float:
    """Widest flutter rate taken: 2.5 Hz at 63 Hz to 200 Hz at 3 kHz, straight in logarithms."""
    return 200.0 if f >= 3000 else 2.5 * 80 ** (math.log(f / 63) / math.log(3000 / 63))


def test_tone_that_adds_nothing_has_no_figure() -> None:
    tone, rest = stretches(bench_deck(), MODULATED, 3)
    result = measure_modulation_noise(tone, rest, ("left", "right"))[0]
    assert result.quantity is None or result.quantity.value > 68


PRINTED = programme(
    Section("before", "silence", 0, 10, level_db=-math.inf),
    Section("loud", "tone", 0, 1, frequencies_hz=(500,)),
    Section("after", "silence", 0, 12, level_db=-math.inf),
)


def echoing(
    after_db: float, before_db: float, turn_s: float = 2.1
) -> tuple[Stretch, list[Stretch]]:
    before, loud, after = stretches(bench_deck(), PRINTED)
    burst = loud.samples
    frames = burst.shape[1]
    spoiled = []
    for one, way, level_db in ((before, -1, before_db), (after, 1, after_db)):
        samples = one.samples.copy()
        for turn in range(1, 4):
            at_s = loud.found.starts_s + way * turn * turn_s - one.found.starts_s
            first = round(at_s * RATE_HZ)
            if first >= 0 and first + frames <= samples.shape[1]:
                samples[:, first : first + frames] += burst * 10 ** (-level_db * turn / 20)
        spoiled.append(replace(one, samples=samples))
    return loud, spoiled


@pytest.mark.parametrize(("after_db", "before_db"), [(45, 50), (55, 52), (40, 48)])
def test_highest_echo_and_how_far_from_the_burst(after_db: float, before_db: float) -> None:
    loud, silences = echoing(after_db, before_db)
    for result in measure_print_through(loud, silences, ("left", "right")):
        assert result.quantity is not None
        assert result.quantity.value == pytest.approx(min(after_db, before_db), abs=0.5)
        where = "after" if after_db < before_db else "before"
        # the burst lasts longer than the window that looks: it is found within 0.1 s
        assert result.conditions["echo"] in {f"{s:.1f} s {where} it" for s in (2.0, 2.1, 2.2)}


def test_no_echo_is_told_as_at_least() -> None:
    loud, silences = echoing(300, 300)
    result = measure_print_through(loud, silences, ("left", "right"))[0]
    assert result.conditions["at least"] is True
    assert "No echo stands out" in result.doubts[0]
