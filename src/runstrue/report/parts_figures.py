"""Which pictures an attribution in the logbook gives: shares, turns, and the transport drawn."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from runstrue.errors import RunstrueError
from runstrue.logbook.bench_records import TransportEntry
from runstrue.quantity import Quantity
from runstrue.report.figure_once_round import Round, draw_once_round
from runstrue.report.figure_parts import Bar, Share, draw_parts
from runstrue.report.figure_transport import draw_transport
from runstrue.report.style import Caption, Role, Shape
from runstrue.report.told_parts import NOBODYS, ToldPart, ToldParts, told_parts
from runstrue.result import Result
from runstrue.transport import parse_transport
from runstrue.transport.rates import study

if TYPE_CHECKING:
    from matplotlib.figure import Figure

WHOLE = "the reading, two-sigma"
MOST_TURNS = 3


@dataclass(frozen=True, slots=True)
class Stage:
    """The results of one pass, and how it is told apart."""

    results: Sequence[Result]
    role: Role
    words: str


@dataclass(frozen=True, slots=True)
class PartsPlate:
    """One picture: its key, what it shows in words, and how it is drawn."""

    key: str
    told: str
    draw: Callable[[Caption, Shape], Figure]


def parts_plates(
    stages: Sequence[Stage], limit_percent: float | None = None
) -> Iterator[PartsPlate]:
    """Yield the shares of all parts, and a turn of each that matters.

    Parameters
    ----------
    stages : sequence of Stage
        Found before left; those without an attribution are passed over.
    limit_percent : float, optional
        What the sheet allows the weighted peak.
    """
    known = [(stage, told) for stage in stages if (told := told_parts(stage.results)) is not None]
    if not known:
        return
    words = " and ".join(stage.words for stage, _ in known)
    labels: dict[Role, str] = {stage.role: stage.words for stage, _ in known}
    bars = _bars(known)
    yield PartsPlate(
        "parts",
        f"Weighted flutter of each part of the transport, {words}; the figures stand in the table.",
        lambda caption, shape: draw_parts(
            bars, caption, labels=labels, limit_percent=limit_percent, shape=shape
        ),
    )
    for key, name in _turned(known):
        rounds = [
            made
            for stage, told in known
            for part in told.parts
            if part.key == key and (made := _round(part, stage)) is not None
        ]
        if rounds:
            yield PartsPlate(
                f"once-round-{_file_name(key)}",
                f"Tape speed over one turn of the {name}, {words}.",
                lambda caption, shape, name=name, rounds=rounds: draw_once_round(  # type: ignore[misc]
                    name, rounds, caption, shape=shape
                ),
            )


def transport_plate(
    entry: TransportEntry | None, speed_cm_s: float | None, speed_percent: float
) -> PartsPlate | None:
    """Return the drawing of a deck's transport; None where there is none that can be drawn.

    Parameters
    ----------
    entry : TransportEntry or None
    speed_cm_s : float or None
        Of the passes shown.
    speed_percent : float
        How far the tape ran off its nominal speed.
    """
    if entry is None:
        return None
    try:
        transport = parse_transport(entry.text, entry.name)
        named = f"{speed_cm_s:g}" if speed_cm_s is not None and len(transport.speeds) > 1 else ""
        studied = study(transport, named or transport.speeds[0].name)
    except RunstrueError:
        return None  # a description of another version; the report does without
    return PartsPlate(
        "transport",
        f"The transport, {transport.name}, its wheels to scale, with the rates of its parts.",
        lambda _, shape: draw_transport(studied, speed_percent=speed_percent, shape=shape),
    )


def _bars(known: Sequence[tuple[Stage, ToldParts]]) -> list[Bar]:
    """Return a row a part, in the order of the first stage, between the reading and the rest."""
    whole = tuple(
        Share(stage.role, size)
        for stage, _ in known
        if (size := _reading(stage.results)) is not None
    )
    names = {part.key: part.name for _, told in known for part in told.parts}
    bars = [Bar(WHOLE, whole, whole=True)] if whole else []
    for key, name in names.items():
        shares = tuple(
            Share(stage.role, part.size, part.matters)
            for stage, told in known
            for part in told.parts
            if part.key == key
        )
        bars.append(Bar(name, shares))
    rest = tuple(
        Share(stage.role, told.nobodys) for stage, told in known if told.nobodys is not None
    )
    return [*bars, Bar(NOBODYS, rest, nobodys=True)]


def _turned(known: Sequence[tuple[Stage, ToldParts]]) -> list[tuple[str, str]]:
    """Return key and name of the parts that matter at any stage."""
    guilty = {part.key: part.name for _, told in known for part in told.guilty}
    return list(guilty.items())[:MOST_TURNS]


def _round(part: ToldPart, stage: Stage) -> Round | None:
    if part.turn is None:
        return None
    turn, within = part.turn
    rate = Quantity(turn.marks["rate, Hz"], "Hz", turn.marks["u of the rate, Hz"])
    multiples = tuple(
        (max(1, round(line.rate_hz / rate.value)),
         Quantity(line.peak_percent, "%", line.u_peak_percent))
        for line in part.result.lines
    )  # fmt: skip
    return Round(
        stage.role, stage.words, turn.x, turn.y, within.y, rate, turn.marks["turns"], multiples,
        part.runouts,
    )  # fmt: skip


def _reading(results: Sequence[Result]) -> Quantity | None:
    alike = [one for one in results if one.id == "flutter.weighted_peak" and one.quantity]
    both = [one for one in alike if one.channel == "both"]
    return next((one.quantity for one in (*both, *alike)), None)


def _file_name(key: str) -> str:
    return "".join(one if one.isalnum() else "-" for one in key).strip("-")
