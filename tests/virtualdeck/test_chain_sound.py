"""What comes out of a chain, read with plain numpy and scipy, against its truth in closed form.

Tones are read by their Fourier coefficient under a Hann window over a whole second, noise by
scipy's Welch spectrum; neither shares anything with the chain or with `runstrue.measure`.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.signal import welch

from runstrue.stimulus.programme import Programme, Section
from runstrue.stimulus.tone import Tone
from runstrue.virtualdeck.chain import (
    TYPE_II_US,
    BiasNoise,
    Chain,
    Crosstalk,
    Erasure,
    ModulationNoise,
    PrintThrough,
    Record,
    Replay,
    Saturation,
    Shelf,
    Tape,
)
from runstrue.virtualdeck.chain_truth import ChainTruth
from runstrue.virtualdeck.deck import Dropout, Hiss, HumLine, Skew, VirtualDeck
from runstrue.virtualdeck.play import Performance, play, record_and_play

RATE_HZ = 48_000
REFERENCE_DBFS = -12.0
REFERENCE = 10 ** (REFERENCE_DBFS / 20)
BUSY = Chain(
    record=Record(
        gain_db=0.4, treble=Shelf(4000.0, 2.0), saturation=Saturation(1.2, second_percent=0.5)
    ),
    replay=Replay(
        equalisation_us=TYPE_II_US, gap_um=1.0, spacing_um=0.1, azimuth_minutes=5.0,
        crosstalk=Crosstalk(-40.0, 3000.0), gains_db=(0.0, -1.5),
    ),
    reference_dbfs=REFERENCE_DBFS,
)  # fmt: skip


def deck(chain: Chain, **more: object) -> VirtualDeck:
    return VirtualDeck("chain", chain=replace(chain, reference_dbfs=REFERENCE_DBFS), **more)  # type: ignore[arg-type]


def played(
    one: VirtualDeck, tone_hz: float, level_db: float = 0.0, here: bool = True, seconds: float = 2.0
) -> tuple[NDArray[np.float64], ChainTruth]:
    """Return what comes out of a tone, without its first half second."""
    performance = Performance(
        one,
        Tone(tone_hz, REFERENCE_DBFS + level_db),
        duration_s=seconds,
        recorded_here=here,
        seed=3,
    )
    assert performance.on_tape is not None
    samples = np.concatenate(list(performance.blocks(8192)), axis=1)
    return samples[:, RATE_HZ // 2 :], performance.on_tape.truth


def level_db(samples: NDArray[np.float64], tone_hz: float) -> float:
    window = np.hanning(samples.size)
    turns = np.exp(-2j * np.pi * tone_hz * np.arange(samples.size) / RATE_HZ)
    peak = 2 * abs(np.sum(window * samples * turns)) / window.sum()
    return float(20 * np.log10(peak / REFERENCE))


@pytest.mark.parametrize("tone_hz", [31.5, 315.0, 1000.0, 5000.0, 12_500.0])
@pytest.mark.parametrize("fed_db", [-20.0, 0.0])
def test_tones_come_out_as_the_formulas_say(tone_hz: float, fed_db: float) -> None:
    samples, truth = played(deck(BUSY, skew=Skew(12.0)), tone_hz, fed_db)
    for channel in (0, 1):
        found_db = level_db(samples[channel], tone_hz)
        # the filters average over 12 Hz, which a bend of 1 dB an octave at 31.5 Hz sees as 0.002
        assert found_db == pytest.approx(truth.level_db(tone_hz, fed_db, channel), abs=0.003)
    if 3 * tone_hz < 16_000:
        found_db = level_db(samples[0], tone_hz)
        # direct current is held back at 5 Hz, which costs a second harmonic at 63 Hz 0.027 dB
        third_db, second_db = (level_db(samples[0], n * tone_hz) - found_db for n in (3, 2))
        assert third_db == pytest.approx(truth.third_db(tone_hz, fed_db), abs=0.03)
        assert second_db == pytest.approx(truth.second_db(tone_hz, fed_db), abs=0.03)


def test_tape_from_elsewhere_meets_the_replay_half_alone() -> None:
    samples, truth = played(deck(BUSY), 1000.0, 0.0, here=False)
    assert level_db(samples[0], 3000.0) < -110
    assert level_db(samples[0], 1000.0) == pytest.approx(truth.level_db(1000.0, 0.0), abs=0.003)
    # the tape does not say what it was made for, hence the deck suits it: losses alone are left
    assert truth.gain_db(1000.0) == pytest.approx(0.0, abs=0.1)


def test_off_speed_tape_is_heard_where_it_sounds() -> None:
    samples, truth = played(deck(BUSY, speed_error_percent=3.0), 10_000.0, -20.0)
    assert level_db(samples[0], 10_300.0) == pytest.approx(
        truth.level_db(10_000.0, -20.0), abs=0.003
    )


def test_largest_level_and_three_per_cent_are_where_the_truth_says() -> None:
    one = deck(Chain(record=Record(saturation=Saturation(1.2)), replay=Replay(gap_um=0.8)))
    levels = {fed: played(one, 10_000.0, fed)[0][0] for fed in np.arange(-6.0, 3.0, 0.5)}
    _, truth = played(one, 10_000.0)
    loudest = max(level_db(samples, 10_000.0) for samples in levels.values())
    # steps of 0.5 dB miss a maximum that flat by less than 0.01 dB
    assert loudest == pytest.approx(truth.sol_db(10_000.0), abs=0.01)
    fed = 4.2
    third_db = truth.third_db(315.0, fed)
    reached = truth.mol_db(315.0, 10 ** (third_db / 20))
    assert reached == pytest.approx(truth.level_db(315.0, fed), abs=1e-9)


def test_ideal_chain_changes_nothing_to_be_heard() -> None:
    plain = play(VirtualDeck("plain"), Tone(1000.0, -6.0), duration_s=2.0)
    through = play(VirtualDeck("chain", chain=Chain()), Tone(1000.0, -6.0), duration_s=2.0)
    inside = slice(8192, -8192)
    apart = plain.signal.samples[:, inside] - through.signal.samples[:, inside]
    # taps shaped over 85 ms leave a gain that is flat to −120 dB
    assert np.abs(apart).max() < 1e-6


EVERYTHING = replace(
    BUSY,
    tape=Tape(ModulationNoise(45.0), Erasure(60.0, 775.0), PrintThrough()),
    replay=replace(BUSY.replay, noise=BiasNoise(50.0)),
)


def test_block_size_changes_no_bit() -> None:
    one = deck(
        EVERYTHING, hiss=Hiss(60.0), hum=(HumLine(50.0, -50.0),), run_up_s=0.2,
        dropouts=(Dropout(0.9, 0.05, 12.0),),
    )  # fmt: skip
    performance = Performance(one, Tone(1000.0, -12.0), duration_s=1.7, recorded_here=True, seed=4)
    wholes = [
        np.concatenate(list(performance.blocks(frames)), axis=1) for frames in (1000, 8192, 10**6)
    ]
    assert wholes[0].shape == (2, performance.frames)
    assert all(np.array_equal(wholes[0], other) for other in wholes[1:])


def test_part_without_hiss_is_the_same_part() -> None:
    performance = Performance(deck(EVERYTHING), Tone(1000.0, -12.0), duration_s=1.0, seed=4)
    whole = np.concatenate(list(performance.blocks(9000)), axis=1)
    assert np.array_equal(performance.clean(20_000, 900), whole[:, 20_000:20_900])


def test_noise_has_the_density_it_says() -> None:
    one = deck(Chain(replay=Replay(noise=BiasNoise(50.0), gains_db=(0.0, -6.0))))
    performance = Performance(one, silence(), duration_s=40.0, seed=9)
    assert performance.on_tape is not None
    truth = performance.on_tape.truth
    samples = np.concatenate(list(performance.blocks(8192)), axis=1)
    for channel in (0, 1):
        rates, density = welch(samples[channel], RATE_HZ, nperseg=4096)
        for low, high in ((300, 500), (900, 1100), (4500, 5500), (14_000, 16_000)):
            inside = (rates > low) & (rates < high)
            wanted = np.mean([truth.noise_density_per_hz(f, channel) for f in rates[inside]])
            # 40 s of a band B: relative scatter 1/√(B t) ≤ 1/√(200 · 40) = 1.1 %, three times that
            assert density[inside].mean() == pytest.approx(wanted, rel=0.034)
    assert truth.noise_db() == pytest.approx(-50.0, abs=0.001)
    # integral over the band by another road: straight sum in steps of 1 Hz
    total = sum(truth.noise_density_per_hz(float(f)) for f in np.arange(20.5, 20_000))
    assert 10 * math.log10(total / (REFERENCE**2 / 2)) == pytest.approx(-50.0, abs=0.005)


def test_crosstalk_goes_from_the_one_that_sounds_to_the_other() -> None:
    one = deck(Chain(replay=Replay(crosstalk=Crosstalk(-40.0, 3000.0))))
    for tone_hz in (500.0, 6300.0):
        made = programme(Section("left", "tone", 0.0, 2.0, "left", 0.0, (tone_hz,)))
        recording = record_and_play(one, made, after_s=0.0)
        samples = np.asarray(recording.signal.samples)[:, 24_000:72_000]
        assert recording.performance.on_tape is not None
        apart = level_db(samples[0], tone_hz) - level_db(samples[1], tone_hz)
        assert apart == pytest.approx(recording.performance.on_tape.truth.separation_db(tone_hz),
                                      abs=0.001)  # fmt: skip
        # −40 dB at 1 kHz, by hand: 10 lg((1 + (f/3)²) / (1 + 1/9))
        by_hand = 40 - 10 * math.log10((1 + (tone_hz / 3000) ** 2) / (1 + 1 / 9))
        assert apart == pytest.approx(by_hand, abs=0.001)


def test_erased_stretch_and_old_tone_lie_where_they_should() -> None:
    made = programme(Section("tone", "tone", 0.0, 4.0, "both", 0.0, (1000.0,)))
    tape = Tape(erasure=Erasure(50.0, 775.0, -3.0, passes_s=((2.0, 4.0),)))
    recording = record_and_play(deck(Chain(tape=tape)), made, after_s=1.0)
    samples = np.asarray(recording.signal.samples)[0]
    before, after = samples[24_000:72_000], samples[120_000:168_000]
    assert level_db(before, 1000.0) - level_db(after, 1000.0) == pytest.approx(50.0, abs=0.01)
    assert level_db(before, 775.0) == pytest.approx(-53.0, abs=0.01)


def test_echoes_come_one_turn_before_and_after() -> None:
    made = programme(
        Section("before", "silence", 0.0, 3.0, level_db=-math.inf),
        Section("loud", "tone", 3.0, 0.5, "both", 0.0, (631.0,)),
        Section("after", "silence", 3.5, 3.0, level_db=-math.inf),
    )
    echo = PrintThrough(-50.0, -46.0, turn_s=1.5)
    recording = record_and_play(deck(Chain(tape=Tape(print_through=echo))), made, after_s=0.0)
    samples = np.asarray(recording.signal.samples)[0]

    def around(at_s: float) -> float:
        first = round((at_s + 0.1) * RATE_HZ)
        return level_db(samples[first : first + round(0.3 * RATE_HZ)], 631.0)

    # 631 Hz is where echoes are strongest: to 0.001 dB
    assert around(1.5) == pytest.approx(-50.0, abs=0.01)
    assert around(4.5) == pytest.approx(-46.0, abs=0.01)
    assert not samples[24_000:48_000].any()


def test_modulation_noise_stands_beside_the_tone_only() -> None:
    one = deck(Chain(tape=Tape(ModulationNoise(40.0, 300.0))))
    samples, truth = played(one, 3000.0, 0.0, seconds=40.0)
    rates, density = welch(samples[0], RATE_HZ, nperseg=16_384, window="blackmanharris")
    heard = (np.abs(rates - 3000) > 60) & (rates > 20) & (rates < 20_000)
    below_db = 10 * math.log10(REFERENCE**2 / 2 / (density[heard].sum() * (rates[1] - rates[0])))
    # scatter of Gaussian noise of some 900 Hz over 39 s: 1/√(900 · 39) = 0.5 %, 0.023 dB; edges
    # of the gap fall between lines 2.9 Hz apart: 0.05 dB
    assert below_db == pytest.approx(truth.modulation_noise_db(3000.0, 60.0), abs=0.12)
    quiet, _ = played(one, 3000.0, -40.0, seconds=4.0)
    assert np.std(quiet[0]) == pytest.approx(REFERENCE / math.sqrt(2) / 100, rel=0.001)


def programme(*sections: Section) -> Programme:
    return Programme("test", "test", sections, reference_dbfs=REFERENCE_DBFS)


def silence() -> Programme:
    return programme(Section("silence", "silence", 0.0, 60.0, level_db=-math.inf))
