"""What a measurement says, in the form in which it is judged, stored and shown."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from runstrue.quantity import Budget, Contribution, Quantity

Condition = str | float | bool

NO_BUDGET = Budget()


@dataclass(frozen=True, slots=True)
class Spread:
    """Lowest, middle and highest of something that never stands still (JSON: 'range')."""

    low: float
    middle: float
    high: float


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a flutter spectrum.

    Parameters
    ----------
    rate_hz, u_rate_hz : float
        Rate of the speed variation and its standard uncertainty.
    peak_percent, u_peak_percent : float
        Peak deviation of this line alone and its standard uncertainty, in % of the speed.
    weighted_peak_percent : float
        The same through the weighting curve.
    """

    rate_hz: float
    u_rate_hz: float
    peak_percent: float
    u_peak_percent: float
    weighted_peak_percent: float


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """A curve to draw, never a figure to judge.

    Parameters
    ----------
    name : str
        'deviation', 'weighted deviation', 'flutter spectrum', 'histogram'.
    x, y : ndarray of float, shape (point,)
        A y that is not a number marks a gap in the curve.
    x_label, x_unit, y_label, y_unit : str
        For the axes: 'time', 's', 'deviation', '%'.
    marks : mapping of str to float
        Values to mark, by name: {'two-sigma': 0.147}.
    """

    name: str
    x: NDArray[np.floating]
    y: NDArray[np.floating]
    x_label: str
    x_unit: str
    y_label: str
    y_unit: str
    channel: str = ""
    marks: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, eq=False)
class Table:
    """A quantity over another one, such as gain over frequency."""

    x: tuple[float, ...]
    y: tuple[float, ...]
    u: tuple[float, ...]
    x_unit: str
    y_unit: str


@dataclass(frozen=True, slots=True, eq=False)
class Result:
    """One reading.

    Parameters
    ----------
    id : str
        A stable id of `runstrue.catalogue`, such as 'flutter.weighted_peak'.
    method : str
        A key of `runstrue.catalogue.METHODS`, such as 'two-sigma/1'.
    channel : str
        'left', 'right', 'mono', 'both', or empty where channels mean nothing.
    quantity : Quantity or None
        None where the reading cannot be known; a doubt then says why.
    budget : Budget
        What the uncertainty is made of.
    spread : Spread or None
        Low, middle and high of what moves (a needle; start, middle and end of the record are
        conditions of a drift).
    conditions : mapping
        Tape, tone, length used, position: what must be told with the figure.
    doubts : tuple of str
        Whole sentences.
    """

    id: str
    method: str
    channel: str
    quantity: Quantity | None
    budget: Budget = NO_BUDGET
    spread: Spread | None = None
    table: Table | None = None
    lines: tuple[Line, ...] = ()
    conditions: Mapping[str, Condition] = field(default_factory=dict)
    traces: tuple[Trace, ...] = ()
    doubts: tuple[str, ...] = ()


OCCASION = ("point", "part", "input", "control", "tone", "level", "level, dB", "path", "hum")
"""Conditions that make two readings of one kind and method two different readings."""
_USUAL = {"hum": "included"}


def occasion_of(result: Result) -> str:
    """Say which of several readings of one kind this is: '1000 Hz, 0 dB'; empty for a lone one."""
    words = []
    for name in OCCASION:
        value = result.conditions.get(name)
        if value is None or value == "" or value == _USUAL.get(name):
            continue
        if isinstance(value, float | int):
            words.append(f"{value:g} dB".replace("-", "\u2212"))
        else:
            words.append(f"hum {value}" if name == "hum" else str(value))
    return ", ".join(words)


@dataclass(frozen=True, slots=True, eq=False)
class Deviation:
    """The speed deviation kept with a capture, so that later questions need no second listening.

    Parameters
    ----------
    percent : ndarray of float32, shape (channel, sample)
        Deviation of the tape speed from nominal in %; not a number where the tone was lost.
    rate_hz : float
        Samples per second, 500 or very near it.
    nominal_hz : float
        The tone at nominal speed.
    channels : tuple of str
        Names of the rows.
    """

    percent: NDArray[np.float32]
    rate_hz: float
    nominal_hz: float
    channels: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """Everything that one pass over a capture said.

    Parameters
    ----------
    summary : str
        One sentence: which tone, on which channels, how much of the record was used.
    results : tuple of Result
    deviation : Deviation or None
    traces : tuple of Trace
        Curves that belong to the capture rather than to one result.
    conditions : mapping
        What holds for all results: tone, duration, share used, carrier-to-noise ratio.
    doubts : tuple of str
        Whole sentences that hold for all results.
    """

    summary: str
    results: tuple[Result, ...]
    deviation: Deviation | None = None
    traces: tuple[Trace, ...] = ()
    conditions: Mapping[str, Condition] = field(default_factory=dict)
    doubts: tuple[str, ...] = ()

    def find(self, quantity_id: str, channel: str = "both") -> Result | None:
        """Return the first result with this id on this channel, or else on any."""
        alike = [result for result in self.results if result.id == quantity_id]
        return next((result for result in alike if result.channel == channel), None) or next(
            iter(alike), None
        )


def to_plain(result: Result) -> dict[str, Any]:
    """Return a result as plain values for JSON and storage; traces stay behind.

    The fields 'id' to 'doubts' are those that scripts may rely on (format runstrue/1).
    """
    quantity = result.quantity
    spread, table = result.spread, result.table
    return {
        "id": result.id,
        "method": result.method,
        "channel": result.channel,
        "value": quantity.value if quantity else None,
        "unit": quantity.unit if quantity else None,
        "u": quantity.u if quantity else None,
        "degrees_of_freedom": _freedom(quantity.degrees_of_freedom) if quantity else None,
        "budget": [
            {
                "name": part.name,
                "u": part.u,
                "kind": part.kind,
                "source": part.source,
                "degrees_of_freedom": _freedom(part.degrees_of_freedom),
            }
            for part in result.budget
        ],
        "range": (
            {"low": spread.low, "middle": spread.middle, "high": spread.high} if spread else None
        ),
        "table": (
            {
                "x": list(table.x),
                "y": list(table.y),
                "u": list(table.u),
                "x_unit": table.x_unit,
                "y_unit": table.y_unit,
            }
            if table
            else None
        ),
        "lines": [{name: getattr(line, name) for name in Line.__slots__} for line in result.lines]
        or None,
        "conditions": dict(result.conditions),
        "doubts": list(result.doubts),
    }


def _freedom(degrees_of_freedom: float) -> float | None:
    """None for so many that the t distribution is the normal one."""
    return degrees_of_freedom if degrees_of_freedom <= 1e6 else None


def from_plain(plain: Mapping[str, Any]) -> Result:
    """Return the result that `to_plain` wrote down (without its traces)."""

    def freedom(value: float | None) -> float:
        return np.inf if value is None else value

    quantity = None
    if plain["value"] is not None:
        quantity = Quantity(
            plain["value"], plain["unit"], plain["u"], freedom(plain["degrees_of_freedom"])
        )
    return Result(
        id=plain["id"],
        method=plain["method"],
        channel=plain["channel"],
        quantity=quantity,
        budget=Budget(
            tuple(
                Contribution(**{**part, "degrees_of_freedom": freedom(part["degrees_of_freedom"])})
                for part in plain["budget"]
            )
        ),
        spread=Spread(**plain["range"]) if plain["range"] else None,
        table=(
            Table(
                tuple(plain["table"]["x"]),
                tuple(plain["table"]["y"]),
                tuple(plain["table"]["u"]),
                plain["table"]["x_unit"],
                plain["table"]["y_unit"],
            )
            if plain["table"]
            else None
        ),
        lines=tuple(Line(**line) for line in plain["lines"] or ()),
        conditions=dict(plain["conditions"]),
        doubts=tuple(plain["doubts"]),
    )
