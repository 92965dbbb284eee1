"""What must not be understood, or only as a question; nothing is guessed or invented.

What is ambiguous and why: the methods' sources stand at the head of words/methods.toml.
"""

from __future__ import annotations

import math
import re

import msgspec
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from runstrue.verdict.models import Limit, Sheet
from runstrue.verdict.sheet import read_sheet

# (text, ids that it could mean, a word that the question must hold)
AMBIGUOUS: list[tuple[str, set[str], str]] = [
    ("Wow and flutter 0.08 %",
     {"flutter.weighted_rms", "flutter.weighted_peak", "flutter.unweighted_rms",
      "flutter.unweighted_average"}, "WRMS"),
    ("Wow and flutter: 0.07 % wtd", {"flutter.weighted_rms", "flutter.weighted_peak"}, "r.m.s."),
    ("Gleichlaufschwankungen 0,1 % bewertet",
     {"flutter.weighted_rms", "flutter.weighted_peak"}, "DIN"),
    ("Pleurage et scintillement : 0,08 %",
     {"flutter.weighted_rms", "flutter.weighted_peak", "flutter.unweighted_rms",
      "flutter.unweighted_average"}, "WRMS"),
    ("Wow and flutter 0.2 % peak",
     {"flutter.weighted_peak", "flutter.unweighted_peak"}, "unweighted"),
    ("Wow and flutter 0.12 % NAB", {"flutter.unweighted_average"}, "NAB"),
    ("Wow and flutter 0.15 % unweighted",
     {"flutter.unweighted_rms", "flutter.unweighted_peak", "flutter.unweighted_average"}, "peak"),
    ("Wow and flutter 0.08 % WRMS DIN",
     {"flutter.weighted_rms", "flutter.weighted_peak", "flutter.unweighted_rms"}, "contradict"),
    ("Flutter: 0.1 %",
     {"flutter.weighted_rms", "flutter.weighted_peak", "flutter.flutter_rms",
      "flutter.unweighted_rms"}, "10 Hz"),
    ("S/N 56 dB",
     {"noise.a", "noise.unweighted", "noise.quasi_peak_468", "noise.average_468_2k"}, "weighted"),
    ("S/N 56 dB weighted",
     {"noise.a", "noise.quasi_peak_468", "noise.average_468_2k"}, "curve"),
    ("Rauschabstand 56 dB (DIN)", {"noise.quasi_peak_468", "noise.unweighted"}, "weighted"),
    ("S/N 56 dB (CCIR)", {"noise.quasi_peak_468", "noise.average_468_2k"}, "2 kHz"),
    ("Crosstalk: -45 dB", {"separation.channels", "separation.sides"}, "other side"),
    ("Diafonía 40 dB", {"separation.channels", "separation.sides"}, "other side"),
    ("Distorção: 1,5 %", {"distortion.total", "distortion.third"}, "third"),
    ("Torque: 30-60 g·cm",
     {"torque.take_up", "torque.back_tension", "torque.forward_wind", "torque.rewind"}, "rewind"),
    ("Frequency response 20 Hz to 18 kHz", {"response.band"}, "decibels"),
    ("Frequency response 20 Hz to 18 kHz, 3 dB", {"response.band"}, "window"),
    ("Take-up torque: 45 g.cm", {"torque.take_up"}, "tolerance"),
    ("Line output: 500 mV", {"output.voltage"}, "tolerance"),
]  # fmt: skip

# (text, a word of the reason)
REFUSED: list[tuple[str, str]] = [
    ("Wow and flutter 0.1 dB", "unit"),
    ("Wow and flutter 0.1", "unit"),
    ("Wow and flutter: none", "no figure"),
    ("Wow and flutter 0.05–0.1 % WRMS", "range"),
    ("Wow and flutter at least 0.1 % WRMS", "at least"),
    ("Wow and flutter NAB weighted 0.06 %", "NAB"),
    ("S/N ratio 50 - 56 dB (A)", "range"),
    ("S/N ratio at most 56 dB (A)", "contradict"),
    ("Tape speed: 4.76 cm/s", "how far"),
    ("Tape speed: 2800–3100 Hz", "tone"),
    ("Drift 0.3 %", "%/min"),
    ("Frequency response: 10 kHz ±3 dB", "band"),
    ("Playback level ±1 dB", "without the figure"),
    ("banana ±3 dB", "no quantity"),
    ("Heads: 2 (1 record/playback, 1 erase)", "no quantity"),
    ("Power supply: 220 V, 50 Hz, 15 W", "no quantity"),
    ("Dimensions 420 x 110 x 260 mm", "no quantity"),
    ("Ölwechsel alle 1000 h", "no quantity"),
    ("0.14 %", "no quantity"),
    ("Motor: d.c. servo", "no quantity"),
    ("Headphones 1 mW / 8 Ω", "unit"),
    ("Output level: 0.42 V ±2 dB", "another unit"),
]


@pytest.mark.parametrize(("text", "ids", "word"), AMBIGUOUS, ids=[row[0] for row in AMBIGUOUS])
def test_ambiguous_form_becomes_candidates_with_a_question(
    text: str, ids: set[str], word: str
) -> None:
    (limit,) = read_sheet(text).limits
    assert limit.sure == "ambiguous"
    assert set(limit.ids) == ids
    assert word in limit.question
    assert limit.question.endswith((".", "?"))


@pytest.mark.parametrize(("text", "word"), REFUSED, ids=[row[0] for row in REFUSED])
def test_what_is_not_understood_is_handed_back_word_for_word(text: str, word: str) -> None:
    sheet = read_sheet(text)
    assert sheet.limits == ()
    assert "".join(piece.words for piece in sheet.unread) == text
    assert word in sheet.unread[0].why


@pytest.mark.parametrize(
    "text",
    [
        "Wow and flutter 0.05 % WRMS excluding crumbling belts",
        "Speed variation with mains 198–242 V: less than 0.2 %",
        "Speed deviation max. 0.5% from reel end to end",
        "Speed difference between side A and side B: 0.3 %",
        "Speed difference forward/reverse less than 1 %",
        "Variation de vitesse avec la température : 0,5 %",
        "Variación de velocidad con la tensión de red: 0,2 %",
        "Geschwindigkeitsänderung bei Netzspannung ±10 %: 0,3 %",
    ],
)
def test_a_rider_that_may_change_the_meaning_of_speed_or_flutter_is_not_passed_over(
    text: str,
) -> None:
    sheet = read_sheet(text)
    assert sheet.limits == ()
    assert "".join(piece.words for piece in sheet.unread) == text


@pytest.mark.parametrize(
    ("text", "quantity_id", "high"),
    [
        ("Wow and flutter 0.3 % peak-to-peak weighted", "flutter.weighted_peak", 0.15),
        ("Gleichlauf 0,3 % Spitze-Spitze bewertet", "flutter.weighted_peak", 0.15),
        ("Wow and flutter 0.2 % p-p DIN", "flutter.weighted_peak", 0.1),
    ],
)
def test_peak_to_peak_is_halved_and_said_so(text: str, quantity_id: str, high: float) -> None:
    """A weighted peak is half of peak to peak (AES6-1982, public abstract)."""
    (limit,) = read_sheet(text).limits
    assert limit.ids == (quantity_id,)
    assert limit.high == pytest.approx(high)
    assert "half" in limit.question


@pytest.mark.parametrize(
    ("text", "quantity_id", "pairs"),
    [
        (
            "Wow and flutter (19 cm/s / 9.5 cm/s): 0.06 % / 0.1 % wtd RMS",
            "flutter.weighted_rms",
            {"19 cm/s": 0.06, "9.5 cm/s": 0.1},
        ),
        (
            "Wow and flutter 4.76/9.5/19 cm/s: ±0.2/±0.1/±0.07 % (DIN)",
            "flutter.weighted_peak",
            {"4.76 cm/s": 0.2, "9.5 cm/s": 0.1, "19 cm/s": 0.07},
        ),
    ],
)
def test_several_speeds_each_take_their_own_figure(
    text: str, quantity_id: str, pairs: dict[str, float]
) -> None:
    limits = read_sheet(text).limits
    assert {limit.ids for limit in limits} == {(quantity_id,)}
    assert {limit.conditions["speed"]: limit.high for limit in limits} == pairs


def test_two_speeds_and_three_figures_are_handed_back() -> None:
    sheet = read_sheet("Wow and flutter 9.5 / 19 cm/s: 0.1 % / 0.06 % / 0.05 % WRMS")
    assert sheet.limits == ()
    assert "several speeds" in sheet.unread[0].why


def test_a_method_after_the_last_figure_is_not_spread_over_a_list_of_methods() -> None:
    """'0.05 %, 0.14 % (DIN)' is mostly WRMS and DIN: common practice, no source."""
    first, second = read_sheet("Wow and flutter: 0.05 %, 0.14 % (DIN)").limits
    assert first.sure == "ambiguous"
    assert second.ids == ("flutter.weighted_peak",)


def test_second_tolerance_is_not_dropped_in_silence() -> None:
    (limit,) = read_sheet("Frequency response 40–12 500 Hz ±3 dB ±6 dB").limits
    assert limit.left_over == ("±6 dB",)
    assert limit.sure == "likely"


def test_typical_figure_is_told_as_such_wherever_the_word_stands() -> None:
    for text in ("W&F 0.05 % WRMS (typical)", "Typical W&F: 0.05 % WRMS", "W&F typ. 0.05 % WRMS"):
        (limit,) = read_sheet(text).limits
        assert limit.sure == "likely"
        assert "typical" in limit.question


def test_what_was_assumed_is_told_with_a_likely_limit() -> None:
    for text in ("Wow and flutter 0.14 % DIN", "Wow and flutter ±0.14 %", "W&F 0.1 % JIS"):
        (limit,) = read_sheet(text).limits
        assert limit.sure == "likely"
        assert "taken as" in limit.question


# --- any text at all -----------------------------------------------------------------------

_WORDS = st.sampled_from(
    ["Wow and flutter", "Gleichlauf", "Tape speed", "vitesse", "S/N", "bruit", "response",
     "Frequenzgang", "torque", "Löschdämpfung", "%", "‰", "dB", "Hz", "kHz", "g.cm", "cm/s", "mV",
     "±", "+", "-", "–", "≤", "<", "(", ")", ",", ";", ":", "/", "\n", "\t", "max.", "better than",
     "to", "bis", "à", "approx.", "DIN", "WRMS", "NAB", "unweighted", "wtd", "peak", "CrO2",
     "0.14", "0,2", "12 500", "12.500", "40", "3", "1 7/8", "−56", "45 500", "1e9", "000", "xyz"]
)  # fmt: skip
_TOPICS = st.sampled_from(
    ["Wow and flutter ", "Tape speed: ", "Frequenzgang ", "S/N (A-weighted) ", "Torque: ",
     "Temps de bobinage : ", "Take-up torque ", "Erasure ", "Salida: ", "Azimuth "]
)  # fmt: skip
_SHEETS = st.one_of(
    st.tuples(_TOPICS, st.lists(_WORDS, max_size=10).map(" ".join)).map("".join),
    st.text(max_size=80), st.lists(_WORDS, max_size=24).map(" ".join),
                    st.lists(_WORDS, max_size=16).map("".join))  # fmt: skip

# Every factor of words/units.toml by which a figure may be multiplied, and the two changes of
# unit of the catalogue (V to mV, s to µs), written down here a second time.
_FACTORS = (1, 0.1, 1000, 1e-3, 1e-6, 2.54, 60, 0.0980665, 98.0665, 10, 7.061551833333334,
            0.00980665, 9.80665, 0.01, 1e6)  # fmt: skip


@settings(max_examples=1000, deadline=None, derandomize=True)
@given(_SHEETS)
@example("9" * 400 + " %")
@example("Wow and flutter " + "9" * 400 + " % WRMS")
@example("speed ±" + "(" * 300)
@example("Speed 0 Hz ±15 Hz")
@example("Speed 1 1/0 ips ±1 %")
@example("\x00\x1b[31mWow and flutter ٠.١ % WRMS")
@example("Wow and flutter 0.1 % " * 120)
def test_any_text_is_read_without_error_and_without_a_made_up_number(text: str) -> None:
    sheet = read_sheet(text)
    assert msgspec.json.decode(msgspec.json.encode(sheet), type=Sheet) == sheet
    for limit in sheet.limits:
        assert all(part in text for part in limit.words.split(" … ")) or "\n" in text
        _hold_against(limit, _numbers_in(limit.words))


def _hold_against(limit: Limit, numbers: list[float]) -> None:
    """Every figure is one of the words, times a unit's factor, or a middle plus or minus one."""
    pairs = [(a, b) for a in numbers for b in numbers]
    known = {number * factor for number in numbers for factor in _FACTORS}
    if limit.ids == ("speed.deviation",):  # '3000 Hz ±15 Hz' and '2985–3015 Hz'
        known |= {100 * a / b * times for a, b in pairs if b for times in (1, 1000, 0.001)}
        known |= {50 * (a - b) * f / tone for a, b in pairs for tone in (3000, 3150)
                  for f in (1, 1000)}  # fmt: skip
    if limit.nominal is not None:  # '480 ±40 g·cm'
        known |= {(a + sign * b) * f for a, b in pairs for sign in (1, -1) for f in _FACTORS}
    if limit.ids == ("time.wind",):  # '1 min 30 s'
        known |= {60 * a + b for a, b in pairs}
    if limit.tolerance_window_db is not None:  # '+3/−2 dB in total'
        known |= {a + b for a, b in pairs}
    shown = (
        limit.low, limit.high, limit.nominal, limit.band_low_hz, limit.band_high_hz,
        limit.tolerance_low_db, limit.tolerance_high_db, limit.tolerance_window_db,
    )  # fmt: skip
    for value in shown:
        if value is not None:
            assert math.isfinite(value)
            # twelve figures are kept, so 1e-9 can only be met by the very number
            assert any(math.isclose(abs(value), abs(one), rel_tol=1e-9) for one in known), value


def _numbers_in(text: str) -> list[float]:
    """All that a run of digits and marks can mean, found without the project's own reader."""
    numbers = []
    for start in [found.start() for found in re.finditer(r"[0-9.,]", text)]:
        for found in re.finditer(r"[0-9]*[.,]?[0-9]*", text[start : start + 14]):
            if any(letter.isdigit() for letter in found.group()):
                numbers.append(float(found.group().replace(",", ".")))
            break
        group = re.match(r"[0-9]{1,3}(?:[\s.,'’][0-9]{3})+(?:[.,][0-9]+)?", text[start:])
        if group:
            parts = re.split(r"[\s.,'’]", group.group())
            numbers += [float("".join(parts)), float("".join(parts[:-1]) + "." + parts[-1])]
        mixed = re.match(r"([0-9]+)[\s-]?([0-9])[/⁄]([0-9]+)", text[start:])
        if mixed and int(mixed[3]):
            numbers.append(int(mixed[1]) + int(mixed[2]) / int(mixed[3]))
            numbers.append(float(mixed[1]))
    return sorted(set(numbers))


def test_a_record_level_is_no_tolerance_of_a_response() -> None:
    (limit,) = read_sheet("Frequency response 40 Hz ~ 14 kHz (-20 dB rec.)").limits
    assert limit.tolerance_low_db is None
    assert limit.sure == "ambiguous"


def test_a_typical_figure_beside_a_limit_promises_nothing() -> None:
    sheet = read_sheet("Wow & Flutter 0.055% WRMS (typ. 0.04%)")
    assert [(limit.ids, limit.high) for limit in sheet.limits] == [
        (("flutter.weighted_rms",), 0.055)
    ]
    assert "promises nothing" in sheet.unread[0].why


@pytest.mark.parametrize(
    ("text", "quantity_id", "high"),
    [
        ("Drehzahlabweichung ±1 %", "speed.deviation", 1.0),
        ("Précision de défilement ±1,5 %", "speed.deviation", 1.5),
        ("Flutter & wow no more than 2 per mil DIN", "flutter.weighted_peak", 0.2),
    ],
)
def test_these_ways_of_writing_are_read_too(text: str, quantity_id: str, high: float) -> None:
    (limit,) = read_sheet(text).limits
    assert limit.ids == (quantity_id,)
    assert limit.high == pytest.approx(high)
