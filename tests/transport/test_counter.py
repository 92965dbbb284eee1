"""The counter's law held against worked values, a sum turn by turn, and a library's least squares.

Worked values: spiral taken as an area, t = (2π r₀ n + π h n²) / v, for hub radius 11 mm, tape
12 µm, 47.625 mm/s (1 7/8 in/s): 60 s → 40.45 turns, 600 s → 347.55, 1350 s → 678.87, 2700 s →
1145.17 (calculated outside of this program, to the digits given).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest
from scipy.optimize import curve_fit
from scipy.stats import chi2

from runstrue.errors import InputError
from runstrue.quantity import Quantity
from runstrue.transport.chi_square import chance_above, quantile
from runstrue.transport.counter import Fit, Pair, fit_counter
from runstrue.transport.counter_constants import (
    Constants,
    Reeled,
    cassette,
    constants_of,
    law_for,
    speed_off,
)
from runstrue.transport.counter_table import counter_table

SPEED = 47.625
WORKED = ((40.45, 60.0), (347.55, 600.0), (678.87, 1350.0), (1145.17, 2700.0))
EXACT_SPEED = Quantity(SPEED, "mm/s", 0.0)


@dataclass(frozen=True)
class Machine:
    """A deck with its tape, wound turn by turn: no formula of the program's is in it."""

    hub_mm: float = 11.0
    thick_mm: float = 0.012
    length_mm: float = 128_587.5  # 45 min
    turns_a_count: float = 1.0
    reel: str = "take-up"
    speed: float = SPEED

    def time_s(self, count: float) -> float:
        """Add up the circumference of every layer, half a thickness above the one below."""
        turns = count * self.turns_a_count
        radius = self.hub_mm + self.thick_mm / 2
        step = self.thick_mm
        if self.reel == "supply":
            full = math.sqrt(self.hub_mm**2 + self.thick_mm * self.length_mm / math.pi)
            radius, step = full - self.thick_mm / 2, -self.thick_mm
        tape_mm = 0.0
        for _ in range(int(turns)):
            tape_mm += 2 * math.pi * radius
            radius += step
        return (tape_mm + 2 * math.pi * radius * (turns - int(turns))) / self.speed

    def pairs(self, *counts: float) -> list[Pair]:
        return [Pair(count, self.time_s(count)) for count in counts]


def test_the_worked_values_are_one_law_with_the_terms_of_their_geometry() -> None:
    fit = fit_counter([Pair(*one) for one in WORKED])
    # The counts are rounded to 0.005, which is 0.016 s where a turn is 3.26 s.
    assert max(abs(off) for off in fit.off_s) < 0.02
    law = fit.law
    assert law.per_count.value == pytest.approx(2 * math.pi * 11 / SPEED, abs=1e-4)
    assert law.per_count_squared.value == pytest.approx(math.pi * 0.012 / SPEED, rel=2e-4)
    assert law.reel == "take-up"
    assert fit.fits
    for count, time_s in WORKED:
        assert law.played(count).value == pytest.approx(time_s, abs=0.02)
        assert law.count_at(time_s).value == pytest.approx(count, abs=0.011)


# Tape (name, hub 11 mm): thickness in µm, turns a side, and minutes of one side, calculated outside
# of this program by the same formula; lengths are 47.625 mm/s times the nominal time.
TABLE = [("C60", 18.0, 763.0, 30), ("C60", 16.0, 788.0, 30), ("C90", 12.0, 1145.0, 45),
         ("C90", 11.0, 1173.0, 45), ("C120", 9.0, 1527.0, 60)]  # fmt: skip


@pytest.mark.parametrize(("name", "thick_um", "turns", "minutes"), TABLE)
def test_other_cassettes_follow_from_the_deck(
    name: str, thick_um: float, turns: float, minutes: int
) -> None:
    # From a deck that was fitted with a C90 of 12 µm alone.
    fit = fit_counter([Pair(*one) for one in WORKED])
    constants = constants_of(fit, EXACT_SPEED, hub_diameter=Quantity(22.0, "mm", 0.0))
    tape = Reeled(
        name, Quantity(SPEED * 60 * minutes, "mm", 0.0), Quantity(thick_um / 1000, "mm", 0.0)
    )
    law = law_for(constants, tape, 0.5)
    assert law.whole is not None
    assert law.whole.value == pytest.approx(60 * minutes)
    end = law.middle_end()
    assert end is not None
    assert end == pytest.approx(turns, abs=0.6)  # the table gives whole turns
    # Share of the side at a quarter, half and three quarters of the turns: about 18, 41, 68 %.
    shares = [law.played(part * end).value / (60 * minutes) for part in (0.25, 0.5, 0.75)]
    expected = {18.0: (17.8, 40.4, 67.8), 16.0: (18.2, 40.9, 68.2), 12.0: (17.8, 40.4, 67.8),
                11.0: (18.1, 40.8, 68.1), 9.0: (17.8, 40.4, 67.8)}[thick_um]  # fmt: skip
    assert [100 * share for share in shares] == pytest.approx(expected, abs=0.06)


@pytest.mark.parametrize("reel", ["take-up", "supply"])
@pytest.mark.parametrize("turns_a_count", [1.0, 0.53, 2.2])
def test_a_tape_wound_turn_by_turn_is_met_to_a_tenth_of_a_second(
    reel: str, turns_a_count: float
) -> None:
    machine = Machine(reel=reel, turns_a_count=turns_a_count)
    counts = [part * 1100 / turns_a_count for part in (0.2, 0.5, 0.8, 1.0)]
    fit = fit_counter(machine.pairs(*counts))
    assert fit.law.reel == reel
    # A spiral of whole layers is off the area by less than a quarter of one layer's growth in
    # each turn: π h / 4 / v = 0.2 ms.
    for part in (0.1, 0.37, 0.66, 0.95):
        count = part * 1100 / turns_a_count
        assert fit.law.played(count).value == pytest.approx(machine.time_s(count), abs=0.001)
    tape = Reeled("C90", Quantity(machine.length_mm, "mm", 1e-3), Quantity(0.012, "mm", 1e-9))
    constants = constants_of(fit, EXACT_SPEED, tape=tape)
    assert constants.hub_diameter.value == pytest.approx(22.0, abs=1e-3)
    assert constants.turns_a_count.value == pytest.approx(turns_a_count, rel=1e-4)


def test_one_deck_tells_the_other_cassette_on_the_supply_reel_too() -> None:
    ninety = Machine(reel="supply", turns_a_count=0.8)
    tape = Reeled("C90", Quantity(ninety.length_mm, "mm", 1e-3), Quantity(0.012, "mm", 1e-9))
    fit = fit_counter(ninety.pairs(200, 600, 1000, 1300))
    constants = constants_of(fit, EXACT_SPEED, tape=tape)
    sixty = Machine(reel="supply", turns_a_count=0.8, thick_mm=0.018, length_mm=85_725)
    other = Reeled("C60", Quantity(85_725, "mm", 0.0), Quantity(0.018, "mm", 0.0))
    law = law_for(constants, other, 0.5)
    for count in (100.0, 450.0, 900.0):
        assert law.played(count).value == pytest.approx(sixty.time_s(count), abs=0.05)


@pytest.mark.parametrize("zeroed", [True, False])
def test_terms_and_covariance_are_those_of_a_librarys_weighted_least_squares(zeroed: bool) -> None:
    generator = np.random.default_rng(7)
    counts = np.array([90.0, 230, 410, 640, 900, 1120])
    times = np.array([one.time_s for one in Machine().pairs(*counts)])
    times += generator.normal(0, 0.7, counts.size) + (0.0 if zeroed else 25.0)
    fit = fit_counter(
        [Pair(*one) for one in zip(counts.tolist(), times.tolist(), strict=True)], zeroed=zeroed
    )

    def bent(count: np.ndarray, a: float, b: float) -> np.ndarray:
        return a * count + b * count**2

    def shifted(count: np.ndarray, offset: float, a: float, b: float) -> np.ndarray:
        return offset + a * count + b * count**2

    start = (1.4, 8e-4) if zeroed else (20.0, 1.4, 8e-4)
    model: Callable[..., np.ndarray] = bent if zeroed else shifted
    found, covariance = curve_fit(
        model, counts, times, p0=start, sigma=np.array(fit.u_s), absolute_sigma=True
    )
    first = 1 if zeroed else 0
    assert fit.law.terms[first:3] == pytest.approx(found, rel=1e-5)
    np.testing.assert_allclose(fit.law.covariance[first:3, first:3], covariance, rtol=1e-4)
    # u of a pair: 1 s and half a count, each rectangular (JCGM 100:2008, 4.3.7).
    slopes = [fit.law.seconds_a_count(count) for count in counts]
    expected = [math.sqrt((1 + (slope / 2) ** 2) / 3) for slope in slopes]
    assert fit.u_s == pytest.approx(expected, rel=1e-4)


def noisy(machine: Machine, seed: int, counts: tuple[float, ...]) -> Fit:
    """Read a counter in whole counts and a stopwatch to a second, both as badly as allowed."""
    generator = np.random.default_rng(seed)
    pairs = []
    for count in counts:
        true = count + generator.uniform(-0.5, 0.5)
        pairs.append(Pair(count, machine.time_s(true) + generator.uniform(-1, 1)))
    return fit_counter(pairs)


def covered(quantity: Quantity, true: float) -> bool:
    return abs(quantity.value - true) <= quantity.expanded()


def test_intervals_hold_what_they_promise_over_400_decks() -> None:
    # 95 % of 400 is 380 ± 4.4 (binomial); 92 to 98 % is 2.75 of these each way.
    held: dict[str, int] = {}
    for seed in range(400):
        generator = np.random.default_rng(10_000 + seed)
        reel = "supply" if seed % 4 == 3 else "take-up"
        machine = Machine(
            hub_mm=generator.uniform(10.7, 11.3),
            thick_mm=generator.uniform(0.0105, 0.0125),
            turns_a_count=generator.uniform(0.5, 1.2),
            speed=SPEED * (1 + generator.uniform(-0.015, 0.015)),
            reel=reel,
        )
        side = 1000 / machine.turns_a_count
        shown = tuple(float(round(part * side)) for part in (0.15, 0.35, 0.6, 0.8, 1.0))
        fit = noisy(machine, seed, shown)
        asked, further = float(round(0.456 * side)), float(round(1.08 * side))
        read = asked + generator.uniform(-0.5, 0.5)
        # what was measured of hub, speed and length, as badly as is said of it
        hub = Quantity(2 * (machine.hub_mm + generator.normal(0, 0.05)), "mm", 0.1)
        tape = Reeled(
            "tape", Quantity(machine.length_mm * (1 + generator.normal(0, 0.01)), "mm",
                             machine.length_mm * 0.01),
            Quantity(machine.thick_mm * (1 + generator.normal(0, 0.03)), "mm",
                     machine.thick_mm * 0.03),
        )  # fmt: skip
        constants = constants_of(fit, speed_off(SPEED, None), hub_diameter=hub, tape=tape)
        other = Machine(machine.hub_mm, 0.017, 88_000, machine.turns_a_count, reel, machine.speed)
        sixty = Reeled(
            "other",
            Quantity(88_000 * (1 + generator.normal(0, 0.01)), "mm", 880.0),
            Quantity(0.017 * (1 + generator.normal(0, 0.03)), "mm", 0.017 * 0.03),
        )
        law = law_for(constants, sixty, 0.5)
        checks = {
            "played, counter meant exactly": (
                fit.law.played(asked, read=False), machine.time_s(asked)),
            "played, counter as read": (fit.law.played(asked), machine.time_s(read)),
            "beyond the pairs": (fit.law.played(further, read=False), machine.time_s(further)),
            "reading at a time": (fit.law.count_at(machine.time_s(asked)), asked),
            "hub": (constants.hub_diameter, 2 * machine.hub_mm),
            "thickness": (constants.thickness, 1000 * machine.thick_mm),
            "turns a count": (constants.turns_a_count, machine.turns_a_count),
            "another cassette": (law.played(0.5 * side), other.time_s(0.5 * side)),
        }  # fmt: skip
        for name, (quantity, true) in checks.items():
            held[name] = held.get(name, 0) + covered(quantity, true)
    for count in held.values():
        assert 368 <= count <= 392, held


def test_a_slip_of_the_counter_is_seen_and_the_pair_is_named() -> None:
    machine = Machine()
    pairs = machine.pairs(100, 300, 500, 700, 900, 1100)
    assert fit_counter(pairs).fits
    wrong = [*pairs[:3], Pair(700, pairs[3].time_s + 12), *pairs[4:]]
    fit = fit_counter(wrong)
    assert (fit.fits, fit.suspect) == (False, 3)
    assert fit.law.degrees_of_freedom == fit.spare == 4
    # from 500 on the counter lags by 9 counts: no single pair is to blame
    slipped = [pair if pair.count < 500 else Pair(pair.count - 9, pair.time_s) for pair in pairs]
    fit = fit_counter(slipped)
    assert (fit.fits, fit.suspect) == (False, None)


def test_where_two_pairs_could_be_to_blame_neither_is() -> None:
    pairs = Machine().pairs(200, 250, 900, 1145)
    doubtful = [pairs[0], Pair(250, pairs[1].time_s + 3.5), *pairs[2:]]
    fit = fit_counter(doubtful)
    without = [fit_counter(doubtful[:one] + doubtful[one + 1 :]).fits for one in range(4)]
    assert (fit.fits, without.count(True) > 1, fit.suspect) == (False, True, None)


def test_scatter_of_a_slipping_counter_is_taken_into_the_intervals() -> None:
    # Normal scatter of 12 s, fifteen times what reading explains: three degrees of freedom are
    # left. 95 % of 400 is 380 ± 4.4 (binomial); 92 to 98 % is 2.75 of these each way.
    machine, held = Machine(), 0
    true = machine.time_s(456)
    for seed in range(400):
        scatter = np.random.default_rng(seed).normal(0, 12, 5)
        fit = fit_counter(
            [
                Pair(one.count, one.time_s + off)
                for one, off in zip(machine.pairs(150, 350, 600, 800, 1000), scatter, strict=True)
            ]
        )
        held += covered(fit.law.played(456, read=False), true)
    assert 368 <= held <= 392


def test_honest_pairs_are_rarely_called_wrong() -> None:
    # Called wrong by chance once in a hundred at normal scatter; rectangular scatter has shorter
    # tails, so of 300 no more than 3 + 3·√3 = 8.
    machine = Machine()
    called = [noisy(machine, seed, (150, 350, 600, 800, 1000)).fits for seed in range(300)]
    assert called.count(False) <= 8


def test_three_pairs_with_an_offset_leave_nothing_to_check_by() -> None:
    machine = Machine()
    pairs = [Pair(count + 37, machine.time_s(count)) for count in (200, 600, 1000)]
    fit = fit_counter(pairs, zeroed=False)
    assert (fit.spare, fit.fits) == (0, None)
    assert fit.law.played(37).value == pytest.approx(0, abs=0.01)
    assert fit.law.start_count == pytest.approx(37, abs=0.01)
    from_zero = fit.law.from_zero()
    for count in (1.0, 456.0, 1000.0):
        assert from_zero.played(count).value == pytest.approx(machine.time_s(count), abs=0.01)
        same = fit.law.played(count + fit.law.start_count)
        # not the same u: where the beginning was is uncertain in one, and 0 in the other
        assert from_zero.played(count).value == pytest.approx(same.value, abs=1e-9)
    assert fit_counter(machine.pairs(200, 600, 1000)).law.from_zero().last_count == 1000
    tape = Reeled("C90", Quantity(128_587.5, "mm", 1.0), Quantity(0.012, "mm", 1e-8))
    # the hub is where the tape begins, not where the counter shows 0
    assert constants_of(fit, EXACT_SPEED, tape=tape).hub_diameter.value == pytest.approx(
        22.0, abs=0.01
    )


def test_law_alone_does_not_tell_hub_thickness_and_ratio_apart() -> None:
    # twice the hub, four times the thickness, half the turns a count: the same law
    first, second = Machine(), Machine(hub_mm=22.0, thick_mm=0.048, turns_a_count=0.5)
    for count in (100.0, 500.0, 1000.0):
        # layers of 48 µm are a little coarser as a spiral: 4 π h / 4 / v = 0.8 ms a turn at most
        assert first.time_s(count) == pytest.approx(second.time_s(count), abs=0.01)
    fit = fit_counter(first.pairs(100, 500, 1000))
    with pytest.raises(InputError, match="does not tell hub, tape thickness and turns"):
        constants_of(fit, EXACT_SPEED)
    for known in (
        {"hub_diameter": Quantity(22.0, "mm", 0.05)},
        {"turns_a_count": Quantity(1.0, "", 0.002)},
        {"tape": Reeled("C90", Quantity(128_587.5, "mm", 500.0), Quantity(0.012, "mm", 1e-4))},
    ):
        constants = constants_of(fit, EXACT_SPEED, **known)  # type: ignore[arg-type]
        assert constants.agree is None
        assert constants.hub_diameter.value == pytest.approx(22.0, abs=0.02)
        assert constants.thickness.value == pytest.approx(12.0, abs=0.02)


def test_what_is_known_twice_is_held_against_each_other() -> None:
    fit = fit_counter(Machine().pairs(100, 400, 700, 1100))

    def told(hub_mm: float) -> Constants:
        return constants_of(
            fit, speed_off(SPEED, 0.0), hub_diameter=Quantity(hub_mm, "mm", 0.05),
            tape=Reeled("C90", Quantity(128_587.5, "mm", 500.0), Quantity(0.012, "mm", 1e-4)),
        )  # fmt: skip

    assert told(22.0).agree is True
    assert told(24.5).agree is False
    # Known twice is known better: by hub alone (u_κ)² = 0.05²/22² + …, with the tape it shrinks.
    alone = constants_of(fit, speed_off(SPEED, 0.0), hub_diameter=Quantity(22.0, "mm", 0.05))
    assert told(22.0).thickness.u < alone.thickness.u


def test_sizes_are_refused_where_no_bend_is_seen() -> None:
    counts_time = fit_counter([Pair(count, 3.23 * count) for count in (100, 200, 300, 400)])
    assert counts_time.law.reel == "neither"
    with pytest.raises(InputError, match="hardly bent"):
        constants_of(counts_time, EXACT_SPEED, tape=cassette("C90"))
    bent = fit_counter(Machine().pairs(100, 500, 1000))
    with pytest.raises(InputError, match="said to go by the supply reel"):
        constants_of(bent, EXACT_SPEED, tape=cassette("C90"), reel="supply")
    supply = fit_counter(Machine(reel="supply").pairs(100, 500, 1000))
    with pytest.raises(InputError, match="length of the tape"):
        constants_of(supply, EXACT_SPEED, hub_diameter=Quantity(22, "mm", 0.1))


def test_what_is_left_is_as_sure_as_the_end_that_was_seen() -> None:
    machine = Machine()
    pairs = machine.pairs(200, 500, 900, 1145)
    seen = fit_counter(pairs, end_count=1145).law
    usual = fit_counter(pairs, whole=Quantity(2771.7, "s", 36.0)).law
    assert seen.left(500) is not None
    assert seen.left(500).value == pytest.approx(  # type: ignore[union-attr]
        machine.time_s(1145) - machine.time_s(500), abs=0.01
    )
    assert seen.left(1145, read=False) == Quantity(0.0, "s", 0.0)
    assert usual.left(500).u > 30  # type: ignore[union-attr]
    assert fit_counter(pairs).law.left(500) is None
    assert seen.whole is not None
    with pytest.raises(InputError, match="about 1146 only"):
        seen.played(1300)
    for time_s in (-1.0, 4000.0):
        with pytest.raises(InputError, match="end of the tape is needed"):
            seen.count_at(time_s)


BAD: list[tuple[list[tuple[float, float]], str]] = [
    ([], "No pair beyond"),
    ([(100, 150)], "1 pair beyond"),
    ([(0, 0), (100, 150), (200, 330)], "2 pairs beyond"),
    ([(0, 40), (100, 150), (200, 330), (300, 500)], "showed 0 when 40 s"),
    ([(100, 150), (100, 160), (300, 500)], "shows 100 twice"),
    ([(100, 150), (200, 140), (300, 500)], "At 200 less time"),
    ([(-5, 1), (200, 140), (300, 500)], "was below zero"),
    ([(100, math.nan), (200, 140), (300, 500)], "no pair of numbers"),
    ([(100, -3), (200, 140), (300, 500)], "no pair of numbers"),
    ([(50, 300), (100, 310), (400, 320)], "run backwards"),
]


@pytest.mark.parametrize(("pairs", "words"), BAD)
def test_pairs_that_cannot_be_are_refused(pairs: list[tuple[float, float]], words: str) -> None:
    with pytest.raises(InputError, match=words):
        fit_counter([Pair(*one) for one in pairs])


def test_errors_of_zero_or_less_are_refused() -> None:
    for limits in ((0.0, 0.0), (-1.0, 1.0), (math.nan, 1.0)):
        with pytest.raises(InputError, match="can be off"):
            fit_counter(
                Machine().pairs(100, 500, 900), time_limit_s=limits[0], count_limit=limits[1]
            )


@pytest.mark.parametrize("freedom", range(1, 13))
def test_chi_square_is_that_of_a_library(freedom: int) -> None:
    for x in (0.01, 0.5, 2.0, 9.0, 40.0):
        assert chance_above(x, freedom) == pytest.approx(chi2.sf(x, freedom), rel=1e-10)
    for probability in (0.025, 0.5, 0.99):
        expected = chi2.ppf(probability, freedom)
        assert quantile(probability, freedom) == pytest.approx(expected, rel=1e-9)
    assert chance_above(0.0, freedom) == 1.0


def test_table_rounds_no_finer_than_is_known_and_ends_with_the_tape() -> None:
    pairs = Machine().pairs(200, 500, 900, 1145)
    sure = fit_counter(pairs, end_count=1145).law
    vague = fit_counter(pairs, whole=Quantity(2700.0, "s", 36.0)).law
    table = counter_table([("sure", sure), ("vague", vague)], 100)
    assert table.counts == tuple(range(0, 1101, 100))
    one, other = table.columns
    # 2π · 11 · 500 / 47.625 + π · 0.012 · 500² / 47.625 = 725.6 + 197.9 = 923.5 s, and 2699.3 s
    # at 1145 by the same formula
    assert (one.played[5], one.left[5]) == ("15:24", "29:36")
    assert all(cell.endswith(" min") for cell in other.left)
    assert other.left_half_s == pytest.approx(1.96 * 36, rel=0.01)
    for step in (0, -5):
        with pytest.raises(InputError, match="steps of 1 and more"):
            counter_table([("sure", sure)], step)
    assert len(counter_table([("sure", sure)]).counts) <= 25


def test_what_is_not_taken_from_scatter_does_not_lose_its_certainty() -> None:
    # One degree of freedom widens what comes from the scatter, and nothing else
    # (Welch-Satterthwaite, JCGM 100:2008, G.4.1: u⁴ / ν_eff = u_scatter⁴ / ν).
    pairs = Machine().pairs(200, 500, 900)
    pairs[1] = Pair(500, pairs[1].time_s + 15)
    law = fit_counter(pairs, whole=Quantity(2771.7, "s", 36.0)).law
    assert law.degrees_of_freedom == 1
    assert law.whole is not None
    assert law.whole.expanded() == pytest.approx(1.96 * 36, rel=1e-3)
    played, left = law.played(500, read=False), law.left(500, read=False)
    assert left is not None
    assert played.degrees_of_freedom == 1
    assert left.u == pytest.approx(math.hypot(played.u, 36))
    assert left.degrees_of_freedom == pytest.approx((left.u / played.u) ** 4)
