"""The logbook: what happened to a deck, kept so that others can trust it.

A bench folder holds `logbook.sqlite`, the recordings in `captures/` and copies of the database
in `backups/`. Facts that people type can be corrected (the old ones are kept); readings and
verdicts are only ever added; decks and captures can be hidden, never lost.
"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType

import msgspec

from runstrue import __version__
from runstrue.errors import LogbookError
from runstrue.logbook import diagnosis_rows, loading, rows, storing
from runstrue.logbook.attachments import Attachments
from runstrue.logbook.comparing import changes_of, latest_with_both
from runstrue.logbook.database import Clock, Database
from runstrue.logbook.files import load_files
from runstrue.logbook.models import (
    Change,
    Deck,
    DeckRecord,
    SoundCard,
    Visit,
)
from runstrue.logbook.register import deck_of, name_key


class Logbook(Attachments):
    """An open logbook; close it, or use it in a ``with`` statement.

    Every method raises `LogbookError` when the logbook cannot be read or written; what was to
    be stored is then not stored at all, and earlier content is intact.
    """

    @classmethod
    def open(
        cls,
        folder: Path | str,
        *,
        create: bool = True,
        busy_timeout_s: float = 10.0,
        clock: Clock | None = None,
    ) -> Logbook:
        """Open the logbook of a bench folder, or begin one.

        Parameters
        ----------
        folder : Path or str
        create : bool
            Whether to begin a logbook where there is none.
        busy_timeout_s : float
            How long to wait for another program that writes, in s.
        clock : callable, optional
            Gives the time to write down, with its zone; else the computer's.

        Raises
        ------
        LogbookError
            When there is no logbook, or it is damaged, of a newer Runstrue, of another
            program, may not be written, or is held by another program for too long.
        """
        return cls(
            Database(
                Path(folder).absolute(),
                create=create,
                busy_timeout_s=busy_timeout_s,
                clock=clock or _computer_clock,
            )
        )

    def __enter__(self) -> Logbook:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the logbook; everything stored is on the disk already."""
        self._database.close()

    @property
    def folder(self) -> Path:
        """The bench folder."""
        return self._database.folder

    def deck_record(self, deck: Deck, *, curves: bool = True) -> DeckRecord:
        """Return all that the logbook holds about a deck, as one state of it.

        Parameters
        ----------
        curves : bool
            Whether deviations and traces are read too (about 4 kB for each second of stereo).
        """
        with self._database.reading() as connection:
            captures = loading.load_captures(
                connection,
                "capture.deck = ? AND capture.hidden_at IS NULL",
                (deck.id,),
                curves=curves,
            )
            return DeckRecord(
                deck=deck_of(connection, deck.id),
                sheets=loading.load_sheets(connection, deck.id),
                visits=loading.load_visits(connection, deck.id),
                captures=captures,
                changes=changes_of(latest_with_both(captures)),
                sound_card=next(reversed(loading.load_sound_cards(connection)), None),
                transports=diagnosis_rows.load_transports(connection, deck.id),
                intake=diagnosis_rows.load_intake(connection, deck.id),
                evidence=diagnosis_rows.load_evidence(connection, deck.id),
                repairs=diagnosis_rows.load_repairs(connection, deck.id),
                papers=tuple(one for one in load_files(connection, deck.id) if not one.hidden),
                read_at=self._database.now(),
                program_version=__version__,
            )

    def compare(self, deck: Deck, visit: Visit | None = None) -> tuple[Change, ...]:
        """Set as found against as left, with what both share cancelled.

        Parameters
        ----------
        visit : Visit, optional
            Else the latest visit that has captures of both stages.

        Returns
        -------
        tuple of Change
            Empty where a stage is missing.
        """
        captures = self.captures(deck)
        if visit is None:
            return changes_of(latest_with_both(captures))
        return changes_of(capture for capture in captures if capture.visit_id == visit.id)

    def set_sound_card(self, card: SoundCard) -> SoundCard:
        """Write down how far a sound card's clock is off; earlier figures stay."""
        dated = msgspec.structs.replace(card, determined_at=self._database.now())
        with self._database.writing() as connection:
            storing.insert(
                connection,
                "setting",
                "name, value, set_at",
                (loading.SOUND_CARD, rows.encoded(dated), dated.determined_at),
            )
        return dated

    def sound_card(self, name: str = "") -> SoundCard | None:
        """Return what was last entered for the sound card of this name, or for any."""
        with self._database.reading() as connection:
            cards = loading.load_sound_cards(connection)
        alike = [card for card in cards if not name or name_key(card.name) == name_key(name)]
        return alike[-1] if alike else None

    def back_up(self) -> Path:
        """Write a copy of the database into `backups/` and return its path."""
        return self._database.back_up()

    def check(self) -> tuple[str, ...]:
        """Look at everything, recordings too; return one sentence for each thing wrong."""
        findings = list(self._database.check())
        with self._database.reading() as connection:
            kept = connection.execute("SELECT sha256, stored_name FROM recording").fetchall()
        for row in kept:
            try:
                self._recordings.verified(row["stored_name"], row["sha256"])
            except LogbookError as error:
                findings.append(str(error))
        return tuple(findings)


def _computer_clock() -> datetime:
    return datetime.now(UTC)
