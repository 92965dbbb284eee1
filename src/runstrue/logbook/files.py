"""What the logbook says of a photo or a paper."""

from __future__ import annotations

import sqlite3
from typing import Literal, get_args

import msgspec

FileKind = Literal["photo", "sheet", "review", "receipt", "other"]
KINDS: tuple[FileKind, ...] = get_args(FileKind)


class FileRecord(msgspec.Struct, frozen=True, kw_only=True):
    """One photo or paper.

    Parameters
    ----------
    id, deck_id : int
    visit_id : int or None
        The visit during which it was taken.
    kind : {'photo', 'sheet', 'review', 'receipt', 'other'}
    caption : str
    quote : str
        Words of it that the report quotes; empty for none.
    sha256, media, name : str
        Of the kept bytes; the name is that of the file as it came.
    size, width, height : int
        Bytes, and points of a picture (0 for a paper).
    added_at : str
    hidden : bool
    """

    id: int
    deck_id: int
    visit_id: int | None
    kind: FileKind
    caption: str
    quote: str
    sha256: str
    media: str
    name: str
    size: int
    width: int
    height: int
    added_at: str
    hidden: bool

    @property
    def words(self) -> str:
        """What it is called: its caption, else its name."""
        return self.caption or self.name or self.kind


def load_files(connection: sqlite3.Connection, deck_id: int) -> tuple[FileRecord, ...]:
    """Return all photos and papers of a deck, hidden ones too, oldest first."""
    rows = connection.execute(
        "SELECT * FROM attachment WHERE deck = ? ORDER BY id", (deck_id,)
    ).fetchall()
    return tuple(file_record(row) for row in rows)


def file_record(row: sqlite3.Row) -> FileRecord:
    """Return a row as what it says."""
    values = dict(row)
    return FileRecord(
        id=values["id"], deck_id=values["deck"], visit_id=values["visit"], kind=values["kind"],
        caption=values["caption"], quote=values["quote"], sha256=values["sha256"],
        media=values["media"], name=values["name"], size=values["size"], width=values["width"],
        height=values["height"], added_at=values["added_at"],
        hidden=values["hidden_at"] is not None,
    )  # fmt: skip
