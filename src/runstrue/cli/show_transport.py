"""A transport in a terminal: what is known of it, and the rates of its parts."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import Any

from runstrue.cli.layout import bold, table, tinted, wrapped
from runstrue.quantity import number_text
from runstrue.transport.explain import (
    disagreement_words,
    facts_of,
    figure_text,
    figure_words,
    speed_words,
    within_text,
)
from runstrue.transport.rates import Rate, Study, rates_at, side_lasts_s, turnings_of
from runstrue.transport.turning import Turning

FORMAT = "runstrue-transport/1"


def study_lines(study: Study) -> Iterator[str]:
    """Everything that is known of a transport at one speed."""
    yield bold(_title(study))
    rows: list[list[str]] = []
    unknown: list[str] = []
    for part, facts in groupby(facts_of(study), key=lambda one: one.part):
        listed = list(facts)
        known = [one for one in listed if one.figure is not None]
        if known:
            rows.append([part, "", "", ""])
        for one in known:
            assert one.figure is not None
            rows.append([f"  {one.name}", figure_words(one.figure), within_text(one.figure),
                         one.origin])  # fmt: skip
        missing = [one.name for one in listed if one.figure is None]
        if missing:
            unknown.append(f"{part} ({', '.join(missing)})")
    yield from table(rows, "<>><", ["", "", "95 % within", "known from"])
    for words in (
        "Not known: " + "; ".join(unknown) if unknown else "",
        "Allowed for, since not given: " + "; ".join(study.equations.remarks)
        if study.equations.remarks
        else "",
    ):
        if words:
            yield ""
            yield from wrapped(f"{words}.", "  ", first="")
    disagreements = study.followed.disagreements
    yield ""
    if not disagreements:
        yield "Nothing contradicts anything else."
        return
    yield tinted("What does not agree", "yellow")
    for each in disagreements:
        yield from wrapped(disagreement_words(study, each), "    ", first="  ")


def rates_lines(study: Study, speed_percent: float, played_min: float | None) -> Iterator[str]:
    """The rates of all parts, hubs over the side, and what moves the tape by 1 %."""
    turned = turnings_of(study)
    yield bold(_title(study, speed_percent))
    if not turned:
        yield from wrapped("No rate is known or follows; the tape speed and a diameter give one.")
        return
    played_s = None if played_min is None else 60 * played_min
    at = rates_at(turned, speed_percent, played_s)
    steady = [one for one in at if one.turning.pack is None or played_min is not None]
    if not steady:
        yield from wrapped("No rate of the drive is known; the diameter of the capstan gives one.")
    yield from table(
        [[one.turning.name, f"{figure_text(one.rate)} Hz", within_text(one.rate), _rpm(one)]
         for one in steady],
        "<>>>", ["", "rate", "95 % within", "rpm"] if steady else (),
    )  # fmt: skip
    if played_min is None:
        yield from _pack_lines(turned, speed_percent)
    yield from _place_lines(turned)
    if study.followed.disagreements:
        yield ""
        yield from wrapped(
            "Some of what is given does not agree; runstrue transport show says what."
        )


def rates_document(studies: Sequence[Study], speed_percent: float, played_min: float | None) -> str:
    """Return the rates as one JSON document."""
    played_s = None if played_min is None else 60 * played_min
    return json.dumps(
        {
            "format": FORMAT,
            "transports": [
                {
                    "name": study.transport.name,
                    "speed": study.speed.name or None,
                    "tape_speed_mm_s": tape.value if (tape := study.values.get("tape")) else None,
                    "speed_error_percent": speed_percent,
                    "played_s": played_s,
                    "parts": [
                        _plain(one)
                        for one in rates_at(turnings_of(study), speed_percent, played_s)
                    ],
                    "disagreements": [
                        disagreement_words(study, one) for one in study.followed.disagreements
                    ],
                    "remarks": list(study.equations.remarks),
                }
                for study in studies
            ],
        },
        ensure_ascii=False, indent=1, allow_nan=False,
    )  # fmt: skip


def _title(study: Study, speed_percent: float = 0.0) -> str:
    known = study.values.get("tape")
    speed = ""
    if known is not None:
        speed = speed_words(known.value)
        if speed_percent:
            speed += f" and {number_text(speed_percent, 2, signed=True)} %"
    name = "" if study.speed.name[:1].isdigit() else study.speed.name
    return ", ".join(part for part in (study.transport.name, name, speed) if part)


def _rpm(one: Rate) -> str:
    if one.turning.kind in ("belt", "mesh", "pulses"):
        return ""
    rpm = one.rate.value * 60
    return number_text(rpm, 0 if rpm >= 100 else 1)


def _pack_lines(turned: Sequence[Turning], speed_percent: float) -> Iterator[str]:
    """What turns with a pack: at the start, the middle and the end of the tape."""
    lasts_s = side_lasts_s(tuple(turned))
    packed = [one for one in turned if one.pack is not None]
    if not packed or lasts_s is None:
        return
    columns = [rates_at(tuple(turned), speed_percent, share * lasts_s) for share in (0, 0.5, 1)]
    by_id = [{one.turning.id: one.rate for one in column} for column in columns]
    yield ""
    yield from table(
        [[one.name, *(f"{figure_text(rates[one.id])} Hz" for rates in by_id)] for one in packed],
        "<>>>", ["with the tape pack", "start", "middle", "end"],
    )  # fmt: skip
    minutes, seconds = divmod(round(lasts_s / (1 + speed_percent / 100)), 60)
    yield from wrapped(f"The tape lasts {minutes}:{seconds:02d} from end to end.")


def _place_lines(turned: Sequence[Turning]) -> Iterator[str]:
    rows = [
        [place.name, f"{figure_text(place.um_per_percent)} µm", within_text(place.um_per_percent)]
        for one in turned
        for place in one.places
    ]
    if rows:
        yield ""
        yield from table(
            rows, "<>>", ["error of size that moves the tape by ±1 %", "", "95 % within"]
        )


def _plain(one: Rate) -> dict[str, Any]:
    turning = one.turning
    return {
        "id": turning.id,
        "name": turning.name,
        "kind": turning.kind,
        "rate_hz": one.rate.value,
        "u_hz": one.rate.u,
        "follows_tape": turning.follows_tape,
        "turns_with": turning.pack.side if turning.pack else None,
        "multiples": list(turning.multiples),
        "places": [
            {"name": place.name, "um_per_percent": place.um_per_percent.value,
             "u": place.um_per_percent.u}
            for place in turning.places
        ],
    }  # fmt: skip
