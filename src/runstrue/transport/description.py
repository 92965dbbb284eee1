"""A transport as described: what stands on which shaft, and what drives what.

    Transport
    ├── TapeSpeed     one or several; each with what changes for it
    ├── Shaft         turns as one: capstan, wheels, motor, what sits on a tape hub
    │   ├── Wheel     pulley, flywheel rim, idler rim, gear
    │   └── Motor
    ├── Belt          over wheels, in order
    ├── Contact       two rims that touch
    ├── Gears         two gears that mesh
    ├── Roller        turned by the tape: pinch rollers, guide rollers
    └── Tape          hub, thickness, length

Sizes are `Quantity` in mm, rates in Hz, or None where nobody knows them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from runstrue.errors import DescriptionError
from runstrue.quantity import Quantity
from runstrue.transport.turning import PackSide

MotorKind = Literal["dc", "synchronous", "induction"]
BeltSection = Literal["square", "flat", "round"]
RollerKind = Literal["pinch", "guide"]
Point = tuple[Quantity, Quantity]


@dataclass(frozen=True, slots=True)
class Wheel:
    """A wheel of a shaft.

    Parameters
    ----------
    id : str
        'shaft.wheel', unique.
    name : str
        In plain words: 'flywheel'.
    diameter : Quantity or None
        Of the rim, or of the bottom of the groove, in mm.
    running : Quantity or None
        Diameter at which the middle of the belt runs, where that is what was measured; the belt's
        thickness is then not added.
    teeth : int or None
        Of a gear.
    """

    id: str
    name: str
    diameter: Quantity | None = None
    running: Quantity | None = None
    teeth: int | None = None


@dataclass(frozen=True, slots=True)
class Motor:
    """What drives a shaft.

    Parameters
    ----------
    kind : {'dc', 'synchronous', 'induction'}
    rate : Quantity or None
        As its plate or data say, in Hz.
    mains : Quantity or None
        Mains frequency in Hz, of a synchronous or induction motor.
    poles : int or None
    segments : int or None
        Of the commutator; of a motor without brushes: its slots.
    slip_percent : Quantity or None
        Of an induction motor, below the synchronous rate.
    """

    kind: MotorKind = "dc"
    rate: Quantity | None = None
    mains: Quantity | None = None
    poles: int | None = None
    segments: int | None = None
    slip_percent: Quantity | None = None


@dataclass(frozen=True, slots=True)
class Shaft:
    """What turns as one.

    Parameters
    ----------
    id, name : str
    capstan : Quantity or None
        Its diameter; None also where it has one of unknown size.
    drives_tape : bool
        Whether it carries a capstan.
    wheels : tuple of Wheel
    motor : Motor or None
    rate : Quantity or None
        Counted, in Hz.
    turns_with : {'', 'take-up', 'supply'}
        The tape hub that it carries.
    place : (Quantity, Quantity) or None
        Of its axis, in mm; x to the right, y up.
    is_idler : bool
        Whether it only passes the drive on.
    """

    id: str
    name: str
    capstan: Quantity | None = None
    drives_tape: bool = False
    wheels: tuple[Wheel, ...] = ()
    motor: Motor | None = None
    rate: Quantity | None = None
    turns_with: PackSide | Literal[""] = ""
    place: Point | None = None
    is_idler: bool = False


@dataclass(frozen=True, slots=True)
class Belt:
    """A belt.

    Parameters
    ----------
    id, name : str
    over : tuple of str
        Ids of the wheels in the order of its way.
    outside : frozenset of str
        Those of them that its back runs on; they turn the other way.
    section : {'', 'square', 'flat', 'round'}
    thickness : Quantity or None
        In mm, across its bend; the round one's diameter.
    width : Quantity or None
        Of a flat one, in mm.
    length : Quantity or None
        On the deck, along its middle, in mm.
    string : Quantity or None
        Of a string in its place, laid in the grooves, in mm.
    speeds : frozenset of str
        The tape speeds at which it drives; empty: at all.
    """

    id: str
    name: str
    over: tuple[str, ...]
    outside: frozenset[str] = frozenset()
    section: BeltSection | Literal[""] = ""
    thickness: Quantity | None = None
    width: Quantity | None = None
    length: Quantity | None = None
    string: Quantity | None = None
    speeds: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Pair:
    """Two wheels that drive each other, by their rims or by their teeth.

    Parameters
    ----------
    id, name : str
    between : (str, str)
        Ids of the wheels; of an idler, its rim first.
    by_teeth : bool
    table : str
        Where it stands in the file: 'idler.play', 'rims.take-up', 'gears.counter'.
    speeds : frozenset of str
        As of a belt.
    """

    id: str
    name: str
    between: tuple[str, str]
    by_teeth: bool
    table: str
    speeds: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Roller:
    """A roller that the tape turns; `count` alike."""

    id: str
    name: str
    kind: RollerKind
    diameter: Quantity | None = None
    count: int = 1
    place: Point | None = None


@dataclass(frozen=True, slots=True)
class Tape:
    """The tape: length in mm, thickness in mm, diameters in mm."""

    name: str = ""
    length: Quantity | None = None
    thickness: Quantity | None = None
    hub: Quantity | None = None
    supply_hub: Quantity | None = None
    full: Quantity | None = None


@dataclass(frozen=True, slots=True)
class TapeSpeed:
    """One tape speed, in mm/s, and the motors that run otherwise for it, by shaft."""

    name: str
    speed: Quantity | None
    motors: tuple[tuple[str, Motor], ...] = ()


@dataclass(frozen=True, slots=True)
class Transport:
    """A whole transport.

    Parameters
    ----------
    name : str
    deck : str
        Short name of the deck that it belongs to, or empty.
    speeds : tuple of TapeSpeed
        At least one.
    remark : str
    source : str
        File or name it was read from.
    text : str
        The file as written.
    lines : tuple of (str, int)
        Where each part stands in that file.
    """

    name: str
    deck: str
    speeds: tuple[TapeSpeed, ...]
    shafts: tuple[Shaft, ...] = ()
    belts: tuple[Belt, ...] = ()
    pairs: tuple[Pair, ...] = ()
    rollers: tuple[Roller, ...] = ()
    tape: Tape | None = None
    remark: str = ""
    source: str = ""
    text: str = ""
    lines: tuple[tuple[str, int], ...] = ()

    def speed(self, name: str = "") -> TapeSpeed:
        """Return the speed of this name, or of so many cm/s; without a name, the only speed.

        Raises
        ------
        DescriptionError
            When there is none of this name, or several and none was named.
        """
        if not name and len(self.speeds) == 1:
            return self.speeds[0]
        for one in self.speeds:
            if name and (one.name == name or _is_near(one.speed, name)):
                return one
        names = ", ".join(f"'{one.name}'" for one in self.speeds)
        if not name:
            raise DescriptionError(
                f"The transport '{self.name}' has {len(self.speeds)} speeds", f"one of {names} is "
                "needed", "name it"
            )  # fmt: skip
        raise DescriptionError(
            f"The transport '{self.name}' has no speed '{name}'", f"it has {names}"
        )

    def wheels(self) -> Iterator[tuple[Shaft, Wheel]]:
        """Yield every wheel with its shaft."""
        for shaft in self.shafts:
            for wheel in shaft.wheels:
                yield shaft, wheel

    def wheel(self, wheel_id: str) -> tuple[Shaft, Wheel]:
        """Return one wheel and its shaft."""
        return next((s, w) for s, w in self.wheels() if w.id == wheel_id)

    def shaft(self, shaft_id: str) -> Shaft:
        """Return one shaft."""
        return next(one for one in self.shafts if one.id == shaft_id)

    def belts_at(self, speed: TapeSpeed) -> tuple[Belt, ...]:
        """Return the belts that drive at this speed."""
        return tuple(one for one in self.belts if not one.speeds or speed.name in one.speeds)

    def pairs_at(self, speed: TapeSpeed) -> tuple[Pair, ...]:
        """Return the touching rims and meshing gears of this speed."""
        return tuple(one for one in self.pairs if not one.speeds or speed.name in one.speeds)

    def motor_of(self, shaft: Shaft, speed: TapeSpeed) -> Motor | None:
        """Return how this shaft is driven at this speed."""
        return dict(speed.motors).get(shaft.id, shaft.motor)


def _is_near(speed: Quantity | None, cm_s: str) -> bool:
    """Whether a tape speed is the one that was typed as a number of cm/s, rounded or not."""
    try:
        asked = float(cm_s.replace(",", ".").removesuffix("cm/s"))
    except ValueError:
        return False
    return speed is not None and abs(speed.value / 10 / asked - 1) < 0.01 if asked > 0 else False
