"""Frequency response: an ideal chain reads flat, a known filter reads as its formula says.

The filters are scipy's (a general library), put on the recording; their exact digital response
at the frequency at which the tone was played is what must be read.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import signal
from tests.measure.programme_on_deck import RATE_HZ, bench_deck, programme, stretches

from runstrue.errors import SignalError
from runstrue.measure.response import measure_response
from runstrue.measure.sections import Stretch
from runstrue.result import Result
from runstrue.stimulus.programme import Section

THIRDS_HZ = (
    315, 31.5, 40, 63, 100, 160, 250, 400, 630, 1000, 1600, 2500, 4000, 6300, 8000, 10_000,
    12_500, 14_000, 16_000,
)  # fmt: skip
MULTITONE_HZ = (
    33, 51, 79, 127, 199, 317, 503, 809, 1259, 2003, 3163, 5003, 8009, 10_007, 12_503, 16_007,
)  # fmt: skip

MADE = programme(
    *(
        Section(f"tone-{hz:g}", "tone", 0, 3, level_db=-20, frequencies_hz=(hz,))
        for hz in THIRDS_HZ
    ),
    Section("sweep", "sweep", 0, 20.05, level_db=-20, frequencies_hz=(20, 20_000)),
    Section("multitone", "multitone", 0, 12, level_db=-16, frequencies_hz=MULTITONE_HZ),
    Section("pink", "noise-pink", 0, 20, level_db=-20, frequencies_hz=(20, 20_000)),
)
RATIO = 1.015


@pytest.fixture(scope="module")
def played() -> list[Stretch]:
    return stretches(bench_deck(), MADE)


def by_method(results: tuple[Result, ...], channel: str = "left") -> dict[str, Result]:
    return {one.method: one for one in results if one.channel == channel}


METHODS = ("response-tones/1", "response-sweep/1", "response-multitone/1", "response-noise/1")


@pytest.mark.parametrize("method", METHODS)
def test_ideal_chain_reads_flat_to_16_khz(played: list[Stretch], method: str) -> None:
    """Asked for: within 0.05 dB to 16 kHz at 0.2 % flutter, 1.5 % off, hiss at −55 dB."""
    table = by_method(measure_response(played, MADE, ("left", "right")))[method].table
    assert table is not None
    inside = [(x, y) for x, y in zip(table.x, table.y, strict=True) if 31 <= x <= 16_100]
    assert len(inside) >= len(MULTITONE_HZ)
    assert max(abs(y) for _, y in inside) < 0.05


@pytest.mark.parametrize("method", METHODS)
def test_known_filter_reads_as_its_own_response(played: list[Stretch], method: str) -> None:
    """A treble loss and a bass peak, 10 dB and more: the same 0.05 dB, by scipy's freqz."""
    b, a = signal.butter(1, 5000, fs=RATE_HZ)
    peak_b, peak_a = signal.iirpeak(80, 0.7, fs=RATE_HZ)
    filtered = []
    for one in played:
        low = signal.lfilter(b, a, one.samples, axis=1)
        sound = low + signal.lfilter(peak_b, peak_a, low, axis=1)
        filtered.append(replace(one, samples=sound))
    result = by_method(measure_response(filtered, MADE, ("left", "right")))[method]
    assert result.table is not None
    x = np.array(result.table.x)
    _, h1 = signal.freqz(b, a, np.append(x, 315) * RATIO, fs=RATE_HZ)
    _, h2 = signal.freqz(peak_b, peak_a, np.append(x, 315) * RATIO, fs=RATE_HZ)
    wanted = 20 * np.log10(np.abs(h1 * (1 + h2)))
    wanted = wanted[:-1] - wanted[-1]
    # a band is read as a whole: where the gain bends within a third of an octave by up to 0.2 dB,
    # noise bands read their mean; tones, sweep and multitone are points
    within = 0.25 if method == "response-noise/1" else 0.05
    inside = (x >= 31) & (x <= 16_100)
    assert np.abs(np.array(result.table.y) - wanted)[inside].max() < within


def test_intervals_hold_the_truth(played: list[Stretch]) -> None:
    """Scatter of 30 seeds of a weak, noisy tone pair against the stated uncertainty."""
    made = programme(
        Section("a", "tone", 0, 2, level_db=-40, frequencies_hz=(315,)),
        Section("b", "tone", 0, 2, level_db=-40, frequencies_hz=(1000,)),
        Section("c", "tone", 0, 2, level_db=-40, frequencies_hz=(8000,)),
    )
    inside = total = 0
    for seed in range(40):
        result = measure_response(stretches(bench_deck(), made, seed), made, ("left",))[0]
        assert result.table is not None
        for y, u in zip(result.table.y[1:], result.table.u[1:], strict=True):
            total += 1
            inside += abs(y) <= 2 * u
    # 80 figures at 95 %: 70 or fewer happen once in 500 (binomial)
    assert inside > 70, f"{inside} of {total}"


def test_a_tone_lost_in_noise_is_named_not_read() -> None:
    made = programme(
        *(Section(f"t{hz}", "tone", 0, 2, level_db=-20, frequencies_hz=(hz,)) for hz in
          (315.0, 1000.0, 3150.0)),
        Section("weak", "tone", 0, 2, level_db=-20, frequencies_hz=(10_000,)),
    )  # fmt: skip
    found = stretches(bench_deck(hiss_db=20), made)
    found[3] = replace(found[3], samples=found[3].samples * 0.001 + found[2].samples * 0)
    noise = np.random.default_rng(1).standard_normal(found[3].samples.shape) * 0.05
    found[3] = replace(found[3], samples=found[3].samples + noise)
    result = measure_response(found, made, ("left",))[0]
    assert result.table is not None
    assert 10_000 not in result.table.x
    assert "10000 Hz" in result.doubts[0]


def test_corrections_of_a_bought_tape_are_taken_off_and_its_tolerance_counts() -> None:
    sections = tuple(
        Section(f"t{hz}", "tone", 0, 2, level_db=-20, frequencies_hz=(hz,))
        for hz in (315.0, 1000.0, 8000.0)
    )
    made = programme(*sections)
    taped = programme(
        *sections, kind="tape", corrections_db={"t8000.0": 1.5}, tolerance_db=0.5,
        equalisation_us=(120.0, 3180.0),
    )  # fmt: skip
    found = stretches(bench_deck(), made)
    plain = measure_response(found, made, ("left",))[0]
    result = measure_response(found, taped, ("left",))[0]
    assert plain.table is not None
    assert result.table is not None
    assert result.table.y[2] - plain.table.y[2] == pytest.approx(-1.5)
    # rectangular, and twice: at the tone and at 0 dB (JCGM 100 4.3.7)
    assert result.budget.shared_u == pytest.approx(0.5 * np.sqrt(2 / 3))
    assert result.conditions["equalisation"] == "120 µs, 3180 µs"


def test_other_reference_moves_the_whole_curve(played: list[Stretch]) -> None:
    table = by_method(measure_response(played, MADE, ("left", "right"), reference_hz=1000))[
        "response-tones/1"
    ].table
    assert table is not None
    assert table.y[table.x.index(1000)] == 0


def test_nothing_to_read_is_refused() -> None:
    with pytest.raises(SignalError, match="No tones of a frequency response"):
        measure_response([], MADE, ("left",))
