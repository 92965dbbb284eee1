"""Keeping what was measured in the logbook, under a deck and a stage."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from runstrue.errors import InputError

if TYPE_CHECKING:
    from runstrue.cli.bench import Bench
    from runstrue.cli.fault_keep import Joined
    from runstrue.cli.measured import Done
    from runstrue.logbook import Logbook
    from runstrue.logbook.models import CaptureFacts, CaptureRecord, Deck, SheetEntry, Stage, Visit
    from runstrue.result import Result
    from runstrue.stimulus.testtape import TestTape
    from runstrue.verdict.models import Verdict

STAGE_WORDS = ("found", "between", "left")
STAGES: dict[str, Stage] = {"found": "as found", "between": "in between", "left": "as left"}


@dataclass(frozen=True, slots=True)
class Place:
    """Where on the deck a pass is made, as the options say it."""

    stage: str
    well: str = ""
    side: str = ""
    direction: str = ""
    speed_cm_s: float | None = None
    noise_reduction: str = ""
    position: str = ""
    remark: str = ""

    def facts(self, tape: str = "", starts_group: str = "") -> CaptureFacts:
        """Return the facts as the logbook keeps them."""
        from runstrue.logbook.models import CaptureFacts

        return CaptureFacts(
            stage=STAGES[self.stage],
            well=self.well,
            side=self.side,
            direction=self.direction,
            speed_cm_s=self.speed_cm_s,
            noise_reduction=self.noise_reduction,
            position=self.position,
            remark=self.remark,
            tape=tape,
            starts_group=starts_group,
        )


class Keeper:
    """Stores passes of one deck; the deck is looked up before anything is measured.

    Raises
    ------
    LogbookError
        When there is no such deck or no logbook.
    InputError
        When the deck has several speeds and none was named.
    """

    def __init__(self, bench: Bench, deck: str, place: Place) -> None:
        self._bench, self.place = bench, place
        with bench.open() as book:
            self.deck: Deck = book.find_deck(deck)
            sheets = book.sheets(self.deck)
        self.sheet: SheetEntry | None = sheets[-1] if sheets else None
        self.begun_visit = False
        self.joined: Joined | None = None  # what was stored last did to the fault list
        self.alike: list[str] = []  # where the very same recording stands already
        speeds = self.deck.speeds_cm_s
        if len(speeds) > 1 and place.speed_cm_s is None:
            listed = " and ".join(f"{speed:g}" for speed in speeds)
            raise InputError(
                f"The deck '{self.deck.name}' has the speeds {listed} cm/s",
                "the one that was used is needed",
                f"add --speed {speeds[0]:g}",
            )
        asked = place.speed_cm_s
        if speeds and asked is not None and all(abs(asked / one - 1) > 0.02 for one in speeds):
            listed = " and ".join(f"{speed:g}" for speed in speeds)
            raise InputError(
                f"A speed of {asked:g} cm/s was named for the deck '{self.deck.name}'",
                f"it has {listed} cm/s",
                "name one of them, or correct the deck with runstrue deck change",
            )

    @property
    def bench(self) -> Bench:
        """Where the logbook lies."""
        return self._bench

    @property
    def conditions(self) -> dict[str, str]:
        """How the pass was made, in the words of a sheet's conditions."""
        speeds = self.deck.speeds_cm_s
        speed = self.place.speed_cm_s or (speeds[0] if len(speeds) == 1 else None)
        told = {"speed": f"{speed:g} cm/s"} if speed else {}
        if self.place.noise_reduction:
            told["noise reduction"] = self.place.noise_reduction
        return told

    def keep(
        self,
        done: Sequence[Done],
        tape: TestTape,
        *,
        named_tape: bool,
        own_sheet: bool,
        combined: Done | None = None,
    ) -> list[CaptureRecord]:
        """Store passes, each of them whole; with `combined` as starts of one reading.

        Parameters
        ----------
        named_tape : bool
            Whether the tape was described, rather than taken cautiously.
        own_sheet : bool
            Whether the verdicts rest on the deck's sheet in the logbook.
        """
        from runstrue.cli.fault_keep import keep_findings

        sheet = self.sheet if own_sheet else None
        name = tape.name if named_tape else ""
        kept = []
        with self._bench.open() as book:
            visit = self._visit(book)
            group = _group(done) if combined is not None else ""
            for one in [*done, *([combined] if combined is not None else [])]:
                if one.measured is None:
                    continue
                from_file = one is not combined
                if from_file and one.origin is not None:
                    self.alike += _stored_before(book, self.deck, visit, one.origin.sha256)
                record = book.store(
                    self.deck, visit, self.place.facts(name, group), one.measured,
                    judged(one.verdicts), one.path if from_file else None,
                    one.origin.sha256 if from_file and one.origin else "",
                    tape=tape, sheet=sheet,
                )  # fmt: skip
                one.stored = self._told(record)
                kept.append(record)
                if combined is None or one is combined:  # single starts are no reading
                    joined = keep_findings(book, self.deck, visit, record)
                    self.joined = self.joined.and_also(joined) if self.joined else joined
        return kept

    def keep_typed(
        self, result: Result, verdicts: Sequence[Verdict], replaces: int | None = None
    ) -> CaptureRecord:
        """Store a reading that was typed in, in the place of an earlier one if that is named."""
        from runstrue.cli.fault_keep import keep_findings

        with self._bench.open() as book:
            earlier = None if replaces is None else book.capture(replaces, curves=False)
            visit = self._visit(book)
            record = book.store_typed(
                self.deck, self.place.facts(), result, judged(verdicts),
                visit=visit, sheet=self.sheet, corrects=earlier,
            )  # fmt: skip
            self.joined = keep_findings(book, self.deck, visit, record)
            return record

    def _visit(self, book: Logbook) -> Visit:
        """Return the visit that is open, or begin one."""
        visit = book.current_visit(self.deck)
        if visit is None:
            visit = book.open_visit(self.deck)
            self.begun_visit = True
        return visit

    def _told(self, record: CaptureRecord) -> dict[str, Any]:
        return {
            "deck": self.deck.name,
            "stage": record.facts.stage,
            "capture": record.id,
            "logbook": str(self._bench.folder),
        }


def _stored_before(book: Logbook, deck: Deck, visit: Visit, sha256: str) -> list[str]:
    """Say where this visit holds the same bytes already."""
    return [
        f"number {capture.id}, {capture.facts.stage}"
        for capture in book.captures(deck)
        if capture.visit_id == visit.id and sha256 and capture.sha256 == sha256
    ]


def judged(verdicts: Sequence[Verdict]) -> list[Verdict]:
    """Return the verdicts on what was measured; a sheet speaks of much else."""
    return [verdict for verdict in verdicts if verdict.reason != "not measured"]


def quoted(name: str) -> str:
    """Write a name so that a shell takes it as one word."""
    plain = all(letter.isalnum() or letter in "-_./" for letter in name)
    return name if plain and name else '"' + name.replace('"', '\\"') + '"'


def _group(done: Sequence[Done]) -> str:
    """Name the starts of one reading by the recordings they are."""
    hashes = "".join(one.origin.sha256 for one in done if one.origin)
    return "starts " + hashlib.sha256(hashes.encode()).hexdigest()[:12]


def file_stem(name: str) -> str:
    """Make a file's name of a deck's: what file systems refuse becomes a hyphen."""
    kept = "".join(one if one.isalnum() or one in " ._()" else "-" for one in name)
    return "-".join(kept.split()).strip(".-") or "deck"


def default_report(deck: Deck) -> Path:
    """Where the printed sheet goes when no place is named."""
    return Path(f"{file_stem(deck.name)}.pdf")
