"""Figures that stand before their quantity, after it, and both ways on one line.

What each line means: common practice of brochures (no source); the shuffled sheets are made from
items whose meaning is known, so that they check the reader against their own making.
"""

from __future__ import annotations

from dataclasses import dataclass

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from runstrue.verdict.models import Limit, Sheet
from runstrue.verdict.sheet import read_sheet

SPEED, PEAK, WRMS = "speed.deviation", "flutter.weighted_peak", "flutter.weighted_rms"
THD, NOISE, ERASURE = "distortion.total", "noise.a", "erasure.depth"
SEPARATION, BAND = "separation.channels", "response.band"

Expected = tuple[str, float | None, float | None]

# (text, (id, low, high) in order; of a band its ends in Hz); all are settled, nothing is unread
READ: list[tuple[str, list[Expected]]] = [
    # --- the figure first, one quantity after another
    ("speed ±1.5 %; 0.2 % DIN wow and flutter", [(SPEED, -1.5, 1.5), (PEAK, None, 0.2)]),
    ("0.14 % DIN wow & flutter, better than 56 dB(A) signal-to-noise, "
     "30-15000 Hz ±3 dB frequency response",
     [(PEAK, None, 0.14), (NOISE, 56, None), (BAND, 30, 15000)]),
    ("0.2 % DIN wow and flutter, ±1.5 % speed", [(PEAK, None, 0.2), (SPEED, -1.5, 1.5)]),
    ("1.5 % THD at 315 Hz, 56 dB(A) S/N at 3 % THD", [(THD, None, 1.5), (NOISE, 56, None)]),
    ("35 dB channel separation at 1 kHz, 60 dB erasure at 1 kHz",
     [(SEPARATION, 35, None), (ERASURE, 60, None)]),
    ("30–15 000 Hz ±3 dB frequency response, 56 dB(A) S/N", [(BAND, 30, 15000), (NOISE, 56, None)]),
    ("56 dB(A) S/N (20 Hz–20 kHz), 30–15 000 Hz ±3 dB frequency response",
     [(NOISE, 56, None), (BAND, 30, 15000)]),
    ("3.9–5.9 mN·m take-up torque, 0.1–0.5 mN·m back tension, 90 s fast forward",
     [("torque.take_up", 3.9, 5.9), ("torque.back_tension", 0.1, 0.5), ("time.wind", None, 90)]),
    ("Torque: 3–6 mN·m take-up, 0.1–0.5 mN·m back tension",
     [("torque.take_up", 3, 6), ("torque.back_tension", 0.1, 0.5)]),
    ("0.2 % wow and flutter (DIN) and 60 dB erasure", [(PEAK, None, 0.2), (ERASURE, 60, None)]),
    ("0.2 % DIN wow and flutter / 56 dB(A) S/N", [(PEAK, None, 0.2), (NOISE, 56, None)]),
    ("S/N 56 dB(A) 0.2 % DIN wow and flutter", [(NOISE, 56, None), (PEAK, None, 0.2)]),
    ("±3 dB frequency response 30–15 000 Hz", [(BAND, 30, 15000)]),
    # --- both orders on one line
    ("speed ±1.5 %, 0.2 % DIN wow and flutter, 56 dB S/N (A-weighted)",
     [(SPEED, -1.5, 1.5), (PEAK, None, 0.2), (NOISE, 56, None)]),
    ("wow and flutter, 0.2 % DIN; ±1.5 % speed", [(PEAK, None, 0.2), (SPEED, -1.5, 1.5)]),
    ("±1.5 % speed, wow and flutter 0.2 % DIN", [(SPEED, -1.5, 1.5), (PEAK, None, 0.2)]),
    ("S/N 56 dB(A), 60 dB erasure, THD 1.5 %",
     [(NOISE, 56, None), (ERASURE, 60, None), (THD, None, 1.5)]),
    ("speed ±1.5 %, 3 % THD", [(SPEED, -1.5, 1.5), (THD, None, 3)]),
    ("speed ±1.5 %, 0.2 % WRMS", [(SPEED, -1.5, 1.5), (WRMS, None, 0.2)]),
    ("0.2 % DIN wow and flutter, 30–15 000 Hz ±3 dB", [(PEAK, None, 0.2), (BAND, 30, 15000)]),
    # --- columns
    ("Wow and flutter | 0.2 % DIN | Speed | ±1.5 %", [(PEAK, None, 0.2), (SPEED, -1.5, 1.5)]),
    ("0.2 % DIN | Wow and flutter | ±1.5 % | Speed", [(PEAK, None, 0.2), (SPEED, -1.5, 1.5)]),
    # --- lists of one quantity whose name stands last
    ("Normal 52 dB, CrO2 54 dB, metal 55 dB S/N (A weighted)",
     [(NOISE, 52, None), (NOISE, 54, None), (NOISE, 55, None)]),
    ("0.05 % WRMS, 0.14 % DIN wow and flutter", [(WRMS, None, 0.05), (PEAK, None, 0.14)]),
    # --- German, French, Spanish, Portuguese
    ("±1,5 % Bandgeschwindigkeit, 0,2 % Gleichlaufschwankungen (DIN 45 500)",
     [(SPEED, -1.5, 1.5), (PEAK, None, 0.2)]),
    ("max. 1,5 % Klirrfaktor K3 bei 333 Hz, mind. 60 dB Löschdämpfung",
     [("distortion.third", None, 1.5), (ERASURE, 60, None)]),
    ("56 dB Geräuschspannungsabstand und 46 dB Fremdspannungsabstand",
     [("noise.quasi_peak_468", 56, None), ("noise.unweighted", 46, None)]),
    ("0,08 % de pleurage et scintillement (efficace pondéré), "
     "56 dB de rapport signal/bruit (pondéré A)", [(WRMS, None, 0.08), (NOISE, 56, None)]),
    ("vitesse ± 1 %, 35 dB de séparation des canaux", [(SPEED, -1, 1), (SEPARATION, 35, None)]),
    ("0,1 % WRMS de lloro y centelleo, 56 dB de relación señal/ruido (ponderada A), "
     "60 dB de borrado", [(WRMS, None, 0.1), (NOISE, 56, None), (ERASURE, 60, None)]),
    ("0,2 % (DIN, ponderado) de choro e tremulação; 56 dB (ponderado A) de relação sinal/ruído",
     [(PEAK, None, 0.2), (NOISE, 56, None)]),
]  # fmt: skip

# (text, what is read, what is handed back): the order is open, or a name is missing
OPEN: list[tuple[str, list[Expected], list[str]]] = [
    ("S/N 56 dB(A), 60 dB, erasure", [(NOISE, 56, None)], ["60 dB, erasure"]),
    ("speed ±1.5 %, 0.2 %, wow and flutter", [(SPEED, -1.5, 1.5)], ["0.2 %, wow and flutter"]),
    ("wow and flutter 0.2 % DIN ±1.5 % speed", [(PEAK, None, 0.2)], ["±1.5 % speed"]),
    ("speed ±1.5 % wow and flutter", [], ["speed ±1.5 % wow and flutter"]),
    ("0.2 % speed wow and flutter", [], ["0.2 % speed wow and flutter"]),
    ("0.2 % wow and flutter 0.1 %", [], ["0.2 % wow and flutter 0.1 %"]),
    ("S/N 56 dB(A), 3 % THD", [(NOISE, 56, None)], ["3 % THD"]),
    ("wow and flutter, ±1.5 % speed", [(SPEED, -1.5, 1.5)], ["wow and flutter"]),
    # a figure that belongs to neither neighbour
    ("speed ±1.5 %, 12 V ±0.5 V, wow and flutter 0.2 % DIN",
     [(SPEED, -1.5, 1.5), (PEAK, None, 0.2)], ["12 V ±0.5 V"]),
    ("±1.5 %, 0.2 % DIN wow and flutter", [(PEAK, None, 0.2)], ["±1.5 %"]),
    ("4.76 cm/s, ±1.5 %, 0.2 % DIN wow and flutter", [(PEAK, None, 0.2)], ["4.76 cm/s, ±1.5 %"]),
    ("speed ±1.5 %; 0.2 % DIN", [(SPEED, -1.5, 1.5)], ["0.2 % DIN"]),
    ("speed ±1.5 %, 0.2 %", [(SPEED, -1.5, 1.5)], ["0.2 %"]),
    ("speed ±1.5 %; 0.2 %", [(SPEED, -1.5, 1.5)], ["0.2 %"]),
    ("speed ±1.5 %\n0.2 %", [(SPEED, -1.5, 1.5)], ["0.2 %"]),
    # a figure that is no condition
    ("0.05 % WRMS wow and flutter, better than 56 dB", [(WRMS, None, 0.05)],
     ["better than 56 dB"]),
    ("Wow and flutter 0.05 % WRMS, 30-15000 Hz", [(WRMS, None, 0.05)], ["30-15000 Hz"]),
    ("erasure 60 dB, 56 dB(A)", [(ERASURE, 60, None)], ["56 dB(A)"]),
]  # fmt: skip

# (text, conditions of every limit)
CONDITIONS: list[tuple[str, list[dict[str, str]]]] = [
    ("1.5 % THD at 315 Hz, 56 dB(A) S/N at 3 % THD",
     [{"tone": "315 Hz"}, {"reference": "3 % THD"}]),
    ("56 dB(A) S/N, 20 Hz-20 kHz, 60 dB erasure at 1 kHz",
     [{"band": "20 Hz-20 kHz"}, {"tone": "1 kHz"}]),
    ("0.2 % DIN wow and flutter at 4.76 cm/s, ±1 % speed", [{"speed": "4.76 cm/s"}, {}]),
    ("S/N at 3 % THD: 56 dB(A)", [{"reference": "3 % THD"}]),
    ("erasure 60 dB at 0 dB", [{"level": "0 dB"}]),
    ("1 kHz, 35 dB channel separation", [{"tone": "1 kHz"}]),
]  # fmt: skip


def _stated(limit: Limit) -> Expected:
    (quantity,) = limit.ids
    if quantity == BAND:
        return quantity, limit.band_low_hz, limit.band_high_hz
    return quantity, limit.low, limit.high


@pytest.mark.parametrize(("text", "expected"), READ, ids=[text for text, _ in READ])
def test_every_figure_goes_to_the_quantity_that_it_stands_with(
    text: str, expected: list[Expected]
) -> None:
    sheet = read_sheet(text)
    assert [_stated(limit) for limit in sheet.limits] == expected
    assert sheet.unread == ()
    assert not any(limit.left_over or limit.sure == "ambiguous" for limit in sheet.limits)


@pytest.mark.parametrize(("text", "expected", "unread"), OPEN, ids=[row[0] for row in OPEN])
def test_figure_that_may_belong_to_either_side_is_handed_back(
    text: str, expected: list[Expected], unread: list[str]
) -> None:
    sheet = read_sheet(text)
    assert [_stated(limit) for limit in sheet.limits] == expected
    assert [piece.words for piece in sheet.unread] == unread
    assert not any(limit.conditions or limit.left_over for limit in sheet.limits)


@pytest.mark.parametrize(("text", "conditions"), CONDITIONS, ids=[row[0] for row in CONDITIONS])
def test_a_true_condition_stays_with_its_figure(
    text: str, conditions: list[dict[str, str]]
) -> None:
    sheet = read_sheet(text)
    assert [limit.conditions for limit in sheet.limits] == conditions
    assert sheet.unread == ()


def test_figure_first_items_without_method_or_tolerance_are_told_as_open() -> None:
    sheet = read_sheet(
        "0.14 % DIN wow & flutter, better than 56 dB signal-to-noise, "
        "30-15000 Hz frequency response"
    )
    assert [limit.sure for limit in sheet.limits] == ["likely", "ambiguous", "ambiguous"]
    assert [limit.words for limit in sheet.limits] == sheet.text.split(", ")
    assert not any(limit.conditions for limit in sheet.limits)


def test_a_further_bare_figure_is_taken_for_the_same_quantity_only_with_a_word_about_it() -> None:
    first, second = read_sheet("speed ±1.5 % / 0.5 %").limits
    assert first.sure == "clear"
    assert second.sure == "likely"
    assert "further figure" in second.question


# --- shuffled sheets -------------------------------------------------------------------------


@dataclass(frozen=True)
class Item:
    """One quantity with its figure, as written, and what it means."""

    text: str
    figure: str
    expected: Expected


# id: (names in five languages, figure as written with {}, its sides by sign, values). No two
# quantities share a value, so that a figure at the wrong quantity cannot go unseen.
_KNOWN: dict[str, tuple[list[str], list[str], str, list[float]]] = {
    SPEED: (["Speed", "tape speed", "Bandgeschwindigkeit", "vitesse de défilement", "velocidad",
             "velocidade da fita"], ["±{} %", "± {}%"], "-+", [1.1, 1.2, 1.4, 1.6]),
    PEAK: (["wow and flutter", "Gleichlaufschwankungen", "pleurage et scintillement",
            "lloro y centelleo", "choro e tremulação"], ["{} % DIN", "max. {} % (DIN 45 500)"], "+",
           [0.13, 0.14, 0.17, 0.2]),
    WRMS: (["W & F", "Gleichlauf", "fluctuations", "fluctuación"], ["{} % WRMS", "<{} % (WRMS)"],
           "+", [0.04, 0.05, 0.06, 0.08]),
    THD: (["THD", "Gesamtklirrfaktor", "distorsion harmonique totale",
           "distorsión armónica total", "distorção harmónica total"],
          ["{} %", "less than {} %"], "+", [0.8, 1.5, 2.5, 3]),
    NOISE: (["S/N", "signal-to-noise ratio", "Rauschabstand", "rapport signal/bruit",
             "relación señal/ruido", "relação sinal/ruído"],
            ["{} dB(A)", "better than {} dB (A-weighted)"], "-", [52, 54, 56, 58]),
    ERASURE: (["erasure", "Löschdämpfung", "effacement", "borrado", "apagamento"],
              ["{} dB", "at least {} dB"], "-", [60, 65, 70]),
    SEPARATION: (["channel separation", "Kanaltrennung", "séparation des canaux"],
                 ["{} dB", "> {} dB"], "-", [32, 35, 38]),
    "level.balance": (["channel balance"], ["±{} dB", "within {} dB"], "-+", [1.3, 2]),
    "time.wind": (["rewind time", "fast forward"], ["{} s", "max. {} seconds"], "+", [80, 95, 120]),
    "torque.take_up": (["take-up torque", "Aufwickelmoment"], ["3.3–{} mN·m"], "range", [5.5, 6.2]),
    BAND: (["frequency response", "Frequenzgang", "bande passante"],
           ["41–{} Hz ±3 dB", "41 - {} Hz (±3 dB)"], "range", [12000, 14500, 16000]),
}  # fmt: skip


@st.composite
def _items(draw: st.DrawFn) -> Item:
    quantity = draw(st.sampled_from(sorted(_KNOWN)))
    names, forms, sides, values = _KNOWN[quantity]
    value = draw(st.sampled_from(values))
    name, form = draw(st.sampled_from(names)), draw(st.sampled_from(forms))
    figure = form.format(f"{value:g}")
    low = {"range": 41.0 if quantity == BAND else 3.3, "-+": -value, "-": value}.get(sides)
    high = None if sides == "-" else value
    text = draw(st.sampled_from([f"{name} {figure}", f"{name}: {figure}", f"{figure} {name}"]))
    return Item(text, figure, (quantity, low, high))


def _read_wrongly(sheet: Sheet, items: list[Item]) -> list[Expected]:
    stated = {item.expected for item in items}
    return [_stated(limit) for limit in sheet.limits if _stated(limit) not in stated]


def _lost(sheet: Sheet, items: list[Item]) -> list[str]:
    read = [_stated(limit) for limit in sheet.limits if len(limit.ids) == 1]
    handed_back = [piece.words for piece in sheet.unread]
    handed_back += [words for limit in sheet.limits for words in limit.left_over]
    return [
        item.text
        for item in items
        if item.expected not in read and not any(item.figure in words for words in handed_back)
    ]


@settings(max_examples=400, deadline=None, derandomize=True)
@given(st.lists(_items(), min_size=1, max_size=7), st.data())
def test_shuffled_items_on_lines_or_between_semicolons_are_all_read(
    items: list[Item], data: st.DataObject
) -> None:
    marks = [data.draw(st.sampled_from(["; ", ";", "\n", "\n\n"])) for _ in items]
    sheet = read_sheet("".join(item.text + mark for item, mark in zip(items, marks, strict=True)))
    # neither mark leaves the order open, so that all must be read, in order, and nothing else
    assert [_stated(limit) for limit in sheet.limits] == [item.expected for item in items]
    assert sheet.unread == ()


@settings(max_examples=600, deadline=None, derandomize=True)
@given(st.lists(_items(), min_size=2, max_size=7), st.data())
def test_shuffled_items_on_one_line_are_read_rightly_or_handed_back(
    items: list[Item], data: st.DataObject
) -> None:
    marks = [data.draw(st.sampled_from([", ", " | ", " / ", " and ", " ", "; "])) for _ in items]
    sheet = read_sheet("".join(item.text + mark for item, mark in zip(items, marks, strict=True)))
    assert _read_wrongly(sheet, items) == []
    assert _lost(sheet, items) == []


@settings(max_examples=400, deadline=None, derandomize=True)
@given(st.lists(st.tuples(_items(), st.integers(0, 3)), min_size=2, max_size=6), st.data())
def test_figures_without_a_name_never_go_to_the_quantity_beside_them(
    drawn: list[tuple[Item, int]], data: st.DataObject
) -> None:
    """One figure in four has lost its name; only its own method or unit may tell what it is."""
    items = [item for item, _ in drawn]
    texts = [item.figure if lost == 0 else item.text for item, lost in drawn]
    marks = [data.draw(st.sampled_from([", ", "; ", "\n"])) for _ in items]
    sheet = read_sheet("".join(text + mark for text, mark in zip(texts, marks, strict=True)))
    named = {item.expected for item in items}
    for limit in sheet.limits:
        # a figure that has its kind of method with it, but no name, may be open among methods
        assert any((one, limit.low, limit.high) in named for one in limit.ids) or (
            limit.ids == (BAND,) and _stated(limit) in named
        )
    assert _lost(sheet, items) == []


@settings(max_examples=300, deadline=None, derandomize=True)
@given(st.lists(_items(), min_size=2, max_size=6))
def test_items_with_commas_between_are_all_read_save_a_distortion_beside_a_noise(
    items: list[Item],
) -> None:
    sheet = read_sheet(", ".join(item.text for item in items))
    read = [_stated(limit) for limit in sheet.limits]
    for before, item in zip([None, *items], items, strict=False):
        beside_noise = before is not None and before.expected[0] == NOISE
        if not (item.expected[0] == THD and beside_noise):
            assert item.expected in read
    assert _read_wrongly(sheet, items) == []
    assert _lost(sheet, items) == []
