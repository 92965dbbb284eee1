"""Responses against promised bands: the arithmetic of log frequency, and JCGM 106 at one place.

One-sided chance of a reading r with u against a bound T: Φ((T − r)/u) (JCGM 106:2012 clause 7);
Φ(1) = 0.8413, Φ(2) = 0.9772, from any table of the normal distribution.
"""

from __future__ import annotations

import pytest

from runstrue.result import Result, Table
from runstrue.verdict.judge import judge
from runstrue.verdict.models import Limit, Verdict
from runstrue.verdict.response import band_within, frequency_words
from runstrue.verdict.sheet import read_sheet


def table(*points: tuple[float, float], u: float = 0.0) -> Table:
    x, y = zip(*points, strict=True)
    return Table(x, y, tuple(u for _ in x), "Hz", "dB")


def gain(
    *points: tuple[float, float], u: float = 0.1, channel: str = "left", level_db: float = -20.0,
    method: str = "response-tones/1",
) -> Result:  # fmt: skip
    return Result(
        "response.gain", method, channel, None, table=table(*points, u=u),
        conditions={"level, dB": level_db},
    )  # fmt: skip


def verdict(words: str, *gains: Result) -> Verdict:
    return judge(read_sheet(words).limits, gains)[0]


FLAT = ((31.5, -1.0), (40, -0.5), (315, 0), (1000, 0.2), (10_000, 0), (14_000, -1), (16_000, -3))
PROMISE = "Frequency response 40 Hz - 14 kHz ±3 dB"


def test_band_ends_where_the_gain_leaves_the_tolerance() -> None:
    """Straight in dB over log frequency from 0 at 10 kHz to −6 at 20 kHz: −3 at 14.14 kHz."""
    found = band_within(table((20, -6), (40, 0), (315, 0), (10_000, 0), (20_000, -6)), -3, 3)
    assert found == pytest.approx((20 * 2**0.5, 10_000 * 2**0.5))


def test_band_may_end_at_a_peak_and_stops_at_the_last_point() -> None:
    found = band_within(table((40, 1), (315, 0), (5000, 0), (10_000, 8)), -3, 4)
    assert found == pytest.approx((40, 5000 * 2**0.5))


def test_flat_deck_meets_its_band() -> None:
    found = verdict(PROMISE, gain(*FLAT))
    assert found.outcome == "meets"
    assert found.id == "response.band"
    assert "14 kHz" in found.words or "31.5" in found.words or "40 Hz" in found.words


def test_outside_of_the_promised_band_nothing_counts() -> None:
    deaf = (*FLAT[:-1], (16_000, -40.0))
    assert verdict(PROMISE, gain(*deaf)).outcome == "meets"


def test_worst_channel_and_worst_place_decide() -> None:
    dull = (*FLAT[:4], (10_000, -2), (14_000, -5), (16_000, -9))
    found = verdict(PROMISE, gain(*FLAT), gain(*dull, channel="right"))
    assert found.outcome == "does not meet"
    assert found.channel == "right"
    assert found.value == -5
    assert "−5.0 dB at 14 kHz" in found.words


@pytest.mark.parametrize(("at_14_khz", "chance"), [(-2.9, 0.8413), (-2.8, 0.9772), (-3.1, 0.1587)])
def test_chance_is_that_of_the_worst_place(at_14_khz: float, chance: float) -> None:
    points = (*FLAT[:5], (14_000, at_14_khz))
    assert verdict(PROMISE, gain(*points)).chance == pytest.approx(chance, abs=1e-4)


def test_band_s_end_between_two_tones_is_interpolated() -> None:
    """Half way in log frequency between 10 and 16 kHz (12.65 kHz) the gain is half way too."""
    points = (*FLAT[:5], (16_000, -8.0))
    found = verdict("Frequency response 40-12649 Hz ±3 dB", gain(*points))
    assert found.value == pytest.approx(-4.0, abs=0.001)
    assert found.outcome == "does not meet"


def test_band_that_was_not_measured_to_its_end_decides_nothing_but_failure() -> None:
    short = FLAT[:5]
    found = verdict(PROMISE, gain(*short))
    assert found.outcome == "cannot be compared"
    assert "10 kHz" in found.words
    broken = (*FLAT[:4], (10_000, -9.0))
    assert verdict(PROMISE, gain(*broken)).outcome == "does not meet"


def test_window_is_from_top_to_bottom() -> None:
    """DIN 45 500: 5 dB from 250 Hz to 6.3 kHz is a total window, no ± tolerance."""
    limit = Limit(
        ids=("response.band",), unit="Hz", words="DIN 45 500", band_low_hz=250, band_high_hz=6300,
        tolerance_window_db=5,
    )  # fmt: skip
    points = ((250, 2.0), (315, 0.0), (1000, -1.0), (6300, -2.5))
    assert judge([limit], [gain(*points)])[0].outcome != "does not meet"
    wider = ((250, 3.0), (315, 0.0), (1000, -1.0), (6300, -2.5))
    assert judge([limit], [gain(*wider)])[0].outcome == "does not meet"


def test_softest_level_and_point_by_point_method_are_taken_unless_the_sheet_names_another() -> None:
    loud = (*FLAT[:4], (10_000, -8), (14_000, -15))
    gains = (
        gain(*loud, level_db=0.0), gain(*FLAT), gain(*loud, method="response-noise/1"),
    )  # fmt: skip
    assert verdict(PROMISE, *gains).outcome == "meets"
    assert verdict(PROMISE + " (0 dB)", *gains).outcome == "does not meet"
    assert verdict(PROMISE + " (-10 dB)", *gains).outcome == "cannot be compared"


def test_no_tolerance_says_what_three_decibels_would_be() -> None:
    found = verdict("Frequency response 40 Hz - 14 kHz", gain(*FLAT))
    assert found.reason == "no bound"
    assert "within ±3 dB from 31.5 Hz to 16 kHz" in found.words


def test_frequencies_are_printed_as_people_say_them() -> None:
    printed = [frequency_words(one) for one in (31.5, 40, 999, 1000, 12_500, 14_142)]
    assert printed == ["31.5 Hz", "40 Hz", "999 Hz", "1 kHz", "12.5 kHz", "14.1 kHz"]
