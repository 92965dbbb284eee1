"""The way of a belt, and what it drives, from the description of a transport."""

from __future__ import annotations

import math

from runstrue.errors import InputError
from runstrue.quantity import Quantity
from runstrue.transport.belt_path import BeltPath, belt_path
from runstrue.transport.belt_section import Section
from runstrue.transport.belt_way import Drive, Way
from runstrue.transport.description import Belt, Transport
from runstrue.transport.drive import drive_to
from runstrue.transport.equations import wheel_names
from runstrue.transport.geometry import given_spots, pulleys_of
from runstrue.transport.known import Known
from runstrue.transport.rates import Study


def belt_named(transport: Transport, name: str) -> Belt:
    """Return a belt by its id, by its name or by the beginning of either.

    Raises
    ------
    InputError
        When there is none, or several and none is named.
    """
    wanted = name.strip().lower()
    belts = transport.belts
    exact = [one for one in belts if wanted in (one.id.lower(), one.name.lower())]
    found = exact or [
        one
        for one in belts
        if one.id.lower().startswith(wanted) or one.name.lower().startswith(wanted)
    ]
    if len(found) == 1:
        return found[0]
    listed = ", ".join(one.id for one in belts)
    raise InputError(
        f"'{transport.name}' has {'no belt' if not belts else f'{len(belts)} belts'}"
        + (f", and none is meant by '{name}' alone" if name and belts else ""),
        f"one of {listed} is needed" if belts else "a belt is needed",
        "name it with --belt" if belts else "add a [belt] to the file",
    )


def section_of(belt: Belt) -> Section | None:
    """Return the section as described; None where kind or a size is not known."""
    if not belt.section or belt.thickness is None:
        return None
    width = belt.width if belt.section == "flat" else belt.thickness
    return Section(belt.section, belt.thickness, width) if width is not None else None


def way_in_transport(study: Study, belt: Belt, section: Section) -> Way:
    """Take the way from the description of a transport.

    Parameters
    ----------
    study : Study
        The transport at one speed, worked out.
    belt : Belt
    section : Section
        Of the new belt.

    Raises
    ------
    InputError
        When neither its length nor places and diameters are known.
    """
    values = study.values
    length, thickness = values.get(f"length.{belt.id}"), values.get(f"thickness.{belt.id}")
    if length is None or thickness is None:
        raise InputError(
            f"The way of the {belt.name} is not known from '{study.transport.name}'",
            "its length, or the places and diameters of all its wheels, are needed",
            "lay a string in the grooves and write its length as string",
        )
    laid = pulleys_of(study.transport, belt, values, given_spots(study.transport))
    # a crossed belt of a description has two wheels on unlike sides
    crossed = len(belt.over) == 2 and len(belt.outside) == 1
    inner = length if crossed else length.plus(thickness.times(Known(math.pi)), -1)
    path, value = None, inner.value
    if laid is not None:
        path = belt_path(laid[0], section.thickness.value)
        if belt.outside and belt.string is None and belt.length is None:
            value = path.length_mm - (0.0 if crossed else math.pi * section.thickness.value)
    drive = _drive_in(study, belt, path)
    source = f"'{study.transport.name}', {belt.name}"
    return Way(Quantity(value, "mm", abs(value) * inner.relative_u), source, path, drive)


def _drive_in(study: Study, belt: Belt, path: BeltPath | None) -> Drive | None:
    """Find which wheel of the belt drives which, on the way from a motor to a capstan."""
    transport, speed = study.transport, study.speed
    out_of, into, sets_speed, motor = belt.over[0], belt.over[-1], False, None
    for shaft in transport.shafts:
        if not shaft.drives_tape:
            continue
        steps = drive_to(transport, speed, shaft.id)
        for step in steps:
            if isinstance(step.by, type(belt)) and step.by.id == belt.id and not sets_speed:
                out_of, into, sets_speed = step.out_of, step.into, True
                motor = transport.motor_of(transport.wheel(steps[0].out_of)[0], speed)
    sizes = []
    for wheel in (out_of, into):
        running = study.values.get(f"running.{belt.id}.{wheel}")
        thickness = study.values.get(f"thickness.{belt.id}")
        if running is None or thickness is None or running.value <= thickness.value:
            return None
        sizes.append(running.plus(thickness, -1).quantity("mm"))
    names = wheel_names(transport)
    wraps = [
        path.wraps_rad[belt.over.index(wheel)] if path is not None else None
        for wheel in (out_of, into)
    ]
    mains = motor.mains.value if motor is not None and motor.mains is not None else None
    return Drive(
        sizes[0], sizes[1], wraps[0], wraps[1], names[out_of], names[into], sets_speed, mains
    )
