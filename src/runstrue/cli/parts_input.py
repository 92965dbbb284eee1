"""From the options of `runstrue parts` to what the computation needs."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import click

from runstrue.quantity import Quantity

if TYPE_CHECKING:
    from runstrue.measure.parts.sizes import Machine

CASSETTE_MM_S = 47.625
OFF_NOMINAL = 0.015
"""How far the speed of a deck may be off that nobody measured: DIN 45 500 sheet 4, ±1.5 %."""


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
