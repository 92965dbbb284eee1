"""Give every axis a place for a drawing, where nobody measured them.

Given places stay. The others are laid around what they are driven by: at the distance that a
belt's length asks for, or where rims touch, and so that wheels do not lie on each other.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from runstrue.errors import InputError
from runstrue.transport.belt_path import Pulley, belt_path
from runstrue.transport.description import Belt, Shaft
from runstrue.transport.drive import steps_into
from runstrue.transport.geometry import Spot, given_spots, radius_of
from runstrue.transport.rates import Study

# Radius in mm at which a wheel of unknown size is drawn, and what is left free between wheels.
UNKNOWN_RADIUS_MM = 6.0
GAP_MM = 12.0
WAYS = 24


@dataclass(frozen=True, slots=True)
class Layout:
    """Where everything is drawn.

    Parameters
    ----------
    spots : dict of str to (x, y)
        In mm, by shaft and roller.
    free : frozenset of str
        Those of them that nobody gave a place.
    """

    spots: dict[str, Spot]
    free: frozenset[str]


def lay_out(study: Study) -> Layout:
    """Return a place for every shaft, and for every pinch roller."""
    transport = study.transport
    spots = given_spots(transport)
    given = frozenset(spots)
    waiting = sorted(
        (one for one in transport.shafts if one.id not in spots),
        key=lambda one: (not one.drives_tape, one.motor is None),
    )
    if waiting and not any(one.id in spots for one in transport.shafts):
        spots[waiting.pop(0).id] = (0.0, 0.0)
    while waiting:
        linked = [(one, where) for one in waiting if (where := _link(study, one, spots))]
        shaft, (centre, apart) = linked[0] if linked else (waiting[0], (_middle(spots), 0.0))
        spots[shaft.id] = _free_spot(study, shaft, centre, apart, spots)
        waiting.remove(shaft)
    _lay_rollers(study, spots)
    return Layout(spots, frozenset(spots) - given)


def takes_part(study: Study, shaft: Shaft) -> bool:
    """Whether a shaft does anything at this speed: an idler may be lifted off."""
    return not shaft.is_idler or any(steps_into(study.transport, study.speed, shaft.id))


def extent_mm(study: Study, shaft: Shaft) -> float:
    """Return the radius of the largest wheel of a shaft as drawn."""
    radii = [radius_of(one.id, study.values) or UNKNOWN_RADIUS_MM for one in shaft.wheels]
    capstan = study.values.get(f"capstan.{shaft.id}")
    return max([*radii, capstan.value / 2 if capstan else 1.0])


def _link(study: Study, shaft: Shaft, spots: Mapping[str, Spot]) -> tuple[Spot, float] | None:
    """Return the axis that a shaft hangs on, and how far from it it stands."""
    if shaft.turns_with:
        same = next((one for one in study.transport.shafts
                     if one.id in spots and one.turns_with == shaft.turns_with), None)  # fmt: skip
        if same:
            return spots[same.id], 0.0
    for step in steps_into(study.transport, study.speed, shaft.id):
        there, _ = study.transport.wheel(step.out_of)
        if there.id not in spots:
            continue
        radii = [
            radius_of(wheel, study.values) or UNKNOWN_RADIUS_MM
            for wheel in (step.out_of, step.into)
        ]
        apart = sum(radii)
        if isinstance(step.by, Belt):
            apart = _apart_by_length(study, step.by) or apart + GAP_MM
        return spots[there.id], apart
    return None


def _apart_by_length(study: Study, belt: Belt) -> float | None:
    """Return how far apart two axes stand for a belt of known length; None where it is not."""
    length = study.values.get(f"length.{belt.id}")
    running = [study.values.get(f"running.{belt.id}.{wheel}") for wheel in belt.over]
    radii = [one.value / 2 for one in running if one is not None]
    if length is None or len(belt.over) != 2 or len(radii) != 2:
        return None
    near, far = sum(radii) * 1.001, length.value
    for _ in range(60):
        middle = (near + far) / 2
        try:
            way = belt_path([Pulley(0, 0, radii[0]), Pulley(middle, 0, radii[1])]).length_mm
        except InputError:
            return None
        near, far = (middle, far) if way < length.value else (near, middle)
    return near


def _free_spot(
    study: Study, shaft: Shaft, centre: Spot, apart: float, spots: Mapping[str, Spot]
) -> Spot:
    """Return the first spot round an axis where a shaft's wheels lie on no others."""
    own = extent_mm(study, shaft)
    others = [
        (spots[one.id], extent_mm(study, one)) for one in study.transport.shafts if one.id in spots
    ]
    spot = centre
    for distance in _distances(apart):
        around = [
            (centre[0] + distance * math.cos(angle), centre[1] + distance * math.sin(angle))
            for angle in (math.pi + 2 * math.pi * way / WAYS for way in range(WAYS))
        ]
        rooms = [
            min((math.dist(one, place) - own - extent for place, extent in others), default=0.0)
            for one in around
        ]
        room = max(rooms)
        spot = around[rooms.index(room)]
        if room >= -0.01:
            break
    return spot


def _distances(apart: float) -> Iterator[float]:
    yield from (max(apart, 1.0) * 1.15**step for step in range(40))


def _middle(spots: Mapping[str, Spot]) -> Spot:
    return (
        sum(x for x, _ in spots.values()) / len(spots),
        sum(y for _, y in spots.values()) / len(spots),
    )


def _lay_rollers(study: Study, spots: dict[str, Spot]) -> None:
    """Press each pinch roller without a place on a capstan that has none."""
    capstans = [one for one in study.transport.shafts if one.drives_tape]
    pinch = [one for one in study.transport.rollers if one.kind == "pinch"]
    for roller, capstan in zip(pinch, capstans, strict=False):
        size = study.values.get(f"roller.{roller.id}")
        shaft = study.values.get(f"capstan.{capstan.id}")
        if roller.id not in spots and capstan.id in spots and size is not None:
            x, y = spots[capstan.id]
            spots[roller.id] = (x, y + (size.value + (shaft.value if shaft else 2.0)) / 2)
