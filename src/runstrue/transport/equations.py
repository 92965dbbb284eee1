"""The equations of one transport at one tape speed, and the figures that they start from.

Figures are called by what they are of: 'rate.capstan', 'diameter.motor.pulley', 'tape'.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

from runstrue.quantity import Quantity
from runstrue.transport.description import (
    Belt,
    Motor,
    Pair,
    Point,
    Shaft,
    TapeSpeed,
    Transport,
    Wheel,
)
from runstrue.transport.known import Known
from runstrue.transport.relations import Product, Relation, Sum, Way
from runstrue.transport.spool import Spool, spool_of

# A rate that was counted or stands on a plate belongs to the speed at which the deck then ran:
# ±2 %, in which nearly all decks lie (ten open-reel machines of a collector: −2.0 to +1.1 %;
# cassette decks: common practice, no source). All such rates share it.
OFF_NOMINAL = "deck off its nominal speed"
OFF_NOMINAL_U = 0.02 / math.sqrt(3)

# A driven belt creeps, since it is stretched more on the side that pulls: 1 to 2 % in industrial
# drives, more or less with the load. It is allowed for, ±1 %, at every wheel but one.
CREEP_U = 0.01 / math.sqrt(3)

# Usual thicknesses in mm, half way and half width, where a belt's is not given (square 0.7 to
# 1.6, flat 0.4 to 0.7, round 1 to 2 mm: usual sizes, in part from memory).
USUAL_THICKNESS = {
    "square": (1.15, 0.45),
    "flat": (0.55, 0.15),
    "round": (1.5, 0.5),
    "": (1.0, 0.6),
}
# Of an induction motor whose slip is not given, in % (from memory).
USUAL_SLIP = (3.0, 3.0)


@dataclass(frozen=True, slots=True)
class Equations:
    """What there is to solve.

    Parameters
    ----------
    relations : tuple of Relation
    given : dict of str to Known
    remarks : tuple of str
        What was allowed for because nobody said it: 'slip of the motor, 3 ± 3 %'.
    spool : Spool or None
        Both packs, where enough is known of them.
    allowed : frozenset of str
        The figures of which only the usual range is known.
    """

    relations: tuple[Relation, ...]
    given: dict[str, Known]
    remarks: tuple[str, ...]
    spool: Spool | None
    allowed: frozenset[str]


def equations_of(transport: Transport, speed: TapeSpeed) -> Equations:
    """Write down what holds in a transport at one of its speeds."""
    writer = _Writer(transport, speed)
    relations = tuple(writer.relations())
    return Equations(
        relations, writer.given, tuple(writer.remarks), writer.spool, frozenset(writer.allowed)
    )


def wheel_names(transport: Transport) -> dict[str, str]:
    """Name every wheel so that no two have the same name: 'motor pulley', 'pulley of the motor'."""
    count = Counter(wheel.name for _, wheel in transport.wheels())
    return {
        wheel.id: wheel.name
        if count[wheel.name] == 1
        else f"{wheel.name} of the {shaft.name.removesuffix(' shaft')}"
        for shaft, wheel in transport.wheels()
    }


def capstan_names(transport: Transport) -> dict[str, str]:
    """Name the diameter of each capstan by its shaft, where there are several."""
    capstans = [one for one in transport.shafts if one.drives_tape]
    if len(capstans) == 1:
        return {capstans[0].id: "capstan diameter"}
    return {one.id: f"{one.name.removesuffix(' shaft')} diameter" for one in capstans}


def places_known(transport: Transport, belt: Belt) -> bool:
    """Whether the places of all axes of a belt are given."""
    return all(transport.wheel(one)[0].place is not None for one in belt.over)


class _Writer:
    """Writes the equations, table by table, and collects the figures they start from."""

    def __init__(self, transport: Transport, speed: TapeSpeed) -> None:
        self.transport, self.speed = transport, speed
        self.given: dict[str, Known] = {}
        self.remarks: list[str] = []
        self.allowed: set[str] = set()
        self.wheel_names = wheel_names(transport)
        self.spool = spool_of(transport.tape, speed.speed)

    def relations(self) -> Iterator[Relation]:
        if self.speed.speed is not None:
            self.given["tape"] = Known.of(self.speed.speed, "tape speed")
        for _, wheel in self.transport.wheels():
            self.take(f"diameter.{wheel.id}", wheel.diameter, self.diameter_name(wheel))
            if wheel.teeth is not None:
                self.given[f"teeth.{wheel.id}"] = Known(float(wheel.teeth))
        capstans = capstan_names(self.transport)
        for shaft in self.transport.shafts:
            if shaft.drives_tape:
                self.take(f"capstan.{shaft.id}", shaft.capstan, capstans[shaft.id])
                yield Product(
                    f"tape on the {shaft.name}", f"shaft.{shaft.id}",
                    (("tape", 1), (f"capstan.{shaft.id}", -1), (f"rate.{shaft.id}", -1)),
                    math.pi,
                )  # fmt: skip
            yield from self.rate_facts(shaft)
        for belt in self.transport.belts_at(self.speed):
            yield from self.belt(belt)
        for pair in self.transport.pairs_at(self.speed):
            yield from self.pair(pair)
        for roller in self.transport.rollers:
            self.take(f"roller.{roller.id}", roller.diameter, f"{roller.name} diameter")
            yield Product(
                roller.name, f"roller.{roller.id}",
                (("tape", 1), (f"roller.{roller.id}", -1), (f"roller-rate.{roller.id}", -1)),
                math.pi,
            )  # fmt: skip
        yield from self.hubs()

    def rate_facts(self, shaft: Shaft) -> Iterator[Relation]:
        """What is said of a shaft's own rate: counted, or by the motor's plate or the mains."""
        if shaft.rate is not None:
            yield self.rate_fact(shaft, "counted", Known.of(shaft.rate, f"{shaft.name}, counted"))
        motor = self.transport.motor_of(shaft, self.speed)
        by_motor = motor_rate(motor, shaft.name) if motor else None
        if motor and by_motor is not None:
            if motor.kind == "induction" and motor.rate is None and motor.slip_percent is None:
                middle, half = USUAL_SLIP
                self.remarks.append(f"slip of the {shaft.name}, {middle:g} ± {half:g} %")
            yield self.rate_fact(shaft, "motor", by_motor)

    def rate_fact(self, shaft: Shaft, kind: str, known: Known) -> Relation:
        if self.speed.speed is not None:
            known = known.with_share(OFF_NOMINAL, OFF_NOMINAL_U)
        name = f"{kind}.{shaft.id}"
        self.given[name] = known
        words = "rate as counted" if kind == "counted" else "rate of its motor"
        return Product(f"{shaft.name}, {words}", f"shaft.{shaft.id}",
                       ((f"rate.{shaft.id}", 1), (name, -1)))  # fmt: skip

    def belt(self, belt: Belt) -> Iterator[Relation]:
        table = f"belt.{belt.id}"
        thickness = f"thickness.{belt.id}"
        self.take(thickness, belt.thickness, f"thickness of the {belt.name}")
        wheels = [self.transport.wheel(one)[1] for one in belt.over]
        if thickness not in self.given and any(one.running is None for one in wheels):
            middle, half = USUAL_THICKNESS[belt.section]
            self.allowed.add(thickness)
            self.given[thickness] = Known.of(
                Quantity(middle, "mm", half / math.sqrt(3)), f"thickness of the {belt.name}"
            )
            self.remarks.append(f"thickness of the {belt.name}, {middle:g} ± {half:g} mm")
        steady = self.steady_wheel(belt)
        for wheel in wheels:
            shaft, _ = self.transport.wheel(wheel.id)
            running = f"running.{belt.id}.{wheel.id}"
            if wheel.running is not None:
                self.given[running] = Known.of(wheel.running, self.diameter_name(wheel))
            else:
                yield Sum(belt.name, table, running, f"diameter.{wheel.id}", thickness)
            creep = f"creep.{belt.id}.{wheel.id}"
            self.given[creep] = Known(
                1.0,
                {} if wheel.id == steady else
                {f"creep of the {belt.name} on the {self.wheel_names[wheel.id]}": CREEP_U},
            )  # fmt: skip
            yield Product(
                belt.name, table,
                ((running, 1), (f"rate.{shaft.id}", 1), (creep, 1), (f"speed.{belt.id}", -1)),
                1 / math.pi,
            )  # fmt: skip
        length = f"length.{belt.id}"
        self.take(length, belt.length, f"length of the {belt.name}")
        if belt.string is not None and thickness in self.given:
            string = f"string.{belt.id}"
            self.take(string, belt.string, f"string in place of the {belt.name}")
            yield Sum(belt.name, table, length, string, thickness, math.pi)
        if places_known(self.transport, belt):
            yield self.way(belt, wheels, length)
        yield Product(
            belt.name, table,
            ((f"speed.{belt.id}", 1), (length, -1), (f"belt-rate.{belt.id}", -1)),
        )  # fmt: skip

    def steady_wheel(self, belt: Belt) -> str:
        """Return the wheel at which a belt's speed is told: the capstan's, else the first."""
        for one in belt.over:
            if self.transport.wheel(one)[0].drives_tape:
                return one
        return belt.over[0]

    def way(self, belt: Belt, wheels: list[Wheel], length: str) -> Relation:
        places, u = [], []
        for one in wheels:
            place = self.transport.wheel(one.id)[0].place
            assert place is not None
            places.append((place[0].value, place[1].value))
            u.append(place[0].u)
        return Way(
            f"way of the {belt.name}", f"belt.{belt.id}", length,
            tuple(f"running.{belt.id}.{one.id}" for one in wheels), tuple(places),
            tuple(-1 if one.id in belt.outside else 1 for one in wheels), tuple(u),
            tuple(self.wheel_names[one.id] for one in wheels),
        )  # fmt: skip

    def pair(self, pair: Pair) -> Iterator[Relation]:
        kind = "teeth" if pair.by_teeth else "diameter"
        first, second = pair.between
        one, other = (self.transport.wheel(wheel)[0].id for wheel in pair.between)
        yield Product(
            pair.name, pair.table,
            ((f"rate.{one}", 1), (f"{kind}.{first}", 1),
             (f"rate.{other}", -1), (f"{kind}.{second}", -1)),
        )  # fmt: skip
        places = [self.transport.wheel(wheel)[0].place for wheel in pair.between]
        if not pair.by_teeth and places[0] is not None and places[1] is not None:
            yield self.touching(pair, places[0], places[1])
        if pair.by_teeth:
            yield Product(pair.name, pair.table, ((f"mesh.{pair.id}", 1), (f"rate.{one}", -1),
                                                  (f"teeth.{first}", -1)))  # fmt: skip

    def touching(self, pair: Pair, one: Point, other: Point) -> Relation:
        """Two rims that touch: twice the distance of their axes is the sum of their diameters."""
        dx, dy = (there.value - here.value for here, there in zip(one, other, strict=True))
        apart = math.hypot(dx, dy)
        u = math.hypot(one[0].u, other[0].u)
        name = f"apart.{pair.id}"
        self.given[name] = Known.of(Quantity(2 * apart, "mm", 2 * u), f"places of the {pair.name}")
        first, second = (f"diameter.{wheel}" for wheel in pair.between)
        return Sum(f"touch of the {pair.name}", pair.table, name, first, second)

    def hubs(self) -> Iterator[Relation]:
        if self.spool is None:
            return
        self.remarks += self.spool.remarks
        for side in ("take-up", "supply"):
            shaft = next((one.id for one in self.transport.shafts if one.turns_with == side),
                         f"{side}-hub")  # fmt: skip
            self.given[f"half.{side}"] = self.spool.half_radius(side)
            yield Product(
                f"{side} hub", "tape",
                (("tape", 1), (f"half.{side}", -1), (f"rate.{shaft}", -1)), 2 * math.pi,
            )  # fmt: skip

    def take(self, name: str, size: Quantity | None, share: str) -> None:
        if size is not None:
            self.given[name] = Known.of(size, share)

    def diameter_name(self, wheel: Wheel) -> str:
        return f"{self.wheel_names[wheel.id]} diameter"


def motor_rate(motor: Motor, name: str) -> Known | None:
    """Rate of a motor by its plate, or by mains and poles: 2 f / p less slip, in Hz.

    Notes
    -----
    120 f / p turns a minute for p poles, the rate of the field (any handbook of machines).
    """
    if motor.rate is not None:
        return Known.of(motor.rate, f"speed of the {name} by its plate")
    if motor.mains is None or motor.poles is None or motor.kind == "dc":
        return None
    field = Known.of(motor.mains, "mains frequency").times(Known(2 / motor.poles))
    if motor.kind == "synchronous":
        return field
    slip = motor.slip_percent or Quantity(USUAL_SLIP[0], "%", USUAL_SLIP[1] / math.sqrt(3))
    left = 1 - slip.value / 100
    return field.times(Known(left, {f"slip of the {name}": -slip.u / 100 / left}))
