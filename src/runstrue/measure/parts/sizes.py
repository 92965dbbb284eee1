"""Which part, of which size, would make a flutter line of a deck that nobody has described.

What is driven by the tape, or drives it, turns at f = v / (π d) (Handbook for Sound Engineers, ch.
28: the rate of its flutter is tape speed over π times diameter). A belt goes round at belt speed
over length, where the belt runs as many times faster than the tape as the flywheel is larger than
the capstan. So a line gives one size for each kind of part, at its own rate and at the multiples at
which its faults are usual. Those that no deck has are left out.

    possible_parts     sizes that would give a line
    tell_apart         tests on the deck that part these from each other, the least work first
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from runstrue.errors import InputError
from runstrue.quantity import Quantity

Machine = Literal["cassette", "open reel"]
SizeKind = Literal["capstan", "roller", "guide", "belt", "hub", "motor", "mains"]

NEAR = 0.1
"""Share of a usual bound by which a size may lie outside and still be named, as unusual."""
LOWEST_HZ, HIGHEST_HZ = 0.05, 400.0
FASTEST_MM_S = 2000.0
FAST_HZ = 15.0
"""Above it nobody counts turns; the strobe's or camera's own rate tells them."""
PULSES_A_TURN = 6
"""Of the usual small motor with three slots and two poles (from memory)."""


@dataclass(frozen=True, slots=True)
class Usual:
    """What sizes a kind of part has.

    Parameters
    ----------
    kind : str
    name : str
        'a capstan', 'a pinch roller'.
    measure : str
        'diameter', 'radius', 'length', 'speed'.
    unit : str
        'mm' or 'rpm'.
    low, high : float
    multiples : tuple of int
        At which its faults are usual.
    source : str
    """

    kind: SizeKind
    name: str
    measure: str
    unit: str
    low: float
    high: float
    multiples: tuple[int, ...]
    source: str


MEMORY, PRACTICE = "from memory", "common practice, no source"

# One row a kind. Single capstans and rollers were measured at sizes inside these ranges; the
# ranges themselves are from memory. Packs: r² = r₀² + L h / π of the longest cassette and of
# reels of 13 to 26.5 cm.
# fmt: off
USUAL: dict[Machine, tuple[Usual, ...]] = {
    "cassette": (
        Usual("capstan", "a capstan", "diameter", "mm", 1.5, 3.0, (1, 2, 3), MEMORY),
        Usual("belt", "a main belt", "length", "mm", 150.0, 400.0, (1, 2, 3), PRACTICE),
        Usual("roller", "a pinch roller", "diameter", "mm", 9.0, 14.0, (1, 2, 3, 4, 5, 6), MEMORY),
        Usual("guide", "a guide roller of the shell", "diameter", "mm", 5.0, 8.0, (1, 2),
              MEMORY),
        Usual("hub", "a tape pack", "radius", "mm", 11.0, 25.2, (1, 2, 3, 4), MEMORY),
        Usual("motor", "a motor", "speed", "rpm", 1600.0, 3000.0, (1, 2, PULSES_A_TURN), MEMORY),
    ),
    "open reel": (
        Usual("capstan", "a capstan", "diameter", "mm", 2.0, 14.0, (1, 2, 3), MEMORY),
        Usual("belt", "a main belt", "length", "mm", 250.0, 900.0, (1, 2, 3), PRACTICE),
        Usual("roller", "a pinch roller", "diameter", "mm", 20.0, 40.0, (1, 2, 3, 4, 5, 6),
              MEMORY),
        Usual("hub", "a tape pack", "radius", "mm", 22.0, 130.0, (1, 2, 3, 4), MEMORY),
        Usual("motor", "a motor", "speed", "rpm", 720.0, 3000.0, (1, 2), MEMORY),
        Usual("mains", "mains pulses of the motor", "speed", "Hz", 100.0, 120.0, (1,), PRACTICE),
    ),
}
# fmt: on

# How many times the rim where the belt runs is larger than the capstan. Cassette: rims of 40 to
# 70 mm on capstans of 2 to 3 mm, as they go together; open reel: 60 to 130 mm on 4 to 14 mm.
BELT_RATIO: dict[Machine, tuple[float, float]] = {
    "cassette": (20.0, 25.0), "open reel": (8.0, 20.0),
}  # fmt: skip
MAINS_PULSES_HZ = (100.0, 120.0)
MAINS_WITHIN = 0.005


@dataclass(frozen=True, slots=True)
class PossiblePart:
    """A part whose size would give a line.

    Parameters
    ----------
    usual : Usual
    multiple : int
        The line is this multiple of the part's own rate.
    rate : Quantity
        Of the part, in Hz.
    size : Quantity
        In the unit of `usual`.
    fit : {'usual', 'small', 'large'}
        Inside what is usual, or a little outside.
    """

    usual: Usual
    multiple: int
    rate: Quantity
    size: Quantity
    fit: Literal["usual", "small", "large"]


@dataclass(frozen=True, slots=True)
class Tell:
    """A simple test on the deck.

    Parameters
    ----------
    do : str
        What to do.
    then : str
        What it means.
    kinds : frozenset of str
        The kinds that it parts from all others.
    needs_cover_off : bool
        Whether somebody reaches into the deck for it.
    """

    do: str
    then: str
    kinds: frozenset[SizeKind]
    needs_cover_off: bool = True


def possible_parts(
    line: Quantity,
    speed: Quantity,
    machine: Machine = "cassette",
    *,
    belt_ratio: Quantity | None = None,
) -> tuple[PossiblePart, ...]:
    """Return the parts whose size would give a line at this rate.

    Parameters
    ----------
    line : Quantity
        Rate of the speed variation in Hz, 0.05 to 400.
    speed : Quantity
        Of the tape, in mm/s, above 0 and up to 2000.
    machine : {'cassette', 'open reel'}
        Whose usual sizes are looked through.
    belt_ratio : Quantity, optional
        Diameter of the flywheel over that of the capstan, where it is known.

    Returns
    -------
    tuple of PossiblePart
        At its own rate first, then at twice it and so on; what is usual before what is not.

    Raises
    ------
    InputError
        When rate or speed cannot be.

    Notes
    -----
    First-order uncertainty (JCGM 100:2008, 5.1.2). An unknown ratio of flywheel and capstan counts
    as a rectangle over what is usual.
    """
    _refuse_impossible(line, speed, belt_ratio)
    ratio = belt_ratio or _rectangle(*BELT_RATIO[machine])
    found = [
        one
        for usual in USUAL[machine]
        for multiple in usual.multiples
        for one in _at(usual, multiple, line, speed, ratio)
    ]
    return tuple(sorted(found, key=lambda one: (one.multiple, one.fit != "usual")))


def tell_apart(parts: Sequence[PossiblePart]) -> tuple[Tell, ...]:
    """Return the tests that part these from each other, the least work first.

    Parameters
    ----------
    parts : sequence of PossiblePart
        Of one line.

    Returns
    -------
    tuple of Tell
        Those of kinds that are among them.
    """
    nearest: dict[SizeKind, PossiblePart] = {}
    for part in parts:
        nearest.setdefault(part.usual.kind, part)
    return tuple(_TELLS[kind](nearest[kind]) for kind in _LEAST_WORK_FIRST if kind in nearest)


def _at(
    usual: Usual, multiple: int, line: Quantity, speed: Quantity, ratio: Quantity
) -> Iterator[PossiblePart]:
    """Yield the part if it has a size that decks have."""
    rate = Quantity(line.value / multiple, "Hz", line.u / multiple)
    size = _size(usual, rate, speed, ratio)
    if usual.kind == "mains":
        if any(abs(size.value / one - 1) < MAINS_WITHIN for one in MAINS_PULSES_HZ):
            yield PossiblePart(usual, multiple, rate, size, "usual")
        return
    half = size.u
    if size.value + half < usual.low * (1 - NEAR) or size.value - half > usual.high * (1 + NEAR):
        return
    fit: Literal["usual", "small", "large"] = "usual"
    if size.value + half < usual.low:
        fit = "small"
    elif size.value - half > usual.high:
        fit = "large"
    yield PossiblePart(usual, multiple, rate, size, fit)


def _size(usual: Usual, rate: Quantity, speed: Quantity, ratio: Quantity) -> Quantity:
    """Return the size that turns at this rate."""
    if usual.kind == "mains":
        return rate
    if usual.kind == "motor":
        return Quantity(60 * rate.value, "rpm", 60 * rate.u)
    per_turn = speed.value / rate.value
    shares = [rate.u / rate.value, speed.u / speed.value]
    if usual.kind == "belt":
        per_turn *= ratio.value
        shares.append(ratio.u / ratio.value)
    else:
        per_turn /= math.pi * (2 if usual.measure == "radius" else 1)
    return Quantity(per_turn, usual.unit, per_turn * math.hypot(*shares))


def _rectangle(low: float, high: float) -> Quantity:
    """Anything between two bounds (JCGM 100:2008, 4.3.7)."""
    return Quantity((low + high) / 2, "", (high - low) / 2 / math.sqrt(3))


def _refuse_impossible(line: Quantity, speed: Quantity, ratio: Quantity | None) -> None:
    if line.unit != "Hz" or not LOWEST_HZ <= line.value <= HIGHEST_HZ:
        raise InputError(
            f"A line at {line.value:g} {line.unit} was given",
            f"{LOWEST_HZ:g} to {HIGHEST_HZ:g} Hz is where parts of a transport turn",
        )
    if speed.unit != "mm/s" or not 0 < speed.value <= FASTEST_MM_S:
        raise InputError(
            f"A tape speed of {speed.value:g} {speed.unit} was given",
            f"more than 0 and at most {FASTEST_MM_S / 10:g} cm/s are needed",
        )
    if ratio is not None and not 1 <= ratio.value <= 100:
        raise InputError(
            f"A flywheel {ratio.value:.3g} times as large as the capstan was given",
            "1 to 100 times is needed",
            "give the flywheel's diameter first, then the capstan's",
        )


_LEAST_WORK_FIRST: tuple[SizeKind, ...] = (
    "mains", "hub", "guide", "roller", "capstan", "belt", "motor",
)  # fmt: skip


def _in_ten(part: PossiblePart) -> str:
    """How often it comes round, in words."""
    if part.rate.value >= FAST_HZ:
        return f"{part.rate.value:.0f} times a second"
    return f"{10 * part.rate.value:.0f} times in 10 s"


# What a technician does: common practice, no source.
def _hub_test(part: PossiblePart) -> Tell:
    return Tell(
        "Measure near the start and near the end of the side.",
        "A line of a tape pack moves, slower as its pack grows; all others stay.",
        frozenset({"hub"}), needs_cover_off=False,
    )  # fmt: skip


def _guide_test(part: PossiblePart) -> Tell:
    return Tell(
        "Play another cassette.",
        "A line of the cassette's own rollers moves or goes; all others stay.",
        frozenset({"guide"}), needs_cover_off=False,
    )  # fmt: skip


def _mains_test(part: PossiblePart) -> Tell:
    return Tell(
        "Trim the speed a little, or wait for the motor to warm up, and measure again.",
        "A line of the mains stays where it is; those of wheels and belts move with the speed.",
        frozenset({"mains"}), needs_cover_off=False,
    )  # fmt: skip


def _roller_test(part: PossiblePart) -> Tell:
    return Tell(
        "Clean the pinch roller, mark its face with a dot, and count it against a watch.",
        f"It is the roller if it comes round {_in_ten(part)}. Dirt goes, a flat stays.",
        frozenset({"roller"}), needs_cover_off=False,
    )  # fmt: skip


def _capstan_test(part: PossiblePart) -> Tell:
    return Tell(
        "Clean the capstan, mark the flywheel with a dot of paint, and film it in slow motion.",
        f"It is the capstan, or its flywheel, if the dot comes round {_in_ten(part)}.",
        frozenset({"capstan"}),
    )  # fmt: skip


def _belt_test(part: PossiblePart) -> Tell:
    return Tell(
        "Mark the belt with chalk and film it; then turn it inside out, or fit another, and "
        "measure again.",
        f"It is the belt if the mark comes round {_in_ten(part)}, and if the line is another "
        "one afterwards; a line of a wheel stays.",
        frozenset({"belt"}),
    )  # fmt: skip


def _motor_test(part: PossiblePart) -> Tell:
    return Tell(
        "Clean the motor pulley, mark it, and look at it with a strobe lamp or in slow motion.",
        f"It is the motor, or dirt on its pulley, if the mark comes round {_in_ten(part)}.",
        frozenset({"motor"}),
    )  # fmt: skip


_TELLS = {
    "hub": _hub_test, "guide": _guide_test, "mains": _mains_test, "roller": _roller_test,
    "capstan": _capstan_test, "belt": _belt_test, "motor": _motor_test,
}  # fmt: skip
