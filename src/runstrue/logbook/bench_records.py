"""The plain types of what is known of a deck beside its readings: transport, faults, repairs.

`TransportEntry` is how its drive is described; `IntakeAnswer`, `EvidenceRecord` and
`RepairRecord` are what was asked before power, what was seen, and what it turned out to be.
"""

from __future__ import annotations

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


class EvidenceRecord(msgspec.Struct, frozen=True, kw_only=True):
    """One thing that was seen on a deck, and when."""

    id: int
    deck_id: int
    visit_id: int | None
    evidence: Evidence
    seen_at: str


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
    done_at : str
    """

    id: int
    deck_id: int
    visit_id: int | None
    cause: str
    words: str
    minutes: float | None
    parts: str
    done_at: str
