"""What `runstrue parts` works out of a record: shares, turns, and what repairs would do."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from runstrue.errors import InputError

if TYPE_CHECKING:
    from runstrue.cli.parts_input import Drive, Heard
    from runstrue.measure.parts.model import Attribution, OnceRound, WhatIf
    from runstrue.result import Deviation, Result
    from runstrue.transport.turning import Turning
    from runstrue.verdict.models import Limit, Verdict


@dataclass(frozen=True, slots=True)
class Remedy:
    """What would remain if something were put right, and whether that would do.

    Parameters
    ----------
    what_if : WhatIf
    verdicts : tuple of Verdict
        On what would remain; of the sheet's flutter figures alone.
    asked : bool
        Whether somebody asked for it, rather than that it matters.
    """

    what_if: WhatIf
    verdicts: tuple[Verdict, ...]
    asked: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Looked:
    """All that is told of one record.

    Parameters
    ----------
    heard : Heard
    drive : Drive
    attribution : Attribution
    remedies : tuple of Remedy
        Those asked for first; then each guilty part, and all of them together.
    rounds : tuple of OnceRound
        Of the guilty and of what was asked for.
    """

    heard: Heard
    drive: Drive
    attribution: Attribution
    remedies: tuple[Remedy, ...] = ()
    rounds: tuple[OnceRound, ...] = ()


def look(
    heard: Heard,
    drive: Drive,
    *,
    played_s: float | None = None,
    without: Sequence[str] = (),
    limits: Sequence[Limit] = (),
    conditions: Mapping[str, str] | None = None,
    also_round: Sequence[str] = (),
) -> Looked:
    """Work out which part makes the flutter of a record, and what repairs would do.

    Parameters
    ----------
    played_s : float or None
        Of the tape at the beginning of the record.
    without : sequence of str
        Ids or names of parts to think away, together.
    limits : sequence of Limit
        Of the deck's sheet.
    conditions : mapping, optional
        How the pass was made, in the words of a sheet's conditions.
    also_round : sequence of str
        Ids of parts whose turn is wanted in any case.

    Raises
    ------
    InputError
        When a part is not of this transport, or more tape was played than there is.
    SignalError
        When the record is too short.
    """
    from runstrue.measure.parts.attribute import attribute
    from runstrue.measure.parts.once_round import once_round

    asked = [part_named(name, drive.turnings).id for name in without]
    attribution = attribute(heard.deviation, drive.turnings, played_s=played_s)
    guilty = [share.ids for share in attribution.guilty]
    wanted: list[tuple[tuple[str, ...], bool]] = [(tuple(asked), True)] if asked else []
    wanted += [(ids, False) for ids in guilty if ids != tuple(asked)]
    if len(guilty) > 1:
        wanted.append((tuple(one for ids in guilty for one in ids), False))
    remedies = tuple(
        _remedy(heard, drive.turnings, ids, played_s, limits, conditions or {}, asked=by_hand)
        for ids, by_hand in wanted
    )
    turning = dict.fromkeys([*(one for ids in guilty for one in ids[:1]), *asked, *also_round])
    rounds = tuple(
        once_round(heard.deviation, drive.turnings, one, played_s=played_s) for one in turning
    )
    return Looked(heard, drive, attribution, remedies, rounds)


def name_parts(
    deviation: Deviation, drive: Drive, played_s: float | None = None
) -> tuple[Result, ...]:
    """Return the parts' shares as results, for a reading that somebody else shows."""
    from runstrue.measure.parts.attribute import attribute

    return attribute(deviation, drive.turnings, played_s=played_s).results


def part_named(name: str, turnings: Sequence[Turning]) -> Turning:
    """Return the part of this id or name.

    Raises
    ------
    InputError
        When there is none, or several have the name.
    """
    plain = " ".join(name.lower().split())
    found = [one for one in turnings if plain in (one.id.lower(), one.name.lower())]
    if len(found) != 1:
        listed = ", ".join(one.id for one in turnings)
        raise InputError(f"The transport has no part '{name}'", f"one of {listed} is needed")
    return found[0]


def _remedy(
    heard: Heard,
    turnings: Sequence[Turning],
    ids: tuple[str, ...],
    played_s: float | None,
    limits: Sequence[Limit],
    conditions: Mapping[str, str],
    *,
    asked: bool,
) -> Remedy:
    from runstrue.measure.parts.what_if import what_if
    from runstrue.verdict.judge import judge

    told = what_if(
        heard.deviation, turnings, ids, measured=heard.measured.results, played_s=played_s
    )
    flutter = [limit for limit in limits if any(one.startswith("flutter.") for one in limit.ids)]
    verdicts = judge(flutter, told.results, conditions=conditions)
    return Remedy(told, tuple(one for one in verdicts if one.reason != "not measured"), asked)
