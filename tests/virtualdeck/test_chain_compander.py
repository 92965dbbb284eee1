"""The model of noise reduction: what it promises, and that the playing half undoes the recording.

Promised (usual figures of B-type systems, from memory): about 10 dB of lift for soft tones of
5 kHz, next to none at reference level, next to none at 400 Hz.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.signal import welch

from runstrue.stimulus.programme import Programme, Section
from runstrue.stimulus.tone import Tone
from runstrue.virtualdeck.chain import BiasNoise, Chain, Compander, Replay
from runstrue.virtualdeck.chain_truth import ChainTruth
from runstrue.virtualdeck.compander import lift_db, share, undone_db
from runstrue.virtualdeck.deck import VirtualDeck
from runstrue.virtualdeck.play import Performance

RATE_HZ = 48_000
REFERENCE = 10 ** (-12 / 20)


def played(
    compander: Compander, tone_hz: float, fed_db: float
) -> tuple[float, ChainTruth, NDArray[np.float64]]:
    """Return the level of a tone at the output, and the truth."""
    deck = VirtualDeck("b", chain=Chain(compander=compander, reference_dbfs=-12.0))
    performance = Performance(
        deck, Tone(tone_hz, -12.0 + fed_db), duration_s=2.0, recorded_here=True
    )
    assert performance.on_tape is not None
    samples = np.concatenate(list(performance.blocks(8192)), axis=1)[0, 24_000:72_000]
    window = np.hanning(samples.size)
    turns = np.exp(-2j * np.pi * tone_hz * np.arange(samples.size) / RATE_HZ)
    peak = 2 * abs(np.sum(window * samples * turns)) / window.sum()
    return 20 * math.log10(peak / REFERENCE), performance.on_tape.truth, samples


@pytest.mark.parametrize("fed_db", [-40.0, -20.0, 0.0])
@pytest.mark.parametrize("tone_hz", [400.0, 1500.0, 5000.0, 12_000.0])
def test_lift_is_what_the_truth_says(tone_hz: float, fed_db: float) -> None:
    found_db, truth, _ = played(Compander(playing=False), tone_hz, fed_db)
    # a frame's window is 94 Hz wide; across it the share bends most at 1.5 kHz, by 0.01 of 10 dB
    assert found_db - fed_db == pytest.approx(truth.lift_db(tone_hz, fed_db), abs=0.05)


def test_lift_is_that_of_a_b_type_system() -> None:
    _, truth, _ = played(Compander(playing=False), 5000.0, -40.0)
    assert 9.0 < truth.lift_db(5000, -40) < 10.0
    assert truth.lift_db(5000, 0) < 0.5
    assert abs(truth.lift_db(400, -40)) < 0.2


@pytest.mark.parametrize("fed_db", [-40.0, -25.0, -10.0, 0.0])
def test_both_halves_together_change_nothing(fed_db: float) -> None:
    for tone_hz in (400.0, 2000.0, 5000.0):
        found_db, truth, _ = played(Compander(), tone_hz, fed_db)
        assert truth.level_db(tone_hz, fed_db) == pytest.approx(fed_db, abs=0.01)
        assert found_db == pytest.approx(fed_db, abs=0.05)


@pytest.mark.parametrize("error_db", [-4.0, 3.0])
def test_level_error_makes_it_mistrack_as_much_as_the_law_says(error_db: float) -> None:
    for fed_db in (-30.0, -15.0):
        found_db, truth, _ = played(Compander(level_error_db=error_db), 5000.0, fed_db)
        assert found_db == pytest.approx(truth.level_db(5000.0, fed_db), abs=0.05)
        # by a root finder: the lift that is consistent with what is left
        there = float(share(np.array([5000.0]))[0])
        treble = 10 * math.log10(there)
        lifted_db = fed_db + there * float(lift_db(np.array(fed_db + treble)))
        taken = brentq(
            lambda one, lifted_db=lifted_db, treble=treble, there=there: (
                float(lift_db(np.array(lifted_db - one * there + treble + error_db))) - one
            ),
            0.0, 10.0,
        )  # fmt: skip
        assert truth.level_db(5000.0, fed_db) == pytest.approx(lifted_db - there * taken, abs=0.01)
        # taken too loud, it lowers too little: bright
        assert (found_db > fed_db) == (error_db > 0)


def test_undoing_has_one_root_at_every_level() -> None:
    levels_db = np.linspace(-80, 10, 500)
    taken = np.array([undone_db(float(one), 1.0, 0.0) for one in levels_db])
    assert (np.diff(taken) <= 1e-12).all()
    assert taken[0] == pytest.approx(10.0, abs=0.01)


def test_noise_of_the_tape_is_lowered_by_ten_decibels_in_the_treble() -> None:
    made = Programme(
        "test", "test", (Section("rest", "silence", 0.0, 60.0, level_db=-math.inf),),
        reference_dbfs=-12.0,
    )  # fmt: skip
    chain = Chain(replay=Replay(noise=BiasNoise(55.0)), compander=Compander())
    performance = Performance(VirtualDeck("b", chain=chain), made, duration_s=20.0, seed=2)
    assert performance.on_tape is not None
    samples = np.concatenate(list(performance.blocks(8192)), axis=1)[0]
    rates, density = welch(samples, RATE_HZ, nperseg=4096)
    inside = (rates > 4500) & (rates < 5500)
    wanted = performance.on_tape.truth.noise_density_per_hz(5000.0)
    # 0.1 dB as the truth says (its lift is 9.98, not 10), and 3/√(1000 · 20) = 0.09 dB of scatter
    apart_db = 10 * math.log10(density[inside].mean() / wanted)
    assert abs(apart_db) < 0.19
