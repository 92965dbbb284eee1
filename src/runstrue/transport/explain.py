"""What a study says, in words: what is given, what follows from what, what does not agree."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass

from runstrue.quantity import Quantity, number_text
from runstrue.transport.description import Belt, Roller, Shaft
from runstrue.transport.equations import OFF_NOMINAL, capstan_names, wheel_names
from runstrue.transport.follow import Disagreement
from runstrue.transport.rates import Study
from runstrue.transport.relations import Relation, Way

UNITS = {"rate": "Hz", "belt-rate": "Hz", "roller-rate": "Hz", "mesh": "Hz", "counted": "Hz",
         "motor": "Hz", "tape": "mm/s", "speed": "mm/s", "teeth": "teeth"}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Fact:
    """One figure of a part.

    Parameters
    ----------
    part : str
        'capstan shaft'.
    name : str
        What of it: 'turns', 'flywheel diameter'.
    figure : Quantity or None
        None: not known.
    origin : str
        What it is known from: 'given', 'allowed for', 'main belt', 'tape speed'; or empty.
    """

    part: str
    name: str
    figure: Quantity | None
    origin: str


def facts_of(study: Study) -> Iterator[Fact]:
    """Yield every figure of every part, known or not, in the order of the description."""
    yield _fact(study, "tape", "tape", "speed")
    for shaft in study.transport.shafts:
        yield from _shaft_facts(study, shaft)
    for belt in study.transport.belts_at(study.speed):
        yield from _belt_facts(study, belt)
    for pair in study.transport.pairs_at(study.speed):
        if pair.by_teeth:
            yield _fact(study, f"mesh.{pair.id}", pair.name, "teeth a second")
    for roller in study.transport.rollers:
        yield from _roller_facts(study, roller)
    yield from _hub_facts(study)


def label_of(study: Study, name: str) -> str:
    """Name a figure so that it stands alone: 'the motor pulley diameter'."""
    kind, _, rest = name.partition(".")
    transport = study.transport
    wheels = wheel_names(transport)
    parts = {one.id: one.name for one in transport.shafts}
    parts |= {one.id: one.name for one in transport.belts}
    parts |= {one.id: one.name for one in transport.rollers}
    if kind == "running":
        belt, _, wheel = rest.partition(".")
        return f"the diameter at which the {parts[belt]} runs on the {wheels[wheel]}"
    if kind == "capstan":
        return f"the {capstan_names(transport)[rest]}"
    return {
        "tape": "the tape speed",
        "rate": f"the rate of the {parts.get(rest, rest)}",
        "counted": f"the counted rate of the {parts.get(rest, rest)}",
        "motor": f"the rate of the {parts.get(rest, rest)} by its plate or the mains",
        "diameter": f"the {wheels.get(rest, rest)} diameter",
        "teeth": f"the number of teeth of the {wheels.get(rest, rest)}",
        "thickness": f"the thickness of the {parts.get(rest, rest)}",
        "length": f"the length of the {parts.get(rest, rest)}",
        "string": f"the string in place of the {parts.get(rest, rest)}",
        "speed": f"the speed of the {parts.get(rest, rest)}",
        "roller": f"the {parts.get(rest, rest)} diameter",
        "apart": "twice the distance of the axes",
        "half": f"the radius of half the {rest} pack",
    }.get(kind, f"the rate of the {parts.get(rest, rest)}")


def unit_of(name: str) -> str:
    """Return the unit of a figure."""
    return UNITS.get(name.partition(".")[0], "mm")


def disagreement_words(study: Study, one: Disagreement) -> str:
    """Say which two facts do not agree, by how much, and what to measure again."""
    line = dict(study.transport.lines).get(one.relation.table)
    where = f"{one.relation.words}" + (f" (line {line})" if line else "")
    unit = unit_of(one.name)
    taken, other = one.taken.quantity(unit), one.otherwise.quantity(unit)
    percent = 100 * one.apart
    apart = (
        f"{_percent(percent)} apart, and {_percent(100 * one.explained)} is what the sizes explain"
    )
    again = _measure_again(one.sizes)
    if isinstance(one.relation, Way):
        short = taken.value < other.value
        first = (
            f"{where}: {figure_words(taken)} are given, but {figure_words(other)} is the way over "
            "the places of its wheels; " + ("it cannot reach" if short else "it would hang loose")
        )
        return f"{first} ({apart}). {again}"
    return (
        f"{where}: {label_of(study, one.name)} is {figure_words(taken)}, but by all the rest it "
        f"would be {figure_words(other)}; {apart}. {again}"
    )


def figure_words(figure: Quantity) -> str:
    """Print a figure as far as it is known."""
    return f"{figure_text(figure)} {figure.unit}"


def figure_text(figure: Quantity) -> str:
    """Print a value as far as it is known, 95 % sure; one that is exact, as it is."""
    if figure.u > 0:
        return figure.value_text(decimals=_decimals(figure))
    return f"{figure.value:.6g}"


def within_text(figure: Quantity) -> str:
    """Print what a figure lies within, 95 % sure, in two figures; nothing for an exact one."""
    if figure.u <= 0:
        return ""
    return f"±{number_text(figure.expanded(), _decimals(figure))} {figure.unit}"


def speed_words(speed_mm_s: float) -> str:
    """Print a tape speed as the trade does: '4.76 cm/s', '9.53 cm/s', '38.1 cm/s'."""
    hundredths = math.floor(speed_mm_s * 10 + 0.5 + 1e-9)  # 9.525 goes up
    return f"{hundredths / 100:.4g} cm/s"


def _decimals(figure: Quantity) -> int:
    """Decimals that leave the interval two figures."""
    return Quantity(figure.value, figure.unit, figure.expanded()).decimals()


def _measure_again(sizes: tuple[str, ...]) -> str:
    """Say which sizes are worth measuring again: all that can be measured, worst first."""
    plain = [re.sub(r"^(place .*), [xy]$", r"\1", size) for size in sizes]
    listed = [one for one in dict.fromkeys(plain) if not one.startswith((OFF_NOMINAL, "creep"))]
    rests = ", ".join(listed[:4]) + (" and more" if len(listed) > 4 else "")
    return f"Measure again what it rests on: {rests}." if rests else "Look at both."


def _percent(percent: float) -> str:
    return f"{percent:.2g} %" if percent < 100 else f"{percent:.0f} %"


def _shaft_facts(study: Study, shaft: Shaft) -> Iterator[Fact]:
    yield _fact(study, f"rate.{shaft.id}", shaft.name, "turns")
    if shaft.drives_tape:
        yield _fact(study, f"capstan.{shaft.id}", shaft.name, "capstan")
    for wheel in shaft.wheels:
        running = [
            f"running.{belt.id}.{wheel.id}"
            for belt in study.transport.belts_at(study.speed)
            if wheel.id in belt.over
        ]
        geared = any(
            pair.by_teeth and wheel.id in pair.between
            for pair in study.transport.pairs_at(study.speed)
        )
        if geared or wheel.teeth is not None:
            yield _fact(study, f"teeth.{wheel.id}", shaft.name, wheel.name)
        elif wheel.running is not None and running:
            yield _fact(study, running[0], shaft.name, f"{wheel.name}, belt's middle")
        else:
            yield _fact(study, f"diameter.{wheel.id}", shaft.name, wheel.name)


def _belt_facts(study: Study, belt: Belt) -> Iterator[Fact]:
    yield _fact(study, f"belt-rate.{belt.id}", belt.name, "goes round")
    yield _fact(study, f"thickness.{belt.id}", belt.name, "thickness")
    yield _fact(study, f"length.{belt.id}", belt.name, "length on the deck")


def _roller_facts(study: Study, roller: Roller) -> Iterator[Fact]:
    yield _fact(study, f"roller-rate.{roller.id}", roller.name, "turns")
    yield _fact(study, f"roller.{roller.id}", roller.name, "diameter")


def _hub_facts(study: Study) -> Iterator[Fact]:
    carried = {one.turns_with for one in study.transport.shafts}
    for side in ("take-up", "supply"):
        if study.transport.tape is not None and side not in carried:
            yield _fact(study, f"rate.{side}-hub", f"{side} hub", "turns, half played")


def _fact(study: Study, name: str, part: str, words: str) -> Fact:
    known = study.values.get(name)
    if known is None:
        return Fact(part, words, None, "")
    relation = study.followed.found_by.get(name)
    if relation is not None:
        origin = _short_origin(relation)
    else:
        origin = "allowed for" if name in study.equations.allowed else "given"
    return Fact(part, words, known.quantity(unit_of(name)), origin)


def _short_origin(relation: Relation) -> str:
    """Name an equation in two or three words."""
    if isinstance(relation, Way):
        return "places"
    if relation.words.endswith("as counted"):
        return "counted"
    if relation.words.endswith("rate of its motor"):
        return "plate or mains"
    if relation.table.partition(".")[0] in ("shaft", "roller", "tape"):
        return "tape speed"
    return relation.words
