"""Which part of which size would make a line: in a terminal, and for scripts."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from typing import Any

from runstrue.cli.layout import bold, faint, table, wrapped
from runstrue.measure.parts.sizes import Machine, PossiblePart, tell_apart
from runstrue.quantity import Quantity, number_text

FORMAT = "runstrue-line/1"
MOST_DECIMALS = {"mm": 2, "rpm": 0, "Hz": 2}
CAUTION = (
    "Before the cover comes off, unplug the deck: parts inside carry mains voltage, some of them "
    "after the plug is out. Put marks on while nothing turns, and keep fingers, hair and sleeves "
    "away from what does."
)


def sizes_lines(
    line: str, speed: Quantity, machine: Machine, parts: Sequence[PossiblePart]
) -> Iterator[str]:
    """Tell what would make a line, and how to find out which of it does.

    Parameters
    ----------
    line : str
        As it was typed: '6.4 Hz'.
    speed : Quantity
        Of the tape, in mm/s.
    machine : {'cassette', 'open reel'}
    parts : sequence of PossiblePart
    """
    kind = "a cassette deck" if machine == "cassette" else "an open-reel machine"
    yield bold(f"A line at {line}, in {kind} at {number_text(speed.value / 10, 2)} cm/s")
    if not parts:
        yield from wrapped(
            "No part of a usual size turns at this rate, or at a part of it. An idler, a gear or "
            "a slipping clutch may: describe the transport, and its own rates are known."
        )
        return
    yield from table(_rows(parts), "<>>><", ["it may be", "of", "95 % within", "its rate", ""])
    yield ""
    yield from _tell_lines(parts)


def _rows(parts: Sequence[PossiblePart]) -> Iterator[list[str]]:
    for one in parts:
        name = one.usual.name.removeprefix("a ")
        if one.usual.kind == "mains":
            yield [name, "", "", _times(one), ""]
            continue
        yield [f"{name}, {one.usual.measure}", _size(one.size), _within(one.size), _times(one),
               _fit(one)]  # fmt: skip


def _tell_lines(parts: Sequence[PossiblePart]) -> Iterator[str]:
    told = tell_apart(parts)
    yield bold("Which of them it is" if len(told) > 1 else "Whether it is")
    for one in told:
        yield from wrapped(f"{one.do} {one.then}", "    ", first="  - ")
    if any(one.multiple > 1 for one in parts):
        yield from wrapped(
            "A line at twice a part's rate, or more, seldom comes without one at the rate itself: "
            "look for it in the spectrum.", "    ", first="  - ",
        )  # fmt: skip
    if any(one.needs_cover_off for one in told):
        for line in wrapped(CAUTION):
            yield faint(line)
    yield ""
    yield from wrapped(
        "Sizes are searched where decks usually have them. With the sizes of this deck the parts "
        "themselves are named: runstrue transport new."
    )


def sizes_document(
    line: Quantity, speed: Quantity, machine: Machine, parts: Sequence[PossiblePart]
) -> str:
    """Return the same as one JSON document."""
    return json.dumps(
        {
            "format": FORMAT,
            "line_hz": line.value,
            "u_hz": line.u,
            "tape_speed_mm_s": speed.value,
            "machine": machine,
            "parts": [_plain(one) for one in parts],
            "tests": [
                {"do": one.do, "then": one.then, "kinds": sorted(one.kinds)}
                for one in tell_apart(parts)
            ],
        },
        ensure_ascii=False, indent=1, allow_nan=False,
    )  # fmt: skip


def _plain(one: PossiblePart) -> dict[str, Any]:
    return {
        "kind": one.usual.kind,
        "measure": one.usual.measure,
        "value": one.size.value,
        "u": one.size.u,
        "unit": one.size.unit,
        "multiple": one.multiple,
        "part_rate_hz": one.rate.value,
        "fit": one.fit,
        "usual_low": one.usual.low,
        "usual_high": one.usual.high,
    }


def _size(size: Quantity) -> str:
    decimals = _decimals(size)
    return f"{number_text(size.value, decimals)} {size.unit}"


def _within(size: Quantity) -> str:
    return f"±{number_text(size.expanded(), _decimals(size))} {size.unit}" if size.u else ""


def _decimals(size: Quantity) -> int:
    return min(size.decimals(), MOST_DECIMALS.get(size.unit, 2))


def _times(one: PossiblePart) -> str:
    return f"{one.multiple}×"


def _fit(one: PossiblePart) -> str:
    return {"usual": "", "small": "small", "large": "large"}[one.fit]
