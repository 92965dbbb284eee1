"""Sizes that would give a line: worked tables of the trade's usual sizes, and a handbook's span."""

from __future__ import annotations

import math

import pytest

from runstrue.errors import InputError
from runstrue.measure.parts.sizes import (
    USUAL,
    Machine,
    PossiblePart,
    SizeKind,
    possible_parts,
    tell_apart,
)
from runstrue.quantity import Quantity

CASSETTE = Quantity(47.625, "mm/s", 0.0)
LAST_DIGIT_HZ = 0.005
"""Rates of the tables are printed to a hundredth of a Hz."""


def hz(value: float, u: float = 0.0) -> Quantity:
    return Quantity(value, "Hz", u)


def found(
    parts: tuple[PossiblePart, ...], kind: SizeKind, multiple: int = 1
) -> PossiblePart | None:
    return next((p for p in parts if p.usual.kind == kind and p.multiple == multiple), None)


def size(parts: tuple[PossiblePart, ...], kind: SizeKind, multiple: int = 1) -> Quantity:
    part = found(parts, kind, multiple)
    assert part is not None
    return part.size


# Usual sizes and their rates at 4.7625 cm/s, worked by hand: mm, once a turn, twice a turn.
CAPSTANS = [(1.5, 10.11, 20.2), (1.9, 7.98, 16.0), (2.0, 7.58, 15.2), (2.4, 6.32, 12.6),
            (2.5, 6.06, 12.1), (2.8, 5.41, 10.8), (3.0, 5.05, 10.1)]  # fmt: skip
ROLLERS = [(9, 1.68, 3.37), (10, 1.52, 3.03), (11, 1.38, 2.76), (12, 1.26, 2.53), (13, 1.17, 2.33),
           (14, 1.08, 2.17)]  # fmt: skip


@pytest.mark.parametrize(("mm", "once", "twice"), CAPSTANS)
def test_capstans_of_cassette_decks(mm: float, once: float, twice: float) -> None:
    # a rate that is off by half its last digit gives a size that is off by the same share
    parts = possible_parts(hz(once), CASSETTE)
    assert size(parts, "capstan").value == pytest.approx(mm, rel=LAST_DIGIT_HZ / once)
    parts = possible_parts(hz(twice), CASSETTE)  # these are printed to a tenth
    assert size(parts, "capstan", 2).value == pytest.approx(mm, rel=10 * LAST_DIGIT_HZ / twice)


@pytest.mark.parametrize(("mm", "once", "twice"), ROLLERS)
def test_rollers_of_cassette_decks(mm: float, once: float, twice: float) -> None:
    parts = possible_parts(hz(once), CASSETTE)
    assert size(parts, "roller").value == pytest.approx(mm, rel=LAST_DIGIT_HZ / once)
    parts = possible_parts(hz(twice), CASSETTE)
    assert size(parts, "roller", 2).value == pytest.approx(mm, rel=LAST_DIGIT_HZ / twice)


# cm/s: capstans of 5, 8, 10 and 12 mm, pinch rollers of 25, 30 and 40 mm.
OPEN_REEL = [(9.525, (6.06, 3.79, 3.03, 2.53), (1.21, 1.01, 0.76)),
             (19.05, (12.13, 7.58, 6.06, 5.05), (2.43, 2.02, 1.52)),
             (38.1, (24.26, 15.16, 12.13, 10.11), (4.85, 4.04, 3.03))]  # fmt: skip


@pytest.mark.parametrize(("cm_s", "capstans", "rollers"), OPEN_REEL)
def test_capstans_and_rollers_of_open_reel(
    cm_s: float, capstans: tuple[float, ...], rollers: tuple[float, ...]
) -> None:
    speed = Quantity(10 * cm_s, "mm/s", 0.0)
    for kind, sizes, rates in (
        ("capstan", (5, 8, 10, 12), capstans), ("roller", (25, 30, 40), rollers),
    ):  # fmt: skip
        for mm, rate in zip(sizes, rates, strict=True):
            got = size(possible_parts(hz(rate), speed, "open reel"), kind)  # type: ignore[arg-type]
            assert got.value == pytest.approx(mm, rel=LAST_DIGIT_HZ / rate)


# Playing-time tables of cassettes (C60 90 m of 18 µm, C90 135 m of 12 µm, C120 172 m of 9 µm):
# rates at the bare hub of 11 mm, at equal packs, and at the full pack.
PACKS = [(11.0, 0.689), (19.5, 0.389), (25.2, 0.300), (19.2, 0.395), (24.8, 0.306)]


@pytest.mark.parametrize(("radius_mm", "rate"), PACKS)
def test_tape_packs(radius_mm: float, rate: float) -> None:
    got = size(possible_parts(hz(rate), CASSETTE), "hub")
    # the rates are printed to 0.001 Hz, the radii to 0.1 mm
    assert got.value == pytest.approx(radius_mm, abs=0.05 + radius_mm * 0.0005 / rate)


# Main belts: flywheel mm, capstan mm, belt mm, belt speed mm/s, belt rate Hz.
BELTS = [(40, 2.0, 220, 952, 4.3), (50, 2.0, 260, 1191, 4.6), (60, 2.5, 300, 1143, 3.8),
         (70, 3.0, 330, 1111, 3.4)]  # fmt: skip


@pytest.mark.parametrize(("rim", "capstan", "belt", "speed", "rate"), BELTS)
def test_main_belts(rim: float, capstan: float, belt: float, speed: float, rate: float) -> None:
    ratio = Quantity(rim / capstan, "", 0.0)
    assert ratio.value * CASSETTE.value == pytest.approx(speed, abs=1.0)
    got = size(possible_parts(hz(rate), CASSETTE, belt_ratio=ratio), "belt")
    assert got.value == pytest.approx(belt, rel=0.05 / rate)  # rates are printed to a tenth
    # nobody knows flywheel and capstan: the interval has to hold each of these belts
    blind = size(possible_parts(hz(rate, 0.05 / math.sqrt(3)), CASSETTE), "belt")
    assert abs(blind.value - belt) < blind.expanded()


@pytest.mark.parametrize(("rpm", "rate"), [(1600, 26.7), (2000, 33.3), (2400, 40.0), (3000, 50.0)])
def test_motors(rpm: float, rate: float) -> None:
    got = size(possible_parts(hz(rate), CASSETTE), "motor")
    assert got.value == pytest.approx(rpm, abs=60 * 0.05)


def test_the_span_that_a_handbook_tells() -> None:
    """About 0.5 Hz of a full reel up to about 60 Hz of a small capstan shaft.

    Handbook for Sound Engineers, ch. 28, p. 1092: tape speed over π times diameter. At 19.05 cm/s
    0.5 Hz is a reel of some 12 cm, and at 38.1 cm/s 60 Hz is a shaft of 2 mm.
    """
    slow = possible_parts(hz(0.5), Quantity(190.5, "mm/s", 0.0), "open reel")
    assert size(slow, "hub").value == pytest.approx(60.6, abs=0.1)
    fast = possible_parts(hz(60.0), Quantity(381.0, "mm/s", 0.0), "open reel")
    assert size(fast, "capstan").value == pytest.approx(2.02, abs=0.01)


def test_mains_pulses_are_named_where_the_mains_pulse_and_nowhere_else() -> None:
    speed = Quantity(190.5, "mm/s", 0.0)
    for rate, named in ((100.0, True), (120.1, True), (110.0, False), (98.0, False)):
        got = found(possible_parts(hz(rate), speed, "open reel"), "mains")
        assert (got is not None) == named


def test_the_interval_is_that_of_all_sizes_that_fit() -> None:
    """Brute force: every rate and speed inside their rectangles, the size of each."""
    rate, speed = 6.4, 47.625
    rates = [rate - 0.05 + 0.1 * i / 400 for i in range(401)]
    speeds = [speed * (1 + 0.015 * (i - 100) / 100) for i in range(201)]
    sizes = [v / (math.pi * f) for f in rates for v in speeds]
    mean = sum(sizes) / len(sizes)
    spread = math.sqrt(sum((one - mean) ** 2 for one in sizes) / len(sizes))
    got = size(
        possible_parts(
            hz(rate, 0.05 / math.sqrt(3)), Quantity(speed, "mm/s", 0.015 * speed / math.sqrt(3))
        ), "capstan",
    )  # fmt: skip
    # second-order terms are (0.9 %)² of the size, and the grid adds 1/401 to the widths
    assert got.value == pytest.approx(mean, rel=2e-4)
    assert got.u == pytest.approx(spread, rel=0.01)


@pytest.mark.parametrize("machine", ["cassette", "open reel"])
def test_no_size_is_named_that_no_deck_has(machine: Machine) -> None:
    """From the slowest line to the fastest: what is named fits its kind."""
    speed = CASSETTE if machine == "cassette" else Quantity(190.5, "mm/s", 0.0)
    named = 0
    for step in range(200):
        line = hz(0.05 * 8000 ** (step / 199))
        for part in possible_parts(line, speed, machine):
            half = part.size.u
            if part.usual.kind == "mains":
                continue
            named += 1
            assert part.size.value + half >= 0.9 * part.usual.low
            assert part.size.value - half <= 1.1 * part.usual.high
            assert part.rate.value * part.multiple == pytest.approx(line.value)
            assert part in possible_parts(line, speed, machine)
    assert named > 300


def test_a_size_beyond_what_is_usual_is_named_as_such() -> None:
    small = found(possible_parts(hz(47.625 / (math.pi * 4.7)), CASSETTE), "guide")
    assert small is not None
    assert small.fit == "small"
    large = found(possible_parts(hz(47.625 / (math.pi * 3.2)), CASSETTE), "capstan")
    assert large is not None
    assert large.fit == "large"
    assert found(possible_parts(hz(47.625 / (math.pi * 3.4)), CASSETTE), "capstan") is None


def test_tests_are_told_for_what_is_there_and_the_easy_ones_first() -> None:
    parts = possible_parts(hz(6.4, 0.03), CASSETTE)
    told = tell_apart(parts)
    assert {kind for one in told for kind in one.kinds} == {one.usual.kind for one in parts}
    inside = [one.needs_cover_off for one in told]
    assert inside == sorted(inside)
    capstan = next(one for one in told if "capstan" in one.kinds)
    assert "64 times in 10 s" in capstan.then  # 6.4 Hz for 10 s


def test_every_kind_has_a_test() -> None:
    for machine, speed in (("cassette", 47.625), ("open reel", 190.5)):
        kinds = {one.kind for one in USUAL[machine]}  # type: ignore[index]
        seen = {
            kind
            for step in range(400)
            for one in tell_apart(
                possible_parts(
                    hz(0.06 * 6000 ** (step / 399)), Quantity(speed, "mm/s", 0.0),
                    machine,  # type: ignore[arg-type]
                )
            )
            for kind in one.kinds
        }  # fmt: skip
        assert seen | {"mains"} == kinds | {"mains"}


@pytest.mark.parametrize(
    ("line", "speed", "ratio"),
    [
        (hz(0.01), CASSETTE, None),
        (hz(900.0), CASSETTE, None),
        (Quantity(6.4, "rpm", 0.0), CASSETTE, None),
        (hz(6.4), Quantity(0.0, "mm/s", 0.0), None),
        (hz(6.4), Quantity(4762.5, "mm/s", 0.0), None),
        (hz(6.4), CASSETTE, Quantity(0.04, "", 0.0)),
    ],
)
def test_what_cannot_be_is_refused(line: Quantity, speed: Quantity, ratio: Quantity | None) -> None:
    with pytest.raises(InputError, match=r"(was|were) given; .* needed|parts of a transport turn"):
        possible_parts(line, speed, belt_ratio=ratio)
