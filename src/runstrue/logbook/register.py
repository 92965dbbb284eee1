"""The part of the logbook that people type: decks, their sheets, their visits."""

from __future__ import annotations

import difflib
import sqlite3
import unicodedata

from runstrue import __version__
from runstrue.errors import LogbookError
from runstrue.logbook import loading, rows, storing
from runstrue.logbook.database import Database
from runstrue.logbook.models import Deck, DeckChange, SheetEntry, Visit
from runstrue.verdict.models import Sheet


class Register:
    """Decks, sheets and visits of an open database; `Logbook` adds what is measured."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def add_deck(self, deck: Deck) -> Deck:
        """Add a deck and return it with its number.

        Raises
        ------
        LogbookError
            When there is one of that name, whatever its capitals.
        """
        now = self._database.now()
        with self._database.writing() as connection:
            self._refuse_taken_name(connection, deck)
            values = {**_deck_values(deck), "created_at": deck.created_at or now}
            number = storing.insert(connection, "deck", ", ".join(values), values.values())
            return deck_of(connection, number)

    def find_deck(self, name: str) -> Deck:
        """Return the deck of this name, whatever its capitals.

        Raises
        ------
        LogbookError
            When there is none, with the names that come near; or when it is hidden.
        """
        decks = self.decks(hidden=True)
        for deck in decks:
            if name_key(deck.name) == name_key(name):
                if deck.hidden:
                    raise LogbookError(
                        f"The deck '{deck.name}' is hidden", "show it again to work with it"
                    )
                return deck
        known = {name_key(deck.name): deck.name for deck in decks if not deck.hidden}
        near = difflib.get_close_matches(name_key(name), known, n=3, cutoff=0.6)
        raise LogbookError(
            f"There is no deck '{name}' in the logbook",
            f"did you mean {' or '.join(repr(known[key]) for key in near)}?"[:-1]
            if near
            else "the name of a deck that was added is needed",
            "see the list of decks, or add it",
        )

    def decks(self, *, hidden: bool = False) -> tuple[Deck, ...]:
        """Return the decks in the order in which they came, with `hidden` also hidden ones."""
        with self._database.reading() as connection:
            found = loading.load_decks(connection)
        return tuple(deck for deck in found if hidden or not deck.hidden)

    def update_deck(self, deck: Deck) -> Deck:
        """Correct the facts of the deck with this number; the old ones are kept.

        Raises
        ------
        LogbookError
            When there is no such deck, or another one has the new name.
        """
        with self._database.writing() as connection:
            before = deck_of(connection, deck.id)
            self._refuse_taken_name(connection, deck)
            values = _deck_values(deck)
            if values == _deck_values(before):
                return before
            storing.insert(
                connection,
                "deck_history",
                "deck, changed_at, before, program_version",
                (deck.id, self._database.now(), rows.encoded(before), __version__),
            )
            settings = ", ".join(f"{column} = ?" for column in values)
            connection.execute(
                f"UPDATE deck SET {settings} WHERE id = ?", (*values.values(), deck.id)
            )
            return deck_of(connection, deck.id)

    def deck_history(self, deck: Deck) -> tuple[DeckChange, ...]:
        """Return what stood in the logbook before each correction, oldest first."""
        with self._database.reading() as connection:
            found = connection.execute(
                "SELECT * FROM deck_history WHERE deck = ? ORDER BY id", (deck.id,)
            ).fetchall()
        return tuple(
            DeckChange(
                changed_at=row["changed_at"],
                before=rows.decoded(row["before"], Deck),
                program_version=row["program_version"],
            )
            for row in found
        )

    def hide_deck(self, deck: Deck) -> Deck:
        """Take a deck off the lists; nothing of it is lost."""
        return self._hide_deck(deck, self._database.now())

    def show_deck(self, deck: Deck) -> Deck:
        """Put a hidden deck back on the lists."""
        return self._hide_deck(deck, None)

    def add_sheet(self, deck: Deck, sheet: Sheet, source: str = "") -> SheetEntry:
        """Enter what a deck is promised to do; an earlier sheet stays, superseded."""
        with self._database.writing() as connection:
            deck_of(connection, deck.id)
            storing.insert(
                connection,
                "sheet",
                "deck, text, source, understood, entered_at, program_version",
                (
                    deck.id,
                    sheet.text,
                    source,
                    rows.encoded(sheet),
                    self._database.now(),
                    __version__,
                ),
            )
            return loading.load_sheets(connection, deck.id)[-1]

    def sheets(self, deck: Deck) -> tuple[SheetEntry, ...]:
        """Return the sheets of a deck, oldest first; the last one is in force."""
        with self._database.reading() as connection:
            return loading.load_sheets(connection, deck.id)

    def open_visit(self, deck: Deck, reason: str = "", notes: str = "") -> Visit:
        """Take a deck onto the bench.

        Raises
        ------
        LogbookError
            When it is there already.
        """
        with self._database.writing() as connection:
            deck_of(connection, deck.id)
            current = _current_visit(connection, deck.id)
            if current:
                raise LogbookError(
                    f"The deck '{deck.name}' has been on the bench since {current.begun_at}",
                    "one visit at a time can be open",
                    "close that visit first",
                )
            storing.insert(
                connection,
                "visit",
                "deck, begun_at, reason, notes",
                (deck.id, self._database.now(), reason, notes),
            )
            return loading.load_visits(connection, deck.id)[-1]

    def current_visit(self, deck: Deck) -> Visit | None:
        """Return the visit that is open, or None."""
        with self._database.reading() as connection:
            return _current_visit(connection, deck.id)

    def close_visit(self, visit: Visit, notes: str | None = None) -> Visit:
        """Hand a deck back; closing it twice changes nothing but the notes.

        Parameters
        ----------
        notes : str, optional
            What was done; takes the place of the notes so far.
        """
        with self._database.writing() as connection:
            connection.execute(
                "UPDATE visit SET ended_at = coalesce(ended_at, ?), notes = coalesce(?, notes) "
                "WHERE id = ?",
                (self._database.now(), notes, visit.id),
            )
            return visit_of(connection, visit.id)

    def note_visit(self, visit: Visit, *, reason: str, notes: str) -> Visit:
        """Write down anew why a deck came and what was done."""
        with self._database.writing() as connection:
            connection.execute(
                "UPDATE visit SET reason = ?, notes = ? WHERE id = ?", (reason, notes, visit.id)
            )
            return visit_of(connection, visit.id)

    def visits(self, deck: Deck) -> tuple[Visit, ...]:
        """Return the visits of a deck, oldest first."""
        with self._database.reading() as connection:
            return loading.load_visits(connection, deck.id)

    def _hide_deck(self, deck: Deck, hidden_at: str | None) -> Deck:
        with self._database.writing() as connection:
            connection.execute("UPDATE deck SET hidden_at = ? WHERE id = ?", (hidden_at, deck.id))
            return deck_of(connection, deck.id)

    def _refuse_taken_name(self, connection: sqlite3.Connection, deck: Deck) -> None:
        taken = connection.execute(
            "SELECT name, hidden_at FROM deck WHERE name_key = ? AND id <> ?",
            (name_key(deck.name), deck.id),
        ).fetchone()
        if taken:
            hidden = taken["hidden_at"] is not None
            raise LogbookError(
                f"There is a deck '{taken['name']}' already{' (hidden)' if hidden else ''}",
                "each deck needs a name of its own",
                "show it again, or choose another name" if hidden else "choose another name",
            )


def name_key(name: str) -> str:
    """Return a name as it is compared: without regard to capitals, accents' coding, spaces."""
    return " ".join(unicodedata.normalize("NFKC", name).casefold().split())


def deck_of(connection: sqlite3.Connection, deck_id: int) -> Deck:
    """Return the deck with this number.

    Raises
    ------
    LogbookError
        When there is none.
    """
    row = connection.execute("SELECT * FROM deck WHERE id = ?", (deck_id,)).fetchone()
    if row is None:
        raise LogbookError(
            f"There is no deck with the number {deck_id} in this logbook",
            "a deck that was added to it is needed",
        )
    return rows.deck_from(row)


def visit_of(connection: sqlite3.Connection, visit_id: int) -> Visit:
    """Return the visit with this number.

    Raises
    ------
    LogbookError
        When there is none.
    """
    row = connection.execute("SELECT * FROM visit WHERE id = ?", (visit_id,)).fetchone()
    if row is None:
        raise LogbookError(
            f"There is no visit with the number {visit_id} in this logbook",
            "a visit that was opened in it is needed",
        )
    return rows.visit_from(row)


def _current_visit(connection: sqlite3.Connection, deck_id: int) -> Visit | None:
    row = connection.execute(
        "SELECT * FROM visit WHERE deck = ? AND ended_at IS NULL", (deck_id,)
    ).fetchone()
    return None if row is None else rows.visit_from(row)


def _deck_values(deck: Deck) -> dict[str, object]:
    """Return the columns of a deck that can be corrected."""
    return {
        "name": deck.name,
        "name_key": name_key(deck.name),
        "maker": deck.maker,
        "model": deck.model,
        "serial": deck.serial,
        "year": deck.year,
        "kind": deck.kind,
        "speeds_cm_s": rows.encoded(list(deck.speeds_cm_s)),
        "heads": deck.heads,
        "wells": deck.wells,
        "mains": deck.mains,
        "notes": deck.notes,
    }
