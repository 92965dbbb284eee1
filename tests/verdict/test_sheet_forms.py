"""Written forms of spec sheets against what they mean.

The forms and their meaning are common practice (no source) except where a standard is named:
DIN and IEC 60386 ask for a weighted peak, WRMS is a weighted r.m.s., NAB reads an average
(see the head of words/methods.toml). Conversions by hand: 1 gf = 9.80665 mN.
"""

from __future__ import annotations

import pytest

from runstrue.catalogue import KINDS
from runstrue.verdict.models import Limit
from runstrue.verdict.sheet import read_sheet

PEAK, WRMS = "flutter.weighted_peak", "flutter.weighted_rms"
Expected = tuple[str, float | None, float | None]

# (text, (id, low, high) of every limit in order); all of them settled, that is clear or likely
FORMS: list[tuple[str, list[Expected]]] = [
    # --- wow and flutter, English
    ("Wow & flutter: 0.05 % (WRMS), ±0.14 % (DIN)", [(WRMS, None, 0.05), (PEAK, None, 0.14)]),
    ("Wow and flutter 0.14 % DIN weighted", [(PEAK, None, 0.14)]),
    ("WOW AND FLUTTER: 0.05% (W.R.M.S.)", [(WRMS, None, 0.05)]),
    ("W. & F. <0.06% W.RMS", [(WRMS, None, 0.06)]),
    ("wow/flutter: ≤ 0,2 % DIN 45 500", [(PEAK, None, 0.2)]),
    ("DIN 45500 sheet 4: wow and flutter ±0.2 %", [(PEAK, None, 0.2)]),
    ("Wow and flutter ........ 0.12 % w. peak", [(PEAK, None, 0.12)]),
    ("Wow and flutter better than 0.1% (weighted peak, IEC)", [(PEAK, None, 0.1)]),
    ("Wow and flutter (IEC 386): 0.1 % max.", [(PEAK, None, 0.1)]),
    ("Wow and flutter (CCIR 409-2): .15%", [(PEAK, None, 0.15)]),
    ("Wow and flutter (JIS): 0.05 %", [(WRMS, None, 0.05)]),
    ("Wow and flutter JIS C 5569-1991: 0.08 %", [(PEAK, None, 0.08)]),
    ("Wow and flutter +/- 0.085 % wtd pk; DIN unweighted ±0.18 %",
     [(PEAK, None, 0.085), ("flutter.unweighted_peak", None, 0.18)]),
    ("Wow & flutter, NAB unweighted: 0.11 %", [("flutter.unweighted_average", None, 0.11)]),
    ("Wow and flutter 0.09% (RMS)", [("flutter.unweighted_rms", None, 0.09)]),
    ("Wow and flutter, unweighted r.m.s.: 0.15 %", [("flutter.unweighted_rms", None, 0.15)]),
    ("Wow and flutter ±1.4 ‰ (DIN)", [(PEAK, None, 0.14)]),
    ("0.05 % WRMS", [(WRMS, None, 0.05)]),
    ("Wow and flutter 0.05 % WRMS and 0.12 % DIN weighted",
     [(WRMS, None, 0.05), (PEAK, None, 0.12)]),
    ("Wow & flutter 9.5 cm/s 0.055 % / 19 cm/s 0.04 % (DIN weighted)",
     [(PEAK, None, 0.055), (PEAK, None, 0.04)]),
    ("Wow: 0.05 %", [("flutter.wow_rms", None, 0.05)]),
    # --- speed and drift
    ("Tape speed: 4.76 cm/s (1 7/8 ips) +1.5/-1 %", [("speed.deviation", -1.0, 1.5)]),
    ("Speed accuracy ±1.5 %", [("speed.deviation", -1.5, 1.5)]),
    ("Speed deviation less than 0.5 %", [("speed.deviation", -0.5, 0.5)]),
    ("4.76 cm/s ±1.5 %", [("speed.deviation", -1.5, 1.5)]),
    ("Tape speed 3000 Hz ±15 Hz", [("speed.deviation", -0.5, 0.5)]),
    ("Tape speed: 3,150 Hz +63/−31.5 Hz", [("speed.deviation", -1.0, 2.0)]),
    ("Tape speed: 2985 Hz to 3015 Hz", [("speed.deviation", -0.5, 0.5)]),
    ("Speed drift max. 0.1 %/min", [("speed.drift", -0.1, 0.1)]),
    ("Speed ±1.5 %, wow and flutter 0.2 % DIN, erasure 60 dB",
     [("speed.deviation", -1.5, 1.5), (PEAK, None, 0.2), ("erasure.depth", 60, None)]),
    # --- noise, distortion, levels
    ("Signal-to-noise ratio: better than 56 dB (A-weighted, without NR)",
     [("noise.a", 56, None)]),
    ("S/N -56 dBA", [("noise.a", 56, None)]),
    ("S/N 56 dB(A) at 3 % THD", [("noise.a", 56, None)]),
    ("Signal to noise ratio more than 50 dB, unweighted", [("noise.unweighted", 50, None)]),
    ("Signal to noise 60 dB CCIR/ARM", [("noise.average_468_2k", 60, None)]),
    ("S/N (CCIR 468, quasi-peak): 48 dB", [("noise.quasi_peak_468", 48, None)]),
    ("S/N: Normal 52 dB, CrO2 54 dB, metal 55 dB (A weighted)",
     [("noise.a", 52, None), ("noise.a", 54, None), ("noise.a", 55, None)]),
    ("Hum: better than -55 dB", [("hum.line", None, -55)]),
    ("THD 1.5 % or less at 315 Hz", [("distortion.total", None, 1.5)]),
    ("Distortion (third harmonic): max 3 %", [("distortion.third", None, 3)]),
    ("Channel separation: 35 dB at 1 kHz", [("separation.channels", 35, None)]),
    ("Crosstalk between channels < -40 dB", [("separation.channels", 40, None)]),
    ("Separation of sides ≥ 60 dB", [("separation.sides", 60, None)]),
    ("Erasure: not less than 65 dB (1 kHz)", [("erasure.depth", 65, None)]),
    ("Channel balance within 2 dB", [("level.balance", -2, 2)]),
    ("MOL 315 Hz: +4 dB", [("level.mol", 4, None)]),
    ("Saturated output level (10 kHz): −8 dB", [("level.sol", -8, None)]),
    ("Output level: 580 mV ±50 mV", [("output.voltage", 530, 630)]),
    ("Line output: 0.5 to 0.6 V", [("output.voltage", 500, 600)]),
    ("Output level −6 dBV ±1 dBV", [("level.output", -7, -5)]),
    ("Input sensitivity 70 ±5 mV / 47 kΩ", [("input.sensitivity", 65, 75)]),
    ("Azimuth: 0 ±5′", [("azimuth.angle", -5, 5)]),
    ("Azimuth error less than 50 µs", [("azimuth.delay", -50, 50)]),
    ("Azimuth sway: max. 2 arcmin", [("azimuth.sway", None, 2)]),
    ("Replay level (250 nWb/m): 0 ±1 dB", [("level.flux", -1, 1)]),
    ("Dropouts: less than 5 per minute", [("dropout.count", None, 5)]),
    # --- mechanics (figures of the forms found in service manuals)
    ("Take-up torque 30-65 g.cm", [("torque.take_up", 2.941995, 6.3743225)]),
    ("Take-up torque: 3.9 mN·m to 5.9 mN·m", [("torque.take_up", 3.9, 5.9)]),
    ("Take-up torque 0.5 - 0.9 oz-in", [("torque.take_up", 3.530775917, 6.35539665)]),
    ("Back tension torque: under 5 g.cm", [("torque.back_tension", None, 0.4903325)]),
    ("FF torque 80-150 g-cm, rewind torque over 100 g-cm",
     [("torque.forward_wind", 7.84532, 14.709975), ("torque.rewind", 9.80665, None)]),
    ("Fast winding torque: 90–160 gf·cm",
     [("torque.forward_wind", 8.825985, 15.69064), ("torque.rewind", 8.825985, 15.69064)]),
    ("Torque (g·cm): take-up 30–65, back tension 1–7",
     [("torque.take_up", 2.941995, 6.3743225), ("torque.back_tension", 0.0980665, 0.6864655)]),
    ("Pinch roller pressure 500 ±20 g", [("force.pinch", 4.707192, 5.099458)]),
    ("Pinch force: 1.3–1.7 kg", [("force.pinch", 12.748645, 16.671305)]),
    ("Pull of tape at the capstan: at least 90 g", [("force.capstan_pull", 0.8825985, None)]),
    ("Take-up torque, min: 40 g·cm", [("torque.take_up", 3.92266, None)]),
    ("Capstan end play 0.05–0.15 mm", [("play.capstan_end", 0.05, 0.15)]),
    ("Motor voltage 12 V ±0.5 V", [("voltage.point", 11.5, 12.5)]),
    ("Fast forward time: approx. 90 s (C-60)", [("time.wind", None, 90)]),
    ("Rewind time: within 1 min 30 s with C60", [("time.wind", None, 90)]),
    # --- German
    ("Gleichlaufschwankungen nach DIN 45 500: ±0,2 %", [(PEAK, None, 0.2)]),
    ("Tonhöhenschwankungen ≤ ±0,15 % (bewertet)", [(PEAK, None, 0.15)]),
    ("Tonhoehenschwankungen max. 0,2 % nach DIN, bewertet", [(PEAK, None, 0.2)]),
    ("Gleichlauf: 0,05 % effektiv, bewertet", [(WRMS, None, 0.05)]),
    ("Bandgeschwindigkeit 4,76 cm/s ±1,5 %", [("speed.deviation", -1.5, 1.5)]),
    ("Bandgeschwindigkeitsabweichung kleiner als 1 %", [("speed.deviation", -1, 1)]),
    ("Geräuschspannungsabstand ≥ 56 dB, Fremdspannungsabstand ≥ 46 dB",
     [("noise.quasi_peak_468", 56, None), ("noise.unweighted", 46, None)]),
    ("Klirrfaktor (K3) ≤ 3 % bei 333 Hz", [("distortion.third", None, 3)]),
    ("Kopierdämpfung ≥ 52 dB; Print-through: 50 dB or better",
     [("print.through", 52, None), ("print.through", 50, None)]),
    ("Modulation noise 45 dB", [("noise.modulation", 45, None)]),
    ("Löschdämpfung mindestens 60 dB bei 1 kHz", [("erasure.depth", 60, None)]),
    ("Stereo-Übersprechdämpfung: 30 dB", [("separation.channels", 30, None)]),
    ("Aufwickelmoment 40...60 p·cm", [("torque.take_up", 3.92266, 5.88399)]),
    ("Andruckkraft der Andruckrolle: 350 p ± 50 p", [("force.pinch", 2.941995, 3.92266)]),
    # --- French
    ("Pleurage et scintillement : inférieur à 0,08 % (efficace pondéré)", [(WRMS, None, 0.08)]),
    ("Pleurage et scintillement : ± 0,2 % pondéré (DIN)", [(PEAK, None, 0.2)]),
    ("Vitesse de défilement : 4,76 cm/s ± 1 %", [("speed.deviation", -1, 1)]),
    ("Rapport signal/bruit : supérieur à 56 dB (pondéré A)", [("noise.a", 56, None)]),
    ("Distorsion harmonique totale : inférieure à 1,5 % à 315 Hz",
     [("distortion.total", None, 1.5)]),
    ("Diaphonie entre canaux : 35 dB", [("separation.channels", 35, None)]),
    ("Effacement : au moins 60 dB à 1 kHz", [("erasure.depth", 60, None)]),
    # --- Portuguese
    ("Choro e tremulação: < 0,2 % (DIN, ponderado)", [(PEAK, None, 0.2)]),
    ("Flutuação: 0,1 % WRMS", [(WRMS, None, 0.1)]),
    ("Velocidade da fita: 4,75 cm/s ±1,5%", [("speed.deviation", -1.5, 1.5)]),
    ("Relação sinal/ruído: 56 dB (ponderado A)", [("noise.a", 56, None)]),
    ("Separação de canais: mínimo 30 dB", [("separation.channels", 30, None)]),
    ("Apagamento: melhor que 65 dB", [("erasure.depth", 65, None)]),
    ("Distorção harmónica total: máx. 2 %", [("distortion.total", None, 2)]),
    # --- Spanish
    ("Lloro y centelleo: 0,1 % WRMS", [(WRMS, None, 0.1)]),
    ("Fluctuación: inferior a 0,15 % pico ponderado", [(PEAK, None, 0.15)]),
    ("Velocidad: 4,76 cm/s, desviación ±1 %", [("speed.deviation", -1, 1)]),
    ("Relación señal/ruido: más de 56 dB (ponderada A)", [("noise.a", 56, None)]),
    ("Separación de canales: 35 dB a 1 kHz", [("separation.channels", 35, None)]),
    ("Borrado: mejor que 60 dB", [("erasure.depth", 60, None)]),
    ("Distorsión armónica total: menos de 1,5 %", [("distortion.total", None, 1.5)]),
]  # fmt: skip

# (text, (low Hz, high Hz, down dB, up dB) of every band)
RESPONSES: list[tuple[str, list[tuple[float | None, float, float, float]]]] = [
    ("Frequency response: 40–12 500 Hz ± 3 dB", [(40, 12500, -3, 3)]),
    ("40–12 500 Hz ± 3 dB", [(40, 12500, -3, 3)]),
    ("Frequency response 40 - 12,500 Hz ±3 dB", [(40, 12500, -3, 3)]),
    ("Frequency response 40 Hz to 12.5 kHz +3/-5 dB", [(40, 12500, -5, 3)]),
    (
        "Frequency response: 30 Hz – 16 kHz (±3 dB) CrO2; 30 Hz - 14 kHz (±3 dB) normal",
        [(30, 16000, -3, 3), (30, 14000, -3, 3)],
    ),
    (
        "Frequency response, ±3 dB: normal 30–14 000 Hz, metal 30–17 000 Hz",
        [(30, 14000, -3, 3), (30, 17000, -3, 3)],
    ),
    ("Frequency response: up to 16 kHz ±3 dB", [(None, 16000, -3, 3)]),
    ("Frequenzgang 40-12.500 Hz +3/-5 dB", [(40, 12500, -5, 3)]),
    ("Übertragungsbereich von 30 bis 15 000 Hz (± 3 dB)", [(30, 15000, -3, 3)]),
    ("Bande passante : 30 à 16 000 Hz (±3 dB)", [(30, 16000, -3, 3)]),
    ("Resposta de frequência: 40 a 14.000 Hz ±3 dB", [(40, 14000, -3, 3)]),
    ("Respuesta en frecuencia: 20 - 17.000 Hz (cinta de metal), ±3 dB", [(20, 17000, -3, 3)]),
]


def _settled(text: str) -> tuple[Limit, ...]:
    return tuple(limit for limit in read_sheet(text).limits if limit.sure != "ambiguous")


@pytest.mark.parametrize(("text", "expected"), FORMS, ids=[text for text, _ in FORMS])
def test_written_form_is_read_as_people_mean_it(text: str, expected: list[Expected]) -> None:
    limits = _settled(text)
    assert [limit.ids for limit in limits] == [(quantity_id,) for quantity_id, _, _ in expected]
    for limit, (_, low, high) in zip(limits, expected, strict=True):
        # the only arithmetic is unit conversion: ten figures are kept by hand above
        assert limit.low == (None if low is None else pytest.approx(low, rel=1e-9))
        assert limit.high == (None if high is None else pytest.approx(high, rel=1e-9))


@pytest.mark.parametrize(("text", "bands"), RESPONSES, ids=[text for text, _ in RESPONSES])
def test_band_of_a_response_is_read_with_its_tolerance(
    text: str, bands: list[tuple[float | None, float, float, float]]
) -> None:
    limits = _settled(text)
    assert all(limit.ids == ("response.band",) for limit in limits)
    assert [
        (limit.band_low_hz, limit.band_high_hz, limit.tolerance_low_db, limit.tolerance_high_db)
        for limit in limits
    ] == bands


def test_there_are_at_least_eighty_written_forms() -> None:
    assert len({text for text, _ in FORMS}) + len(RESPONSES) >= 80


def test_every_kind_that_has_a_limit_somewhere_in_the_table_is_in_the_catalogue_unit() -> None:
    seen = set()
    for text, _ in FORMS:
        for limit in read_sheet(text).limits:
            seen.update(limit.ids)
            assert {KINDS[one].unit for one in limit.ids} == {limit.unit}
    seen.add("response.band")  # the table of responses
    # left out: the part above 10 Hz is only ever one of several candidates, a needle is what the
    # weighted peak of an old sheet means, and a gain over frequency is not printed as one figure
    # by anybody; what Runstrue tells of hum, shape, polarity and parts is for finding faults
    told_only = ("companding.", "meter.", "control.", "flutter.part_")
    not_printed = {
        *(one for one in KINDS if one.startswith(told_only)),
        "input.overload", "flutter.flutter_rms", "flutter.indicated_peak", "response.gain",
        "response.shape",
        "hum.total", "hum.odd", "hum.even", "phase.polarity",
    }  # fmt: skip
    assert set(KINDS) - seen == not_printed


def test_conditions_go_with_their_figures() -> None:
    sheet = read_sheet(
        "Frequency response: 30–14 000 Hz ±3 dB (normal), 30–16 000 Hz ±3 dB (CrO2)\n"
        "S/N 56 dB (A-weighted, 3 % THD, B-type noise reduction off)\n"
        "Klirrfaktor K3: 3 % bei 333 Hz\n"
        "Wow and flutter at 19 cm/s: 0.05 % WRMS"
    )
    assert [limit.conditions.get("tape") for limit in sheet.limits[:2]] == ["type I", "type II"]
    assert sheet.limits[2].conditions["reference"] == "3 % THD"
    assert sheet.limits[3].conditions == {"tone": "333 Hz"}
    assert sheet.limits[4].conditions == {"speed": "19 cm/s"}


def test_figures_below_a_heading_belong_to_it() -> None:
    sheet = read_sheet("Frequency response\n  30–14 000 Hz ±3 dB (normal)\n  30–16 000 Hz ±3 dB\n")
    assert [limit.band_high_hz for limit in sheet.limits] == [14000, 16000]
    assert sheet.unread == ()
    assert all(limit.words.startswith("Frequency response") for limit in sheet.limits)


def test_a_total_window_is_kept_as_a_window() -> None:
    (limit,) = read_sheet("Frequency response: 40 Hz–12.5 kHz within 7 dB total").limits
    assert limit.tolerance_window_db == 7
    assert limit.tolerance_low_db is None


def test_words_of_a_limit_stand_in_the_sheet() -> None:
    for text, _ in FORMS:
        for limit in read_sheet(text).limits:
            for part in limit.words.split(" … "):
                assert part in text
