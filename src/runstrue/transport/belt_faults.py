"""Why a belt cannot lie over its pulleys as they were listed, and what would help.

A loop that never crosses itself turns by one full turn round what is inside of it, a figure of
eight by none. Where neither
comes out, another order is tried, then each pulley is left out or put on the belt's back in
turn, so that the sentence can name the one that is wrong.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import combinations, permutations
from typing import TYPE_CHECKING

from runstrue.errors import InputError

if TYPE_CHECKING:
    from runstrue.transport.belt_path import BeltPath, Pulley

Point = tuple[float, float]
Run = tuple[Point, Point]
THROUGH = "would run through"
MOST_REORDERED = 7
"""Orders of more pulleys than this are not tried: 8 have 2520."""


def faults_of(path: BeltPath, *, crossed: bool) -> list[str]:
    """Return what is wrong with a way, in words; nothing where a belt can lie so.

    Parameters
    ----------
    path : BeltPath
    crossed : bool
        Whether a figure of eight is meant.
    """
    pulleys = path.pulleys
    count = len(pulleys)
    faults = []
    for i, run in enumerate(path.tangents):
        for k in set(range(count)) - {i, (i + 1) % count}:
            centre = (pulleys[k].x_mm, pulleys[k].y_mm)
            if _distance(run, centre) < pulleys[k].radius_mm * (1 - 1e-9):
                faults.append(f"{THROUGH} {named(pulleys, k)}")
    crossing = crossings(path.tangents)
    turning = _turning(path)
    if meant_as_eight(pulleys, crossed=crossed):
        if len(crossing) != 1 or abs(turning) > 1e-6:
            faults.append("would not lie in a figure of eight")
    elif crossing or abs(turning - 2 * math.pi) > 1e-6:
        faults.append("would cross itself")
    return faults


def meant_as_eight(pulleys: Sequence[Pulley], *, crossed: bool) -> bool:
    """Whether the belt is to be crossed: said so, or two pulleys on unlike sides of it."""
    return crossed or (len(pulleys) == 2 and pulleys[0].side != pulleys[1].side)


def explained(
    path: BeltPath, lies: Callable[[tuple[Pulley, ...]], bool], *, crossed: bool
) -> InputError:
    """Return the error that says what is wrong with these pulleys.

    Parameters
    ----------
    path : BeltPath
        The way that came out all the same; a wrap near a full turn means that the belt passes by.
    lies : callable
        Whether a belt can lie over other pulleys.
    crossed : bool
    """
    pulleys = path.pulleys
    faults = faults_of(path, crossed=crossed)
    if all(fault.startswith(THROUGH) for fault in faults):
        return InputError(
            f"The belt {faults[0]}", "a free way is needed", "check diameters and places"
        )
    turned_over = tuple(replace(one, side=-one.side) for one in pulleys)
    if not crossed and lies(turned_over):
        return InputError(
            "The belt's back cannot run on these pulleys and its inner side on the rest",
            "what is inside the loop and what is not are needed",
            "it lies if inside and back are exchanged",
        )
    if not crossed and len(pulleys) > 2 and sum(one.side > 0 for one in pulleys) < 2:
        return InputError(
            "The belt's back would run on all pulleys but one",
            "a loop has two or more inside",
            "say which pulleys it goes round",
        )
    if len(pulleys) <= MOST_REORDERED:
        for rest in permutations(pulleys[1:]):
            if rest != pulleys[1:] and lies((pulleys[0], *rest)):
                places = [pulleys.index(one) for one in (pulleys[0], *rest)]
                return InputError(
                    "In the order given the belt would cross itself or miss a pulley",
                    "the order in which the belt meets them is needed",
                    "it can lie so: " + ", ".join(named(pulleys, place) for place in places),
                )
    doubtful = sorted(range(len(pulleys)), key=lambda index: -path.wraps_rad[index])
    for index in doubtful:
        pulley = pulleys[index]
        turned = replace(pulley, side=-pulley.side)
        if not crossed and lies((*pulleys[:index], turned, *pulleys[index + 1 :])):
            where = "its back runs" if pulley.side > 0 else "its inner side runs"
            return InputError(
                f"The belt would not touch {named(pulleys, index)} from that side",
                "a pulley that the belt bends round is needed",
                f"say that {where} on it, or leave it out",
            )
    for index in doubtful:
        rest = (*pulleys[:index], *pulleys[index + 1 :])
        if crossed == meant_as_eight(rest, crossed=crossed) and len(rest) > 1 and lies(rest):
            return InputError(
                f"The belt would not touch {named(pulleys, index)}",
                "a pulley that the belt bends round is needed",
                "leave it out, or check its place",
            )
    return InputError(
        "No belt can lie over these pulleys in this order"
        + (", crossed" if meant_as_eight(pulleys, crossed=crossed) else ""),
        "a loop that meets every pulley once and itself nowhere is needed",
        "follow the belt with a finger, and check order, sides and places",
    )


def named(pulleys: Sequence[Pulley], index: int, *, capital: bool = False) -> str:
    """Return what a pulley is called in a sentence."""
    name = pulleys[index].name
    words = f"the {name}" if name and not name[0].isdigit() else f"pulley {name or index + 1}"
    return words[0].upper() + words[1:] if capital else words


def crossings(runs: Sequence[Run]) -> list[tuple[int, int]]:
    """Return which straight runs cross each other, ends apart."""
    return [(i, j) for i, j in combinations(range(len(runs)), 2) if _cross(*runs[i], *runs[j])]


def _turning(path: BeltPath) -> float:
    """Sum of the wraps, with the sign of each pulley's side."""
    pairs = zip(path.pulleys, path.wraps_rad, strict=True)
    return math.fsum(pulley.side * wrap for pulley, wrap in pairs)


def _distance(run: Run, point: Point) -> float:
    """Distance of a point from a straight run."""
    (ax, ay), (bx, by) = run
    dx, dy = bx - ax, by - ay
    along = ((point[0] - ax) * dx + (point[1] - ay) * dy) / (dx * dx + dy * dy)
    along = min(max(along, 0.0), 1.0)
    return math.hypot(point[0] - ax - along * dx, point[1] - ay - along * dy)


def _cross(a: Point, b: Point, c: Point, d: Point) -> bool:
    """Whether the runs a–b and c–d cross."""

    def side(p: Point, q: Point, r: Point) -> float:
        return (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])

    return side(a, b, c) * side(a, b, d) < 0 and side(c, d, a) * side(c, d, b) < 0
