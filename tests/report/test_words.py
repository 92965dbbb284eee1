"""How figures, days, chances and conditions are put into words."""

from __future__ import annotations

import pytest

from runstrue.quantity import Quantity
from runstrue.report.glyphs import printable, unprintable
from runstrue.report.words import (
    condition_words,
    figure_of,
    keep_together,
    plain_value,
    span_words,
    within_of,
)


@pytest.mark.parametrize(
    ("stamps", "words"),
    [([], ""),
     (["2026-03-12T10:00:00Z"], "12 March 2026"),
     (["2026-03-12T10:00:00Z", "2026-03-12T23:00:00Z"], "12 March 2026"),
     (["2026-03-14T10:00:00Z", "2026-03-12T10:00:00Z"], "12 to 14 March 2026"),
     (["2026-02-28T10:00:00Z", "2026-03-01T10:00:00Z"], "28 February to 1 March 2026"),
     (["2025-12-31T10:00:00Z", "2026-01-01T10:00:00Z"], "31 December 2025 to 1 January 2026"),
     (["2026-03-12T10:00:00Z", "2026-04-12T10:00:00Z"], "12 March to 12 April 2026"),
     (["some day", "some day"], "some day")],
)  # fmt: skip
def test_days_are_told_once_where_they_share_month_or_year(stamps: list[str], words: str) -> None:
    assert span_words(stamps) == words


@pytest.mark.parametrize(
    ("quantity", "kind", "figure", "within"),
    [
        # JCGM 100:2008 7.2.2: a mass of 100.021 47 g with a standard uncertainty of 0.35 mg.
        (Quantity(100.021472, "g", 0.000354), "force.pinch", "100.02147 g", "±0.00069 g"),
        (Quantity(0.1468, "%", 0.0121), "flutter.weighted_peak", "±0.147 %", "±0.024 %"),
        (Quantity(0.314, "%", 0.11), "speed.deviation", "+0.31 %", "±0.22 %"),
        (Quantity(-0.314, "%", 0.11), "speed.deviation", "−0.31 %", "±0.22 %"),
        (Quantity(0.0, "%", 0.11), "speed.deviation", "0.00 %", "±0.22 %"),
        (Quantity(312.0, "mV", 25.0), "output.voltage", "312 mV", "±49 mV"),
    ],
)
def test_readings_are_printed_by_their_uncertainty(
    quantity: Quantity, kind: str, figure: str, within: str
) -> None:
    assert figure_of(quantity, kind) == figure
    assert within_of(quantity) == within  # 1.960 u, as decimals of the figure


def test_conditions_become_words_with_units() -> None:
    conditions = {
        "tone_hz": 3150.0, "used_s": 56.83, "speed_cm_s": 4.7625, "carrier_to_noise_db": -3.25,
        "self_recorded": True, "tone_undecided": False, "tape": "T-3150", "remark": "",
        "starts": 3.0, "lost": float("nan"),
    }  # fmt: skip
    assert condition_words(conditions) == (
        "tone 3150 Hz; 56.8 s used; speed 4.763 cm/s; carrier to noise −3.25 dB; "
        "recorded and played on the same deck; tape: T-3150; starts 3"
    )


@pytest.mark.parametrize(
    ("value", "text"),
    [(0.0, "0"), (3150.0, "3150"), (12500.0, "12500"), (0.00012, "0.00012"), (-1.25, "−1.25"),
     (1.0, "1"), (100.0, "100")],
)  # fmt: skip
def test_values_have_no_needless_zeros_and_no_exponent(value: float, text: str) -> None:
    assert plain_value(value) == text


def test_a_number_is_tied_to_its_unit_and_nothing_else() -> None:
    tied = keep_together("95 % within ±0.41 mN·m; tone 3150 Hz for 12 min, 3 Heads, 2 seconds")
    assert tied.replace("\u00a0", "_") == (
        "95_% within ±0.41_mN·m; tone 3150_Hz for 12_min, 3 Heads, 2 seconds"
    )


def test_characters_without_a_glyph_become_boxes_and_are_counted() -> None:
    assert printable("Ω ä 日 🎚 −") == "Ω ä ▯ ▯ −"
    assert unprintable("Ω ä 日 🎚 −") == 2
    assert printable("a\tb\x00c\u202ed\ne") == "a bcd\ne"
    assert unprintable("a\tb\x00▯") == 0
    # Two code points that make one letter are one letter.
    assert printable("e\u0301") == "é"
