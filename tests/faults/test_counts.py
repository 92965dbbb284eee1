"""Open repair counts: the file's own figures, and its intervals by another road."""

from __future__ import annotations

import pytest
from scipy.stats import binomtest

from runstrue.errors import InputError
from runstrue.faults.counts import group_share, groups, mended_share
from runstrue.faults.priors import base_chances
from runstrue.faults.read import read_knowledge

# Published counts of the snapshot, as printed in the note beside the file and read off by eye:
# of 310 texts on tape machines that name a part.
PUBLISHED = {
    "drive_belt_or_band": 140,
    "dirt_cleaned": 43,
    "switch_or_button_contact": 42,
    "motor": 32,
    "jammed_or_seized_mechanism": 30,
    "door_lid_or_eject": 30,
    "connector_cable_or_solder": 29,
    "potentiometer": 15,
    "battery_or_contact_corrosion": 14,
    "mains_supply_fuse_adapter": 13,
    "gear_or_broken_plastic": 12,
    "lubrication": 11,
    "spring_or_lever_out_of_place": 10,
    "head_dirty_worn_or_out_of_line": 8,
    "idler_pinch_clutch_wheel": 8,
    "semiconductor_relay_board": 7,
    "capacitor": 3,
}


def test_the_counts_are_the_published_ones() -> None:
    assert {group: group_share(group).n for group in groups()} == PUBLISHED
    assert {group_share(group).base for group in groups()} == {310}


def test_the_most_often_named_part_comes_first() -> None:
    numbers = [group_share(group).n for group in groups()]
    assert numbers == sorted(numbers, reverse=True)
    assert len(numbers) == 17


@pytest.mark.parametrize("group", PUBLISHED)
def test_intervals_are_wilson_intervals(group: str) -> None:
    share = group_share(group)
    # scipy's own Wilson interval; the file gives four decimals, so half of the fifth is left
    outside = binomtest(share.n, share.base).proportion_ci(0.95, method="wilson")
    assert share.low == pytest.approx(outside.low, abs=0.00006)
    assert share.high == pytest.approx(outside.high, abs=0.00006)
    assert share.low < share.share < share.high


def test_the_doubts_of_the_note_are_told() -> None:
    """Motors a third wrong; heads and rollers under-counted (the note's labels and limits)."""
    assert "third" in group_share("motor").doubt
    assert "too low" in group_share("idler_pinch_clutch_wheel").doubt
    assert "too low" in group_share("head_dirty_worn_or_out_of_line").doubt
    assert group_share("drive_belt_or_band").doubt == ""


def test_what_was_mended_on_the_day() -> None:
    belt = mended_share("drive_belt_or_band")
    assert belt is not None
    assert (belt.n, belt.base) == (63, 140)
    assert mended_share("head_dirty_worn_or_out_of_line") is None


@pytest.mark.parametrize("group", PUBLISHED)
def test_the_priors_of_a_part_s_causes_give_its_share_again(group: str) -> None:
    """1 less the chance that none of its causes is there, multiplied out one by one."""
    causes = list(read_knowledge().causes.values())
    chances = base_chances(causes)
    none = 1.0
    for cause in causes:
        if cause.prior_group == group:
            none *= 1 - chances[cause.id]
    assert 1 - none == pytest.approx(PUBLISHED[group] / 310, rel=1e-9)


def test_an_unknown_part_is_refused() -> None:
    with pytest.raises(InputError, match="No repairs are counted under 'belts'"):
        group_share("belts")
