"""Of several readings of one kind, the one that the sheet's words mean is judged."""

from __future__ import annotations

import pytest

from runstrue.quantity import Quantity
from runstrue.result import Condition, Result
from runstrue.verdict.judge import judge
from runstrue.verdict.models import Verdict
from runstrue.verdict.sheet import read_sheet


def reading(quantity_id: str, value: float, unit: str, **conditions: Condition) -> Result:
    return Result(quantity_id, "x/1", "left", Quantity(value, unit, 0.01), conditions=conditions)


def judged(words: str, *results: Result) -> Verdict:
    return judge(read_sheet(words).limits, results)[0]


SEPARATIONS = tuple(
    reading("separation.channels", value, "dB", tone=f"{hz} Hz")
    for hz, value in ((500, 41.0), (1000, 38.0), (6300, 25.0))
)
DISTORTIONS = tuple(
    reading("distortion.third", value, "%", tone=f"{hz} Hz", level=level)
    for hz, level, value in (
        (315, "0 dB", 0.8), (400, "0 dB", 0.9), (1000, "0 dB", 1.1), (315, "4 dB", 2.5),
    )
)  # fmt: skip


@pytest.mark.parametrize(
    ("words", "value"),
    [
        ("Channel separation 35 dB at 1 kHz", 38), ("Channel separation 20 dB (6.3 kHz)", 25),
        ("Channel separation 40 dB (500 Hz)", 41), ("Channel separation 35 dB", 38),
    ],
)  # fmt: skip
def test_named_tone_or_the_usual_one(words: str, value: float) -> None:
    assert judged(words, *SEPARATIONS).value == value


@pytest.mark.parametrize(
    ("words", "value"),
    [
        ("Third harmonic distortion 1 % (333 Hz)", 0.8), ("Third harmonic distortion 1 %", 0.8),
        ("Third harmonic distortion 1 % (1 kHz)", 1.1),
        ("Third harmonic distortion 3 % (315 Hz, +4 dB)", 2.5),
    ],
)  # fmt: skip
def test_tone_and_level_of_distortion(words: str, value: float) -> None:
    assert judged(words, *DISTORTIONS).value == value


def test_tone_that_was_not_read_is_not_replaced_by_another() -> None:
    found = judged("Channel separation 35 dB at 10 kHz", *SEPARATIONS)
    assert found.outcome == "cannot be compared"
    assert found.reason == "not measured"


def test_noise_is_judged_with_its_hum() -> None:
    noisy = reading("noise.unweighted", 44.0, "dB", hum="included")
    clean = reading("noise.unweighted", 52.0, "dB", hum="left out")
    assert judged("S/N unweighted 46 dB", clean, noisy).outcome == "does not meet"


def test_hum_of_a_sheet_is_all_of_it() -> None:
    found = judged("Hum -50 dB", reading("hum.total", -55.0, "dB"))
    assert (found.outcome, found.id) == ("meets", "hum.total")
