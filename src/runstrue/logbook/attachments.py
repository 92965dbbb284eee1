"""Photos and papers of a deck: pictures of its insides, scans of its sheet, reviews, receipts.

The bytes lie in the folder 'attachments' beside the database, named by what they hold; the row says
what they show. A picture that was taken away is hidden, never deleted.
"""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

from runstrue import __version__
from runstrue.errors import InputError, LogbookError
from runstrue.logbook import storing
from runstrue.logbook.afterwards import Afterwards
from runstrue.logbook.database import disk_error, sync
from runstrue.logbook.files import KINDS, FileKind, FileRecord, file_record, load_files
from runstrue.logbook.models import Deck, Visit

FOLDER = "attachments"
ENDINGS = {"image/jpeg": ".jpg", "image/png": ".png", "application/pdf": ".pdf"}


class Attachments(Afterwards):
    """Photos and papers of an open logbook."""

    def add_file(
        self,
        deck: Deck,
        visit: Visit | None,
        content: bytes,
        media: str,
        *,
        kind: FileKind = "photo",
        caption: str = "",
        name: str = "",
        size_points: tuple[int, int] = (0, 0),
    ) -> FileRecord:
        """Keep a photo or a paper; the bytes are on the disk before the row says so.

        Raises
        ------
        InputError
            When it is of another kind than those that are kept.
        LogbookError
            When the disk is full or cannot be written to.
        """
        if media not in ENDINGS or kind not in KINDS:
            raise InputError(f"A file of the type '{media}' was sent", "JPEG, PNG or PDF are kept")
        digest = hashlib.sha256(content).hexdigest()
        path = self._file(digest, media)
        try:
            path.parent.mkdir(exist_ok=True)
            if not path.exists():
                temporary = path.with_name(f".{path.name}.part")
                temporary.write_bytes(content)
                sync(temporary)
                os.replace(temporary, path)
        except OSError as error:
            raise disk_error(self._database.folder, error) from None
        values = (
            deck.id, visit.id if visit else None, kind, caption, "", digest, media, name[:200],
            len(content), *size_points, self._database.now(), None, __version__,
        )  # fmt: skip
        with self._database.writing() as connection:
            number = storing.insert(
                connection,
                "attachment",
                "deck, visit, kind, caption, quote, sha256, media, name, size, width, height, "
                "added_at, hidden_at, program_version",
                values,
            )
        return self.file(number)

    def files_of(self, deck: Deck, *, hidden: bool = False) -> tuple[FileRecord, ...]:
        """Return a deck's photos and papers, oldest first; with `hidden` also hidden ones."""
        with self._database.reading() as connection:
            found = load_files(connection, deck.id)
        return tuple(one for one in found if hidden or not one.hidden)

    def file(self, number: int) -> FileRecord:
        """Return one of them.

        Raises
        ------
        LogbookError
            When there is none of this number.
        """
        with self._database.reading() as connection:
            row = connection.execute("SELECT * FROM attachment WHERE id = ?", (number,)).fetchone()
        if row is None:
            raise LogbookError(f"There is no photo or paper {number}", "one of the list is needed")
        return file_record(row)

    def file_path(self, record: FileRecord) -> Path:
        """Where its bytes lie.

        Raises
        ------
        LogbookError
            When they are gone.
        """
        path = self._file(record.sha256, record.media)
        if not path.is_file():
            raise LogbookError(
                f"The file of '{record.caption or record.name}' is gone from the logbook's folder",
                "a copy of it is needed", "put it back from a backup, or add it anew",
            )  # fmt: skip
        return path

    def caption_file(self, record: FileRecord, caption: str, quote: str) -> FileRecord:
        """Write anew what it shows, and what the report quotes of it."""
        with self._database.writing() as connection:
            connection.execute(
                "UPDATE attachment SET caption = ?, quote = ? WHERE id = ?",
                (caption, quote, record.id),
            )
        return self.file(record.id)

    def hide_file(self, record: FileRecord, *, hidden: bool = True) -> FileRecord:
        """Take it off the page, or put it back; its bytes stay."""
        with self._database.writing() as connection:
            connection.execute(
                "UPDATE attachment SET hidden_at = ? WHERE id = ?",
                (self._database.now() if hidden else None, record.id),
            )
        return self.file(record.id)

    def _file(self, sha256: str, media: str) -> Path:
        return self._database.folder / FOLDER / f"{sha256}{ENDINGS[media]}"
