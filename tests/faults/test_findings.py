"""Readings become findings by the declared rules, and only where they are sure."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from scipy import stats

from runstrue.catalogue import KINDS
from runstrue.errors import DescriptionError
from runstrue.faults.findings import checks_read, findings_of, read_findings
from runstrue.faults.parts import PART_SHARE, UNEXPLAINED
from runstrue.faults.read import read_knowledge
from runstrue.faults.rules import read_rules, rules_of
from runstrue.quantity import Budget, Contribution, Quantity
from runstrue.result import Condition, Line, Measured, Result, Spread, Table
from runstrue.verdict.judge import judge
from runstrue.verdict.models import Limit

Found = dict[str, tuple[str, str]]


def reading(
    quantity_id: str,
    value: float | None,
    u: float = 0.001,
    channel: str = "both",
    spread: Spread | None = None,
    **conditions: Condition,
) -> Result:
    """One reading with a random uncertainty."""
    budget = Budget((Contribution("made by hand", u, "random"),))
    return Result(
        quantity_id, "typed/1", channel,
        None if value is None else budget.quantity(value, KINDS[quantity_id].unit), budget,
        spread=spread,
        conditions={name.replace("__", " "): one for name, one in conditions.items()},
    )  # fmt: skip


def sides(quantity_id: str, left: float, right: float, u: float = 0.05,
          **conditions: Condition) -> list[Result]:  # fmt: skip
    """The same reading on both channels."""
    return [
        reading(quantity_id, value, u, channel, **conditions)
        for channel, value in (("left", left), ("right", right))
    ]


def answers(results: list[Result], limits: tuple[Limit, ...] = ()) -> dict[str, str]:
    """Check and outcome of everything that readings say."""
    measured = Measured("", tuple(results))
    return {
        one.evidence.key: one.evidence.answer
        for one in read_findings(measured, judge(limits, results))
    }


STEADY = reading("speed.drift", 0.004)
CALM = [
    reading("flutter.wow_rms", 0.03, used_s=60.0),
    reading("flutter.flutter_rms", 0.03, used_s=60.0),
]
QUIET = {"against": "315 Hz at the recorded reference level", "hum": "left out"}
SILENT = {"against": "315 Hz at the recorded reference level", "hum": "included"}


def hum(value: float | None, pattern: str, lines: int = 3) -> list[Result]:
    """Hum on both channels with so many lines."""
    table = Table(tuple(50.0 * n for n in range(1, lines + 1)), (-40.0,) * lines,
                  (0.1,) * lines, "Hz", "dB")  # fmt: skip
    told = sides("hum.total", value or 0.0, value or 0.0, pattern=pattern, **SILENT)
    return [
        replace(one, table=table, quantity=one.quantity if value is not None else None)
        for one in told
    ]


CASES: list[tuple[str, str, list[Result]]] = [
    ("ms_speed", "mains_ratio", [reading("speed.deviation", -16.6)]),
    ("ms_speed", "mains_ratio", [reading("speed.deviation", 20.1)]),
    ("ms_speed", "falls_with_time", [reading("speed.drift", -0.15)]),
    ("ms_speed", "rises_with_time", [reading("speed.drift", 0.15)]),
    ("ms_speed", "fast_steady", [reading("speed.deviation", 3.1), STEADY]),
    ("ms_speed", "slow_steady", [reading("speed.deviation", -2.0), STEADY]),
    ("ms_speed", "right", [reading("speed.deviation", 0.3), STEADY]),
    ("ms_waver", "slow_random", [reading("flutter.wow_rms", 0.2, used_s=60.0)]),
    ("ms_waver", "scrape", [CALM[0], reading("flutter.flutter_rms", 0.4, used_s=60.0)]),
    ("ms_waver", "calm", CALM),
    ("ms_channels", "one_dead",
     [reading("level.balance", None, no__tone="right", lower__channel="right")]),
    ("ms_channels", "one_dead", [reading("level.balance", -32.0)]),
    ("ms_channels", "one_wanders", [reading("level.balance", 1.0, spread=Spread(-1, 1, 3.5))]),
    ("ms_channels", "one_low", [reading("level.balance", -4.0)]),
    ("ms_channels", "one_dull", sides("response.shape", 0.0, -5.0, pattern="flat")),
    ("ms_channels", "even", [reading("level.balance", 0.4, spread=Spread(0.3, 0.4, 0.5))]),
    ("ms_treble", "shelf", sides("response.shape", -4.0, -4.1, pattern="shelf-up")),
    ("ms_treble", "falls_with_frequency", sides("response.shape", -4.0, -4.1, pattern="spacing")),
    ("ms_treble", "falls_with_square",
     sides("response.shape", -4.0, -4.1, pattern="azimuth-or-gap")),
    ("ms_treble", "rises", sides("response.shape", 5.0, 5.1, pattern="unlike any")),
    ("ms_treble", "flat", sides("response.shape", 0.0, 0.3, pattern="flat")),
    ("ms_azimuth", "sways", [reading("azimuth.sway", 9.0)]),
    ("ms_azimuth", "off_steady", [reading("azimuth.angle", -22.0), reading("azimuth.sway", 1.0)]),
    ("ms_azimuth", "in_line", [reading("azimuth.angle", -2.0), reading("azimuth.sway", 1.0)]),
    *(
        ("ms_hum", outcome, hum(-38.0, pattern))
        for outcome, pattern in (("mains_only", "fundamental"), ("odd", "odd"),
                                 ("twice_mains", "even"), ("comb", "comb"))
    ),
    ("ms_hum", "low", sides("hum.total", -61.0, -63.0, pattern="fundamental", **SILENT)),
    ("ms_noise", "one_side_up", sides("noise.a", 52.0, 44.0, **SILENT)),
    ("ms_noise", "both_up",
     [*sides("noise.unweighted", 40.0, 41.0, **SILENT), *hum(None, "none")]),
    ("ms_noise", "both_up", [*sides("noise.unweighted", 38.0, 38.0, **SILENT),
                             *sides("noise.unweighted", 41.0, 41.0, **QUIET)]),
    ("ms_noise", "usual", [*sides("noise.unweighted", 54.0, 55.0, **SILENT),
                           *sides("noise.a", 56.0, 57.0, **SILENT)]),
    ("ms_erasure", "poor_one", sides("erasure.depth", 66.0, 41.0)),
    ("ms_erasure", "poor_both", sides("erasure.depth", 36.0, 41.0)),
    ("ms_erasure", "deep", sides("erasure.depth", 66.0, 71.0)),
    ("ms_distortion", "even", sides("distortion.total", 5.0, 1.0, pattern="even")),
    ("ms_distortion", "odd", sides("distortion.third", 5.0, 1.0, pattern="odd")),
    ("ms_distortion", "low", [*sides("distortion.third", 0.8, 1.0, pattern="odd"),
                              *sides("distortion.total", 1.0, 1.1, pattern="odd")]),
    ("ms_meter", "offset", sides("meter.offset", 12.0, 0.1, pattern="offset")),
    ("ms_meter", "half", sides("meter.gain", -6.1, -6.0, pattern="one diode")),
    ("ms_meter", "bent", sides("meter.bend", 20.0, 0.1, pattern="bent")),
    ("ms_meter", "gain", sides("meter.gain", 2.5, 2.6, pattern="gain")),
    ("ms_meter", "too_lively", sides("meter.ballistics", 8.0, 8.1)),
    ("ms_meter", "right", sides("meter.gain", 0.1, 0.2, pattern="sound")),
    ("ms_record_level", "nothing", sides("companding.level", -40.0, -44.0)),
    ("ms_record_level", "nothing_one", sides("companding.level", 0.5, -44.0)),
    ("ms_record_level", "low_one", sides("companding.level", 0.5, -6.0)),
    ("ms_record_level", "low_both", sides("companding.level", -5.0, -6.0)),
    ("ms_record_level", "high", sides("companding.level", 5.0, 6.0)),
    ("ms_record_level", "right", sides("companding.level", 0.5, -0.6)),
    ("ms_dropouts", "one_side", sides("dropout.count", 0.0, 8.0, 0.7)),
    ("ms_dropouts", "both", sides("dropout.count", 9.0, 8.0, 0.7)),
    ("ms_dropouts", "few", sides("dropout.count", 0.0, 0.5, 0.7)),
    ("ms_control", "crackles", [*sides("control.crackle", 60.0, 5.0, 3.0),
                                *sides("control.dropouts", 0.0, 0.0, 0.5)]),
    ("ms_control", "drops_out", sides("control.dropouts", 10.0, 0.0, 1.0)),
    ("ms_control", "clean", [*sides("control.crackle", 3.0, 5.0, 1.0),
                             *sides("control.dropouts", 0.0, 0.0, 0.5)]),
    ("ms_reduction", "level_off", [*sides("companding.tracking", -3.0, -4.0),
                                   *sides("companding.level", -4.0, -4.1)]),
    ("ms_reduction", "treble_off", [*sides("companding.tracking", -3.0, -4.0),
                                    *sides("companding.level", 0.0, -0.1),
                                    *sides("response.shape", -5.0, -6.0, pattern="spacing")]),
    ("ms_reduction", "one_side_off", sides("companding.tracking", 0.5, -4.0)),
    ("ms_reduction", "tracks", sides("companding.tracking", 0.5, -0.6)),
    ("ms_leak", "other_side", sides("separation.sides", 45.0, 66.0)),
    ("ms_leak", "apart", sides("separation.sides", 65.0, 66.0)),
]  # fmt: skip


@pytest.mark.parametrize(
    ("check", "outcome", "results"), CASES, ids=[f"{one[0]}-{one[1]}" for one in CASES]
)
def test_a_plain_case_is_found(check: str, outcome: str, results: list[Result]) -> None:
    assert answers(results)[check] == outcome


def part(kind: str, peak: float, u: float = 0.005, **conditions: Condition) -> Result:
    """The share of one part."""
    told = {"part": kind, "name": f"the {kind}", "kind": kind, **conditions}
    return Result(PART_SHARE, "typed/1", "both", Quantity(peak, "%", u), conditions=told)


SMALL = [part("capstan", 0.04), part("belt", 0.03), part("roller", 0.04)]
RHYTHMS: list[tuple[str, list[Result]]] = [
    ("several", [part("belt", 0.15), part("roller", 0.2)]),
    ("belt", [part("belt", 0.15)]),
    ("capstan_twice", [part("capstan", 0.15, pattern="twice")]),
    ("capstan", [part("capstan", 0.15)]),
    ("roller_pulses", [part("roller", 0.15, pattern="pulses")]),
    ("roller", [part("roller", 0.15)]),
    ("motor", [part("motor", 0.15)]),
    ("takeup_hub", [part("hub", 0.15, side="take-up")]),
    ("supply_hub", [part("hub", 0.15, side="supply")]),
    ("shell_rollers", [part("guide", 0.15)]),
    ("motor_torque", [part("pulses", 0.15)]),
    ("none", SMALL),
]


@pytest.mark.parametrize(("outcome", "parts"), RHYTHMS, ids=[one[0] for one in RHYTHMS])
def test_a_part_that_matters_is_found(outcome: str, parts: list[Result]) -> None:
    assert answers(parts)["ms_flutter_rhythm"] == outcome


def test_a_part_that_may_matter_or_not_leaves_the_rhythm_open() -> None:
    assert "ms_flutter_rhythm" not in answers([part("belt", 0.101), *SMALL])


def test_what_is_nobodys_keeps_all_from_being_cleared() -> None:
    assert "ms_flutter_rhythm" not in answers([*SMALL, part(UNEXPLAINED, 0.2)])


def test_half_of_the_sheets_figure_is_what_a_part_may_make() -> None:
    flutter = reading("flutter.weighted_peak", 0.12)
    limit = Limit(ids=("flutter.weighted_peak",), unit="%", words="±0.05 %", high=0.05)
    assert answers([part("belt", 0.04), flutter], (limit,))["ms_flutter_rhythm"] == "belt"
    assert answers([part("belt", 0.04), flutter])["ms_flutter_rhythm"] == "none"


def speeds(*placed: tuple[str, float]) -> dict[str, str]:
    """What passes at places of a side say, the last of them measured now."""
    passes = [
        (place, Measured("", (reading("speed.deviation", value, 0.02), STEADY)))
        for place, value in placed
    ]
    found = read_findings(passes[-1][1], passes=passes)
    return {one.evidence.key: one.evidence.answer for one in found}


def test_a_speed_that_falls_along_the_side_is_told_from_one_that_falls_with_time() -> None:
    along = speeds(("start", 0.1), ("end", -0.7), ("start", 0.1))
    assert along["ms_speed"] == "falls_along_side"
    # as low as at the end when a side is begun anew: it was time, and the rule keeps still
    assert speeds(("start", 0.1), ("end", -0.3), ("start", -0.7))["ms_speed"] == "right"
    assert speeds(("start", 0.1), ("end", -0.7))["ms_speed"] == "right"


def test_every_rule_has_its_case() -> None:
    """But for those that have theirs beside: a sheet alone can tell, and a side in passes."""
    told = {(check, outcome) for check, outcome, _ in CASES}
    told |= {("ms_flutter_rhythm", outcome) for outcome, _ in RHYTHMS}
    rules = {(rule.check, rule.outcome) for rule in read_rules().rules}
    assert rules - told == {("ms_channels", "both_low"), ("ms_speed", "falls_along_side")}


@pytest.mark.parametrize(
    ("check", "outcome", "results"),
    [case for case in CASES if all(one.quantity is not None for one in case[2])],
)
def test_the_same_reading_with_a_large_uncertainty_says_nothing(
    check: str, outcome: str, results: list[Result]
) -> None:
    """As uncertain as ten times its own size and more, no reading is 90 % sure of anything."""
    vague = []
    for one in results:
        assert one.quantity is not None
        if one.spread is not None:
            continue  # how far it moves needs no reading of where it stands
        size = 10 * max(abs(one.quantity.value), 60.0)
        budget = Budget((Contribution("made by hand", size, "random"),))
        vague.append(
            Result(one.id, one.method, one.channel, budget.quantity(one.quantity.value,
                   one.quantity.unit), budget, spread=one.spread, conditions=one.conditions)
        )  # fmt: skip
    assert check not in answers(vague), outcome


def test_a_finding_needs_nine_tenths_by_students_t() -> None:
    """Against scipy's t: 1.5 % and the 90 % quantile of five degrees of freedom."""
    quantile = float(stats.t.ppf(0.90, 5))
    for share, found in ((1.02, True), (0.98, False)):
        deviation = Result(
            "speed.deviation",
            "typed/1",
            "both",
            Quantity(1.5 + share * quantile * 0.2, "%", 0.2, 5),
        )
        assert ("ms_speed" in answers([deviation, STEADY])) is found


def test_the_decks_own_sheet_goes_before_the_standard() -> None:
    """A sheet that allows ±3 % makes +2 % right; one that allows ±0.5 % makes 1 % a fault."""
    deviation, tight, wide = (
        reading("speed.deviation", 1.0),
        *(Limit(ids=("speed.deviation",), unit="%", words="speed", low=-one, high=one)
          for one in (0.5, 3.0)),
    )  # fmt: skip
    assert answers([deviation, STEADY])["ms_speed"] == "right"
    assert answers([deviation, STEADY], (tight,))["ms_speed"] == "fast_steady"
    assert answers([reading("speed.deviation", 2.0), STEADY], (wide,))["ms_speed"] == "right"


def test_low_output_is_known_from_a_sheet_alone() -> None:
    results = [*sides("output.voltage", 210.0, 205.0, 5.0), reading("level.balance", 0.2)]
    assert "ms_channels" not in answers(results)
    limit = Limit(ids=("output.voltage",), unit="mV", words="line out 500 mV", low=400.0)
    assert answers(results, (limit,))["ms_channels"] == "both_low"


def test_hum_is_no_noise() -> None:
    """38 dB with the hum in it and 54 dB without: the hum is to be mended, not the noise."""
    found = answers(
        [
            *sides("noise.unweighted", 38.0, 38.0, **SILENT),
            *sides("noise.unweighted", 54.0, 54.0, **QUIET),
            *hum(-38.0, "even"),
        ]
    )
    assert found == {"ms_hum": "twice_mains"}


def test_one_line_far_up_is_no_hum() -> None:
    """What is left of an old tone may lie at a multiple of the mains by chance."""
    assert "ms_hum" not in answers(hum(-39.0, "odd", lines=1))


def test_what_both_channels_share_cancels_between_them() -> None:
    """A tolerance of 3 dB of one tape hides 8 dB on neither side of a difference."""
    shared = Contribution("tolerance of the test tape", 3.0, "shared", "one tape")
    budget = Budget((shared, Contribution("noise", 0.1, "random")))
    results = [
        Result("response.shape", "typed/1", name, budget.quantity(value, "dB"), budget)
        for name, value in (("left", 0.0), ("right", -5.0))
    ]
    assert answers(results)["ms_channels"] == "one_dull"


def test_a_limit_of_the_reading_is_no_value() -> None:
    """'At least 50 dB' may be 70: it is no poor erasure, though 60 dB are asked for."""
    assert "ms_erasure" not in answers(sides("erasure.depth", 50.0, 50.0, at__least=True))
    assert answers(sides("erasure.depth", 62.0, 63.0, at__least=True))["ms_erasure"] == "deep"


def test_two_tones_that_fit_have_to_agree() -> None:
    """As long as 3000 and 3150 Hz are open, −1.9 % may be +3.0 %."""
    either = [
        reading("speed.deviation", value, tone_hz=tone_hz, tone_undecided=True)
        for value, tone_hz in ((-1.9, 3150.0), (3.0, 3000.0))
    ]
    assert "ms_speed" not in answers([*either, STEADY])
    assert answers([either[1], either[1], STEADY])["ms_speed"] == "fast_steady"


def test_lines_are_no_waver() -> None:
    """0.2 % r.m.s. that is one line of 0.283 % peak (√2 times as much) leaves nothing over."""
    peak = Result(
        "flutter.weighted_peak", "two-sigma/1", "both", Quantity(0.3, "%", 0.01),
        lines=(Line(1.4, 0.001, 0.2 * math.sqrt(2), 0.001, 0.2),),
    )  # fmt: skip
    wow = reading("flutter.wow_rms", 0.2, used_s=60.0)
    fast = reading("flutter.flutter_rms", 0.03, used_s=60.0)
    assert answers([wow, fast])["ms_waver"] == "slow_random"
    assert answers([peak, wow, fast])["ms_waver"] == "calm"


def test_what_is_left_of_lines_is_known_by_the_law_of_propagation() -> None:
    """Rest √(0.2² − 0.2²/2·…): against JCGM 100 5.1.2 by small steps."""
    from runstrue.faults.seen import _without

    line = Line(4.0, 0.0, 0.15, 0.004, 0.15)
    got = _without(Quantity(0.2, "%", 0.006), [line], 0.1, 10.0)

    def rest(value: float, peak: float) -> float:
        return math.sqrt(value**2 - peak**2 / 2)

    step = 1e-6
    by_value = (rest(0.2 + step, 0.15) - rest(0.2 - step, 0.15)) / (2 * step)
    by_peak = (rest(0.2, 0.15 + step) - rest(0.2, 0.15 - step)) / (2 * step)
    assert got.value == pytest.approx(rest(0.2, 0.15), rel=1e-9)
    assert got.u == pytest.approx(math.hypot(by_value * 0.006, by_peak * 0.004), rel=1e-6)


def test_a_short_record_tells_no_waver() -> None:
    assert "ms_waver" not in answers([reading("flutter.wow_rms", 0.3, used_s=12.0)])


def test_the_sentence_names_reading_and_side() -> None:
    measured = Measured("", (reading("level.balance", -4.0, 0.3, lower__channel="left"),))
    (finding,) = read_findings(measured)
    assert finding.evidence.because == "the left channel is lower; left over right −4.00 dB"
    assert finding.results == measured.results


def test_what_is_right_is_no_finding_but_is_told() -> None:
    measured = Measured("", (reading("speed.deviation", 0.3), STEADY))
    assert findings_of(measured) == ()
    (cleared,) = read_findings(measured)
    assert not cleared.points
    assert cleared.evidence.answer == "right"


def test_checks_that_could_be_answered_are_known() -> None:
    vague = Measured("", (reading("speed.deviation", 1.5, 0.3), STEADY))
    assert read_findings(vague) == ()
    assert checks_read(vague) == ("ms_speed",)


def test_no_reading_no_finding() -> None:
    assert read_findings(Measured("", ())) == ()


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("sure_from: 0.9", "should stand here"),
        ("sure_from: 0.3\nrules: []", "line 1: 'sure_from' is 0.3"),
        ("check: ms_sped", "line 3: There is no check 'ms_sped'; .*did you mean 'ms_speed'"),
        ("outcome: rigt", "There is no outcome 'rigt'; .*did you mean 'right'"),
        ("{reading: speed.drft, within: 1}", "There is no quantity 'speed.drft'"),
        ("{reading: speed.drift, within: lots}", "A bound is 'lots'"),
        ("{reading: speed.drift, within: nan}", "A bound is 'nan'"),
        ("{reading: speed.drift}", "A sign that tests nothing"),
        ("{reading: speed.drift, inside: 1}", "A sign has no 'inside'"),
        ("{reading: speed.drift, between: [3, 1]}", "'between' is no range"),
        ("{reading: speed.drift, of: rest, above: 1}", "has no rest without its lines"),
        ("{parts: [wheel], above: 1}", "A kind of part is 'wheel'"),
        ("{parts: [belt]}", "needs either 'above' or 'none_above'"),
        ("because: it is {speed.deviation}", "no sign reads it"),
    ],
)  # fmt: skip
def test_a_slip_in_the_rules_is_told_with_its_line(text: str, told: str) -> None:
    with pytest.raises(DescriptionError, match=told):
        rules_of(_with(text), "mine.yaml")


def _with(slip: str) -> str:
    """A file with one rule, one of its lines replaced."""
    if slip.startswith("sure_from"):
        return slip
    lines = {
        "check": "ms_speed", "outcome": "right", "basis": "judgement",
        "signs": "[{reading: speed.drift, within: 1}]", "because: it is": "",
    }  # fmt: skip
    if slip.startswith("{"):
        lines["signs"] = f"[{slip}]"
    else:
        key, _, value = slip.partition(": ")
        lines[key] = value
    lines.setdefault("because", "it is so")
    lines.pop("because: it is")
    body = "\n    ".join(f"{key}: {value!r}" if key == "because" else f"{key}: {value}"
                         for key, value in lines.items())  # fmt: skip
    return f"sure_from: 0.9\nrules:\n  - {body}\n"


def test_every_check_that_is_measured_has_rules() -> None:
    measured = {key for key, check in read_knowledge().checks.items() if check.measures}
    assert measured == set(read_rules().checks())


def test_rules_say_on_what_they_rest() -> None:
    assert all(len(rule.basis) > 10 for rule in read_rules().rules)
