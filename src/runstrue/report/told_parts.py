"""An attribution as the logbook holds it: parts with their shares, turns and what-ifs, in words."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from runstrue.quantity import Quantity, number_text
from runstrue.report.words import figure_of, within_of
from runstrue.result import Line, Result, Trace
from runstrue.verdict.judge import judge
from runstrue.verdict.models import Limit

SHARE, RUNOUT, WITHOUT = "flutter.part_weighted", "flutter.part_runout", "flutter.part_without"
OF_PARTS = "flutter.part_"
UNEXPLAINED = "unexplained"
NOBODYS = "explained by no part"
TURN, TURN_WITHIN = "once round", "once round, 95 % half-width"
APART_HZ = 0.035
"""Lines nearer than this are one line of the spectrum (a minute of tone)."""


@dataclass(frozen=True, slots=True, eq=False)
class ToldPart:
    """One part, or several that cannot be told apart.

    Parameters
    ----------
    key : str
        Its ids, as the condition 'part' of its results.
    name : str
    result : Result
        Its share.
    size : Quantity
        Weighted flutter, as the peak of a sine of the same power, in %.
    matters : bool
    runouts : tuple of (str, Quantity)
        By place: the error of size that would do it, in µm.
    without : Quantity or None
        What weighted peak would remain without it.
    """

    key: str
    name: str
    result: Result
    size: Quantity
    matters: bool
    runouts: tuple[tuple[str, Quantity], ...] = ()
    without: Quantity | None = None

    @property
    def turn(self) -> tuple[Trace, Trace] | None:
        """Its mean turn and the half-width of its band, where it was folded and curves are here."""
        named = {trace.name: trace for trace in self.result.traces}
        if TURN not in named or TURN_WITHIN not in named:
            return None
        return named[TURN], named[TURN_WITHIN]


@dataclass(frozen=True, slots=True, eq=False)
class ToldParts:
    """All parts of one reading.

    Parameters
    ----------
    parts : tuple of ToldPart
        The largest first.
    nobodys : Quantity or None
        Weighted flutter that no part explains, in %.
    together : tuple of (str, Quantity)
        What would remain without several parts at once, by their names.
    """

    parts: tuple[ToldPart, ...]
    nobodys: Quantity | None = None
    together: tuple[tuple[str, Quantity], ...] = ()

    @property
    def guilty(self) -> tuple[ToldPart, ...]:
        """Those that matter."""
        return tuple(part for part in self.parts if part.matters)


def is_of_parts(result: Result) -> bool:
    """Whether a result belongs to an attribution rather than to the readings of a deck."""
    return result.id.startswith(OF_PARTS)


def told_parts(results: Sequence[Result]) -> ToldParts | None:
    """Return what an attribution told, or None where there was none."""
    shares = [one for one in results if one.id == SHARE and one.quantity is not None]
    if not shares:
        return None
    parts, nobodys, keys = [], None, set()
    for one in shares:
        key, size = str(one.conditions.get("part", "")), one.quantity
        assert size is not None
        if key == UNEXPLAINED:
            nobodys = size
            continue
        keys.add(key)
        remains = [left.quantity for left in _of(results, WITHOUT, key) if left.quantity]
        runouts = [
            (str(place.conditions.get("point", "")), place.quantity)
            for place in _of(results, RUNOUT, key)
            if place.quantity
        ]
        parts.append(
            ToldPart(
                key, str(one.conditions.get("name", key)), one, size,
                bool(one.conditions.get("matters", False)), tuple(runouts),
                remains[0] if remains else None,
            )
        )  # fmt: skip
    together = [
        (str(one.conditions.get("name", "")), one.quantity)
        for one in results
        if one.id == WITHOUT and one.quantity and one.conditions.get("part") not in keys
    ]
    parts.sort(key=lambda part: -part.size.value)
    return ToldParts(tuple(parts), nobodys, tuple(together))


def names_of_lines(
    lines: Sequence[Line], parts: Sequence[tuple[str, float, float]]
) -> dict[float, str]:
    """Name the lines of a spectrum by the parts that make them.

    Parameters
    ----------
    lines : sequence of Line
    parts : sequence of (str, float, float)
        Name of a part, rate of one of its lines in Hz and its standard uncertainty.

    Returns
    -------
    dict of float to str
        By the line's rate; lines of no part are not in it.
    """
    named = {}
    for line in lines:
        near = [
            (abs(line.rate_hz - rate), name)
            for name, rate, u in parts
            if abs(line.rate_hz - rate) < max(APART_HZ, 3 * math.hypot(line.u_rate_hz, u))
        ]
        if near:
            named[line.rate_hz] = min(near)[1]
    return named


def names_in(results: Sequence[Result], lines: Sequence[Line]) -> dict[float, str]:
    """Name the lines of a spectrum by the attribution among these results."""
    told = told_parts(results)
    if told is None:
        return {}
    return names_of_lines(
        lines,
        [
            (part.name, line.rate_hz, line.u_rate_hz)
            for part in told.parts
            for line in part.result.lines
        ],
    )


def repair_sentences(
    told: ToldParts, results: Sequence[Result], limits: Sequence[Limit]
) -> Iterator[str]:
    """Say what to repair first, and what would then remain.

    Parameters
    ----------
    told : ToldParts
    results : sequence of Result
        The readings of the same pass, for what there is now.
    limits : sequence of Limit
        Of the deck's sheet.
    """
    if not told.guilty:
        yield "No part makes flutter that matters."
        return
    now = next(
        (one for one in results if one.id == "flutter.weighted_peak" and one.channel == "both"),
        next((one for one in results if one.id == "flutter.weighted_peak"), None),
    )
    if now is None or now.quantity is None:
        return
    best = sorted(told.guilty, key=lambda part: part.without.value if part.without else math.inf)
    asked = [(part.name, part.without) for part in best] + list(told.together)
    for name, then in asked:
        if then is not None:
            yield put_right_words(name, now.quantity, then, would_be(now, then, limits))


def put_right_words(name: str, now: Quantity, then: Quantity, verdicts: Sequence[str]) -> str:
    """Say what would remain: 'With the capstan shaft put right, wow and flutter would read …'."""
    words = figure_of(then, "flutter.weighted_peak")
    within = f" (95 % within {within_of(then)})" if then.u else ""
    said = (
        f"With the {name} put right, wow and flutter would read {words}{within} instead of "
        f"{figure_of(now, 'flutter.weighted_peak')}"
    )
    return ". ".join([said, *verdicts]) + "."


def would_be(now: Result, then: Quantity, limits: Sequence[Limit]) -> list[str]:
    """Judge what would remain: "'Wow and flutter 0.14 %': would be met, more than 99 % sure"."""
    of_flutter = [one for one in limits if one.ids == (now.id,) and one.has_bound]
    verdicts = judge(of_flutter, [replace(now, quantity=then)])
    return [
        f"'{one.limit.words.strip()}': {would_words(one.words)}"
        for one in verdicts
        if one.reason != "not measured"
    ]


def would_words(words: str) -> str:
    """Turn a verdict on what is into one on what would be."""
    said = words.split(":")[0].rstrip(".")
    for now, then in (("does not meet", "would still not be met"), ("meets", "would be met")):
        if said.startswith(now):
            return then + said.removeprefix(now)
    return f"would be {said}" if said.startswith("too close") else said


def runout_words(runouts: Sequence[tuple[str, Quantity]]) -> str:
    """Say which error of size would do it: 'runout of the capstan 3.9 ±0.1 µm, or …'."""
    told = []
    for place, size in runouts:
        kind = "half the swing of the " if place.startswith("thickness") else "runout of the "
        within = f" ±{number_text(size.expanded(), size.decimals())}" if size.u else ""
        told.append(f"{kind}{place} {size.value_text()}{within} µm")
    return ", or ".join(told)


def _of(results: Sequence[Result], quantity_id: str, key: str) -> list[Result]:
    return [one for one in results if one.id == quantity_id and one.conditions.get("part") == key]
