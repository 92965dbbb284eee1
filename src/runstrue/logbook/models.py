"""The plain types of the logbook: what was on the bench, what was measured, what was said.

    Deck ──┬── SheetEntry    what its maker promises, as pasted and as understood
           ├── Visit         one stay on the bench
           └── CaptureRecord one pass: its facts, readings and verdicts

`DeckRecord` holds all of that for one deck; report, terminal and page are made from it alone.
Times are UTC in ISO 8601, '2024-05-01T09:30:00Z', so that they sort as text.
"""

from __future__ import annotations

from typing import Literal, get_args

import msgspec

from runstrue.errors import InputError
from runstrue.logbook.bench_records import (
    EvidenceRecord,
    IntakeAnswer,
    RepairRecord,
    TransportEntry,
    transport_for,
)
from runstrue.logbook.change import Difference
from runstrue.logbook.deck import (
    Deck,
    DeckChange,
    DeckKind,
    SheetEntry,
    SoundCard,
    Visit,
    not_one_of,
)
from runstrue.logbook.files import FileRecord
from runstrue.result import Condition, Deviation, Measured, Result, Trace
from runstrue.stimulus.testtape import TestTape
from runstrue.verdict.models import Verdict

__all__ = [
    "STAGES",
    "Addition",
    "CaptureFacts",
    "CaptureRecord",
    "Change",
    "Deck",
    "DeckChange",
    "DeckKind",
    "DeckRecord",
    "Difference",
    "EvidenceRecord",
    "IntakeAnswer",
    "ReadingRecord",
    "RepairRecord",
    "SheetEntry",
    "SoundCard",
    "Source",
    "Stage",
    "TransportEntry",
    "VerdictRecord",
    "Visit",
]

Stage = Literal["as found", "in between", "as left"]

# 'typed': read off an instrument; 'combined': several starts made into one reading;
# 'not kept': measured, but its recording was not handed over.
Source = Literal["file", "device", "virtual", "typed", "combined", "not kept"]

STAGES: tuple[Stage, ...] = get_args(Stage)


class CaptureFacts(msgspec.Struct, frozen=True, kw_only=True):
    """What the person at the bench knows about one pass, and the recording does not say.

    Parameters
    ----------
    stage : {'as found', 'in between', 'as left'}
    well, side, direction : str
        'left', 'A', 'forward': as the deck is marked; empty where there is only one.
    speed_cm_s : float or None
        Tape speed chosen, in cm/s; None where the deck has one.
    noise_reduction : str
        'off', or its type ('companding noise reduction, B-type'); empty where not stated.
    tape : str
        Which tape was played, in the user's words.
    position : str
        Where on the tape: 'start', 'middle', 'end', or minutes.
    remark : str
    starts_group : str
        The same for all captures that are starts of one reading; empty for one alone.

    Raises
    ------
    InputError
        When the stage is another or the speed is not above 0.
    """

    stage: Stage
    well: str = ""
    side: str = ""
    direction: str = ""
    speed_cm_s: float | None = None
    noise_reduction: str = ""
    tape: str = ""
    position: str = ""
    remark: str = ""
    starts_group: str = ""

    def __post_init__(self) -> None:
        if self.stage not in STAGES:
            raise not_one_of("stage", self.stage, STAGES)
        if self.speed_cm_s is not None and not 0 < self.speed_cm_s < 1000:
            raise InputError(
                f"A tape speed of {self.speed_cm_s} cm/s was given",
                "it must be above 0 and below 1000 cm/s",
            )


class ReadingRecord(msgspec.Struct, frozen=True, kw_only=True):
    """One stored reading.

    Parameters
    ----------
    id : int
    result : Result
        As it was measured; its traces are there only where curves were asked for.
    made_at, program_version : str
    replaces : int or None
        The reading that this one corrects or measures again.
    addition_id : int or None
        Where it was added to the pass afterwards.
    """

    id: int
    result: Result
    made_at: str
    program_version: str
    replaces: int | None = None
    addition_id: int | None = None


class Addition(msgspec.Struct, frozen=True, kw_only=True):
    """What one method said about a pass later, from what was kept of it.

    Parameters
    ----------
    id : int
    method : str
        Its name without the version; its latest addition stands for all that it said.
    basis : str
        What it went by besides the pass itself, in plain words: 'transport c-14.toml'.
    made_at, program_version : str
    """

    id: int
    method: str
    basis: str
    made_at: str
    program_version: str


class VerdictRecord(msgspec.Struct, frozen=True, kw_only=True):
    """One stored verdict, with the reading and the sheet that it rests on."""

    id: int
    verdict: Verdict
    reading_id: int | None
    sheet_id: int | None
    judged_at: str
    program_version: str


class CaptureRecord(msgspec.Struct, frozen=True, kw_only=True):
    """One pass with everything known about it; the latest measuring and judging of it count.

    Parameters
    ----------
    id, deck_id : int
    visit_id : int or None
    facts : CaptureFacts
    source : {'file', 'device', 'virtual', 'typed', 'combined', 'not kept'}
    file_name : str
        What the user's file was called; empty where no recording was kept.
    sha256 : str
        Of the recording kept, 64 hexadecimal digits; empty where none was.
    tape : TestTape or None
        The test tape as it was described then.
    summary : str
    conditions : dict
    doubts : tuple of str
        Those that hold for the whole pass; each result has its own besides.
    readings : tuple of ReadingRecord
        Those that stand, added ones too.
    verdicts : tuple of VerdictRecord
    additions : tuple of Addition
        All that were added to the measuring that counts, oldest first.
    deviation : Deviation or None
    traces : tuple of Trace
        Both only where curves were asked for.
    made_at, program_version : str
        Of the measuring that counts.
    stored_at : str
        When the capture came into the logbook.
    hidden : bool
    """

    id: int
    deck_id: int
    visit_id: int | None
    facts: CaptureFacts
    source: Source
    readings: tuple[ReadingRecord, ...]
    verdicts: tuple[VerdictRecord, ...]
    made_at: str
    program_version: str
    stored_at: str
    file_name: str = ""
    sha256: str = ""
    tape: TestTape | None = None
    summary: str = ""
    conditions: dict[str, Condition] = msgspec.field(default_factory=dict)
    doubts: tuple[str, ...] = ()
    additions: tuple[Addition, ...] = ()
    deviation: Deviation | None = None
    traces: tuple[Trace, ...] = ()
    hidden: bool = False

    @property
    def measured(self) -> Measured:
        """The pass in the form in which it was measured."""
        return Measured(
            summary=self.summary,
            results=tuple(reading.result for reading in self.readings),
            deviation=self.deviation,
            traces=self.traces,
            conditions=self.conditions,
            doubts=self.doubts,
        )

    def find(self, quantity_id: str, channel: str = "both") -> Result | None:
        """Return the first result with this id on this channel, or else on any."""
        return self.measured.find(quantity_id, channel)


class Change(msgspec.Struct, frozen=True, kw_only=True):
    """As found against as left, for one quantity by one method at one place of the deck.

    Parameters
    ----------
    id, method, channel : str
        As in the readings.
    well, side, direction, noise_reduction, point : str
        Of both stages; empty where not stated. `point` says which of several, for
        voltages.
    speed_cm_s : float or None
    found, left : tuple of ReadingRecord
        All readings of each stage, oldest first; the last ones were compared. One of them is
        empty where a stage has no such reading.
    difference : Difference or None
        None where there is nothing to compare.
    words : str
        The outcome, or why there is none.
    """

    id: str
    method: str
    channel: str
    well: str = ""
    side: str = ""
    direction: str = ""
    speed_cm_s: float | None = None
    noise_reduction: str = ""
    point: str = ""
    found: tuple[ReadingRecord, ...] = ()
    left: tuple[ReadingRecord, ...] = ()
    difference: Difference | None = None
    words: str = ""


class DeckRecord(msgspec.Struct, frozen=True, kw_only=True):
    """All that the logbook holds about one deck.

    Parameters
    ----------
    deck : Deck
    sheets : tuple of SheetEntry
        Oldest first; the last one is in force.
    visits : tuple of Visit
        Oldest first.
    captures : tuple of CaptureRecord
        Oldest first, without hidden ones.
    changes : tuple of Change
        As found against as left of the latest visit that has both.
    sound_card : SoundCard or None
        The one entered last.
    transports : tuple of TransportEntry
        All of them, oldest first; `transport_at` says which counts.
    intake : tuple of IntakeAnswer
    evidence : tuple of EvidenceRecord
    repairs : tuple of RepairRecord
        Of all visits, those that stand, oldest first.
    papers : tuple of FileRecord
        Photos and papers, oldest first, without hidden ones.
    read_at, program_version : str
    """

    deck: Deck
    sheets: tuple[SheetEntry, ...] = ()
    visits: tuple[Visit, ...] = ()
    captures: tuple[CaptureRecord, ...] = ()
    changes: tuple[Change, ...] = ()
    sound_card: SoundCard | None = None
    transports: tuple[TransportEntry, ...] = ()
    intake: tuple[IntakeAnswer, ...] = ()
    evidence: tuple[EvidenceRecord, ...] = ()
    repairs: tuple[RepairRecord, ...] = ()
    papers: tuple[FileRecord, ...] = ()
    read_at: str = ""
    program_version: str = ""

    @property
    def sheet(self) -> SheetEntry | None:
        """The sheet in force, or None where none was entered."""
        return self.sheets[-1] if self.sheets else None

    def transport_at(self, speed_cm_s: float | None = None) -> TransportEntry | None:
        """Return the description of the transport that counts at a speed, or None."""
        return transport_for(self.transports, speed_cm_s)

    def captures_of(self, visit: Visit | None) -> tuple[CaptureRecord, ...]:
        """Return the captures of one visit, or with None those that belong to no visit."""
        wanted = visit.id if visit else None
        return tuple(capture for capture in self.captures if capture.visit_id == wanted)

    def at_stage(self, stage: Stage) -> tuple[CaptureRecord, ...]:
        """Return the captures of one stage, oldest first."""
        return tuple(capture for capture in self.captures if capture.facts.stage == stage)
