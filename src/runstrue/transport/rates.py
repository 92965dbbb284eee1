"""How fast every part of a transport turns, at the nominal tape speed and at any other.

Names
-----
turnings    from a description: all parts whose rate is known or follows
rates_at    the same at a measured tape speed, with so much of the tape played
study       all that stands behind it: every figure, and where two do not agree
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from runstrue.errors import InputError
from runstrue.quantity import Quantity
from runstrue.transport.description import Motor, Shaft, TapeSpeed, Transport
from runstrue.transport.drive import drive_to, turning_with_hubs
from runstrue.transport.equations import Equations, capstan_names, equations_of, wheel_names
from runstrue.transport.follow import Followed, follow
from runstrue.transport.known import Known
from runstrue.transport.pack import nominal_speed_mm_s, pack_rate
from runstrue.transport.places import belt_place, capstan_place, wheel_places
from runstrue.transport.turning import Pack, Place, Turning, TurningKind

# Multiples at which faults of each kind of part are usual, strongest first (common practice).
MULTIPLES: dict[TurningKind, tuple[int, ...]] = {
    "capstan": (1, 2, 3), "motor": (1, 2), "shaft": (1, 2), "belt": (1, 2, 3, 4, 5, 6),
    "roller": (1, 2, 3, 4, 5, 6), "idler": (1, 2, 3, 4), "guide": (1, 2), "hub": (1, 2, 3, 4),
    "mesh": (1, 2), "pulses": (1,),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Study:
    """All that is known of a transport at one speed.

    Parameters
    ----------
    transport : Transport
    speed : TapeSpeed
    equations : Equations
    followed : Followed
    """

    transport: Transport
    speed: TapeSpeed
    equations: Equations
    followed: Followed

    @property
    def values(self) -> Mapping[str, Known]:
        """Every figure that is known or follows."""
        return self.followed.values


@dataclass(frozen=True, slots=True)
class Rate:
    """A part's rate at a certain tape speed and place of the tape.

    Parameters
    ----------
    turning : Turning
    rate : Quantity
        In Hz.
    """

    turning: Turning
    rate: Quantity


def study(transport: Transport, speed_name: str = "") -> Study:
    """Work out all that follows from a description, at one of its speeds.

    Raises
    ------
    DescriptionError
        When it has no such speed, or several and none was named.
    """
    speed = transport.speed(speed_name)
    equations = equations_of(transport, speed)
    return Study(transport, speed, equations, follow(equations.relations, equations.given))


def turnings(transport: Transport, speed_name: str = "") -> tuple[Turning, ...]:
    """All parts that turn, with their rates at the nominal tape speed.

    Parameters
    ----------
    transport : Transport
    speed_name : str
        Needed where the transport has several speeds.

    Returns
    -------
    tuple of Turning
        Capstans first, then the shafts, idlers, rollers, belts, hubs, gears and pulses whose rate
        is given or follows; others are left out.

    Raises
    ------
    DescriptionError
        As `study`.
    """
    return turnings_of(study(transport, speed_name))


def turnings_of(studied: Study) -> tuple[Turning, ...]:
    """All parts that turn, of a transport that was studied."""
    found = list(_Maker(studied).all())
    return tuple(sorted(found, key=lambda one: _ORDER.index(one.kind)))


def rates_at(
    turned: tuple[Turning, ...], speed_percent: float = 0.0, played_s: float | None = None
) -> tuple[Rate, ...]:
    """Rates at a tape speed that is off nominal, with so much of the tape played.

    Parameters
    ----------
    turned : tuple of Turning
    speed_percent : float
        How far the tape runs off its nominal speed, above −100.
    played_s : float or None
        What has gone by of the tape, in s at the nominal speed; None: half of the tape.

    Returns
    -------
    tuple of Rate
        One for each turning.

    Raises
    ------
    InputError
        When the tape is shorter, or the speed is none.
    """
    if not (math.isfinite(speed_percent) and speed_percent > -100):
        raise InputError(
            f"A tape speed {speed_percent:g} % off nominal was given", "more than −100 % is needed"
        )
    factor = 1 + speed_percent / 100
    speed_mm_s = nominal_speed_mm_s(turned)
    rows = []
    for one in turned:
        rate = one.rate
        if one.pack is not None and played_s is not None and speed_mm_s is not None:
            rate = pack_rate(one, played_s * speed_mm_s)
        by = factor if one.follows_tape else 1.0
        rows.append(Rate(one, Quantity(rate.value * by, "Hz", rate.u * by)))
    return tuple(rows)


def side_lasts_s(turned: tuple[Turning, ...]) -> float | None:
    """Playing time of the tape at nominal speed, in s; None where it is not known."""
    speed_mm_s = nominal_speed_mm_s(turned)
    pack = next((one.pack for one in turned if one.pack is not None), None)
    return None if pack is None or speed_mm_s is None else pack.length.value * 1000 / speed_mm_s


_ORDER: tuple[TurningKind, ...] = (
    "capstan", "motor", "shaft", "idler", "belt", "roller", "guide", "hub", "mesh", "pulses",
)  # fmt: skip


class _Maker:
    """Makes the turnings of a study."""

    def __init__(self, studied: Study) -> None:
        self.transport, self.speed = studied.transport, studied.speed
        self.values, self.spool = studied.values, studied.equations.spool
        self.with_hub = turning_with_hubs(self.transport, self.speed)
        self.wheel_names = wheel_names(self.transport)
        self.capstan_names = capstan_names(self.transport)
        self.drives = {
            one.id: drive_to(self.transport, self.speed, one.id)
            for one in self.transport.shafts
            if one.drives_tape
        }

    def all(self) -> Iterator[Turning]:
        for shaft in self.transport.shafts:
            yield from self.shaft(shaft)
        for belt in self.transport.belts_at(self.speed):
            places = [belt_place(belt, steps, self.values) for steps in self.drives.values()]
            hung = self.with_hub.get(self.transport.wheel(belt.over[0])[0].id, "")
            yield from self.turning(
                f"belt-rate.{belt.id}", belt.id, belt.name, "belt",
                places=tuple({one.name: one for one in places if one is not None}.values()),
                pack=self.pack(hung),
            )  # fmt: skip
        for roller in self.transport.rollers:
            yield from self.turning(
                f"roller-rate.{roller.id}", roller.id, roller.name,
                "roller" if roller.kind == "pinch" else "guide",
            )  # fmt: skip
        for side in ("take-up", "supply"):
            if f"rate.{side}-hub" in self.values:
                yield from self.turning(f"rate.{side}-hub", f"{side}-hub", f"{side} hub", "hub",
                                        pack=self.pack(side))  # fmt: skip
        for pair in self.transport.pairs_at(self.speed):
            if pair.by_teeth:
                hung = self.with_hub.get(self.transport.wheel(pair.between[0])[0].id, "")
                yield from self.turning(
                    f"mesh.{pair.id}", pair.id, pair.name, "mesh", pack=self.pack(hung)
                )

    def shaft(self, shaft: Shaft) -> Iterator[Turning]:
        motor = self.transport.motor_of(shaft, self.speed)
        pack = self.pack(self.with_hub.get(shaft.id, ""))
        yield from self.turning(
            f"rate.{shaft.id}", shaft.id, shaft.name, self.kind(shaft, motor),
            places=tuple(self.places(shaft)), pack=pack,
        )  # fmt: skip
        if motor is not None:
            yield from self.pulses(shaft, motor)

    def kind(self, shaft: Shaft, motor: Motor | None) -> TurningKind:
        if shaft.drives_tape:
            return "capstan"
        if shaft.turns_with:
            return "hub"
        if motor is not None:
            return "motor"
        return "idler" if shaft.is_idler else "shaft"

    def places(self, shaft: Shaft) -> Iterator[Place]:
        """Yield where on this shaft an error of size moves the tape."""
        diameter = self.values.get(f"capstan.{shaft.id}")
        if diameter is not None:
            name = self.capstan_names[shaft.id].removesuffix(" diameter")
            yield capstan_place(diameter, name)
        seen: dict[str, Place] = {}
        for steps in self.drives.values():
            places = wheel_places(self.transport, steps, self.values, self.wheel_names)
            seen |= places.get(shaft.id, {})
        yield from seen.values()

    def pulses(self, shaft: Shaft, motor: Motor) -> Iterator[Turning]:
        """Yield what a motor does many times in a turn.

        Notes
        -----
        A commutator of s segments under p poles pulses as often in a turn as their least common
        multiple: three segments and two poles, six times. The torque of a mains motor pulses twice
        in a period of the mains, whatever the tape does.
        """
        rate = self.values.get(f"rate.{shaft.id}")
        if motor.segments is not None and motor.poles is not None and rate is not None:
            many = math.lcm(motor.segments, motor.poles)
            yield Turning(
                f"{shaft.id}-commutation", f"commutation of the {shaft.name}", "pulses",
                rate.times(Known(float(many))).quantity("Hz"),
                scale_shares=tuple(rate.shares.items()), multiples=MULTIPLES["pulses"],
            )  # fmt: skip
        if motor.mains is not None:
            mains = Known.of(motor.mains, "mains frequency").times(Known(2.0))
            yield Turning(
                f"{shaft.id}-mains", f"mains pulses of the {shaft.name}", "pulses",
                mains.quantity("Hz"), follows_tape=False,
                scale_shares=tuple(mains.shares.items()), multiples=MULTIPLES["pulses"],
            )  # fmt: skip

    def turning(
        self, figure: str, turning_id: str, name: str, kind: TurningKind,
        places: tuple[Place, ...] = (), pack: Pack | None = None,
    ) -> Iterator[Turning]:  # fmt: skip
        rate = self.values.get(figure)
        if rate is not None:
            yield Turning(
                turning_id, name, kind, rate.quantity("Hz"),
                scale_shares=tuple(rate.shares.items()), places=places, pack=pack,
                multiples=MULTIPLES[kind],
            )  # fmt: skip

    def pack(self, side: str) -> Pack | None:
        if self.spool is None or not side:
            return None
        return self.spool.take_up if side == "take-up" else self.spool.supply
