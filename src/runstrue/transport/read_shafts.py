"""The part of a transport file that tells what stands on which shaft."""

from __future__ import annotations

from collections.abc import Sequence

from runstrue.transport import ranges
from runstrue.transport.checked import UNKNOWN, Tables
from runstrue.transport.description import Motor, Shaft, Wheel
from runstrue.transport.written import Size, WrittenIdler, WrittenMotor, WrittenShaft, WrittenWheel


class ShaftTables(Tables):
    """Makes shafts, wheels and motors of their tables."""

    def shaft(self, key: str, one: WrittenShaft) -> Shaft:
        """Make a shaft of its table."""
        path = ("shaft", key)
        return Shaft(
            id=key,
            name=self.called(one.name, key),
            capstan=self.size((*path, "capstan"), one.capstan, "length", ranges.CAPSTAN),
            drives_tape=one.capstan != "",
            wheels=tuple(self.wheel(key, name, wheel) for name, wheel in one.wheels.items()),
            motor=self.motor((*path, "motor"), one.motor) if one.motor is not None else None,
            rate=self.size((*path, "rate"), one.rate, "rate", ranges.RATE),
            turns_with=one.hub,
            place=self.place((*path, "at"), one.at),
        )

    def wheel(self, shaft: str, key: str, one: Size | WrittenWheel) -> Wheel:
        """Make a wheel of its size, or of its table."""
        path = ("shaft", shaft, "wheels", key)
        if not isinstance(one, WrittenWheel):
            size = self.size(path, one, "length", ranges.WHEEL)
            return Wheel(f"{shaft}.{key}", _words(key), size)
        teeth = one.teeth if isinstance(one.teeth, int) else None
        self.count((*path, "teeth"), teeth, 3, 2000, "teeth")
        return Wheel(
            f"{shaft}.{key}",
            one.name or _words(key),
            self.size((*path, "diameter"), one.diameter, "length", ranges.WHEEL),
            self.size((*path, "running"), one.running, "length", ranges.WHEEL),
            teeth,
        )

    def motor(self, path: Sequence[str], one: WrittenMotor) -> Motor:
        """Make a motor of its table."""
        poles = one.poles if isinstance(one.poles, int) else None
        segments = one.segments if isinstance(one.segments, int) else None
        self.count((*path, "poles"), poles, 2, 60, "poles")
        self.count((*path, "segments"), segments, 2, 100, "segments")
        if poles is not None and poles % 2:
            self.refuse((*path, "poles"), f"{poles} poles", "they come in pairs: 2, 4, 6 and so on")
        if one.kind == "dc" and one.mains not in UNKNOWN:
            self.refuse(
                (*path, "mains"), "a motor of kind 'dc' does not run from the mains",
                "kind = \"synchronous\" or \"induction\" is needed with it",
            )  # fmt: skip
        return Motor(
            kind=one.kind,
            rate=self.size((*path, "speed"), one.speed, "rate", ranges.MOTOR_RATE),
            mains=self.size((*path, "mains"), one.mains, "rate", ranges.MAINS),
            poles=poles,
            segments=segments,
            slip_percent=self.size((*path, "slip"), one.slip, "share", ranges.SLIP),
        )

    def idler(self, key: str, one: WrittenIdler) -> Shaft:
        """Make a shaft with one rim of an idler's table."""
        path = ("idler", key)
        size = self.size((*path, "diameter"), one.diameter, "length", ranges.WHEEL)
        name = self.called(one.name, key)
        return Shaft(key, name, wheels=(Wheel(f"{key}.rim", name, size),),
                     place=self.place((*path, "at"), one.at), is_idler=True)  # fmt: skip

    def called(self, given: str, key: str) -> str:
        """Return the name given, else one made of the id."""
        words = _words(key)
        return given.strip() or (f"{words} shaft" if words.endswith("capstan") else words)


def _words(key: str) -> str:
    words = key.replace("-", " ").replace("_", " ")
    return words.replace("take up", "take-up")
