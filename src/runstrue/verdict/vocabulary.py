"""The words of spec sheets, read from the tables in `words/`: phrases, units, rules.

Phrases are matched without case and accents, across hyphens, dots, slashes and ampersands, so
that 'W. & F.', 'w/f' and 'W&F' are one. All languages are known at once: sheets mix them.
"""

from __future__ import annotations

import functools
import re
import tomllib
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass, field
from importlib.resources import files
from typing import Any, Literal

LANGUAGES = ("en", "de", "fr", "pt", "es")

MeaningKind = Literal["topic", "flag", "bound", "condition", "filler", "range"]

# What a phrase is taken for when it could be several things; 'range' is asked for on its own.
_PRIORITY: tuple[MeaningKind, ...] = ("topic", "flag", "condition", "bound", "filler", "range")

_WORD = re.compile(r"[^\W\d_]+|[0-9]+")
_UMLAUT = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "Ä": "Ae", "Ö": "Oe", "Ü": "Ue"})


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a phrase can be: 'topic' flutter, 'flag' weighted, 'bound' at_most.

    A condition has its name in `name` and what it says in `value`; all others have one or more
    names in `names`.
    """

    kind: MeaningKind
    names: tuple[str, ...]
    value: str = ""


@dataclass(slots=True)
class Node:
    """One step of the tree of phrases."""

    next: dict[str, Node] = field(default_factory=dict)
    meanings: list[Meaning] = field(default_factory=list)

    def is_a(self, kind: MeaningKind) -> Meaning | None:
        """Return the meaning of this kind, if the phrase has one."""
        return next((meaning for meaning in self.meanings if meaning.kind == kind), None)

    @property
    def best(self) -> Meaning | None:
        """The meaning that goes first."""
        found = (self.is_a(kind) for kind in _PRIORITY)
        return next((meaning for meaning in found if meaning), None)


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit as written: which dimension, and how much of the dimension's own unit."""

    dimension: str
    factor: float
    thousands: bool = False
    flag: str = ""


@dataclass(frozen=True, slots=True)
class Standard:
    """A standard with its number, and the flags that it sets."""

    pattern: re.Pattern[str]
    flags: tuple[str, ...]


def plain_word(word: str) -> str:
    """Return a word without case and accents."""
    apart = unicodedata.normalize("NFKD", word.casefold())
    return "".join(letter for letter in apart if not unicodedata.combining(letter))


@functools.cache
def phrases() -> Node:
    """Return the tree of all phrases of all languages."""
    root = Node()
    for language in LANGUAGES:
        table = _read(language)
        also = {_key(phrase): tuple(flags) for phrase, flags in table.get("also", {}).items()}
        for phrase, meaning in _meanings(table):
            extra = also.get(_key(phrase), ()) if meaning.kind == "flag" else ()
            whole = Meaning(meaning.kind, (*meaning.names, *extra), meaning.value)
            for written in {phrase, phrase.translate(_UMLAUT)}:
                node = root
                for word in _key(written):
                    node = node.next.setdefault(word, Node())
                node.meanings.append(whole)
    return root


def _meanings(table: dict[str, Any]) -> Iterator[tuple[str, Meaning]]:
    kinds: tuple[MeaningKind, ...] = ("topic", "flag", "bound")
    for kind in kinds:
        for name, written in table.get(kind, {}).items():
            for phrase in written:
                yield phrase, Meaning(kind, (name,))
    for name, values in table.get("condition", {}).items():
        for value, written in values.items():
            for phrase in written:
                yield phrase, Meaning("condition", (name,), value)
    for phrase in table.get("filler", {}).get("words", ()):
        yield phrase, Meaning("filler", ())
    for phrase in table.get("range", {}).get("words", ()):
        yield phrase, Meaning("range", ())


@functools.cache
def units() -> tuple[re.Pattern[str], dict[str, Unit]]:
    """Return the pattern that finds a unit after a figure, and all units by spelling."""
    table: dict[str, Unit] = {}
    for entry in _read("units")["unit"]:
        for written in entry["written"]:
            table.setdefault(
                written,
                Unit(
                    entry["dimension"],
                    entry["factor"],
                    entry.get("thousands", False),
                    entry.get("flag", ""),
                ),
            )
    longest_first = sorted(table, key=len, reverse=True)
    # no letter may follow ('dB' in 'dBV'), nor a digit ('p' in 'p7')
    pattern = "|".join(re.escape(written) for written in longest_first)
    return re.compile(rf"(?:{pattern})(?![^\W_])"), table


@functools.cache
def standards() -> tuple[Standard, ...]:
    """Return the standards that are known by number."""
    return tuple(
        Standard(re.compile(entry["pattern"], re.IGNORECASE), tuple(entry["flags"]))
        for entry in _read("methods")["standard"]
    )


@functools.cache
def rules() -> tuple[dict[str, Any], ...]:
    """Return the rules that tell which reading a set of flags means, in order."""
    return tuple(_read("methods")["rule"])


@functools.cache
def topics() -> dict[str, dict[str, Any]]:
    """Return what each topic means, by the dimension of the figure."""
    return _read("topics")


def _read(name: str) -> dict[str, Any]:
    text = files("runstrue.verdict").joinpath("words", f"{name}.toml").read_text("utf-8")
    return tomllib.loads(text)


def _key(phrase: str) -> tuple[str, ...]:
    return tuple(_WORD.findall(plain_word(phrase)))
