"""Read a transport from the TOML file that its owner wrote.

    read_transport      from a file
    parse_transport     from its text
    └── _Reader         table by table; what is wrong is told with file, line and key

The keys are those of `runstrue.transport.written`.
"""

from __future__ import annotations

import difflib
import os
import re
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path

from runstrue.errors import DescriptionError, FileError, InputError
from runstrue.transport import ranges
from runstrue.transport.belt_path import belt_path
from runstrue.transport.checked import UNKNOWN
from runstrue.transport.description import (
    Belt,
    Pair,
    Roller,
    Shaft,
    Tape,
    TapeSpeed,
    Transport,
    Wheel,
)
from runstrue.transport.geometry import given_spots, pulleys_of
from runstrue.transport.rates import study
from runstrue.transport.read_shafts import ShaftTables
from runstrue.transport.written import (
    TABLES,
    WrittenBelt,
    WrittenHead,
    WrittenIdler,
    WrittenPair,
    WrittenRoller,
    WrittenShaft,
    WrittenSpeed,
    WrittenTape,
)


def read_transport(path: str | os.PathLike[str]) -> Transport:
    """Read the description of a transport.

    Parameters
    ----------
    path : path
        A TOML file in UTF-8.

    Raises
    ------
    FileError
        When the file cannot be read.
    DescriptionError
        When it is no TOML, or says something that no transport can be; with file and line.
    """
    path = Path(path)
    try:
        text = path.read_text(encoding="utf-8")
    except UnicodeDecodeError:
        raise DescriptionError(
            f"'{path}' is not a text file", "a TOML file in UTF-8 is needed",
            "see `runstrue transport new`",
        ) from None  # fmt: skip
    except OSError as error:
        raise FileError(
            f"'{path}' cannot be read ({(error.strerror or str(error)).lower()})",
            "the description of a transport is needed",
            "see `runstrue transport new`",
        ) from None
    return parse_transport(text, str(path))


def parse_transport(text: str, name: str) -> Transport:
    """Read the description of a transport from its text.

    Parameters
    ----------
    text : str
        TOML.
    name : str
        What errors call it: the file's name.

    Raises
    ------
    DescriptionError
        As `read_transport`.
    """
    try:
        plain = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        said = str(error)
        raise DescriptionError(
            f"'{name}' is not TOML: {said[:1].lower()}{said[1:].rstrip('.')}",
            'lines such as capstan = "2.40 mm" below a line such as [shaft.capstan] are needed',
        ) from None
    return _Reader(text, name, plain).transport()


class _Reader(ShaftTables):
    """Makes a transport of the tables, and says where something is wrong."""

    speed_names: tuple[str, ...] = ()
    known: Mapping[str, tuple[Shaft, Wheel]] = {}

    def transport(self) -> Transport:
        head_plain = {
            key: value for key, value in self.plain.items() if key not in TABLES and key != "tape"
        }
        head = self.table(WrittenHead, head_plain, (), also=(*TABLES, "tape"))
        if not head.name.strip():
            self.refuse(("name",), "it is empty", "a name is needed")
        self.bare_unit = head.lengths
        self.check_ids()
        speeds = self.speeds(head)
        self.speed_names = tuple(one.name for one in speeds)
        shafts = [self.shaft(key, one) for key, one in self.every("shaft", WrittenShaft)]
        pairs: list[Pair] = []
        for key, idler in self.every("idler", WrittenIdler):
            shafts.append(self.idler(key, idler))
            pairs += [
                Pair(f"{key}-{number}", self.called(idler.name, key), (f"{key}.rim", touched),
                     False, f"idler.{key}",
                     self.some_speeds(("idler", key, "speeds"), idler.speeds))
                for number, touched in enumerate(self.touched(key, idler), 1)
            ]  # fmt: skip
        self.known = {wheel.id: (shaft, wheel) for shaft in shafts for wheel in shaft.wheels}
        pairs = [self.resolved(pair) for pair in pairs]
        for kind in ("rims", "gears"):
            pairs += [self.pair(kind, key, one) for key, one in self.every(kind, WrittenPair)]
        belts = tuple(self.belt(key, one) for key, one in self.every("belt", WrittenBelt))
        rollers = tuple(self.roller(key, one) for key, one in self.every("roller", WrittenRoller))
        self.check_hubs(shafts)
        self.check_motors(speeds, shafts)
        transport = Transport(
            name=head.name.strip(), deck=head.deck.strip(), speeds=speeds, shafts=tuple(shafts),
            belts=belts, pairs=tuple(pairs), rollers=rollers, tape=self.tape(), remark=head.remark,
            source=self.name, text=self.text,
            lines=tuple((".".join(path), line) for path, line in self.lines.items()),
        )  # fmt: skip
        self.check_ways(transport)
        return transport

    # The tables, one by one.

    def speeds(self, head: WrittenHead) -> tuple[TapeSpeed, ...]:
        several = list(self.every("speeds", WrittenSpeed))
        if several and head.speed != "":
            self.refuse(("speed",), "there are [speeds] too", "one or the other is needed")
        if not several:
            speed = self.size(("speed",), head.speed, "speed", ranges.TAPE_SPEED)
            return (TapeSpeed("", speed),)
        if any(not key.strip() for key, _ in several):
            self.refuse(("speeds",), "a speed has no name", "a table [speeds.NAME] is needed")
        return tuple(
            TapeSpeed(
                key,
                self.size(("speeds", key, "tape"), one.tape, "speed", ranges.TAPE_SPEED),
                tuple(
                    (shaft, self.motor(("speeds", key, "motors", shaft), motor))
                    for shaft, motor in one.motors.items()
                ),
            )
            for key, one in several
        )

    def touched(self, key: str, one: WrittenIdler) -> list[str]:
        if not one.touches:
            self.refuse(("idler", key, "touches"), "it touches nothing", "wheels are needed")
        return one.touches

    def resolved(self, pair: Pair) -> Pair:
        idler, touched = pair.between
        key = idler.partition(".")[0]
        wheel = self.wheel_id(("idler", key, "touches"), touched)
        if wheel.partition(".")[0] == key:
            self.refuse(("idler", key, "touches"), "it touches itself", "other wheels are needed")
        return Pair(pair.id, pair.name, (idler, wheel), False, pair.table, pair.speeds)

    def pair(self, kind: str, key: str, one: WrittenPair) -> Pair:
        path = (kind, key, "between")
        if len(one.between) != 2:
            self.refuse(path, f"it names {len(one.between)} wheels", "two are needed")
        first, second = (self.wheel_id(path, wheel) for wheel in one.between)
        if self.known[first][0].id == self.known[second][0].id:
            self.refuse(path, "both wheels are on one shaft", "wheels of two shafts are needed")
        speeds = self.some_speeds((kind, key, "speeds"), one.speeds)
        return Pair(key, self.called(one.name, key), (first, second), kind == "gears",
                    f"{kind}.{key}", speeds)  # fmt: skip

    def belt(self, key: str, one: WrittenBelt) -> Belt:
        path = ("belt", key)
        over = tuple(self.wheel_id((*path, "over"), wheel) for wheel in one.over)
        outside = [self.wheel_id((*path, "outside"), wheel) for wheel in one.outside]
        if len(over) < 2:
            self.refuse((*path, "over"), f"it runs over {len(over)} wheel", "two are needed")
        for index, wheel in enumerate(over):
            if wheel in over[:index]:
                self.refuse((*path, "over"), f"'{wheel}' is named twice", "each wheel once")
        for wheel in outside:
            if wheel not in over:
                self.refuse(
                    (*path, "outside"), f"it does not run over '{wheel}'",
                    "only wheels of the same belt can be outside of it",
                )  # fmt: skip
        if one.length not in UNKNOWN and one.string not in UNKNOWN:
            self.refuse((*path, "string"), "there is a length too", "one of them is needed")
        return Belt(
            id=key,
            name=self.called(one.name, key),
            over=over,
            outside=frozenset(outside),
            section=one.section,
            thickness=self.size((*path, "thickness"), one.thickness, "length", ranges.BELT),
            width=self.size((*path, "width"), one.width, "length", ranges.BELT_WIDTH),
            length=self.size((*path, "length"), one.length, "length", ranges.BELT_LENGTH),
            string=self.size((*path, "string"), one.string, "length", ranges.BELT_LENGTH),
            speeds=self.some_speeds((*path, "speeds"), one.speeds),
        )

    def roller(self, key: str, one: WrittenRoller) -> Roller:
        path = ("roller", key)
        self.count((*path, "count"), one.count, 1, 20, "rollers")
        return Roller(key, self.called(one.name, key), one.kind,
                      self.size((*path, "diameter"), one.diameter, "length", ranges.ROLLER),
                      one.count, self.place((*path, "at"), one.at))  # fmt: skip

    def tape(self) -> Tape | None:
        if "tape" not in self.plain:
            return None
        one = self.table(WrittenTape, self.plain["tape"], ("tape",))
        found = {
            key: self.size(("tape", key), getattr(one, key), "length", kind)
            for key, kind in (
                ("length", ranges.TAPE_LENGTH), ("thickness", ranges.TAPE_THICKNESS),
                ("hub", ranges.HUB), ("supply_hub", ranges.HUB), ("full", ranges.FULL_PACK),
            )
        }  # fmt: skip
        hub, full = found["hub"], found["full"]
        if hub is not None and full is not None and full.value <= hub.value:
            self.refuse(("tape", "full"), "the full pack is no larger than the bare hub",
                        "both are diameters")  # fmt: skip
        return Tape(one.name, **found)

    def wheel_id(self, path: Sequence[str], written: str) -> str:
        """Return the full id of a wheel; the shaft's name does where it has one wheel."""
        if written in self.known:
            return written
        on_shaft = [wheel for wheel, (shaft, _) in self.known.items() if shaft.id == written]
        if len(on_shaft) == 1:
            return on_shaft[0]
        near = difflib.get_close_matches(written, self.known, 1)
        listed = ", ".join(f"'{one}'" for one in (on_shaft or self.known)) or "none"
        self.refuse(
            path, f"there is no wheel '{written}'",
            f"is '{near[0]}' meant" if near and not on_shaft else f"the wheels are {listed}",
        )  # fmt: skip
        raise AssertionError

    def some_speeds(self, path: Sequence[str], names: Sequence[str]) -> frozenset[str]:
        for name in names:
            if name not in self.speed_names:
                listed = ", ".join(f"'{one}'" for one in self.speed_names if one)
                self.refuse(
                    path, f"there is no speed '{name}'",
                    f"one of {listed} is needed" if listed else "a table [speeds.NAME] is needed",
                )  # fmt: skip
        return frozenset(names)

    def check_ways(self, transport: Transport) -> None:
        """Refuse wheels that overlap, and belts that cannot lie so."""
        spots = given_spots(transport)
        for pair in transport.pairs:
            one, other = (transport.wheel(wheel)[0].id for wheel in pair.between)
            if one in spots and spots[one] == spots.get(other):
                self.refuse(pair.table.split("."), f"'{one}' and '{other}' stand at one place",
                            "two axes are needed")  # fmt: skip
        for speed in transport.speeds:
            values = study(transport, speed.name).values
            for belt in transport.belts_at(speed):
                laid = pulleys_of(transport, belt, values, spots)
                if laid is None:
                    continue
                try:
                    belt_path(*laid)
                except InputError as error:
                    seen = error.seen[:1].lower() + error.seen[1:]
                    self.refuse(("belt", belt.id), seen, error.needed, error.next_step)

    def check_ids(self) -> None:
        seen = {"take-up-hub": "tape", "supply-hub": "tape"}
        for kind in TABLES:
            tables = self.plain.get(kind)
            for key in tables if isinstance(tables, dict) and kind != "speeds" else ():
                if not re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", key):
                    self.refuse((kind, key), f"'{key}' is no name of a part",
                                "small letters, digits and hyphens are needed")  # fmt: skip
                if key in seen:
                    self.refuse((kind, key), f"'{key}' is the name of another part ({seen[key]})",
                                "each part needs a name of its own")  # fmt: skip
                seen[key] = kind

    def check_hubs(self, shafts: Sequence[Shaft]) -> None:
        carried: dict[str, str] = {}
        for one in shafts:
            if one.turns_with in carried:
                self.refuse(
                    ("shaft", one.id, "hub"), f"'{carried[one.turns_with]}' carries that hub too",
                    "one shaft for each hub is needed",
                )  # fmt: skip
            if one.turns_with:
                carried[one.turns_with] = one.id
                if one.drives_tape:
                    self.refuse(
                        ("shaft", one.id, "hub"), "the same shaft carries a capstan",
                        "they turn at different rates, so two shafts are needed",
                    )  # fmt: skip

    def check_motors(self, speeds: Sequence[TapeSpeed], shafts: Sequence[Shaft]) -> None:
        known = [one.id for one in shafts]
        for speed in speeds:
            for key, _ in speed.motors:
                if key not in known:
                    self.refuse(("speeds", speed.name, "motors", key), f"there is no shaft '{key}'",
                                f"one of {', '.join(known)} is needed")  # fmt: skip
