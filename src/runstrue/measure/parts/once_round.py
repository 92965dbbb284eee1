"""What the tape speed does in one turn of a part.

What other parts do is taken out of the record first; what is left is laid over itself, turn on
turn, at the rate that the part really had: drift is in the travel, a pack's growth in its law, and
each stretch of a long record is turned until its once-a-turn line stands where the first one's
does, since belts creep.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from runstrue.errors import InputError
from runstrue.measure.parts.laws import Law
from runstrue.measure.parts.model import OnceRound
from runstrue.measure.parts.reading import Group, Reading, read_parts
from runstrue.measure.parts.removal import made_by
from runstrue.measure.parts.shares import harmonics_of, rate_of, runouts_of
from runstrue.quantity import Quantity, coverage_factor
from runstrue.result import Deviation
from runstrue.transport.turning import Turning

Array = NDArray[np.float64]

POINTS = 48
FEWEST_TURNS = 5.0
SMEARED_TURNS = 0.2
"""A rate that may be off by so much over the record smears the picture."""


def once_round(
    deviation: Deviation,
    turnings: Sequence[Turning],
    part_id: str,
    *,
    played_s: float | None = None,
) -> OnceRound:
    """Fold a record at a part's true rate.

    Parameters
    ----------
    deviation : Deviation
    turnings : sequence of Turning
    part_id : str
    played_s : float or None
        Of the tape at the beginning of the record, in s at nominal speed.

    Raises
    ------
    InputError
        When there is no such part.
    SignalError
        When no 10 s of unbroken tone are there.
    """
    reading = read_parts(deviation, turnings, played_s)
    number = _number_of(part_id, turnings)
    own = tuple(
        track for group in reading.groups if number in group.members for track in group.tracks
    )
    rate = _rate(number, own, reading)
    pieces = list(_pieces(number, own, rate, reading))
    turn = np.linspace(0.0, 1.0, POINTS + 1)
    mean, within, turns = _folded(pieces)
    together = Group((number,), own, 1.0)
    harmonics = harmonics_of(together, reading)
    one = turnings[number]
    return OnceRound(
        one.id, one.name, turn, mean, within, rate, turns, harmonics,
        runouts_of(together, reading, harmonics),
        tuple(_doubts(one.name, own, rate, turns, reading)),
    )  # fmt: skip


def _number_of(part_id: str, turnings: Sequence[Turning]) -> int:
    for number, one in enumerate(turnings):
        if one.id == part_id:
            return number
    listed = ", ".join(one.id for one in turnings)
    raise InputError(f"The transport has no part '{part_id}'", f"one of {listed} is needed")


def _rate(number: int, own: Sequence[int], reading: Reading) -> Quantity:
    """Rate by the clock in the middle of the record; by the part's own lines where it has some."""
    if not own:
        return rate_of(number, reading)
    told = []
    for track in own:
        multiple = reading.multiple(track, (number,))
        rate = reading.rate_hz(track) / multiple
        told.append(Quantity(rate, "Hz", rate * reading.tracks[track].by_law[0].u_log))
    return min(told, key=lambda one: one.u)


def _pieces(
    number: int, own: Sequence[int], rate: Quantity, reading: Reading
) -> Iterator[tuple[Array, Array]]:
    """Turns since some beginning, and deviation without the others, of each stretch."""
    others = [
        track for group in reading.groups for track in group.tracks if track not in own
    ] + list(reading.strays)
    law = reading.parts.parts[number].law
    travel_hz = rate.value if law.kind == "clock" else rate.value / reading.pace
    guide = _guide(number, own, reading)
    stretches = range(len(reading.record.stretches))
    if guide is None:  # nothing says how the stretches go together
        lengths = [one.length_s for one in reading.record.stretches]
        stretches = range(at := int(np.argmax(lengths)), at + 1)
    for where in stretches:
        one = reading.record.stretches[where]
        begun = law.rate_after(travel_hz, one.middle_s - reading.record.middle_s)
        if math.isnan(begun):
            continue
        phase = 0.0
        if guide is not None:
            track, multiple = guide
            line = next((fit for at, fit in reading.tracks[track].seen if at == where), None)
            if line is None:
                continue
            begun = line.rate_hz / multiple
            phase = (np.angle(line.size) / (2 * math.pi) + 0.25) / multiple
        turned = _own_law(law, multiple=1).phase_turns(begun, one, np.arange(one.percent.size))
        yield turned + phase, one.percent - made_by(reading, others, where)


def _own_law(law: Law, *, multiple: int) -> Law:
    if not law.ratio:
        return law
    return Law(law.kind, law.ratio * multiple, law.thickness_mm, law.speed_mm_s)


def _guide(number: int, own: Sequence[int], reading: Reading) -> tuple[int, int] | None:
    """The line by which stretches are turned, and its multiple; None where there is none.

    A line at twice the rate and above leaves it open which of its swings is the first; it will do
    where the record is one stretch, or where nothing is seen at the rate itself.
    """
    if not own:
        return None
    many = {track: reading.multiple(track, (number,)) for track in own}
    guide = min(own, key=lambda track: (many[track], -reading.tracks[track].peak))
    if many[guide] > 1 and len(reading.record.stretches) > 1:
        return None
    return guide, many[guide]


def _folded(pieces: Sequence[tuple[Array, Array]]) -> tuple[Array, Array, float]:
    """Mean curve over a turn, half-width of its 95 % band, and how many turns were laid over."""
    turned = np.concatenate([one for one, _ in pieces])
    percent = np.concatenate([one for _, one in pieces])
    turns = float(sum(np.ptp(one) for one, _ in pieces))
    at = np.floor((turned % 1.0) * POINTS + 0.5).astype(int) % POINTS
    count = np.maximum(np.bincount(at, minlength=POINTS), 1)
    mean = np.bincount(at, percent, POINTS) / count
    spread = np.bincount(at, (percent - mean[at]) ** 2, POINTS) / count
    # points of one turn that fall together go together: each turn counts once
    independent = np.clip(np.minimum(count, turns), 2.0, None)
    factor = np.array([coverage_factor(0.95, float(one) - 1) for one in independent])
    within = factor * np.sqrt(spread / (independent - 1))
    return np.append(mean, mean[0]), np.append(within, within[0]), turns


def _doubts(
    name: str, own: Sequence[int], rate: Quantity, turns: float, reading: Reading
) -> Iterator[str]:
    if not own:
        yield f"No line of the {name} was found, so its turn is shown as it does at most."
    if turns < FEWEST_TURNS:
        yield f"Only {turns:.1f} turns of the {name} were heard: record longer."
    longest = max(one.length_s for one in reading.record.stretches)
    smeared = min(turns, longest * rate.value) * rate.u / rate.value
    if smeared > SMEARED_TURNS:
        yield (
            f"The rate of the {name} is known to {100 * rate.u / rate.value:.2g} % only, so the "
            f"picture of its turn is smeared over {min(100 * smeared, 100):.0f} % of it."
        )
    if len(reading.record.stretches) > 1 and own and _first_missing(own, reading):
        yield (
            f"Of the {name}, the longest stretch alone was laid over: nothing tells how the others "
            "go with it."
        )


def _first_missing(own: Sequence[int], reading: Reading) -> bool:
    owners = [
        owner
        for track in own
        if (owner := reading.explained.explanations[0].owners[track]) is not None
    ]
    return all(owner.multiple > 1 for owner in owners)
