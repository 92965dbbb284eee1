"""The tables of a transport file with every value checked; what is wrong is told with its line."""

from __future__ import annotations

import difflib
import re
from collections.abc import Sequence
from typing import Any, NoReturn, get_args, get_type_hints

import msgspec

from runstrue.errors import DescriptionError, InputError
from runstrue.quantity import Quantity
from runstrue.transport import ranges, sizes
from runstrue.transport.lines import line_of, lines_of
from runstrue.transport.written import TABLES, Size, WrittenMotor, WrittenWheel

UNKNOWN = ("unknown", "?", "")


class Tables:
    """What a file says, table by table.

    Parameters
    ----------
    text : str
        The file as written.
    name : str
        What errors call it.
    plain : dict
        The same as values.
    """

    def __init__(self, text: str, name: str, plain: dict[str, Any]) -> None:
        self.text, self.name, self.plain = text, name, plain
        self.lines = lines_of(text)
        self.bare_unit = ""

    def every(self, kind: str, shape: type[Any]) -> Sequence[tuple[str, Any]]:
        """Return all tables of a kind with their ids: [shaft.capstan], [shaft.motor]."""
        tables = self.plain.get(kind, {})
        if not isinstance(tables, dict):
            self.refuse((kind,), f"{tables!r} was found", f"a table [{kind}.NAME] is needed")
        for key, one in tables.items():
            if not isinstance(one, dict):
                self.refuse((kind, key), f"{one!r} was found in [{kind}]",
                            f"a table [{kind}.NAME] is needed")  # fmt: skip
        return [(key, self.table(shape, one, (kind, key))) for key, one in tables.items()]

    def table(
        self, shape: type[Any], plain: Any, path: Sequence[str], also: Sequence[str] = ()
    ) -> Any:
        """Convert one table; unknown keys and wrong kinds of value are refused in our words."""
        if not isinstance(plain, dict):
            self.refuse(path, f"{plain!r} was found", f"a table [{'.'.join(path)}] is needed")
        self.check_keys(shape, plain, path, also)
        try:
            return msgspec.convert(plain, shape)
        except msgspec.ValidationError as error:
            words, _, place = str(error).partition(" - at `$")
            inner = [part for part in re.findall(r"[\w-]+", place) if part != "0"]
            missing = re.search(r"missing required field `(\w+)`", words)
            if missing:
                self.refuse([*path, *inner], f"'{missing[1]}' is missing", "it is needed here")
            value: Any = plain
            for part in inner:
                value = value.get(part, value) if isinstance(value, dict) else value
            needed = _wanted(words)
            if "Invalid enum value" in words:
                where = [*path, *inner]
                needed = f"one of {', '.join(_choices(shape, where))} is needed"
            self.refuse([*path, *inner], f"{_short(value)} was found", needed)

    def check_keys(
        self, shape: type[Any], plain: dict[str, Any], path: Sequence[str], also: Sequence[str]
    ) -> None:
        """Refuse a key that is not known, and name the one that may be meant."""
        known = (*shape.__struct_fields__, *also)
        for key, value in plain.items():
            if key not in known:
                near = difflib.get_close_matches(key, known, 1)
                self.refuse(
                    [*path, key], f"'{key}' is no key of {_table_words(path)}",
                    f"is '{near[0]}' meant" if near else f"the keys are {', '.join(known)}",
                )  # fmt: skip
            if key == "motor" and isinstance(value, dict):
                self.check_keys(WrittenMotor, value, [*path, key], ())
            if key in ("wheels", "motors") and isinstance(value, dict):
                inner = WrittenWheel if key == "wheels" else WrittenMotor
                for name, one in value.items():
                    if isinstance(one, dict):
                        self.check_keys(inner, one, [*path, key, name], ())

    def size(
        self, path: Sequence[str], written: Size, dimension: sizes.Dimension, kind: ranges.Range
    ) -> Quantity | None:
        """Read a size that lies in its range; None where it is unknown."""
        if isinstance(written, str) and written.strip().lower() in UNKNOWN:
            return None
        try:
            size = sizes.read_size(
                written, dimension, kind.instrument,
                bare_unit=self.bare_unit if dimension == "length" else "",
                sign="zero or above" if kind.low == 0 else "above zero",
            )  # fmt: skip
        except InputError as error:
            hint = error.next_step
            if "no unit" in error.seen and dimension == "length":
                hint = 'or lengths = "mm" at the top of the file'
            self.refuse(path, error.seen, error.needed, hint)
        if not kind.low <= size.value <= kind.high:
            self.refuse(
                path, f"'{written}' is {kind.told(size.value)}",
                f"{kind.words} has {kind.told(kind.low)} to {kind.told(kind.high)}",
                "look at the figure and its unit",
            )  # fmt: skip
        return size

    def place(
        self, path: Sequence[str], at: tuple[Size, Size] | None
    ) -> tuple[Quantity, Quantity] | None:
        """Read a place: x to the right and y up, in mm."""
        if at is None:
            return None
        found = []
        for written in at:
            try:
                size = sizes.read_size(written, "length", sizes.RULER, sign="any",
                                       bare_unit=self.bare_unit)  # fmt: skip
                found.append(size)
            except InputError as error:
                hint = 'or lengths = "mm" at the top of the file' if "unit" in error.seen else ""
                self.refuse(path, error.seen, error.needed, hint)
        return found[0], found[1]

    def count(
        self, path: Sequence[str], given: int | None, low: int, high: int, words: str
    ) -> None:
        """Refuse a number that cannot be."""
        if given is not None and not low <= given <= high:
            self.refuse(path, f"{given} {words} were given", f"{low} to {high} are needed")

    def refuse(
        self, path: Sequence[str], seen: str, needed: str = "", next_step: str = ""
    ) -> NoReturn:
        """Raise with file, line and key before what was seen."""
        line = line_of(self.lines, tuple(path))
        where = f"'{self.name}'" + (f", line {line}" if line else "")
        table, key = ".".join(path[:-1]), path[-1] if path else ""
        place = f"[{table}] {key}" if table else key
        if len(path) == 2 and path[0] in TABLES:
            place = f"[{'.'.join(path)}]"
        raise DescriptionError(f"{where}, {place}: {seen}" if place else f"{where}: {seen}",
                               needed, next_step)  # fmt: skip


def _table_words(path: Sequence[str]) -> str:
    return f"[{'.'.join(path)}]" if path else "a transport file"


def _short(value: Any) -> str:
    said = repr(value)
    return said if len(said) <= 40 else said[:37] + "…"


def _wanted(words: str) -> str:
    """Turn what the reader of the file expected into a plain phrase."""
    expected = re.search(r"Expected `([^`]+)`", words)
    if expected:
        first = expected[1].split(" | ")[0]
        return {
            "str": "a text in quotes is needed", "int": "a whole number is needed",
            "float": "a number is needed", "array": "a list in square brackets is needed",
            "object": "a table is needed",
        }.get(first, f"{first} is needed")  # fmt: skip
    return words[:1].lower() + words[1:]


def _choices(shape: type[Any], path: Sequence[str]) -> list[str]:
    """Return the words that a key may have."""
    motor = any(part in ("motor", "motors") for part in path)
    hints = get_type_hints(WrittenMotor if motor else shape)
    return [f'"{one}"' for one in get_args(hints[path[-1]]) if one]
