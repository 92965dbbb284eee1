"""From the options of `runstrue parts` and `measure` to what names the parts."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from runstrue.errors import InputError, SignalError
from runstrue.quantity import Quantity

if TYPE_CHECKING:
    from runstrue.cli.measured import Done
    from runstrue.logbook import Logbook
    from runstrue.logbook.models import CaptureRecord, Deck
    from runstrue.measure.parts.sizes import Machine
    from runstrue.measure.tape_tone import TonePlan
    from runstrue.result import Deviation, Measured
    from runstrue.transport import Transport, Turning

CASSETTE_MM_S = 47.625
OFF_NOMINAL = 0.015
"""How far the speed of a deck may be off that nobody measured: DIN 45 500 sheet 4, ±1.5 %."""
DECKS_OWN = "deck's own"


@dataclass(frozen=True, slots=True)
class Line:
    """A line of a deck that nobody described.

    Parameters
    ----------
    words : str
        Its rate as it was typed.
    line : Quantity
        In Hz.
    speed : Quantity
        Of the tape, in mm/s.
    machine : {'cassette', 'open reel'}
    ratio : Quantity or None
        Flywheel over capstan.
    """

    words: str
    line: Quantity
    speed: Quantity
    machine: Machine
    ratio: Quantity | None


def read_line(
    rate: str, speed: str, machine: str | None, capstan: str | None, flywheel: str | None
) -> Line:
    """Read a line's rate and what is known of the deck.

    Raises
    ------
    InputError
        When a size cannot be read.
    """
    from runstrue.transport.sizes import AS_WRITTEN, CALIPER, read_size

    if (capstan is None) != (flywheel is None):
        raise click.UsageError("The belt needs both --capstan and --flywheel")
    ratio = None
    if capstan is not None and flywheel is not None:
        small = read_size(capstan, "length", CALIPER)
        large = read_size(flywheel, "length", CALIPER)
        value = large.value / small.value
        u = value * math.hypot(small.u / small.value, large.u / large.value)
        ratio = Quantity(value, "", u)
    tape = read_size(speed, "speed", AS_WRITTEN, bare_unit="cm/s") if speed else None
    mm_s = CASSETTE_MM_S if tape is None else tape.value
    u_off = mm_s * OFF_NOMINAL / math.sqrt(3)
    kind: Machine = "cassette" if mm_s <= 1.01 * CASSETTE_MM_S else "open reel"
    if machine is not None:
        kind = "cassette" if machine == "cassette" else "open reel"
    line = read_size(rate, "rate", AS_WRITTEN, bare_unit="Hz")
    words = f"{rate.strip()} Hz" if rate.strip()[-1:].isdigit() else rate.strip()
    return Line(words, line, Quantity(mm_s, "mm/s", u_off), kind, ratio)


@dataclass(frozen=True, slots=True)
class Drive:
    """What turns, and where that is known from.

    Parameters
    ----------
    transport : Transport
    speed_name : str
    turnings : tuple of Turning
    source : str
        In words: 'transport c14.toml'.
    """

    transport: Transport
    speed_name: str
    turnings: tuple[Turning, ...]
    source: str


def drive_of_file(path: Path, speed: str) -> Drive:
    """Read a description's parts at one of its speeds.

    Raises
    ------
    DescriptionError
        When it cannot be read, or has several speeds and none was named.
    InputError
        When nothing is known to turn.
    """
    from runstrue.transport import read_transport

    return _drive(read_transport(path), speed, path.name)


def drive_of_deck(
    book: Logbook, deck: Deck, speed: str = "", speed_cm_s: float | None = None
) -> Drive | None:
    """Return the parts of the deck's own transport; None where none is kept with it.

    Raises
    ------
    DescriptionError
        When it has several speeds and none was named.
    """
    from runstrue.logbook.bench_records import transport_for
    from runstrue.transport import parse_transport

    entry = transport_for(book.transports(deck), speed_cm_s)
    if entry is None:
        return None
    transport = parse_transport(entry.text, entry.name)
    named = speed
    if not named and speed_cm_s is not None and len(transport.speeds) > 1:
        named = f"{speed_cm_s:g}"
    return _drive(transport, named, entry.name)


def no_transport(deck: Deck) -> InputError:
    """Return the error of a deck that nobody described."""
    from runstrue.cli.keep import quoted

    return InputError(
        f"No transport is kept with '{deck.name}'",
        "a description of what turns is needed",
        f"runstrue transport keep FILE --deck {quoted(deck.name)}",
    )


def _drive(transport: Transport, speed: str, name: str) -> Drive:
    from runstrue.transport import turnings

    told = turnings(transport, speed)
    if not told:
        raise InputError(
            f"Of the transport '{transport.name}' no part's rate is known or follows",
            "the tape speed and the diameter of the capstan are needed at least",
            f"see runstrue transport show {name}",
        )
    return Drive(transport, speed, told, f"transport {name}")


@dataclass(frozen=True, slots=True, eq=False)
class Heard:
    """What was heard of a deck.

    Parameters
    ----------
    name : str
        Of the recording, or of the capture: 'capture 3, as found'.
    deviation : Deviation
    measured : Measured
    done : Done or None
        Where a recording was measured now.
    record : CaptureRecord or None
        Where it comes from the logbook.
    """

    name: str
    deviation: Deviation
    measured: Measured
    done: Done | None = None
    record: CaptureRecord | None = None


def hear(path: Path, plan: TonePlan) -> Heard:
    """Measure a recording.

    Raises
    ------
    RunstrueError
        When it cannot be used.
    """
    from runstrue.cli.measured import done_of
    from runstrue.cli.progress import Ticker
    from runstrue.runner import measure_file

    ticker = Ticker(path.name, 0.0)
    with ticker:
        outcome = measure_file(path, plan, progress=ticker.at)
    if outcome.error is not None:
        raise outcome.error
    assert outcome.measured is not None
    done = done_of(str(path), outcome)
    return Heard(path.name, _deviation(outcome.measured, path.name), outcome.measured, done)


def heard_before(book: Logbook, deck: Deck, number: int | None) -> Heard:
    """Return what the logbook keeps of a pass; without a number, of the latest with a tone.

    Raises
    ------
    InputError
        When there is none.
    """
    from runstrue.cli.keep import quoted

    kept = [one for one in book.captures(deck) if one.facts.stage and one.source != "typed"]
    if number is not None:
        kept = [one for one in kept if one.id == number]
        if not kept:
            raise InputError(
                f"The deck '{deck.name}' has no recording with the number {number}",
                "one of those that runstrue deck show lists is needed",
                f"runstrue deck show {quoted(deck.name)}",
            )
    for one in reversed(kept):
        record = book.capture(one.id, curves=True)
        if record.deviation is not None:
            name = f"number {record.id}, {record.facts.stage}"
            return Heard(name, record.deviation, record.measured, record=record)
    which = f"number {number} of " if number is not None else ""
    raise InputError(
        f"With {which}the deck '{deck.name}' no speed over time is kept",
        "a recording of a test tape's tone is needed",
        f"runstrue measure FILE --deck {quoted(deck.name)} --stage found",
    )


def _deviation(measured: Measured, name: str) -> Deviation:
    if measured.deviation is None:
        raise SignalError(
            f"'{name}' holds no steady tone whose speed could be followed",
            "a tone of 3150 or 3000 Hz of 10 s or more is needed",
        )
    return measured.deviation
