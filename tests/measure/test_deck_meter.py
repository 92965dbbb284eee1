"""Meters with known faults, and a VU meter's bursts against a second-order model worked out apart.

Bursts of a VU meter (IEC 60268-17, overshoot 1.25 %): 10 ms −24.9 dB, 30 ms −15.4, 50 ms −11.1,
100 ms −5.6, 200 ms −1.3, 300 ms −0.1, 500 ms +0.1 dB. One diode of a full-wave pair open: −6.02
dB, the mean of half a rectified sine.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from runstrue.errors import InputError
from runstrue.measure.deck_meter import (
    Needle,
    fit_needle,
    measure_meter,
    read_needles,
    vu_burst_db,
)
from runstrue.result import Result

STEPS_DB = (-20.0, -10.0, -7.0, -5.0, -3.0, -1.0, 0.0, 1.0, 3.0)


def needle(
    offset: float = 0.0, gain: float = 1.0, bend: float = 0.0, *, seed: int | None = None,
    up: float | None = None, down: float | None = None, at_rest: bool = True,
) -> Needle:  # fmt: skip
    """What somebody reads to half a decibel; with a seed the eye errs by 0.3 dB."""
    draw = np.random.default_rng(seed)
    steps = {}
    for fed_db in STEPS_DB:
        fed = 10 ** (fed_db / 20)
        shown_db = 20 * math.log10(offset + gain * fed + bend * fed**2)
        steps[fed_db] = shown_db + (0.0 if seed is None else float(draw.normal(0, 0.3)))
    rest = (20 * math.log10(offset) if offset > 0 else -math.inf) if at_rest else None
    return Needle(steps, rest, None, up, down)


def pattern(one: Needle) -> str:
    return str(measure_meter({"left": one})[0].conditions["pattern"])


@pytest.mark.parametrize(
    ("length_ms", "wanted_db"),
    [(10, -24.9), (30, -15.4), (50, -11.1), (100, -5.6), (200, -1.3), (300, -0.1), (500, 0.1)],
)
def test_bursts_of_a_vu_meter(length_ms: int, wanted_db: float) -> None:
    assert vu_burst_db(length_ms / 1000) == pytest.approx(wanted_db, abs=0.05)


def test_step_of_a_vu_meter_reaches_99_per_cent_in_300_ms() -> None:
    """IEC 60268-17: and overshoots by 1 to 1.5 %; a burst of 300 ms still rises a little after."""
    assert 10 ** (vu_burst_db(2.0) / 20) == pytest.approx(1.0125, abs=0.0025)


def test_fit_gets_the_line_back() -> None:
    fit = fit_needle(needle(0.1, 0.8, 0.05))
    assert (fit.offset, fit.gain, fit.bend) == pytest.approx((0.1, 0.8, 0.05), abs=1e-6)


@pytest.mark.parametrize(
    ("one", "wanted"),
    [
        (needle(), "sound"), (needle(0.12), "offset"), (needle(0.12, 0.9), "offset"),
        (needle(0.0, 0.8), "gain"), (needle(0.0, 1.25), "gain"), (needle(0.0, 0.5), "one diode"),
        (needle(0.0, 0.5, up=-6.0, down=-14.0), "one diode"),
        (needle(up=0.0, down=-6.0), "half wave"), (needle(0.0, 0.75, 0.3), "bent"),
    ],
)  # fmt: skip
def test_faults_are_told_apart(one: Needle, wanted: str) -> None:
    assert pattern(one) == wanted


def test_offset_is_no_gain_fault_though_all_readings_are_high() -> None:
    """The needle of the story: high at switch-on, with no signal, by the same amount everywhere."""
    result = measure_meter({"right": needle(0.15)})[0]
    assert result.quantity is not None
    assert result.quantity.value == pytest.approx(15, abs=0.1)
    assert "coupling capacitor" in str(result.conditions["hint"])
    assert "Not a gain fault" in str(result.conditions["hint"])


def test_faults_are_told_apart_by_a_human_eye() -> None:
    """Readings that err by 0.3 dB: at most two of forty needles may be told another fault."""
    for make, wanted in (
        (lambda seed: needle(seed=seed), "sound"), (lambda seed: needle(0.15, seed=seed), "offset"),
        (lambda seed: needle(0.0, 0.5, seed=seed), "one diode"),
        (lambda seed: needle(0.0, 0.75, seed=seed), "gain"),
    ):  # fmt: skip
        wrong = [seed for seed in range(40) if pattern(make(seed)) != wanted]
        assert len(wrong) <= 2, (wanted, wrong)


def by_id(results: tuple[Result, ...], quantity_id: str) -> Result:
    return next(one for one in results if one.id == quantity_id)


def test_ballistics_against_a_vu_meter() -> None:
    good = Needle(dict.fromkeys(STEPS_DB, 0.0) | {one: one for one in STEPS_DB}, bursts={0.3: -0.1})
    fast = Needle(good.steps, bursts={0.01: -2.0, 0.3: 3.2})
    slow = Needle(good.steps, bursts={0.3: -4.0})
    hints = [
        str(by_id(measure_meter({"left": one}), "meter.ballistics").conditions["hint"])
        for one in (good, fast, slow)
    ]
    assert [hint.split(" ", 1)[0] for hint in hints] == ["like", "faster", "slower"]


def test_channels_are_compared_step_by_step() -> None:
    results = measure_meter({"left": needle(), "right": needle(0.0, 0.8)})
    tracking = by_id(results, "meter.tracking").quantity
    assert tracking is not None
    assert tracking.value == pytest.approx(-20 * math.log10(0.8), abs=0.001)


def test_notes_of_needles_are_read_as_people_write_them() -> None:
    needles = read_needles(
        ["# C-14", "rest L -inf R -17", "step-20 L -20 R -15,5", "step-10 l −10 r -9",
         "step-5 L: -5 R: -4.5", "", "step0 L 0 R 0.5", "step+3 L 3 R 3.2",
         "burst-300-ms L -0.1 R 0", "pulses-up L -3 R -3", "pulses-down L -3 R -9"]
    )  # fmt: skip
    assert needles["left"].rest == -math.inf
    assert needles["right"].steps == {-20: -15.5, -10: -9, -5: -4.5, 0: 0.5, 3: 3.2}
    assert needles["right"].bursts == {0.3: 0.0}
    assert (needles["right"].pulses_up, needles["right"].pulses_down) == (-3, -9)


@pytest.mark.parametrize(
    ("line", "words"),
    [("step-5 L five", "Line 1 reads"), ("step-5", "Line 1 reads"), ("tone L 3", "names the sec"),
     ("stepping L 3", "step-20"), ("burst-x L 1", "burst-300-ms"), ("step0 L nan", "Line 1")],
)  # fmt: skip
def test_notes_that_cannot_be_read_are_refused_by_their_line(line: str, words: str) -> None:
    with pytest.raises(InputError, match=words):
        read_needles([line])


def test_too_few_steps_are_refused() -> None:
    with pytest.raises(InputError, match="four at least"):
        measure_meter({"left": Needle({0.0: 0.0, -5.0: -5.0})})
