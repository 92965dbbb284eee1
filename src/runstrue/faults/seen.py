"""What a sign looks at: a reading itself, or what follows from one or two of them."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from runstrue.faults.rules import BANDS_HZ, Of, Sign
from runstrue.quantity import Budget, Contribution, Quantity
from runstrue.result import Line, Measured, Result, occasion_of

Placed = tuple[str, Measured]
"""Where on the tape a pass was made, 'start', 'middle' or 'end', and what it said."""

LEAST_USED_S = 15.0
"""Below it a hub (0.3 Hz and more) makes too few rounds to tell rhythm from none (own choice)."""


@dataclass(frozen=True, slots=True)
class Seen:
    """Something that a bound can be held against.

    Parameters
    ----------
    quantity : Quantity or None
        None where the reading could not be known.
    channel : str
        As in the results.
    side : str
        'left' or 'right' where it speaks of one of them; else empty.
    results : tuple of Result
        What it came from, the one that is told first.
    """

    quantity: Quantity | None
    channel: str
    side: str
    results: tuple[Result, ...]


def seen_of(
    results: Sequence[Result], sign: Sign, passes: Sequence[Placed] = ()
) -> tuple[Seen, ...]:
    """Return what a sign looks at in these results.

    Readings of both channels together go before those of each, unless the sign asks for each.

    Parameters
    ----------
    results : sequence of Result
    sign : Sign
    passes : sequence of (str, Measured)
        Passes of the same visit in the order of time, and where on the tape each was made.
    """
    if sign.of == "end less start":
        return tuple(_end_less_start(sign.reading, passes))
    chosen = [one for one in results if one.id == sign.reading and _fits(one, sign)]
    found = tuple(_MAKERS[sign.of](chosen, results))
    sided = [one for one in found if one.channel in ("left", "right")]
    together = [one for one in found if one not in sided]
    if sign.on == "any":
        return tuple(together or sided)
    return tuple(sided or together)


def _fits(result: Result, sign: Sign) -> bool:
    told = {name: str(value) for name, value in result.conditions.items()}
    if sign.rows and (result.table is None or len(result.table.x) < sign.rows):
        return False
    return all(told.get(name) in words for name, words in sign.where) and not any(
        told.get(name) in words for name, words in sign.unless
    )


def _values(chosen: Sequence[Result], _: Sequence[Result]) -> Iterator[Seen]:
    for one in chosen:
        side = one.channel if one.channel in ("left", "right") else ""
        if one.id == "level.balance":
            side = str(one.conditions.get("lower channel", ""))
            if not side and one.quantity is not None:
                side = "left" if one.quantity.value < 0 else "right"
        yield Seen(one.quantity, one.channel, side, (one,))


def _left_over_right(chosen: Sequence[Result], _: Sequence[Result]) -> Iterator[Seen]:
    """Left less right; what both share, such as a test tape's tolerance, cancels."""
    right = {(one.method, occasion_of(one)): one for one in chosen if one.channel == "right"}
    for one in chosen:
        other = right.get((one.method, occasion_of(one)))
        if one.channel != "left" or other is None or not (one.quantity and other.quantity):
            continue
        parts = [*_alone(one.budget), *_alone(other.budget)]
        difference = one.quantity.value - other.quantity.value
        quantity = Budget(tuple(parts)).quantity(difference, one.quantity.unit)
        yield Seen(quantity, "both", "left" if difference < 0 else "right", (one, other))


def _alone(budget: Budget) -> list[Contribution]:
    """Return what does not cancel: random parts, and shared ones that belong to nothing."""
    return [part for part in budget if part.kind == "random" or not part.source]


def _rest(chosen: Sequence[Result], results: Sequence[Result]) -> Iterator[Seen]:
    """What is left of a r.m.s. when the lines in its band are taken out, powers subtracted."""
    lines = next((one.lines for one in results if one.lines), ())
    for one in chosen:
        used_s = one.conditions.get("used_s", 0.0)
        if one.quantity is None or not isinstance(used_s, float) or used_s < LEAST_USED_S:
            continue
        quantity = _without(one.quantity, lines, *BANDS_HZ[one.id])
        yield Seen(quantity, one.channel, "", (one,))


def _without(quantity: Quantity, lines: Sequence[Line], low_hz: float, high_hz: float) -> Quantity:
    inside = [line for line in lines if low_hz <= line.rate_hz < high_hz]
    power = sum(line.peak_percent**2 / 2 for line in inside)
    u_power = math.hypot(
        2 * quantity.value * quantity.u,
        *(line.peak_percent * line.u_peak_percent for line in inside),
    )
    rest = max(quantity.value**2 - power, 0.0)
    # of a rest that is next to nothing only the power is known, within its uncertainty
    value = math.sqrt(rest)
    u = u_power / (2 * max(value, math.sqrt(u_power) / 2, 1e-12))
    return Quantity(value, quantity.unit, u, quantity.degrees_of_freedom)


def _end_less_start(reading: str, passes: Sequence[Placed]) -> Iterator[Seen]:
    """The latest end of a side less the mean of the beginnings just before and just after it.

    With a beginning on both sides of it in time, what changes as the deck warms up drops out.
    """
    read = [
        (place, found)
        for place, measured in passes
        if place in ("start", "end") and (found := measured.find(reading)) is not None
        and found.quantity is not None and not found.conditions.get("tone_undecided")
    ]  # fmt: skip
    for at in range(len(read) - 2, 0, -1):
        if [place for place, _ in read[at - 1 : at + 2]] != ["start", "end", "start"]:
            continue
        before, end, after = (found for _, found in read[at - 1 : at + 2])
        if before.quantity is None or end.quantity is None or after.quantity is None:
            continue
        parts = [*_alone(end.budget), *(_half(one) for one in _alone(before.budget)),
                 *(_half(one) for one in _alone(after.budget))]  # fmt: skip
        change = end.quantity.value - (before.quantity.value + after.quantity.value) / 2
        quantity = Budget(tuple(parts)).quantity(change, end.quantity.unit)
        yield Seen(quantity, end.channel, "", (end, before, after))
        return


def _half(part: Contribution) -> Contribution:
    return replace(part, u=part.u / 2)


def _swing(chosen: Sequence[Result], _: Sequence[Result]) -> Iterator[Seen]:
    """How far a reading moves; both ends are known as well as the reading's noise allows."""
    for one in chosen:
        if one.spread is None or one.quantity is None:
            continue
        u = math.sqrt(2) * one.budget.random_u
        moved = one.spread.high - one.spread.low
        side = str(one.conditions.get("moving channel", ""))
        yield Seen(Quantity(moved, one.quantity.unit, u), one.channel, side, (one,))


_Maker = Callable[[Sequence[Result], Sequence[Result]], Iterator[Seen]]
_MAKERS: dict[Of, _Maker] = {
    "value": _values, "left over right": _left_over_right, "rest": _rest, "swing": _swing,
}  # fmt: skip
