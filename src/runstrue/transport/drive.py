"""The way of the drive, from a motor to a capstan, and which shafts hang on a tape hub."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass

from runstrue.transport.description import Belt, Pair, TapeSpeed, Transport


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the drive: out of a wheel, into another.

    Parameters
    ----------
    by : Belt or Pair
    out_of, into : str
        Ids of the wheels.
    """

    by: Belt | Pair
    out_of: str
    into: str


def drive_to(transport: Transport, speed: TapeSpeed, capstan_shaft: str) -> tuple[Step, ...]:
    """Return the steps from the nearest motor to a capstan's shaft, the motor's first.

    Empty where the motor is on that shaft, or no way leads to it.
    """
    came_by: dict[str, Step | None] = {capstan_shaft: None}
    waiting = deque([capstan_shaft])
    while waiting:
        here = waiting.popleft()
        if transport.motor_of(transport.shaft(here), speed) is not None:
            steps = []
            while (step := came_by[here]) is not None:
                steps.append(step)
                here = transport.wheel(step.into)[0].id
            return tuple(steps)
        for step in steps_into(transport, speed, here):
            there = transport.wheel(step.out_of)[0].id
            if there not in came_by:
                came_by[there] = step
                waiting.append(there)
    return ()


def turning_with_hubs(transport: Transport, speed: TapeSpeed) -> dict[str, str]:
    """Return the shafts that hang on a tape hub, with the side of that hub.

    Between capstan and hub there is always a clutch that slips, so no way leads on from there.
    """
    found: dict[str, str] = {}
    for start in transport.shafts:
        if not start.turns_with:
            continue
        waiting = deque([start.id])
        found[start.id] = start.turns_with
        while waiting:
            here = waiting.popleft()
            for step in steps_into(transport, speed, here):
                there, _ = transport.wheel(step.out_of)
                if there.id not in found:
                    found[there.id] = start.turns_with
                    waiting.append(there.id)
    return found


def steps_into(transport: Transport, speed: TapeSpeed, shaft: str) -> Iterator[Step]:
    """Yield every step that ends on a shaft."""
    for belt in transport.belts_at(speed):
        for into in belt.over:
            if transport.wheel(into)[0].id == shaft:
                yield from (Step(belt, other, into) for other in belt.over if other != into)
    for pair in transport.pairs_at(speed):
        for into, other in (pair.between, pair.between[::-1]):
            if transport.wheel(into)[0].id == shaft:
                yield Step(pair, other, into)
