"""Which part makes the flutter: decks whose truth is known by closed formulas.

The decks (`runstrue.virtualdeck.mechanism`) share no code with what measures them. The large run,
500 decks, is `python -m benchmarks.parts`.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from benchmarks.parts import Case, case, transports

from runstrue.errors import InputError, SignalError
from runstrue.measure.parts.attribute import attribute
from runstrue.measure.parts.faulty import HIGHEST, PATTERNS, ROUND, log_chance
from runstrue.measure.parts.model import Attribution
from runstrue.measure.parts.once_round import once_round
from runstrue.measure.parts.powers import noise_peaks
from runstrue.measure.parts.rule import LEAST_WEIGHTED_PERCENT, is_guilty
from runstrue.measure.parts.travel import travelled
from runstrue.measure.parts.what_if import what_if
from runstrue.quantity import Quantity
from runstrue.result import Deviation
from runstrue.virtualdeck.mechanism import Fault, Mechanism

ONE_BELT = transports()["one-belt"]
SEEDS = range(24)


@cache
def cases() -> tuple[Case, ...]:
    return tuple(case(seed) for seed in SEEDS)


def deck(*faults: Fault, played_s: float = 600.0, **more: float) -> Mechanism:
    return Mechanism(ONE_BELT, faults, 47.625, played_s=played_s, **more)  # type: ignore[arg-type]


def heard(mechanism: Mechanism, length_s: float = 60.0, seed: int = 1) -> Deviation:
    return mechanism.kept(length_s, seed=seed, hiss_db=50.0, unrest_percent=0.02)


def told(mechanism: Mechanism, length_s: float = 60.0, **more: float) -> Attribution:
    return attribute(heard(mechanism, length_s), ONE_BELT, **{"played_s": 600.0, **more})


def test_the_faulty_parts_are_named_and_no_others() -> None:
    # 98 % of some 60 parts is the goal: one may be missed, and one deck may be accused falsely
    faulty = sum(len(one.faulty) for one in cases())
    missed = sum(len(one.missed) for one in cases())
    assert faulty >= 50
    assert missed <= 1
    assert sum(bool(one.accused) for one in cases()) <= 1


def test_the_sizes_of_lines_and_runouts_are_right() -> None:
    # within the larger of 5 % and 2.5 u: 98.8 % of a normal distribution
    off = [off for one in cases() for _, off, _ in one.sizes()]
    assert len(off) >= 150
    assert np.mean(np.array(off) <= 1) >= 0.97


def test_shares_add_up_to_the_whole() -> None:
    one = told(deck(Fault("capstan", 0.15), Fault("main-belt", 0.1)))
    weighted = [share.weighted.value for share in one.shares]
    whole = math.hypot(*weighted, one.unexplained.value)
    assert whole == pytest.approx(one.weighted.value, rel=1e-6)
    shares = sum(share.weighted_share.value for share in one.shares)
    assert shares + one.unexplained_share.value == pytest.approx(100, abs=1e-6)


def test_power_is_that_of_the_sine_and_the_curve() -> None:
    """A sine of 4 Hz and 0.2 % peak: the weighting curve is 1 there (DIN 45 507, IEC 60386)."""
    time_s = np.arange(30_000) / 500
    percent = 0.2 * np.sin(2 * math.pi * 4 * time_s)
    record = travelled(Deviation(percent[None].astype(np.float32), 500, 3150, ("mono",)))
    one = noise_peaks(record, [stretch.percent for stretch in record.stretches])
    assert one.flat.value == pytest.approx(0.2, rel=1e-3)
    assert one.weighted.value == pytest.approx(0.2, rel=2e-3)


def test_two_parts_of_one_rate_are_either_and_never_one() -> None:
    belt = next(one for one in ONE_BELT if one.id == "main-belt")
    twin = replace(belt, id="twin-belt", name="twin belt", rate=Quantity(
        belt.rate.value * (1 + 1e-4), "Hz", belt.rate.u
    ))  # fmt: skip
    turned = (*ONE_BELT, twin)
    mechanism = Mechanism(turned, (Fault("main-belt", 0.2),), 47.625, played_s=600.0)
    one = attribute(mechanism.kept(60.0, seed=2, hiss_db=50.0), turned, played_s=600.0)
    guilty = [share.ids for share in one.guilty]
    assert guilty == [("main-belt", "twin-belt")]
    assert one.guilty[0].name == "main belt or twin belt"


def test_a_healthy_deck_accuses_nobody() -> None:
    one = told(deck())
    assert not one.guilty
    assert one.unexplained_share.value > 90


def test_a_line_of_nobody_stays_unexplained() -> None:
    clean = heard(deck())
    time_s = np.arange(clean.percent.shape[1]) / clean.rate_hz
    strange = 0.2 * np.sin(2 * math.pi * 9.1234 * time_s)
    one = attribute(
        replace(clean, percent=(clean.percent + strange).astype(np.float32)), ONE_BELT,
        played_s=600.0,
    )  # fmt: skip
    assert not one.guilty
    assert one.strays[0].rate.value == pytest.approx(9.1234, abs=1e-3)
    assert one.strays[0].peak.value == pytest.approx(0.2, rel=0.02)
    assert one.unexplained_share.value > 90


def test_a_hub_is_followed_as_it_slides_over_ten_minutes() -> None:
    """The pack's law r² = r₀² + h L / π (geometry) slides its line by many bins."""
    mechanism = deck(Fault("take-up-hub", 0.3), Fault("capstan", 0.1), played_s=300.0)
    slid = mechanism.rate_hz("take-up-hub", 10) - mechanism.rate_hz("take-up-hub", 590)
    assert slid * 600 > 50  # bins of a plain transform of the whole
    one = told(mechanism, 600.0, played_s=300.0)
    share = one.of("take-up-hub")
    assert share is not None
    assert share.guilty
    assert share.peak.value == pytest.approx(0.3 * math.hypot(1, 0.08), rel=0.05)


def test_runout_is_that_of_the_wheel() -> None:
    """A capstan of r mm that runs out by e µm makes e / (10 r) % (geometry)."""
    one = told(deck(Fault("capstan", 0.1))).of("capstan")
    assert one is not None
    place = next(place for place in one.runouts if place.place == "capstan")
    assert place.size.value == pytest.approx(0.1 * 10 * 2.4 / 2, rel=0.05)


def test_results_carry_what_is_kept_of_them() -> None:
    results = told(deck(Fault("capstan", 0.1))).results
    capstan = next(one for one in results if one.conditions["part"] == "capstan")
    assert capstan.id == "flutter.part_weighted"
    assert (capstan.conditions["kind"], capstan.conditions["pattern"]) == ("capstan", "plain")
    assert results[-1].conditions["part"] == "unexplained"


def test_a_short_record_is_refused_and_a_shortish_one_doubted() -> None:
    with pytest.raises(SignalError, match="10 s or more are needed to tell parts apart"):
        told(deck(Fault("capstan", 0.1)), 8.0)
    assert any("not told apart" in doubt for doubt in told(deck(), 20.0).doubts)


def test_once_round_is_the_truth_of_the_part_alone() -> None:
    faults = (Fault("pinch-roller", 0.2, "bump"), Fault("capstan", 0.1), Fault("main-belt", 0.1))
    mechanism = deck(*faults)
    one = once_round(heard(mechanism), ONE_BELT, "pinch-roller", played_s=600.0)
    alone = deck(faults[0])
    rate = alone.nominal_rate_hz("pinch-roller")
    true = alone.deviation_percent(one.turn / rate)
    # where the turn begins is free: turn the truth until it fits best
    fits = [np.roll(true[:-1], shift) for shift in range(one.turn.size - 1)]
    best = min(fits, key=lambda turned: float(np.sum((turned - one.percent[:-1]) ** 2)))
    # half a point of the turn is free still: 1/96 turn of the curve's steepest slope
    steepest = float(np.max(np.abs(np.diff(best)))) / 2
    assert np.max(np.abs(best - one.percent[:-1])) < steepest + 2 * float(one.within_percent.max())
    assert one.percent[0] == one.percent[-1]
    assert one.turns == pytest.approx(rate * 60, rel=0.01)
    assert one.rate.value == pytest.approx(rate, rel=1e-3)


def test_once_round_of_ten_minutes_does_not_smear() -> None:
    mechanism = deck(Fault("main-belt", 0.2), played_s=300.0, drift_percent_per_min=0.05)
    one = once_round(heard(mechanism, 600.0), ONE_BELT, "main-belt", played_s=300.0)
    assert np.ptp(one.percent) == pytest.approx(0.4, rel=0.05)


def test_once_round_of_a_part_that_is_not_there() -> None:
    with pytest.raises(InputError, match="no part 'flywheel'"):
        once_round(heard(deck()), ONE_BELT, "flywheel")


def test_what_if_is_what_the_deck_would_read_without_the_fault() -> None:
    faults = (Fault("main-belt", 0.15), Fault("capstan", 0.1), Fault("pinch-roller", 0.1, "bump"))
    told = what_if(heard(deck(*faults)), ONE_BELT, ["main-belt"], played_s=600.0)
    mended = what_if(heard(deck(*faults[1:])), ONE_BELT, [], played_s=600.0)
    for left, true in zip(told.results, mended.before, strict=True):
        assert left.id == true.id
        assert left.quantity is not None
        assert true.quantity is not None
        # the mended deck's own parts stand in the same phases and the noise is the same draw
        assert left.quantity.value == pytest.approx(true.quantity.value, rel=0.03), left.id
    first, before = told.results[0].quantity, told.before[0].quantity
    assert first is not None
    assert before is not None
    assert first.value < 0.9 * before.value


def test_what_if_of_a_part_that_does_nothing_says_so() -> None:
    one = what_if(heard(deck(Fault("capstan", 0.1))), ONE_BELT, ["motor"], played_s=600.0)
    assert "no change" in one.doubts[0]
    for left, before in zip(one.results, one.before, strict=True):
        assert left.quantity == before.quantity


def test_the_rule_of_guilt() -> None:
    whole = Quantity(50.0, "%", 1.0)
    enough = Quantity(0.1, "%", 0.01)
    assert is_guilty(0.95, enough, whole)
    assert not is_guilty(0.94, enough, whole)
    assert not is_guilty(1.0, Quantity(LEAST_WEIGHTED_PERCENT, "%", 0.005), whole)
    assert not is_guilty(1.0, enough, Quantity(0.5, "%", 0.1))


@pytest.mark.parametrize("kind", ["belt", "capstan", "mesh"])
def test_chances_of_all_sets_of_lines_add_up_to_one(kind: str) -> None:
    assert sum(often for often, _ in PATTERNS.get(kind, ROUND)) == pytest.approx(1)  # type: ignore[call-overload]
    total = 0.0
    for bits in range(2**HIGHEST):
        multiples = frozenset(one + 1 for one in range(HIGHEST) if bits >> one & 1)
        total += math.exp(log_chance(kind, multiples))  # type: ignore[arg-type]
    assert total == pytest.approx(1, abs=1e-9)
