"""Rates of every part: worked tables of the trade's usual sizes, brute force, the virtual deck."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping

import numpy as np
import pytest

from runstrue.errors import DescriptionError, InputError
from runstrue.transport import Transport, Turning, parse_transport, rates_at, turnings
from runstrue.transport.belt_path import Pulley, belt_path
from runstrue.transport.examples import example, example_text
from runstrue.transport.rates import side_lasts_s, study, turnings_of
from runstrue.transport.simple import simple_transport
from runstrue.virtualdeck import presets

HALF_DIGIT = 0.5000001


def by_id(transport: Transport, speed: str = "") -> Mapping[str, Turning]:
    return {one.id: one for one in turnings(transport, speed)}


def rate(transport: Transport, part: str, speed: str = "") -> float:
    return by_id(transport, speed)[part].rate.value


# f = v / (π d) worked for usual sizes: diameter mm, Hz, rpm.
CAPSTANS = [(1.5, 10.11, 606), (1.9, 7.98, 479), (2.0, 7.58, 455), (2.4, 6.32, 379),
            (2.5, 6.06, 364), (2.8, 5.41, 325), (3.0, 5.05, 303)]  # fmt: skip
PINCH = [(9, 1.68), (10, 1.52), (11, 1.38), (12, 1.26), (13, 1.17), (14, 1.08)]
# cm/s: capstans of 5, 8, 10 and 12 mm, pinch rollers of 25, 30 and 40 mm.
OPEN_REEL = {
    "9.525 cm/s": ((6.06, 3.79, 3.03, 2.53), (1.21, 1.01, 0.76)),
    "19.05 cm/s": ((12.13, 7.58, 6.06, 5.05), (2.43, 2.02, 1.52)),
    "38.1 cm/s": ((24.26, 15.16, 12.13, 10.11), (4.85, 4.04, 3.03)),
}


@pytest.mark.parametrize(("mm", "hz", "rpm"), CAPSTANS)
def test_cassette_capstans(mm: float, hz: float, rpm: float) -> None:
    found = rate(simple_transport(capstan=f"{mm} mm"), "capstan")
    assert found == pytest.approx(hz, abs=0.01 * HALF_DIGIT)
    assert found * 60 == pytest.approx(rpm, abs=HALF_DIGIT)


@pytest.mark.parametrize(("mm", "hz"), PINCH)
def test_cassette_rollers(mm: float, hz: float) -> None:
    found = rate(simple_transport(roller=f"{mm} mm"), "pinch-roller")
    assert found == pytest.approx(hz, abs=0.01 * HALF_DIGIT)


@pytest.mark.parametrize("speed", OPEN_REEL)
def test_open_reel_capstans_and_rollers(speed: str) -> None:
    capstans, rollers = OPEN_REEL[speed]
    for mm, hz in zip((5, 8, 10, 12), capstans, strict=True):
        found = rate(simple_transport(speed=speed, capstan=f"{mm} mm"), "capstan")
        assert found == pytest.approx(hz, abs=0.01 * HALF_DIGIT)
    for mm, hz in zip((25, 30, 40), rollers, strict=True):
        found = rate(simple_transport(speed=speed, roller=f"{mm} mm"), "pinch-roller")
        assert found == pytest.approx(hz, abs=0.01 * HALF_DIGIT)


def test_guide_rollers_of_a_cassette_shell() -> None:
    # usual sizes 5 to 8 mm: 1.9 to 3.0 Hz
    assert rate(simple_transport(roller="8 mm"), "pinch-roller") == pytest.approx(1.9, abs=0.05)
    assert rate(simple_transport(roller="5 mm"), "pinch-roller") == pytest.approx(3.0, abs=0.05)


# Direct-drive capstans on mains motors that give 19.05 and 38.1 cm/s: mains, poles, mm, mm.
DIRECT = [(50, 4, 2.43, 4.85), (60, 4, 2.02, 4.04), (50, 6, 3.64, 7.28), (50, 8, 4.85, 9.70),
          (60, 8, 4.04, 8.09)]  # fmt: skip


@pytest.mark.parametrize(("mains", "poles", "slow", "fast"), DIRECT)
def test_the_capstan_of_a_mains_motor_follows(
    mains: int, poles: int, slow: float, fast: float
) -> None:
    for speed, mm in (("19.05 cm/s", slow), ("38.1 cm/s", fast)):
        found = study(_direct(speed, mains, poles)).values["capstan.capstan"].value
        assert found == pytest.approx(mm, abs=0.01 * HALF_DIGIT)


def _direct(speed: str, mains: int, poles: int, capstan: str = "unknown") -> Transport:
    return parse_transport(f"""
        name = "direct"
        speed = "{speed}"
        [shaft.capstan]
        capstan = "{capstan}"
        motor = {{ kind = "synchronous", mains = "{mains} Hz", poles = {poles} }}
        """, "direct.toml")  # fmt: skip


# 120 f / poles turns a minute.
@pytest.mark.parametrize(
    ("mains", "poles", "rpm"),
    [(50, 4, 1500), (60, 4, 1800), (50, 6, 1000), (60, 6, 1200), (50, 8, 750), (60, 8, 900)],
)
def test_mains_motors(mains: int, poles: int, rpm: int) -> None:
    turned = by_id(_direct("unknown", mains, poles))
    assert turned["capstan"].rate.value * 60 == pytest.approx(rpm, rel=1e-12)
    pulses = turned["capstan-mains"]
    assert pulses.rate.value == pytest.approx(2 * mains, rel=1e-12)
    assert not pulses.follows_tape


@pytest.mark.parametrize(("made", "fed", "percent"), [(60, 50, -16.7), (50, 60, 20.0)])
def test_the_other_mains_frequency(made: int, fed: int, percent: float) -> None:
    # a set with a mains-locked motor: 16.7 % slow or 20 % fast
    sized = study(_direct("19.05 cm/s", made, 4)).values["capstan.capstan"].value
    found = study(_direct("unknown", fed, 4, f"{sized:.6f} mm")).values["tape"].value
    # the diameter is written with six decimals: 2 · 10⁻⁷ of it
    assert 100 * (found / 190.5 - 1) == pytest.approx(percent, abs=0.1 * HALF_DIGIT)


def test_an_induction_motor_slips() -> None:
    text = """
        name = "slipping"
        [shaft.motor]
        motor = { kind = "induction", mains = "50 Hz", poles = 4, slip = "4 %" }
        """
    assert rate(parse_transport(text, "a.toml"), "motor") == pytest.approx(24.0, rel=1e-12)
    usual = study(parse_transport(text.replace(', slip = "4 %"', ""), "a.toml"))
    assert usual.values["rate.motor"].value == pytest.approx(24.25, rel=1e-12)
    assert usual.equations.remarks == ("slip of the motor, 3 ± 3 %",)


# Flywheel rim, capstan, belt's running length mm; belt mm/s and Hz; motor pulley mm for 2400 rpm.
BELTS = [(40, 2.0, 220, 952, 4.3, 7.6), (50, 2.0, 260, 1191, 4.6, 9.5),
         (60, 2.5, 300, 1143, 3.8, 9.1), (70, 3.0, 330, 1111, 3.4, 8.8)]  # fmt: skip


@pytest.mark.parametrize("row", BELTS)
def test_belts_and_their_motor_pulleys(row: tuple[float, ...]) -> None:
    rim, capstan, length, speed, hz, pulley = row
    found = study(parse_transport(f"""
        name = "belt"
        speed = "1 7/8 in/s"
        [shaft.capstan]
        capstan = "{capstan} mm"
        wheels.flywheel = {{ running = "{rim} mm" }}
        [shaft.motor]
        motor = {{ speed = "2400 rpm" }}
        wheels.pulley = {{ running = "unknown", diameter = "unknown" }}
        [belt.main]
        over = ["motor", "capstan"]
        thickness = "1.0 mm"
        length = "{length} mm"
        """, "belt.toml"))  # fmt: skip
    assert found.values["speed.main"].value == pytest.approx(speed, abs=HALF_DIGIT)
    assert found.values["belt-rate.main"].value == pytest.approx(hz, abs=0.1 * HALF_DIGIT)
    running = found.values["running.main.motor.pulley"].value
    assert running == pytest.approx(pulley, abs=0.1 * HALF_DIGIT)
    assert found.values["diameter.motor.pulley"].value == pytest.approx(running - 1, rel=1e-12)


# Motor pulley, flywheel, thickness before and after, mm; change of the tape speed in %.
THICKER = [(8, 50, 0.5, 0.6, 0.98), (10, 60, 0.5, 0.6, 0.79), (6, 45, 0.7, 0.8, 1.27),
           (8, 50, 1.0, 1.2, 1.82)]  # fmt: skip


@pytest.mark.parametrize(("pulley", "rim", "before", "after", "percent"), THICKER)
def test_a_thicker_belt_runs_faster(
    pulley: float, rim: float, before: float, after: float, percent: float
) -> None:
    """The tape speed follows where it is the only thing that is open."""
    speeds = [
        study(simple_transport(
            speed="unknown", capstan="2.4 mm", flywheel=f"{rim} mm", motor_pulley=f"{pulley} mm",
            motor_speed="2400 rpm", belt_thickness=f"{thickness} mm",
        )).values["tape"].value
        for thickness in (before, after)
    ]  # fmt: skip
    # The table is of first order, dt (1/(d+t) − 1/(D+t)); the next one is −dt²/(d+t)² and less:
    # (0.2/9)² = 0.05 % at the most here.
    second_order = 100 * ((after - before) / (pulley + before)) ** 2
    found = 100 * (speeds[1] / speeds[0] - 1)
    assert found == pytest.approx(percent, abs=0.01 * HALF_DIGIT + second_order)


def test_a_string_in_the_grooves_is_shorter_than_the_middle_of_the_belt() -> None:
    # for any simple loop by π times the thickness
    text = simple_text_with('length = "unknown"', 'string = "300 mm"')
    found = study(parse_transport(text, "a.toml")).values["length.main-belt"]
    assert found.value == pytest.approx(300 + math.pi * 1.2, rel=1e-12)


def simple_text_with(line: str, instead: str) -> str:
    from runstrue.transport.simple import simple_text

    text = simple_text(capstan="2.4 mm", flywheel="60 mm", belt_thickness="1.2 mm")
    assert line in text
    return text.replace(line, instead)


def test_a_reel_gear_and_a_three_slot_motor() -> None:
    # 40 teeth at 0.4 Hz are 16 Hz; three slots under two poles pulse six times a turn
    turned = by_id(parse_transport("""
        name = "gear"
        [shaft.reel]
        rate = "0.4 Hz"
        wheels.gear = { teeth = 40 }
        [shaft.counter]
        wheels.gear = { teeth = 10 }
        [gears.counter-gears]
        between = ["reel", "counter"]
        [shaft.motor]
        motor = { speed = "2400 rpm", segments = 3, poles = 2 }
        """, "gear.toml"))  # fmt: skip
    assert turned["counter-gears"].rate.value == pytest.approx(16.0, rel=1e-12)
    assert turned["counter"].rate.value == pytest.approx(1.6, rel=1e-12)
    assert turned["motor-commutation"].rate.value == pytest.approx(240.0, rel=1e-12)
    assert turned["motor-commutation"].follows_tape


@pytest.mark.parametrize(
    ("segments", "poles", "times"), [(3, 2, 6), (5, 2, 10), (7, 2, 14), (4, 2, 4), (12, 8, 24)]
)
def test_how_often_a_motor_pulses_in_a_turn(segments: int, poles: int, times: int) -> None:
    """Count the turns of the rotor at which a segment stands under a pole, in fine steps."""
    turned = by_id(parse_transport(
        f'name = "m"\n[shaft.m]\nmotor = {{ speed = "60 rpm", segments = {segments}, '
        f"poles = {poles} }}", "m.toml"))  # fmt: skip
    meetings = {
        round((pole / poles - segment / segments) % 1 * 1e9)
        for segment in range(segments)
        for pole in range(poles)
    }
    assert len(meetings) == times
    assert turned["m-commutation"].rate.value == pytest.approx(times, rel=1e-12)


def test_the_example_is_the_virtual_deck() -> None:
    turned = by_id(example("one-belt"))
    for part, hz in (
        ("capstan", presets.rate_of(presets.CAPSTAN_MM)),
        ("main-belt", presets.belt_rate()),
        ("pinch-roller", presets.rate_of(presets.ROLLER_MM)),
        ("guide-rollers", presets.rate_of(presets.GUIDE_MM)),
        ("motor", presets.MOTOR_HZ),
    ):
        assert turned[part].rate.value == pytest.approx(hz, rel=1e-12), part
    pack = turned["take-up-hub"].pack
    assert pack is not None
    assert (pack.empty_radius.value, pack.thickness.value) == (11.0, presets.TAPE_UM)
    off = {one.turning.id: one.rate.value for one in rates_at(tuple(turned.values()), 0.25)}
    assert off["main-belt"] == pytest.approx(presets.belt_rate(0.25), rel=1e-12)
    assert off["motor"] == pytest.approx(presets.MOTOR_HZ * 1.0025, rel=1e-12)


def test_uncertainties_are_those_of_many_decks() -> None:
    """Draw all sizes many times, and work the rates out by hand for each."""
    text = simple_text_with('length = "unknown"', 'length = "300±3 mm"')
    for line, size in (("capstan", "2.40±0.03"), ("wheels.flywheel", "60.0±0.2")):
        head = next(one for one in text.splitlines() if one.startswith(f"{line} ="))
        text = text.replace(head, f'{line} = "{size} mm"')
    text = text.replace('wheels.motor-pulley = "unknown"', 'wheels.motor-pulley = "9.0±0.1 mm"')
    text = text.replace('thickness = "1.2 mm"', 'thickness = "1.2±0.1 mm"')
    turned = by_id(parse_transport(text, "many.toml"))
    random = np.random.default_rng(11)
    draws = 200_000

    def size(value: float, half: float) -> np.ndarray:
        return value + half * random.uniform(-1, 1, draws)

    capstan = 47.625 / (math.pi * size(2.4, 0.03))
    thickness, rim = size(1.2, 0.1), size(60, 0.2)
    belt = math.pi * (rim + thickness) * capstan
    motor = belt * size(1.0, 0.01) / (math.pi * (size(9, 0.1) + thickness))
    # 1/√(4 · 10⁵) = 0.16 % of the standard deviation by chance (less for rectangles), and second
    # order about (0.1/10)²; four times the first.
    for part, rates in (("capstan", capstan), ("main-belt", belt / size(300, 3)),
                        ("motor", motor)):  # fmt: skip
        assert turned[part].rate.u == pytest.approx(float(rates.std()), rel=0.008), part
        assert turned[part].rate.value == pytest.approx(float(rates.mean()), rel=3e-4), part
    shares = dict(turned["motor"].scale_shares)
    assert turned["motor"].rate.u / turned["motor"].rate.value == pytest.approx(
        math.sqrt(sum(share**2 for share in shares.values())), rel=1e-12
    )
    # what two parts share moves them together: their ratio does not know the capstan
    ratio = (motor / capstan).std() / (motor / capstan).mean()
    other = dict(turned["capstan"].scale_shares)
    difference = {name: shares.get(name, 0) - other.get(name, 0) for name in shares | other}
    assert math.sqrt(sum(one**2 for one in difference.values())) == pytest.approx(
        float(ratio), rel=0.008
    )


def test_the_uncertainty_of_what_is_left_over_is_that_of_many_decks() -> None:
    """A motor pulley that follows: drawn sizes, and the sum of hand for each."""
    text = simple_text_with('speed = "unknown"', 'speed = "2400±20 rpm"')
    for line, size in (("capstan", "2.40±0.03"), ("wheels.flywheel", "60.0±0.2")):
        head = next(one for one in text.splitlines() if one.startswith(f"{line} ="))
        text = text.replace(head, f'{line} = "{size} mm"')
    text = text.replace('thickness = "1.2 mm"', 'thickness = "1.20±0.30 mm"')
    found = study(parse_transport(text, "many.toml")).values["diameter.motor.motor-pulley"]
    random = np.random.default_rng(12)
    draws = 200_000

    def size(value: float, half: float) -> np.ndarray:
        return value + half * random.uniform(-1, 1, draws)

    thickness = size(1.2, 0.3)
    capstan = 47.625 / (math.pi * size(2.4, 0.03))
    motor = size(40, 1 / 3) * size(1, 0.02)
    running = (size(60, 0.2) + thickness) * capstan / (motor * size(1.0, 0.01))
    pulley = running - thickness
    # by chance 0.16 % and less; second order (0.02)² of 9.7 mm, 0.04 % of the pulley
    assert found.relative_u * found.value == pytest.approx(float(pulley.std()), rel=0.008)
    assert found.value == pytest.approx(float(pulley.mean()), rel=1e-3)


def _with_sure_places_and_unsure_wheels() -> Transport:
    text = re.sub(r'at = \["(\S+) mm", "(\S+) mm"\]', r'at = ["\1±0.001 mm", "\2±0.001 mm"]',
                  example_text("dual-capstan"))  # fmt: skip
    text = re.sub(r'flywheel = "(\S+)±0.1 mm"', r'flywheel = "\1±0.8 mm"', text)
    return parse_transport(text, "sure.toml")


@pytest.mark.parametrize(
    "transport",
    [example("three-belts"), example("dual-capstan"), _with_sure_places_and_unsure_wheels()],
    ids=["three-belts", "dual-capstan", "sure places"],
)
def test_the_uncertainty_of_a_belts_way_is_that_of_many_decks(transport: Transport) -> None:
    """Move axes and diameters at random and lay the belt anew each time."""
    values = study(transport).values
    belt = next(one for one in transport.belts if one.id in ("counter-belt", "main-belt")
                and one.string is None)  # fmt: skip
    random = np.random.default_rng(13)
    thickness = values[f"thickness.{belt.id}"]
    wheels = [transport.wheel(wheel) for wheel in belt.over]
    lengths = []
    for _ in range(4000):
        drawn = []
        thick = thickness.value * (1 + thickness.relative_u * random.normal())
        for shaft, wheel in wheels:
            assert shaft.place is not None
            assert wheel.diameter is not None
            x, y = (one.value + one.u * random.normal() for one in shaft.place)
            diameter = wheel.diameter.value + wheel.diameter.u * random.normal()
            side = -1 if wheel.id in belt.outside else 1
            drawn.append(Pulley(x, y, diameter / 2, side))
        lengths.append(belt_path(drawn, thick).length_mm)
    found = values[f"length.{belt.id}"]
    # 1/√8000 = 1.1 % of the standard deviation by chance: four times that
    assert found.relative_u * found.value == pytest.approx(float(np.std(lengths)), rel=0.045)
    assert found.value == pytest.approx(float(np.mean(lengths)), abs=0.1)


@pytest.mark.parametrize(("counted", "plate", "hz"), [("0.01", "3", 6.3), ("0.5", "0.01", 6.5)])
def test_the_surest_way_is_taken(counted: str, plate: str, hz: float) -> None:
    text = f"""
        name = "two ways"
        [shaft.capstan]
        capstan = "2.4 mm"
        rate = "6.30±{counted} Hz"
        motor = {{ speed = "6.50±{plate} Hz" }}
        """
    assert rate(parse_transport(text, "a.toml"), "capstan") == pytest.approx(hz, rel=1e-12)


def test_a_larger_capstan_turns_more_slowly() -> None:
    shares = dict(by_id(simple_transport(capstan="2.40 mm"))["capstan"].scale_shares)
    assert shares["capstan diameter"] < 0


def test_places_on_wheels_are_runout_over_radius() -> None:
    # 1 µm on a capstan of 2 mm makes ±0.1 %: 10 µm make 1 %
    (place,) = by_id(simple_transport(capstan="2.0 mm"))["capstan"].places
    assert place.um_per_percent.value == pytest.approx(10.0, rel=1e-12)
    turned = by_id(example("one-belt"))
    assert [one.name for one in turned["capstan"].places] == ["capstan", "flywheel"]
    assert turned["capstan"].places[1].um_per_percent.value == pytest.approx(300.0, rel=1e-9)


def test_only_what_lies_between_motor_and_capstan_has_a_place() -> None:
    with_places = {one.id for one in turnings(example("three-belts")) if one.places}
    assert with_places == {"capstan", "motor", "main-belt"}
    assert {one.id for one in turnings(example("two-motors")) if one.places} == {
        "capstan", "capstan-motor", "main-belt",
    }  # fmt: skip
    both = {one.id for one in turnings(example("dual-capstan")) if one.places}
    assert both == {"take-up-capstan", "supply-capstan", "motor", "main-belt"}


def test_the_place_of_an_idler_counts_both_its_sides() -> None:
    """Let the rim of an idler be off its axis, and follow the speed from rim to rim."""
    transport = example("idler-drive")
    (place,) = by_id(transport, "slow")["slow-idler"].places
    centre, motor = (-41.5, -11.3), (-61.4, -20.6)
    angles = [math.atan2(y - centre[1], x - centre[0]) for x, y in (motor, (0.0, 0.0))]
    runout = 0.001
    turn = np.linspace(0, 2 * math.pi, 100_001)
    inside, outside = (18.0 + runout * np.cos(turn - angle) for angle in angles)
    swing = 100 * np.ptp(outside / inside) / 2
    # second order: runout over radius, 6 · 10⁻⁵
    assert runout * 1000 / swing == pytest.approx(place.um_per_percent.value, rel=2e-4)
    (free,) = by_id(transport, "fast")["fast-idler"].places
    for angle in (90, 135, 180):
        sure = 180 / (2 * math.sin(math.radians(angle) / 2))
        assert abs(sure - free.um_per_percent.value) <= math.sqrt(3) * free.um_per_percent.u


def test_the_place_of_a_belt_holds_every_way_round() -> None:
    """Send a thick place round, from pulley to flywheel in any time, and read the tape's swing."""
    (place,) = by_id(example("one-belt"))["main-belt"].places
    small, large, swing_mm = 9.4747, 60.0, 0.001
    turn = np.linspace(0, 2 * math.pi, 4001)
    found = []
    for delay in np.linspace(0, 2 * math.pi, 25):
        ratio = (small + swing_mm * np.sin(turn)) / (large + swing_mm * np.sin(turn - delay))
        found.append(swing_mm * 1000 / (100 * np.ptp(ratio / (small / large)) / 2))
    reach = math.sqrt(3) * place.um_per_percent.u
    # as the sum of both, 1 / (1 + a) goes less far than 1 + a does: one more a², a = small / large
    slack = place.um_per_percent.value * (small / large) ** 2 * 1.25
    assert min(found) >= place.um_per_percent.value - reach - 1e-6
    assert max(found) <= place.um_per_percent.value + reach + slack
    assert max(found) > place.um_per_percent.value > min(found)


def test_a_measured_speed_moves_what_follows_the_tape() -> None:
    turned = turnings(example("open-reel"), "19 cm/s")
    still = {one.turning.id: one.rate for one in rates_at(turned)}
    fast = {one.turning.id: one.rate for one in rates_at(turned, 2.0)}
    assert fast["capstan"].value == pytest.approx(1.02 * still["capstan"].value, rel=1e-12)
    assert fast["motor-mains"] == still["motor-mains"]
    assert {one.kind for one in turned if not one.follows_tape} == {"pulses"}


def test_hubs_slide_over_the_side() -> None:
    turned = turnings(example("one-belt"))
    lasts = side_lasts_s(turned)
    assert lasts == pytest.approx(135_000 / 47.625, rel=1e-12)
    assert lasts is not None
    # a C90 with a hub of 11 mm: 0.689 Hz empty, 0.300 Hz full, 0.389 Hz with equal packs
    for played, up, down in ((0, 0.689, 0.300), (lasts / 2, 0.389, 0.389), (lasts, 0.300, 0.689)):
        rows = {one.turning.id: one.rate.value for one in rates_at(turned, 0.0, played)}
        assert rows["take-up-hub"] == pytest.approx(up, abs=5e-4)
        assert rows["supply-hub"] == pytest.approx(down, abs=5e-4)
    with pytest.raises(InputError, match="are there on this tape"):
        rates_at(turned, 0.0, lasts + 60)
    with pytest.raises(InputError, match="off nominal"):
        rates_at(turned, -100.0)


def test_whatever_hangs_on_a_hub_slides_with_it() -> None:
    packs = {one.id: one.pack.side for one in turnings(example("three-belts")) if one.pack}
    assert packs == {"take-up-spindle": "take-up", "counter": "take-up",
                     "counter-belt": "take-up", "supply-hub": "supply"}  # fmt: skip


def test_two_speeds_are_two_gearings() -> None:
    reel = example("idler-drive")
    slow, fast = by_id(reel, "slow"), by_id(reel, "fast")
    assert fast["capstan"].rate.value == pytest.approx(2 * slow["capstan"].rate.value, rel=1e-12)
    assert "slow-idler" in slow
    assert "slow-idler" not in fast
    # the step on the motor's shaft is twice as large, so the motor runs as before
    assert fast["motor"].rate.value == pytest.approx(slow["motor"].rate.value, rel=1e-12)
    assert by_id(reel, "19.05").keys() == fast.keys()
    with pytest.raises(DescriptionError, match="has 2 speeds; one of 'slow', 'fast' is needed"):
        turnings(reel)
    with pytest.raises(DescriptionError, match="has no speed '38'"):
        turnings(reel, "38")


def test_nothing_follows_from_nothing() -> None:
    assert turnings(parse_transport('name = "empty"', "a.toml")) == ()
    unknown = parse_transport('name = "a"\n[shaft.capstan]\ncapstan = "2.4 mm"', "a.toml")
    assert turnings(unknown) == ()
    assert turnings_of(study(unknown)) == ()


def test_the_third_of_hub_length_and_thickness_follows_from_a_full_pack() -> None:
    # C90: 135 m of 12 µm on 11 mm fill 25.2 mm (25.23)
    full = 2 * math.sqrt(11**2 + 135_000 * 0.012 / math.pi)
    for given, open_size, expected in (
        ('length = "135 m"', "thickness", 12.0), ('thickness = "12 µm"', "length", 135.0)
    ):  # fmt: skip
        text = f'name = "a"\nspeed = "4.76 cm/s"\n[tape]\nhub = "22 mm"\nfull = "{full:.6f} mm"\n'
        pack = by_id(parse_transport(text + given, "a.toml"))["take-up-hub"].pack
        assert pack is not None
        found = pack.thickness if open_size == "thickness" else pack.length
        assert found.value == pytest.approx(expected, rel=1e-6)
