"""Pairing what was read as found with what was read as left: like with like, place by place."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from runstrue.logbook.change import difference
from runstrue.logbook.models import CaptureFacts, CaptureRecord, Change, ReadingRecord
from runstrue.result import Result, occasion_of

# Quantity, method, channel, well, side, direction, speed, noise reduction, point. A test tape
# is not part of it: two tapes can be compared, they merely share nothing that cancels.
Place = tuple[str, str, str, str, str, str, float | None, str, str]


@dataclass
class _Both:
    found: list[ReadingRecord] = field(default_factory=list)
    left: list[ReadingRecord] = field(default_factory=list)


def changes_of(captures: Iterable[CaptureRecord]) -> tuple[Change, ...]:
    """Set as found against as left, for the captures of one visit in their order in time.

    Returns
    -------
    tuple of Change
        One for each quantity at each place, in the order in which they were first read;
        empty where a whole stage is missing. The latest reading of each stage counts. Single
        starts count only where they were not combined into one reading.
    """
    places: dict[Place, _Both] = {}
    for capture in without_combined_starts(captures):
        stage = capture.facts.stage
        if stage == "in between":
            continue
        for reading in capture.readings:
            both = places.setdefault(_place(capture.facts, reading.result), _Both())
            (both.found if stage == "as found" else both.left).append(reading)
    if not any(both.found for both in places.values()) or not any(
        both.left for both in places.values()
    ):
        return ()
    return tuple(_change(place, both) for place, both in places.items())


def latest_with_both(captures: Iterable[CaptureRecord]) -> tuple[CaptureRecord, ...]:
    """Return the captures of the latest visit that has both stages, or of none."""
    visits: dict[int | None, list[CaptureRecord]] = {}
    for capture in captures:
        # Taken out and put back, so that the visit with the latest capture stands last.
        of_visit = visits.pop(capture.visit_id, [])
        visits[capture.visit_id] = [*of_visit, capture]
    for of_visit in reversed(visits.values()):
        if {"as found", "as left"} <= {capture.facts.stage for capture in of_visit}:
            return tuple(of_visit)
    return ()


def without_combined_starts(captures: Iterable[CaptureRecord]) -> Iterator[CaptureRecord]:
    """Yield captures, but not the single starts of those that were combined."""
    listed = tuple(captures)
    combined = {
        (capture.visit_id, capture.facts.starts_group)
        for capture in listed
        if capture.source == "combined"
    }
    for capture in listed:
        group = (capture.visit_id, capture.facts.starts_group)
        if capture.source == "combined" or not group[1] or group not in combined:
            yield capture


def _place(facts: CaptureFacts, result: Result) -> Place:
    return (
        result.id,
        result.method,
        result.channel,
        facts.well,
        facts.side,
        facts.direction,
        facts.speed_cm_s,
        facts.noise_reduction,
        occasion_of(result),
    )


def _change(place: Place, both: _Both) -> Change:
    quantity_id, method, channel, well, side, direction, speed, noise_reduction, point = place
    found = both.found[-1].result if both.found else None
    left = both.left[-1].result if both.left else None
    undecided = [
        stage
        for stage, result in (("as found", found), ("as left", left))
        if result and result.conditions.get("tone_undecided")
    ]
    outcome = difference(found, left) if found and left and not undecided else None
    if undecided and found and left:
        words: str = (
            f"cannot be compared: the tape's tone was not decided {' and '.join(undecided)}; "
            "name it with --tone and measure again"
        )
    elif outcome:
        words = outcome.outcome
    elif found is None or left is None:
        here, missing = ("as left", "as found") if found is None else ("as found", "as left")
        words = f"cannot be compared: read {here} only, not {missing} by the same method and place"
    elif found.quantity is None or left.quantity is None:
        stages = [
            stage
            for stage, result in (("as found", found), ("as left", left))
            if result.quantity is None
        ]
        words = f"cannot be compared: it has no figure {' and '.join(stages)}"
    else:
        words = f"cannot be compared: units differ ({found.quantity.unit}, {left.quantity.unit})"
    return Change(
        id=quantity_id,
        method=method,
        channel=channel,
        well=well,
        side=side,
        direction=direction,
        speed_cm_s=speed,
        noise_reduction=noise_reduction,
        point=point,
        found=tuple(both.found),
        left=tuple(both.left),
        difference=outcome,
        words=words,
    )
