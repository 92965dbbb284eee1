"""What to be warned of before a belt is ordered: stretch, groove, tar, mains.

The rules are common practice, no source, but for the geometry.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from runstrue.errors import InputError
from runstrue.quantity import Quantity
from runstrue.transport.belt_choice import TOO_SLACK_PERCENT, TOO_TIGHT_PERCENT
from runstrue.transport.belt_section import Section
from runstrue.transport.belt_speed import (
    mains_change_percent,
    motor_pulley_for_mains,
    tar_change_percent,
)
from runstrue.transport.belt_way import Drive
from runstrue.transport.rubber import two_figures
from runstrue.transport.sizes import CALIPER, read_size

GrooveKind = Literal["v", "square", "flat"]
TAR_LAYER_MM = 0.05
"""A film of tar that a thumbnail just feels: an example, not a measurement."""
FLANGE_SHARE = 0.95
"""A flat belt wider than this share of the room between the flanges climbs them."""
MAINS_PAIRS = ((60.0, 50.0), (50.0, 60.0))
NEAR_MAINS_PERCENT = 1.5


@dataclass(frozen=True, slots=True)
class Groove:
    """Where a belt runs on the pulley.

    Parameters
    ----------
    kind : {'v', 'square', 'flat'}
        'flat' is a smooth or crowned rim.
    width : Quantity
        Of the mouth, or the room between the flanges, in mm.
    """

    kind: GrooveKind
    width: Quantity


def read_groove(text: str) -> Groove:
    """Read 'V 1.5 mm', 'square 1.3 mm' or 'flat 5 mm'.

    Raises
    ------
    InputError
        When it is not understood.
    """
    found = re.fullmatch(r"\s*(v|square|flat)\s+(\S.*)", text, re.IGNORECASE)
    if not found:
        raise InputError(
            f"'{text}' was read as a groove",
            "'V 1.5 mm', 'square 1.3 mm' or 'flat 5 mm' is needed",
        )
    kind: GrooveKind = found[1].lower()  # type: ignore[assignment]  # the pattern has no other
    return Groove(kind, read_size(found[2], "length", CALIPER, bare_unit="mm"))


def stretch_cautions(stretch_percent: float) -> Iterator[str]:
    """Warn of much or little stretch."""
    if stretch_percent > TOO_TIGHT_PERCENT:
        yield (
            f"{stretch_percent:.3g} % is over {TOO_TIGHT_PERCENT:g} %: the belt loads motor and "
            "bearings, and the speed moves."
        )
    elif stretch_percent < TOO_SLACK_PERCENT:
        yield (
            f"{stretch_percent:.2g} % is under {TOO_SLACK_PERCENT:g} %: the belt may slip, and "
            "soon will."
        )


def groove_cautions(section: Section, groove: Groove) -> Iterator[str]:
    """Warn of a section that does not belong into the groove."""
    width, mouth = section.width.value, groove.width.value
    if groove.kind == "flat":
        if section.kind != "flat":
            yield f"A {section.kind} belt on a flat rim wanders off; a flat belt belongs there."
        elif width > FLANGE_SHARE * mouth:
            yield (
                f"A belt {width:.3g} mm wide in {mouth:.3g} mm between the flanges climbs them, "
                f"and the deck then runs fast; {FLANGE_SHARE * mouth:.2g} mm or less is right."
            )
        return
    if section.kind == "flat":
        yield "A flat belt does not belong into a groove; a square or round one does."
    elif width > mouth:
        yield (
            f"A belt {width:.3g} mm wide rides on the edges of a groove {mouth:.3g} mm wide, "
            "and the deck then runs fast."
        )
    elif groove.kind == "square" and section.kind == "round":
        yield "The groove is square; a square belt of its width is what was meant."


def tar_cautions(drive: Drive | None, section: Section) -> Iterator[str]:
    """Say what tar left on the pulley does, and how it comes off."""
    effect = ""
    if drive is not None and drive.sets_speed:
        percent = tar_change_percent(drive.motor.value, section.thickness.value, TAR_LAYER_MM)
        effect = (
            f": {TAR_LAYER_MM:g} mm all round the {drive.motor_name} makes the tape run "
            f"{two_figures(percent)} % fast"
        )
    yield (
        f"Tar of an old belt must be off before anything is measured{effect}. Unplugged deck, "
        "gloves, isopropyl alcohol with a window open, no flame."
    )


def mains_cautions(
    drive: Drive | None,
    section: Section,
    mains_hz: float | None,
    built_for_hz: float | None,
    speed_now_percent: float,
) -> Iterator[str]:
    """Warn of a deck that was built for the other mains frequency.

    Parameters
    ----------
    drive : Drive or None
    section : Section
    mains_hz, built_for_hz : float or None
        Of the mains here, and what the motor is built for; None where nobody says.
    speed_now_percent : float
        0 where it was not measured.
    """
    built_for = built_for_hz or (drive.mains_hz if drive else None)
    if built_for and mains_hz and built_for != mains_hz:
        off = mains_change_percent(built_for, mains_hz)
        said = (
            f"The motor is built for {built_for:g} Hz; on {mains_hz:g} Hz the tape runs "
            f"{abs(off):.3g} % {'fast' if off > 0 else 'slow'}, if the motor turns with the mains. "
            "No belt makes up for that: the motor pulley must be another one"
        )
        if drive is not None and drive.sets_speed:
            other = motor_pulley_for_mains(
                drive.motor.value, section.thickness.value, built_for, mains_hz
            )
            said += f", of about {other:.1f} mm"
        yield said + "."
        return
    for built, here in MAINS_PAIRS:
        off = mains_change_percent(built, here)
        if abs(speed_now_percent - off) <= NEAR_MAINS_PERCENT:
            yield (
                f"{abs(speed_now_percent):.3g} % {'fast' if off > 0 else 'slow'} is what a motor "
                f"for {built:g} Hz does on {here:g} Hz mains. See its plate before a belt is "
                "bought: no belt makes up for that."
            )
