"""The tables of a transport file, as written: what keys there are, and of what kind.

A size is a text such as '2.40±0.02 mm', a bare number where the file says `lengths`, or
'unknown'. `runstrue.transport.read` makes a `Transport` of it.
"""

from __future__ import annotations

from typing import Literal

import msgspec

Size = str | int | float


class WrittenMotor(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """[shaft.ID.motor], or motor = {…}."""

    kind: Literal["dc", "synchronous", "induction"] = "dc"
    speed: Size = "unknown"
    mains: Size = "unknown"
    poles: int | Literal["unknown"] = "unknown"
    segments: int | Literal["unknown"] = "unknown"
    slip: Size = "unknown"


class WrittenWheel(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A wheel of a shaft, where more is to be said than its diameter."""

    name: str = ""
    diameter: Size = "unknown"
    running: Size = "unknown"
    teeth: int | Literal["unknown"] | None = None


class WrittenShaft(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """[shaft.ID]."""

    name: str = ""
    capstan: Size = ""
    wheels: dict[str, Size | WrittenWheel] = {}
    motor: WrittenMotor | None = None
    rate: Size = "unknown"
    hub: Literal["", "take-up", "supply"] = ""
    at: tuple[Size, Size] | None = None


class WrittenIdler(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """[idler.ID]: a wheel that rubs on others and passes the drive on."""

    name: str = ""
    diameter: Size = "unknown"
    touches: list[str]
    at: tuple[Size, Size] | None = None
    speeds: list[str] = []


class WrittenBelt(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """[belt.ID]."""

    name: str = ""
    over: list[str]
    outside: list[str] = []
    section: Literal["", "square", "flat", "round"] = ""
    thickness: Size = "unknown"
    width: Size = "unknown"
    length: Size = "unknown"
    string: Size = "unknown"
    speeds: list[str] = []


class WrittenPair(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """[gears.ID] or [rims.ID]."""

    name: str = ""
    between: list[str]
    speeds: list[str] = []


class WrittenRoller(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """[roller.ID]."""

    name: str = ""
    kind: Literal["pinch", "guide"] = "pinch"
    diameter: Size = "unknown"
    count: int = 1
    at: tuple[Size, Size] | None = None


class WrittenTape(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """[tape]."""

    name: str = ""
    length: Size = "unknown"
    thickness: Size = "unknown"
    hub: Size = "unknown"
    supply_hub: Size = ""
    full: Size = "unknown"


class WrittenSpeed(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """[speeds.NAME]."""

    tape: Size = "unknown"
    motors: dict[str, WrittenMotor] = {}


class WrittenHead(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """What stands above the tables."""

    name: str
    deck: str = ""
    lengths: Literal["", "mm", "cm", "in"] = ""
    speed: Size = ""
    remark: str = ""


TABLES: dict[str, type[msgspec.Struct]] = {
    "shaft": WrittenShaft,
    "idler": WrittenIdler,
    "belt": WrittenBelt,
    "gears": WrittenPair,
    "rims": WrittenPair,
    "roller": WrittenRoller,
    "speeds": WrittenSpeed,
}
"""Tables that come by id: [shaft.capstan]; besides them there is [tape]."""
