"""The way that a belt has to go on the deck, from whatever can be measured there.

    way_by_string      a string laid in the grooves; with both diameters also where the axes stand
    way_by_pulleys     places and diameters
    from_old_belt      no way at all: only what the trade takes off an old belt

What counts for ordering is the inner circumference that the belt has on the deck. For a loop
that turns once round that is its middle length less π · thickness; for a figure of eight both are
equal. A string in the grooves gives it at once, unless the belt's back runs on a pulley. What a
described transport says of it is in `runstrue.transport.belt_in_transport`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from runstrue.errors import InputError
from runstrue.quantity import Quantity
from runstrue.transport.belt_path import BeltPath, Pulley, belt_path
from runstrue.transport.belt_section import Section

SHORTEST_MM, LONGEST_MM = 20.0, 5000.0
OLD_BELT_LESS_PERCENT = (4.0, 10.0)
"""What trade pages take off an old belt: 5 %, 5 to 10 %, 4 to 10 %; they do not agree."""


@dataclass(frozen=True, slots=True)
class SizedPulley:
    """A pulley as measured: all in mm."""

    x: Quantity
    y: Quantity
    diameter: Quantity
    side: int = 1
    name: str = ""

    def plain(self) -> Pulley:
        """Return it without what is not known of it."""
        return Pulley(self.x.value, self.y.value, self.diameter.value / 2, self.side, self.name)


@dataclass(frozen=True, slots=True)
class Drive:
    """The two wheels that set the speed, and how far the belt lies round the driving one.

    Parameters
    ----------
    motor, flywheel : Quantity
        Diameters where the belt lies, in mm: the driving wheel and the driven one.
    motor_wrap_rad, flywheel_wrap_rad : float or None
        None where the places are not known.
    motor_name, flywheel_name : str
    sets_speed : bool
        Whether the tape's speed hangs on this belt.
    mains_hz : float or None
        What the motor is built for, where its rate is the mains'.
    """

    motor: Quantity
    flywheel: Quantity
    motor_wrap_rad: float | None = None
    flywheel_wrap_rad: float | None = None
    motor_name: str = "motor pulley"
    flywheel_name: str = "flywheel"
    sets_speed: bool = True
    mains_hz: float | None = None


@dataclass(frozen=True, slots=True)
class Way:
    """The way of a belt on the deck.

    Parameters
    ----------
    inner : Quantity
        Inner circumference of the belt in its place, in mm.
    source : str
        What it comes from, in words.
    path : BeltPath or None
        Where the places of the axes are known or follow.
    drive : Drive or None
    """

    inner: Quantity
    source: str
    path: BeltPath | None = None
    drive: Drive | None = None


def way_by_string(
    string: Quantity, *, thread: Quantity | None = None, drive: Drive | None = None
) -> Way:
    """Take the way from a string laid once round in the grooves.

    Parameters
    ----------
    string : Quantity
        From mark to mark, in mm.
    thread : Quantity, optional
        Thickness of the string in mm; its middle lies half of that out, so π times it is taken
        off.
    drive : Drive, optional
        With both diameters the distance of the axes follows, and with it the wraps.

    Raises
    ------
    InputError
        When no belt of that length can go round both wheels.
    """
    thick = thread or Quantity(0.0, "mm", 0.0)
    inner = Quantity(
        string.value - math.pi * thick.value, "mm", math.hypot(string.u, math.pi * thick.u)
    )
    _refuse_length(inner.value)
    if drive is None:
        return Way(inner, "a string in the grooves")
    radii = drive.motor.value / 2, drive.flywheel.value / 2
    path = belt_path(
        [
            Pulley(0, 0, radii[0], 1, drive.motor_name),
            Pulley(distance_of_axes(inner.value, *radii), 0, radii[1], 1, drive.flywheel_name),
        ]
    )
    found = Drive(
        drive.motor,
        drive.flywheel,
        path.wraps_rad[0],
        path.wraps_rad[1],
        drive.motor_name,
        drive.flywheel_name,
    )
    return Way(inner, "a string in the grooves", path, found)


def way_by_pulleys(
    pulleys: Sequence[SizedPulley],
    section: Section | None = None,
    *,
    crossed: bool = False,
    driving: int | None = None,
    driven: int | None = None,
) -> Way:
    """Take the way from places and diameters.

    Parameters
    ----------
    pulleys : sequence of SizedPulley
        In the order in which the belt meets them.
    section : Section, optional
        Of the belt; without it the way is that of a thread in the grooves.
    crossed : bool
        Allow a figure of eight over three pulleys and more.
    driving, driven : int, optional
        Which pulley is the motor's and which the flywheel; otherwise the smallest and the largest.

    Notes
    -----
    The length grows by the wrap for each mm of radius, and by the pull on the axis for each mm of
    its place.
    """
    thick = section.thickness.value if section else 0.0
    path = belt_path([one.plain() for one in pulleys], thick, crossed=crossed)
    variance = 0.0
    for one, wrap, (pull_x, pull_y) in zip(pulleys, path.wraps_rad, path.pulls(), strict=True):
        variance += (wrap / 2 * one.diameter.u) ** 2
        variance += (pull_x * one.x.u) ** 2 + (pull_y * one.y.u) ** 2
    inner = path.length_mm - (0.0 if path.crossed else math.pi * thick)
    by_size = sorted(range(len(pulleys)), key=lambda index: pulleys[index].diameter.value)
    out_of = by_size[0] if driving is None else driving
    into = by_size[-1] if driven is None else driven
    if out_of == into:
        raise InputError(
            f"The {pulleys[into].name or 'same pulley'} was named as both the driving and the "
            "driven one",
            "two pulleys are needed",
        )
    drive = Drive(
        pulleys[out_of].diameter,
        pulleys[into].diameter,
        path.wraps_rad[out_of],
        path.wraps_rad[into],
        pulleys[out_of].name or f"pulley {out_of + 1}",
        pulleys[into].name or f"pulley {into + 1}",
    )
    return Way(Quantity(inner, "mm", math.sqrt(variance)), "places and diameters", path, drive)


def from_old_belt(old: Quantity) -> tuple[Quantity, Quantity, Quantity]:
    """Return what to order after an old belt, and the least and the most of it, in mm.

    Parameters
    ----------
    old : Quantity
        Inner circumference as it lies on the bench.

    Notes
    -----
    How much an old belt has grown cannot be seen from it, so the figure lies somewhere between
    4 and 10 % less, all alike (rectangular, JCGM 100:2008, 4.3.7).
    """
    _refuse_length(old.value)
    least_off, most_off = OLD_BELT_LESS_PERCENT
    low, high = old.value * (1 - most_off / 100), old.value * (1 - least_off / 100)
    middle = (low + high) / 2
    u = math.hypot((high - low) / 2 / math.sqrt(3), old.u * middle / old.value)
    share = old.u / old.value
    return (
        Quantity(middle, "mm", u),
        Quantity(low, "mm", low * share),
        Quantity(high, "mm", high * share),
    )


def distance_of_axes(length_mm: float, one_mm: float, other_mm: float) -> float:
    """Distance in mm of two axes round which an open belt of this length goes.

    Parameters
    ----------
    length_mm : float
    one_mm, other_mm : float
        Radii.
    """
    low = one_mm + other_mm
    least = belt_path([Pulley(0, 0, one_mm), Pulley(low, 0, other_mm)]).length_mm
    if length_mm < least:
        raise InputError(
            f"A belt of {length_mm:.4g} mm cannot reach round wheels of {2 * one_mm:.4g} and "
            f"{2 * other_mm:.4g} mm",
            f"at least {least:.4g} mm is needed",
            "check the string and both diameters",
        )
    high = length_mm
    for _ in range(200):
        middle = (low + high) / 2
        laid = belt_path([Pulley(0, 0, one_mm), Pulley(middle, 0, other_mm)])
        if laid.length_mm < length_mm:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def _refuse_length(length_mm: float) -> None:
    if not SHORTEST_MM <= length_mm <= LONGEST_MM:
        raise InputError(
            f"A way of {length_mm:.4g} mm was given",
            f"{SHORTEST_MM:g} to {LONGEST_MM:g} mm is needed",
            "check the figure and its unit",
        )
