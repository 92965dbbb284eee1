"""Test programmes: what they sound like, held against definitions and other people's tools."""

from __future__ import annotations

import json
import subprocess
from dataclasses import replace
from fractions import Fraction
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import signal

from runstrue.capture.writing import write_sound
from runstrue.catalogue import KINDS
from runstrue.errors import DescriptionError, InputError
from runstrue.stimulus.programme import Programme, Section
from runstrue.stimulus.programmes import KEYS, programme
from runstrue.stimulus.section_sound import sweep_constant_s, sweep_lasts_s
from runstrue.virtualdeck.deck import VirtualDeck
from runstrue.virtualdeck.play import play

Array = NDArray[np.float64]
RATE_HZ = 48_000.0


def one(section: Section, reference_dbfs: float = -12.0) -> Programme:
    return Programme("one", "one section", (section,), reference_dbfs)


def heard(section: Section, track: int = 0) -> Array:
    """One section, without its fades."""
    samples = np.concatenate(list(one(section).samples(RATE_HZ)), axis=1)
    return samples[track, 1000:-1000]


def level_db(values: Array) -> float:
    """R.m.s. against a sine at the reference level, 12 dB under a full sine (AES17)."""
    return float(20 * np.log10(np.sqrt(2 * np.mean(values**2)))) + 12.0


@pytest.mark.parametrize(
    "section",
    [
        Section("a", "tone", 0.0, 2.0, "both", -7.0, (315.0,)),
        Section("a", "multitone", 0.0, 4.0, "both", -20.0, tuple(range(100, 3100, 100))),
        Section("a", "two-tone", 0.0, 2.0, "both", -10.0, (5000.0, 6000.0)),
        Section("a", "noise-pink", 0.0, 8.0, "both", -20.0, (20.0, 20_000.0)),
        Section("a", "noise-white", 0.0, 8.0, "both", -20.0, (20.0, 20_000.0)),
        Section("a", "sweep", 0.0, 10.02, "both", -20.0, (20.0, 20_000.0)),
    ],
    ids=lambda section: section.kind,
)
def test_a_section_has_the_level_that_it_declares(section: Section) -> None:
    values = heard(section)
    if section.kind == "sweep":  # it ends a little before its section
        values = values[: round(sweep_lasts_s(section) * RATE_HZ) - 3000]
    # cutting the fades off leaves 2 to 8 s: noise of 20 kHz is then steady to about 0.01 dB (1/√BT
    # twice over), a sweep starts within a period of 20 Hz (half of 50 ms in 10 s: 0.02 dB)
    assert level_db(values) == pytest.approx(section.level_db, abs=0.03)


def test_a_ramp_is_straight_in_decibels() -> None:
    values = heard(Section("a", "ramp", 0.0, 30.0, "both", -20.0, (315.0,), 10.0))
    times_s = np.arange(1000, 1000 + values.size) / RATE_HZ
    # whole periods of 315 Hz, 20 at a time: 63.5 ms, in which the level rises by 0.06 dB
    size = round(RATE_HZ * 20 / 315)
    count = values.size // size
    levels = [level_db(values[k * size : (k + 1) * size]) for k in range(count)]
    middles_s = [times_s[k * size + size // 2] for k in range(count)]
    assert levels == pytest.approx([-20 + one_s for one_s in middles_s], abs=0.02)


def test_the_sweep_is_the_synchronised_one() -> None:
    """Novak, Lotton, Simon 2015, 20 Hz to 20 kHz with f₁·L = 29: L = 1.45 s, T = 10.01625 s."""
    section = Section("a", "sweep", 0.0, 10.02, "both", 0.0, (20.0, 20_000.0))
    assert sweep_constant_s(section) == pytest.approx(1.45, abs=1e-12)
    assert sweep_lasts_s(section) == pytest.approx(10.01625, abs=5e-6)
    values = heard(section)
    phase = np.unwrap(np.angle(signal.hilbert(values)))
    rate_hz = np.diff(phase) * RATE_HZ / (2 * np.pi)
    for at_s in (2.0, 5.0, 8.0):
        place = round(at_s * RATE_HZ) - 1000
        assert np.mean(rate_hz[place - 24 : place + 24]) == pytest.approx(
            20 * np.exp(at_s / 1.45), rel=2e-3
        )


def test_pink_noise_falls_by_three_decibels_an_octave() -> None:
    values = heard(Section("pink", "noise-pink", 0.0, 20.0, "both", 0.0, (20.0, 20_000.0)))
    rates_hz, density = signal.welch(values, RATE_HZ, nperseg=8192)
    octaves = [
        10 * np.log10(density[(rates_hz >= low) & (rates_hz < 2 * low)].mean())
        for low in (125, 250, 500, 1000, 2000, 4000, 8000)
    ]
    # an octave from 125 Hz in 20 s has 2500 degrees of freedom: 0.17 dB
    assert np.diff(octaves) == pytest.approx(-3.01, abs=0.4)


def test_many_tones_have_a_low_crest_factor() -> None:
    """Random phases of 29 third-octave tones have a crest factor of 4.2 in the middle."""
    section = programme("full-sheet").section("response-multitone")
    values = heard(replace(section, starts_s=0.0))
    crest = np.abs(values).max() / np.sqrt(np.mean(values**2))
    assert crest < 4.2


def test_pulses_point_up_and_carry_no_constant_part() -> None:
    for inverted, sign in ((False, 1), (True, -1)):
        values = heard(Section("a", "polarity", 0.0, 4.0, "both", 0.0, (4.0,), inverted=inverted))
        values = values[: 15 * 12_000]
        assert sign * values[np.argmax(np.abs(values))] == pytest.approx(10 ** (-12 / 20), rel=1e-3)
        # hill over dip: exp(1.5) / 2, by the derivative of a bell curve set to 0
        dip = -(sign * values).min()
        assert 10 ** (-12 / 20) / dip == pytest.approx(np.exp(1.5) / 2, rel=2e-3)
        assert abs(values.mean()) < 1e-6


def test_bursts_have_their_length() -> None:
    values = heard(
        Section("a", "bursts", 0.0, 6.0, "both", 0.0, (1000.0,), burst_s=0.1, every_s=2.0)
    )
    sounds = np.convolve(np.abs(values) > 1e-3, np.ones(48), "same") > 0
    edges = np.flatnonzero(np.diff(sounds.astype(int)))
    assert (edges[1::2] - edges[::2]) / RATE_HZ == pytest.approx([0.1] * 3, abs=0.002)


def test_a_lone_channel_leaves_the_other_silent() -> None:
    section = Section("a", "tone", 0.0, 1.0, "right", 0.0, (1000.0,))
    assert not heard(section, 0).any()
    assert level_db(heard(section, 1)) == pytest.approx(0.0, abs=0.01)


def test_a_programme_is_the_same_at_every_block_and_rate() -> None:
    plan = programme("quick-look")
    places = np.array([0.5, 20.0, 44.1, 160.0])
    whole = plan.read(0, Fraction(0), places)
    parted = [plan.read(0, Fraction(float(at)), np.zeros(1))[0] for at in places]
    np.testing.assert_allclose(whole, parted, rtol=0, atol=1e-9)
    low = np.concatenate(list(plan.samples(44_100)), axis=1)[0]
    high = np.concatenate(list(plan.samples(88_200)), axis=1)[0]
    np.testing.assert_allclose(low[: high.size // 2], high[::2][: low.size], rtol=0, atol=1e-9)


def test_a_virtual_deck_plays_a_programme_as_it_is() -> None:
    plan = programme("quick-look")
    recording = play(VirtualDeck("still"), plan, duration_s=30.0)
    made = np.concatenate(list(plan.samples(48_000)), axis=1)[:, : 30 * 48_000]
    np.testing.assert_allclose(recording.signal.samples, made, rtol=0, atol=1e-9)


@pytest.mark.parametrize("key", KEYS)
def test_a_made_programme_never_clips(key: str) -> None:
    peak = max(float(np.abs(block).max()) for block in programme(key).samples(44_100))
    assert 0.2 < peak < 1.0


@pytest.mark.parametrize("key", KEYS)
def test_a_made_programme_serves_readings_that_exist(key: str) -> None:
    plan = programme(key)
    assert plan.sections[0].kind == "tone"
    assert plan.sections[0].lasts_s >= 8  # to set the record level by
    for section in plan.sections:
        assert set(section.serves) <= set(KINDS), section.id
        if "separation.channels" in section.serves:
            assert section.lasts_s >= 4
            assert section.channels != "both"
        if "azimuth.delay" in section.serves:
            assert section.lasts_s >= 10
        if "noise.a" in section.serves:
            assert section.kind == "silence"
            assert section.lasts_s >= 10
        if "speed.deviation" in section.serves:
            assert section.lasts_s >= 30


def test_the_full_sheet_serves_every_reading_made_from_sound() -> None:
    plan = programme("full-sheet")
    elsewhere = {"erasure.depth", "separation.sides", "input.sensitivity", "output.voltage"}
    by_hand = ("torque.", "force.", "play.", "voltage.", "time.", "flutter.", "nr.", "meter.",
               "control.", "card.", "input.", "output.")  # fmt: skip
    served = {quantity for section in plan.sections for quantity in section.serves}
    asked = {"level.output", "level.balance", "speed.deviation", "azimuth.angle", "response.gain",
             "distortion.third", "level.mol", "level.sol", "separation.channels", "noise.a",
             "noise.quasi_peak_468", "hum.line", "dropout.count"}  # fmt: skip
    assert asked <= served
    assert not served & elsewhere
    assert not [one for one in served if one.startswith(by_hand) and not one.startswith("flutter")]
    assert 13 * 60 < plan.lasts_s <= 15 * 60
    assert programme("quick-look").lasts_s <= 3 * 60


def test_pilots_tell_programmes_apart() -> None:
    pilots = {
        key: next(one for one in programme(key).sections if one.kind == "pilot").frequencies_hz
        for key in KEYS
    }
    for (one_key, first), (other_key, second) in combinations(pilots.items(), 2):
        alike = sum(a == b for a, b in zip(first, second, strict=True))
        # the first and last tone are the same in all; six in ten alike would be taken for it
        assert alike <= 4, (one_key, other_key)


@pytest.mark.debian("sox")
def test_another_program_reads_the_file_as_loud_as_it_says(tmp_path: Path) -> None:
    path = tmp_path / "quick-look.wav"
    written = write_sound(programme("quick-look").samples(48_000), path, 48_000)
    told = subprocess.run(
        ["sox", str(path), "-n", "stats"], capture_output=True, text=True, check=True
    ).stderr
    rows = {line.split()[0] + line.split()[1]: line.split() for line in told.splitlines() if
            len(line.split()) > 3}  # fmt: skip
    # it prints to 0.01 dB; a full sine lies 3.01 dB below a full square, which it counts from
    assert float(rows["Pklev"][4]) == pytest.approx(written.peak_dbfs[0], abs=0.011)
    assert float(rows["RMSlev"][4]) + 3.0103 == pytest.approx(written.rms_dbfs[0], abs=0.011)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"kind": "tune"}, "one of tone"),
        ({"lasts_s": 0.0}, "more than 0 s"),
        ({"starts_s": -1.0}, "0 s or more"),
        ({"frequencies_hz": (1.0, 2.0)}, "1 for 'tone'"),
        ({"frequencies_hz": (-5.0,)}, "above 0 Hz"),
        ({"level_db": float("nan")}, "finite level"),
        ({"level_to_db": 3.0}, "ramps only"),
        ({"channels": "middle"}, "'both', 'left' or 'right'"),
        ({"kind": "bursts"}, "within its period"),
        ({"kind": "sweep", "frequencies_hz": (200.0, 100.0)}, "lower one first"),
    ],
)
def test_a_section_that_cannot_be_is_refused(change: dict[str, object], words: str) -> None:
    facts: dict[str, object] = {
        "id": "a", "kind": "tone", "starts_s": 0.0, "lasts_s": 1.0, "frequencies_hz": (315.0,),
    }  # fmt: skip
    with pytest.raises(DescriptionError, match=words):
        Section(**{**facts, **change})  # type: ignore[arg-type]


def test_programmes_that_cannot_be_are_refused() -> None:
    first = Section("a", "tone", 0.0, 1.0, "both", 0.0, (315.0,))
    second = Section("b", "tone", 0.5, 1.0, "both", 0.0, (315.0,))
    with pytest.raises(DescriptionError, match="without overlap"):
        Programme("x", "x", (first, second))
    with pytest.raises(DescriptionError, match="two sections 'a'"):
        Programme("x", "x", (first, first))
    with pytest.raises(DescriptionError, match=r"pass full scale by 1\.0 dB"):
        one(first, 1.0)
    with pytest.raises(DescriptionError, match="no sections"):
        Programme("x", "x", ())
    with pytest.raises(InputError, match="more than 630 Hz"):
        next(iter(one(first).samples(600)))
    with pytest.raises(InputError, match="the programmes are quick-look"):
        programme("slow-look")


def test_json_needs_no_infinity() -> None:
    """Silence has the level −inf, which no JSON knows: nothing prints it."""
    levels = [one.level_db for one in programme("full-sheet").sections if one.kind != "silence"]
    assert json.loads(json.dumps(levels, allow_nan=False)) == levels
