"""The plain types of what is known of a deck beside its readings: transport, faults, repairs.

`TransportEntry` is how its drive is described; `IntakeAnswer`, `EvidenceRecord` and
`RepairRecord` are what was asked before power, what was seen, and what it turned out to be.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

import msgspec

from runstrue.faults.models import Evidence


class TransportEntry(msgspec.Struct, frozen=True, kw_only=True):
    """A description of a deck's transport, as it was written.

    Parameters
    ----------
    id, deck_id : int
    name : str
        Of the file that it came from.
    text : str
        The whole description.
    speed_cm_s : float or None
        The tape speed that it holds for; None for all.
    entered_at, program_version : str
    """

    id: int
    deck_id: int
    name: str
    text: str
    speed_cm_s: float | None
    entered_at: str
    program_version: str


class IntakeAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """What was said to one question before a deck's first power; the latest answer counts."""

    id: int
    deck_id: int
    visit_id: int | None
    question: str
    answer: str
    answered_at: str
    program_version: str = ""


class EvidenceRecord(msgspec.Struct, frozen=True, kw_only=True):
    """One thing that was seen on a deck, and when.

    Parameters
    ----------
    id, deck_id : int
    visit_id : int or None
    evidence : Evidence
    seen_at, program_version : str
    taken_back_at : str
        Empty where it was not taken back.
    """

    id: int
    deck_id: int
    visit_id: int | None
    evidence: Evidence
    seen_at: str
    program_version: str = ""
    taken_back_at: str = ""


class RepairRecord(msgspec.Struct, frozen=True, kw_only=True):
    """What it was, and what was done.

    Parameters
    ----------
    id, deck_id : int
    visit_id : int or None
    cause : str
        Id of a cause, or 'none of these'.
    words : str
    minutes : float or None
    parts : str
    done_at, program_version : str
    taken_back_at : str
        Empty where it was not taken back.
    """

    id: int
    deck_id: int
    visit_id: int | None
    cause: str
    words: str
    minutes: float | None
    parts: str
    done_at: str
    program_version: str = ""
    taken_back_at: str = ""


def transport_for(
    entries: Iterable[TransportEntry], speed_cm_s: float | None = None
) -> TransportEntry | None:
    """Return which description counts at a tape speed.

    Parameters
    ----------
    entries : iterable of TransportEntry
        Of one deck, oldest first.
    speed_cm_s : float or None
        None where the deck has one speed, or where it does not matter.

    Returns
    -------
    TransportEntry or None
        The last one for this speed, else the last one for all speeds. Without a speed the last
        one for all speeds, else the last of a deck that was described at one speed only.

    Notes
    -----
    Speeds are the same within 1 %: 4.76 and 4.7625 cm/s are two ways to write 1 7/8 in/s.
    """
    latest: dict[float | None, TransportEntry] = {}
    for one in entries:
        alike = (known for known in latest if known is not None and _same(known, one.speed_cm_s))
        latest[next(alike, one.speed_cm_s)] = one
    if speed_cm_s is None:
        only = next(iter(latest.values())) if len(latest) == 1 else None
        return latest.get(None, only)
    at_speed = (one for known, one in latest.items() if known and _same(known, speed_cm_s))
    return next(at_speed, latest.get(None))


def _same(first: float, second: float | None) -> bool:
    return second is not None and math.isclose(first, second, rel_tol=0.01)
