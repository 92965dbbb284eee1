"""The rules that turn readings into findings, read from their file and checked on the way.

A rule is data (`findings.yaml`): which check it answers, with which of its outcomes, and the
signs that must all be there.

    - check: ms_speed
      outcome: falls_with_time
      signs:
        - {reading: speed.drift, below: -0.05}
      because: the speed changes by {speed.drift} as the deck runs
      basis: judgement …

Rules of one check are tried in the order of the file; the first whose signs are all sure answers
it. Bounds are figures in the catalogue's unit, or `sheet`, or `sheet or 1.5`: the deck's own
sheet where it speaks of this reading, else the figure.
"""

from __future__ import annotations

import math
import re
from collections.abc import Collection
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Literal, get_args

from runstrue.catalogue import KINDS
from runstrue.faults.lines import Piece, near, read_lines
from runstrue.faults.models import Check
from runstrue.faults.read import read_knowledge
from runstrue.transport.turning import TurningKind

On = Literal["any", "every", "one"]
Of = Literal["value", "left over right", "rest", "swing", "end less start"]
Test = Literal["above", "below", "beyond", "within", "between"]

TESTS: tuple[Test, ...] = get_args(Test)
KINDS_OF_PART: tuple[str, ...] = (*get_args(TurningKind), "take-up hub", "supply hub")
BANDS_HZ = {"flutter.wow_rms": (0.1, 10.0), "flutter.flutter_rms": (10.0, 200.0)}
"""Of these readings the rest without its lines can be taken (bands: JIS C 5569-1991)."""


@dataclass(frozen=True, slots=True)
class Bound:
    """What a reading is held against: a figure, the deck's sheet, or the one where the other lacks.

    Parameters
    ----------
    sheet : bool
        Whether a verdict on this reading decides, where there is one.
    low, high : float or None
        For 'between' both, else `high` alone; None where only the sheet can tell.
    """

    sheet: bool = False
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True)
class Sign:
    """One thing that must be sure in the readings.

    Parameters
    ----------
    reading : str
        Id of the catalogue.
    of : {'value', 'left over right', 'rest', 'swing', 'end less start'}
        The reading itself; left less right; what is left of a r.m.s. without its lines; how far
        it moves; at the end of the side less at its beginnings before and after.
    on : {'any', 'every', 'one'}
        For readings of each channel: on one or the other, on all, on just one.
    where, unless : dict of str to tuple of str
        Conditions of the reading, and the words that they must, or must not, hold.
    rows : int
        How many rows its table must have at least: lines of hum.
    tests : dict of Test to Bound
        All of them have to be sure.
    """

    reading: str
    of: Of = "value"
    on: On = "any"
    where: tuple[tuple[str, tuple[str, ...]], ...] = ()
    unless: tuple[tuple[str, tuple[str, ...]], ...] = ()
    rows: int = 0
    tests: tuple[tuple[Test, Bound], ...] = ()


@dataclass(frozen=True, slots=True)
class PartSign:
    """Parts of the transport that make flutter which matters.

    Parameters
    ----------
    kinds : tuple of str
        Any of these kinds of part.
    pattern : {'', 'plain', 'twice', 'pulses'}
        Most of it at the part's own rate; at twice it or more; spread over many multiples.
    count : int
        How many parts at least.
    none : bool
        No part at all, surely.
    share : Bound
        Weighted flutter of the part, as the peak of a sine, in %.
    """

    kinds: tuple[str, ...] = ()
    pattern: str = ""
    count: int = 1
    none: bool = False
    share: Bound = Bound()


@dataclass(frozen=True, slots=True)
class Rule:
    """Signs that together answer a check.

    Parameters
    ----------
    check, outcome : str
        Ids of the knowledge.
    signs : tuple of Sign or PartSign
    because : str
        A sentence; `{speed.drift}` stands for that reading, `{side}` for the channel that it
        speaks of, `{part}` for the parts.
    basis : str
        Where its figures come from.
    """

    check: str
    outcome: str
    signs: tuple[Sign | PartSign, ...]
    because: str
    basis: str


@dataclass(frozen=True, slots=True)
class Rules:
    """All rules, and how sure a sign must be."""

    sure_from: float
    rules: tuple[Rule, ...]

    def checks(self) -> tuple[str, ...]:
        """Return the checks that readings can answer, in the order of the file."""
        return tuple(dict.fromkeys(rule.check for rule in self.rules))

    def of(self, check: str) -> tuple[Rule, ...]:
        """Return the rules of one check, in their order."""
        return tuple(rule for rule in self.rules if rule.check == check)


@cache
def read_rules() -> Rules:
    """Read the rules.

    Raises
    ------
    DescriptionError
        With file and line, where they are wrong.

    Examples
    --------
    >>> read_rules().checks()[0]
    'ms_speed'
    """
    text = (files("runstrue.faults") / "findings.yaml").read_text(encoding="utf-8")
    return rules_of(text, "findings.yaml")


def rules_of(text: str, file: str) -> Rules:
    """Read rules from text.

    Raises
    ------
    DescriptionError
        With file and line: an unknown key, reading, check, outcome or part, or a bound that is
        no figure.
    """
    page = read_lines(text, file)
    parts = page.entries("The file of rules", ("sure_from", "rules")) if page else {}
    if page is None or len(parts) < 2:
        place = page or read_lines("{}", file)
        assert place is not None
        raise place.refused("'sure_from' and 'rules' should stand here")
    sure_from = parts["sure_from"].number("'sure_from'")
    if not 0.5 < sure_from < 1:
        raise parts["sure_from"].refused(
            f"'sure_from' is {sure_from:g}", "a chance between 0.5 and 1 is needed"
        )
    rules = tuple(_rule(piece) for piece in parts["rules"].items("'rules'"))
    return Rules(sure_from, rules)


def _rule(piece: Piece) -> Rule:
    keys = ("check", "outcome", "signs", "because", "basis")
    found = piece.entries("A rule", keys)
    for key in keys:
        if key not in found:
            raise piece.refused(f"A rule without '{key}'", "it is needed")
    checks = read_knowledge().checks
    check: Check = checks[_known(found["check"], "check", checks)]
    outcome = _known(found["outcome"], "outcome", [one.id for one in check.outcomes])
    signs = tuple(_sign(one) for one in found["signs"].items("'signs'"))
    if not signs:
        raise found["signs"].refused("A rule without a sign", "one at least is needed")
    because = found["because"].text("'because'")
    read = {one.reading for one in signs if isinstance(one, Sign)}
    for name in PLACEHOLDER.findall(because):
        if name not in {*read, "side", "part"}:
            raise found["because"].refused(
                f"'{{{name}}}' is told, but no sign reads it", f"one of {', '.join(read)} is needed"
            )
    return Rule(check.id, outcome, signs, because, found["basis"].text("'basis'"))


PLACEHOLDER = re.compile(r"\{([a-z0-9_.]+)\}")


def _sign(piece: Piece) -> Sign | PartSign:
    if "parts" in piece.entries("A sign", None):
        return _part_sign(piece)
    keys = ("reading", "of", "on", "where", "unless", "rows", *TESTS)
    found = piece.entries("A sign", keys)
    if "reading" not in found:
        raise piece.refused("A sign without a reading", "'reading' or 'parts' is needed")
    reading = _known(found["reading"], "quantity", KINDS)
    of: Of = "value"
    if "of" in found:
        word = found["of"].one_of("'of'", get_args(Of))
        of = next(one for one in get_args(Of) if one == word)
    if of == "rest" and reading not in BANDS_HZ:
        raise piece.refused(
            f"'{reading}' has no rest without its lines", f"{' or '.join(BANDS_HZ)} has"
        )
    on: On = "any"
    if "on" in found:
        word = found["on"].one_of("'on'", get_args(On))
        on = next(one for one in get_args(On) if one == word)
    tests = tuple((test, _bound(found[test], test)) for test in TESTS if test in found)
    where, unless = (_conditions(found, key) for key in ("where", "unless"))
    if not (tests or where):
        raise piece.refused("A sign that tests nothing", f"one of {', '.join(TESTS)} is needed")
    rows = int(found["rows"].number("'rows'")) if "rows" in found else 0
    return Sign(reading, of, on, where, unless, rows, tests)


def _part_sign(piece: Piece) -> PartSign:
    found = piece.entries("A sign", ("parts", "pattern", "count", "above", "none_above"))
    kinds = tuple(
        one.one_of("A kind of part", (*KINDS_OF_PART, "all"))
        for one in found["parts"].items("'parts'")
    )
    none = "none_above" in found
    if none == ("above" in found):
        raise piece.refused("A sign of parts needs either 'above' or 'none_above'")
    share = _bound(found["none_above" if none else "above"], "above")
    pattern = ""
    if "pattern" in found:
        pattern = found["pattern"].one_of("'pattern'", ("plain", "twice", "pulses"))
    count = int(found["count"].number("'count'")) if "count" in found else 1
    return PartSign(() if "all" in kinds else kinds, pattern, count, none, share)


def _bound(piece: Piece, test: Test) -> Bound:
    if test == "between":
        both = [_figure(one, one.text("A bound")) for one in piece.items("'between'")]
        if len(both) != 2 or both[0] >= both[1]:
            raise piece.refused("'between' is no range", "[least, most] is needed")
        return Bound(False, both[0], both[1])
    words = piece.text(f"'{test}'")
    if words == "sheet":
        return Bound(sheet=True)
    sheet = words.startswith("sheet or ")
    return Bound(sheet, high=_figure(piece, words.removeprefix("sheet or ")))


def _figure(piece: Piece, words: str) -> float:
    try:
        value = float(words)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise piece.refused(f"A bound is '{words}'", "a figure, 'sheet', or 'sheet or 1.5' fits")
    return value


def _conditions(found: dict[str, Piece], key: str) -> tuple[tuple[str, tuple[str, ...]], ...]:
    if key not in found:
        return ()
    return tuple(
        (name, tuple(one.text("A condition") for one in words.items(f"'{name}'")))
        for name, words in found[key].entries(f"'{key}'", None).items()
    )


def _known(piece: Piece, kind: str, known: Collection[str]) -> str:
    word = piece.text(f"The {kind}")
    if word not in known:
        raise piece.refused(f"There is no {kind} '{word}'", "", near(word, known))
    return word
