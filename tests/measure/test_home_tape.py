"""A tape recorded on one virtual deck, described, and played on another one.

Outside the project's measuring: the virtual decks' own closed expressions. The recorded tone is
found by Newton's method from the recording deck's motion (`runstrue.virtualdeck.record`), which
shares no code with what measures.
"""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from runstrue.errors import InputError
from runstrue.measure.conditions import SoundCard
from runstrue.measure.home_tape import drift_half_width, home_tape
from runstrue.measure.tape_tone import TonePlan, measure_tone
from runstrue.quantity import Quantity
from runstrue.result import Measured, Result
from runstrue.stimulus.protocol import Stimulus
from runstrue.stimulus.testtape import TestTape
from runstrue.stimulus.tone import Tone
from runstrue.virtualdeck.deck import VirtualDeck
from runstrue.virtualdeck.play import Performance
from runstrue.virtualdeck.presets import preset
from runstrue.virtualdeck.record import RecordedBy, started_anew

TONE_HZ = 3150.0
LENGTH_S = 40.0
# A borrowed tape, here perfect: what is left is what the home tape adds.
BORROWED = TestTape(name="borrowed", speed_tolerance_percent=0.02, own_flutter_percent=0.001)
CARD = SoundCard("interface", 18.0, 3.0)  # the presets' sound card runs 18 ppm fast


def _measure(deck: VirtualDeck, stimulus: Stimulus, tape: TestTape, seed: int) -> Measured:
    performance = Performance(deck, stimulus, duration_s=LENGTH_S, rate_hz=24_000.0, seed=seed)
    plan = TonePlan(TONE_HZ, tape, CARD)
    return measure_tone(performance.blocks(24_000), 24_000.0, 2, plan)


def _truth(deck: VirtualDeck, seed: int) -> float:
    performance = Performance(deck, Tone(TONE_HZ), duration_s=LENGTH_S, rate_hz=24_000.0, seed=seed)
    return performance.truth.mean_deviation_percent


def _speed(measured: Measured) -> Quantity:
    result = measured.find("speed.deviation")
    assert result is not None
    assert result.quantity is not None
    return result.quantity


@pytest.mark.parametrize(
    ("recorder", "player", "seed"),
    [("healthy", "new-belt", 1), ("new-belt", "healthy", 2), ("bent-capstan", "sticky-hub", 3)],
)
def test_a_second_deck_measured_with_a_home_tape_lies_within_two_standard_uncertainties(
    recorder: str, player: str, seed: int
) -> None:
    deck = preset(recorder).deck
    tape = home_tape(
        _measure(deck, Tone(TONE_HZ), BORROWED, seed), name="home", card=CARD, side_min=1.0
    )
    # the same sound card makes the tone: its clock is 18 ppm fast, and so is the tone
    fed = Tone(TONE_HZ * (1 + 18e-6))
    recorded = RecordedBy(started_anew(deck, seed), fed, seed + 100)
    other = preset(player).deck
    measured = _measure(other, recorded, tape, seed + 200)
    speed = _speed(measured)
    assert abs(speed.value - _truth(other, seed + 200)) <= 2 * speed.u
    # the correction is needed: without it the error is the first deck's, which is far outside
    uncorrected = speed.value + tape.speed_correction_percent
    assert abs(uncorrected - _truth(other, seed + 200)) > 2 * speed.u


def test_the_tapes_own_flutter_is_what_the_deck_has_in_one_pass() -> None:
    deck = preset("bent-capstan").deck
    measured = _measure(deck, Tone(TONE_HZ), BORROWED, 1)
    tape = home_tape(measured, name="home", card=CARD)
    # played on a deck that runs perfectly evenly, the tape gives its own flutter back
    still = VirtualDeck("a deck without faults")
    again = _measure(still, RecordedBy(deck, Tone(TONE_HZ), 7), BORROWED, 8)
    flutter = again.find("flutter.weighted_peak")
    assert flutter is not None
    assert flutter.quantity is not None
    assert tape.own_flutter_u_percent is not None
    u = math.hypot(tape.own_flutter_u_percent, flutter.quantity.u)
    assert abs(tape.own_flutter_percent - flutter.quantity.value) <= 2 * u


def _reading(speed: float, u: float, drift: float = 0.0, **conditions: object) -> Measured:
    told = {"tone_hz": TONE_HZ, "from_s": 0.0, "to_s": 120.0, **conditions}
    return Measured(
        summary="",
        results=(
            Result("speed.deviation", "bell-mean/1", "both", Quantity(speed, "%", u),
                   conditions=told),
            Result("speed.drift", "bell-slope/1", "both", Quantity(drift, "%/min", 0.0)),
            Result("flutter.weighted_peak", "two-sigma/1", "both", Quantity(0.08, "%", 0.006)),
        ),
        conditions=told,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("speed", "known"),
    # by hand: a deck 2 % slow records 3150 Hz at 0.98 of the length a cycle should have, so that
    # it is played at 3150/0.98 = 3214.2857 Hz, 2.040816 % high; 2 % fast gives 1/1.02
    [(-2.0, 2.040816), (2.0, -1.960784), (0.0, 0.0), (0.5, -0.497512)],
)
def test_a_slow_deck_records_a_tape_that_plays_high(speed: float, known: float) -> None:
    tape = home_tape(_reading(speed, 0.1), name="home", card=SoundCard("x", 0.0, 0.0))
    assert tape.speed_known_percent == pytest.approx(known, abs=5e-7)


def test_the_uncertainty_holds_speed_clock_and_drift() -> None:
    card = SoundCard("x", 0.0, 100.0)  # 100 ppm = 0.01 %
    tape = home_tape(_reading(0.0, 0.03, drift=-0.01), name="home", card=card, side_min=31.0)
    # the reading lasts 2 min, its mean lies at 1 min; 30 min further the speed has moved 0.3 %
    expected = math.sqrt(0.03**2 + 0.01**2 + 0.3**2 / 3)
    assert tape.speed_known_u_percent == pytest.approx(expected, abs=2e-6)
    assert (tape.own_flutter_percent, tape.own_flutter_u_percent) == (0.08, 0.006)


def test_few_degrees_of_freedom_widen_the_uncertainty() -> None:
    measured = _reading(0.0, 0.03)
    speed = replace(measured.results[0], quantity=Quantity(0.0, "%", 0.03, 4.0))
    measured = replace(measured, results=(speed, *measured.results[1:]))
    tape = home_tape(measured, name="home", card=SoundCard("x", 0.0, 0.0))
    # JCGM 100:2008 table G.2: t for 95 % and 4 degrees of freedom 2.78; normal 1.960
    assert tape.speed_known_u_percent == pytest.approx(0.03 * 2.78 / 1.960, rel=2e-3)


def test_a_short_recording_drifts_over_half_of_the_reading_at_least_as_far_as_it_is_long() -> None:
    measured = _reading(0.0, 0.03, drift=0.1)
    assert drift_half_width(measured, measured.results[0], 2.0) == pytest.approx(0.1)
    assert drift_half_width(measured, measured.results[0], 0.5) == pytest.approx(0.05)
    assert drift_half_width(measured, measured.results[0]) == pytest.approx(0.1)


@pytest.mark.parametrize(
    ("measured", "words"),
    [
        (_reading(0.0, 0.1, self_recorded=True), "recorded itself"),
        (_reading(0.0, 0.1, tone_undecided=True), "not decided which tone"),
        (Measured("", ()), "holds no speed"),
        (Measured("", _reading(0.0, 0.1).results[:1]), "holds no wow and flutter"),
        (
            Measured("", (replace(_reading(0.0, 0.1).results[0], quantity=None),)),
            "speed is not known",
        ),
    ],
)
def test_a_reading_that_cannot_give_a_speed_is_refused(measured: Measured, words: str) -> None:
    with pytest.raises(InputError, match=words):
        home_tape(measured, name="home")


def test_a_side_of_no_length_at_all_is_refused() -> None:
    with pytest.raises(InputError, match="a length of 0 or more"):
        home_tape(_reading(0.0, 0.1), name="home", side_min=-1.0)
