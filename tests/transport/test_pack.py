"""Tape packs, against worked rows for usual cassettes and reels, and against turns added up."""

from __future__ import annotations

import math

import numpy as np
import pytest

from runstrue.errors import InputError
from runstrue.quantity import Quantity
from runstrue.transport.pack import (
    half_mm,
    nominal_speed_mm_s,
    pack_radius_mm,
    pack_rate,
    pack_rate_hz,
    radius_shares,
)
from runstrue.transport.turning import Pack, Turning
from runstrue.virtualdeck.deck import Hub
from runstrue.virtualdeck.hubs import Pack as VirtualPack

V = 47.625

# Worked by hand from r = √(r₀² + L t / π), N = (R − r₀) / t, f = v / (2 π r) with a hub of 11 mm:
# length m, thickness µm, full radius mm, turns, Hz empty, Hz full, radius and Hz with equal packs.
CASSETTES = [
    (68, 17, 22.1, 654, 0.689, 0.343, 17.5, 0.434),
    (86, 16, 23.6, 790, 0.689, 0.321, 18.4, 0.411),
    (90, 18, 25.2, 791, 0.689, 0.300, 19.5, 0.389),
    (129, 11, 23.9, 1176, 0.689, 0.317, 18.6, 0.407),
    (135, 12, 25.2, 1186, 0.689, 0.300, 19.5, 0.389),
    (172, 9, 24.8, 1530, 0.689, 0.306, 19.2, 0.395),
]
# Reel, hub and full radius mm; Hz empty and full at 95.25, 190.5 and 381 mm/s.
REELS = [
    (22, 62, (0.69, 0.24), (1.38, 0.49), (2.76, 0.98)),
    (29, 85, (0.52, 0.18), (1.05, 0.36), (2.09, 0.71)),
    (57, 130, (0.27, 0.12), (0.53, 0.23), (1.06, 0.47)),
]


def _pack(length_m: float, um: float, hub_mm: float = 11.0, side: str = "take-up") -> Pack:
    return Pack(side, Quantity(hub_mm, "mm", 0.1), Quantity(um, "µm", 0.3),
                Quantity(length_m, "m", 1.0))  # type: ignore[arg-type]  # fmt: skip


def _hub(pack: Pack, speed: float = V) -> Turning:
    radius = pack_radius_mm(pack, half_mm(pack))
    rate = speed / (2 * math.pi * radius)
    shares = tuple((name, -share) for name, share in radius_shares(pack, half_mm(pack)))
    u = rate * math.sqrt(sum(share**2 for _, share in shares))
    return Turning("hub", "hub", "hub", Quantity(rate, "Hz", u), scale_shares=shares, pack=pack)


@pytest.mark.parametrize("row", CASSETTES)
def test_cassettes_turn_as_worked_by_hand(row: tuple[float, ...]) -> None:
    length, um, full, turns, empty_hz, full_hz, middle, middle_hz = row
    pack = _pack(length, um)
    hub = _hub(pack)
    end = length * 1000
    # half of the last digit that the table prints
    assert pack_radius_mm(pack, end) == pytest.approx(full, abs=0.05)
    assert (pack_radius_mm(pack, end) - 11) / (um / 1000) == pytest.approx(turns, abs=0.5)
    assert pack_rate_hz(hub, 0.0) == pytest.approx(empty_hz, abs=5e-4)
    assert pack_rate_hz(hub, end) == pytest.approx(full_hz, abs=5e-4)
    assert pack_radius_mm(pack, end / 2) == pytest.approx(middle, abs=0.05)
    assert hub.rate.value == pytest.approx(middle_hz, abs=5e-4)


@pytest.mark.parametrize("row", REELS)
@pytest.mark.parametrize("step", [0, 1, 2])
def test_reels_turn_as_worked_by_hand(row: tuple[float, ...], step: int) -> None:
    hub_mm, full_mm = row[0], row[1]
    empty_hz, full_hz = row[2 + step]  # type: ignore[misc]
    um = 35.0
    length_m = math.pi * (full_mm**2 - hub_mm**2) / um
    pack = _pack(length_m, um, hub_mm)
    turning = _hub(pack, 95.25 * 2**step)
    # half of the last digit that the table prints
    assert pack_rate_hz(turning, 0.0) == pytest.approx(empty_hz, abs=0.005)
    assert pack_rate_hz(turning, length_m * 1000) == pytest.approx(full_hz, abs=0.005)


def test_a_pack_wound_turn_by_turn_comes_out_the_same() -> None:
    """Add up turns of growing length: by another road than the area."""
    pack = _pack(135, 12)
    length, radius = 0.0, 11.0
    for _ in range(1000):
        # a turn of tape from radius r to r + t is as long as the circle through its middle
        length += 2 * math.pi * (radius + 0.012 / 2)
        radius += 0.012
    assert pack_radius_mm(pack, length) == pytest.approx(radius, rel=1e-12)


@pytest.mark.parametrize("side", ["take-up", "supply"])
def test_the_virtual_deck_turns_its_packs_by_the_same_law(side: str) -> None:
    """The virtual deck has code of its own for it."""
    pack = _pack(135, 12, side=side)
    start = pack_radius_mm(pack, 0.0)
    virtual = VirtualPack(Hub("hub", 0.1, start, 12.0, side=side))  # type: ignore[arg-type]
    times = np.linspace(0, 2700, 11)
    np.testing.assert_allclose(
        pack_rate_hz(_hub(pack), times * V), virtual.rate_hz(times), rtol=1e-12
    )


def test_what_is_played_is_missing_on_the_other_side() -> None:
    take_up, supply = _pack(135, 12), _pack(135, 12, side="supply")
    for played in (0.0, 20_000.0, 67_500.0, 135_000.0):
        assert pack_radius_mm(supply, played) == pytest.approx(
            pack_radius_mm(take_up, 135_000 - played), rel=1e-12
        )


@pytest.mark.parametrize("side", ["take-up", "supply"])
@pytest.mark.parametrize("played_m", [0.0, 5.0, 67.5, 130.0])
def test_the_uncertainty_of_a_hub_is_that_of_many_tapes(side: str, played_m: float) -> None:
    """Draw hub, thickness and length many times, and work the rate out anew each time."""
    pack = _pack(135, 12, side=side)
    draws = 100_000
    random = np.random.default_rng(4)
    hub = random.normal(11.0, 0.1, draws)
    um = random.normal(12.0, 0.3, draws)
    metres = random.normal(135.0, 1.0, draws)
    held = played_m if side == "take-up" else metres - played_m
    if played_m == 67.5:
        held = metres / 2  # half of the tape, however long it is
    rate = V / (2 * math.pi * np.sqrt(hub**2 + held * um / math.pi))
    found = pack_rate(_hub(pack), played_m * 1000)
    # 1/√(2 · 10⁵) = 0.22 % of the standard deviation by chance, four times that; terms of second
    # order are about (0.3 / 12)² = 0.06 %
    assert found.u == pytest.approx(float(rate.std()), rel=0.01)
    assert found.value == pytest.approx(float(rate.mean()), rel=1e-3)


def test_a_counter_slides_with_its_hub() -> None:
    hub = _hub(_pack(135, 12))
    counter = Turning("counter", "counter", "shaft",
                      Quantity(hub.rate.value / 2, "Hz", 0.001),
                      scale_shares=(*hub.scale_shares, ("counter pulley diameter", 0.01)),
                      pack=hub.pack)  # fmt: skip
    for played in (0.0, 60_000.0, 135_000.0):
        whole, half = pack_rate(hub, played), pack_rate(counter, played)
        assert half.value == pytest.approx(whole.value / 2, rel=1e-12)
        expected = math.hypot(whole.u / whole.value, 0.01)
        assert half.u / half.value == pytest.approx(expected, rel=1e-9)


def test_the_tape_speed_is_found_again() -> None:
    assert nominal_speed_mm_s((_hub(_pack(86, 16)),)) == pytest.approx(V, rel=1e-12)
    assert nominal_speed_mm_s(()) is None


@pytest.mark.parametrize("played_mm", [-1.0, 136_000.0, math.nan])
def test_more_than_there_is_cannot_be_played(played_mm: float) -> None:
    with pytest.raises(InputError, match="are there on this tape"):
        pack_radius_mm(_pack(135, 12), played_mm)
