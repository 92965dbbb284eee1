"""Opening the logbook's database, keeping it whole, and saying in one sentence what is wrong.

One writer at a time (BEGIN IMMEDIATE); readers are never held up (write-ahead log). Before a
migration, and before the first write of a day, a copy goes to `backups/`.
"""

from __future__ import annotations

import errno
import os
import sqlite3
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path

from runstrue import __version__
from runstrue.errors import LogbookError
from runstrue.logbook import schema

DATABASE_NAME = "logbook.sqlite"
STRICT_SINCE = (3, 37, 0)  # STRICT tables: SQLite release notes 3.37.0
DAILY_KEPT = 7  # own choice: a week of benches to go back to

Clock = Callable[[], datetime]


class Database:
    """The open database of one bench folder.

    Parameters
    ----------
    folder : Path
        The bench folder.
    create : bool
        Whether to begin a logbook where there is none.
    busy_timeout_s : float
        How long to wait for another writer, in s.
    clock : callable
        Gives the time now, with its zone.

    Raises
    ------
    LogbookError
        When there is none and `create` is off; when the file is damaged, of another program
        or of a newer Runstrue; when the folder cannot be written. The file is then left as
        it is.
    """

    def __init__(self, folder: Path, *, create: bool, busy_timeout_s: float, clock: Clock) -> None:
        self.folder = folder
        self.path = folder / DATABASE_NAME
        self.backups = folder / "backups"
        self._busy_timeout_s = busy_timeout_s
        self._clock = clock
        self._backed_up_today = False
        if sqlite3.sqlite_version_info < STRICT_SINCE:
            raise LogbookError(
                f"This Python brings SQLite {sqlite3.sqlite_version}",
                f"{'.'.join(map(str, STRICT_SINCE))} or later is needed for the logbook",
                "use a newer Python",
            )
        self._prepare_folder(create)
        with self.told():
            self.connection = sqlite3.connect(
                self.path, timeout=busy_timeout_s, isolation_level=None
            )
            self.connection.row_factory = sqlite3.Row
        try:
            with self.told():
                self._settle()
        except BaseException:
            self.connection.close()
            raise

    def now(self) -> str:
        """Return the time now as it is stored."""
        return f"{self._clock().astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}"

    @contextmanager
    def reading(self) -> Iterator[sqlite3.Connection]:
        """Hold one state of the logbook still, whatever others write meanwhile."""
        with self.told():
            self.connection.execute("BEGIN")
            try:
                yield self.connection
            finally:
                self._roll_back()

    @contextmanager
    def writing(self, on_failure: Callable[[], None] | None = None) -> Iterator[sqlite3.Connection]:
        """Write all of what is done inside, or nothing of it.

        Parameters
        ----------
        on_failure : callable, optional
            Run before giving up, while no other process can write.
        """
        with self.told():
            self._back_up_daily()
            self.connection.execute("BEGIN IMMEDIATE")
            try:
                yield self.connection
                self.connection.execute("COMMIT")
            except BaseException:
                try:
                    if on_failure:
                        on_failure()
                finally:
                    self._roll_back()
                raise

    def back_up(self, why: str = "") -> Path:
        """Write a copy of the database into `backups/` and return its path.

        Parameters
        ----------
        why : str
            Part of the file's name.
        """
        stem = f"logbook-{self._clock().astimezone(UTC):%Y%m%dT%H%M%SZ}{'-' + why if why else ''}"
        part = self.backups / f".{stem}-{os.getpid()}.part"
        with self.told():
            try:
                self.backups.mkdir(exist_ok=True)
                source = sqlite3.connect(self.path, timeout=self._busy_timeout_s)
                target = sqlite3.connect(part)
                try:
                    source.backup(target)
                finally:
                    target.close()
                    source.close()
                sync(part)
                final = _free_name(self.backups / f"{stem}.sqlite")
                part.replace(final)
                sync(self.backups)
            except BaseException:
                with suppress(OSError):
                    part.unlink(missing_ok=True)
                raise
        return final

    def newest_backup(self) -> Path | None:
        """Return the newest backup, or None where there is none."""
        with suppress(OSError):
            return max(self.backups.glob("logbook-*.sqlite"), default=None)
        return None

    def check(self) -> tuple[str, ...]:
        """Return what SQLite finds wrong with the whole database, one sentence each."""
        with self.reading() as connection:
            found = [row[0] for row in connection.execute("PRAGMA integrity_check") if row[0]]
            loose = connection.execute("PRAGMA foreign_key_check").fetchall()
        findings = [f"The database: {words}." for words in found if words != "ok"]
        findings += [f"Row {row[1]} of {row[0]} points to a {row[2]} that is not there."
                     for row in loose]  # fmt: skip
        return tuple(findings)

    def close(self) -> None:
        """Close the connection; what was written is on the disk already."""
        with self.told():
            self.connection.close()

    @contextmanager
    def told(self) -> Iterator[None]:
        """Turn what SQLite or the disk says into one sentence."""
        try:
            yield
        except sqlite3.Error as error:
            raise self._sentence(error) from error
        except OSError as error:
            raise disk_error(self.folder, error) from error

    def _settle(self) -> None:
        """Make sure that this is a logbook, sound, and of the schema this program knows."""
        connection = self.connection
        # One state for all three: another process may be beginning the same logbook.
        connection.execute("BEGIN")
        tables = connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]
        version = self._version()
        application = connection.execute("PRAGMA application_id").fetchone()[0]
        self._roll_back()
        if application != schema.APPLICATION_ID and (application or version or tables):
            raise LogbookError(
                f"'{self.path}' is a database of another program",
                "a logbook of Runstrue is needed",
                "name another folder; the file was left as it is",
            )
        if version > len(schema.MIGRATIONS):
            raise self._newer(version)
        if version:
            self._quick_check(version)
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA recursive_triggers = ON")
        connection.execute("PRAGMA synchronous = FULL")
        self._keep_write_ahead_log()
        if version < len(schema.MIGRATIONS):
            self._migrate(version)

    def _migrate(self, seen: int) -> None:
        if seen:
            self.back_up(f"before-version-{len(schema.MIGRATIONS)}")
        for number, migration in enumerate(schema.MIGRATIONS, start=1):
            self.connection.execute("BEGIN IMMEDIATE")
            try:
                # Another process may have done it while this one waited for the lock.
                if self._version() < number:
                    for statement in migration.statements:
                        self.connection.execute(statement)
                    self.connection.execute(
                        "INSERT INTO migration VALUES (?, ?, ?, ?)",
                        (number, migration.words, self.now(), __version__),
                    )
                    self.connection.execute(f"PRAGMA application_id = {schema.APPLICATION_ID}")
                    self.connection.execute(f"PRAGMA user_version = {number}")
                self.connection.execute("COMMIT")
            except BaseException:
                self._roll_back()
                raise

    def _keep_write_ahead_log(self) -> None:
        """Switch to the write-ahead log; SQLite does not itself wait for the lock it needs."""
        deadline = time.monotonic() + self._busy_timeout_s
        while self.connection.execute("PRAGMA journal_mode").fetchone()[0] != "wal":
            try:
                self.connection.execute("PRAGMA journal_mode = WAL")
            except sqlite3.OperationalError:
                if time.monotonic() > deadline:
                    raise
                time.sleep(0.01)

    def _quick_check(self, version: int) -> None:
        """Look at the tables without blobs, which takes milliseconds; `check` looks at all."""
        known = {row[0] for row in self.connection.execute("SELECT name FROM sqlite_schema")}
        for table in ("migration", "deck", "visit", "sheet", "capture", "analysis", "reading"):
            if table not in known:
                raise self._damaged(f"table {table} of version {version} is missing")
            found = self.connection.execute(f"PRAGMA quick_check({table})").fetchone()[0]
            if found != "ok":
                raise self._damaged(str(found).splitlines()[-1])

    def _version(self) -> int:
        return int(self.connection.execute("PRAGMA user_version").fetchone()[0])

    def _roll_back(self) -> None:
        if self.connection.in_transaction:
            self.connection.execute("ROLLBACK")

    def _back_up_daily(self) -> None:
        if self._backed_up_today:
            return
        self._backed_up_today = True
        if not self.connection.execute("SELECT EXISTS (SELECT 1 FROM deck)").fetchone()[0]:
            return
        yesterday = self._clock().astimezone(UTC) - timedelta(days=1)
        newest = self.newest_backup()
        if newest and newest.name >= f"logbook-{yesterday:%Y%m%dT%H%M%SZ}":
            return
        self.back_up("daily")
        for old in sorted(self.backups.glob("logbook-*-daily*.sqlite"))[:-DAILY_KEPT]:
            old.unlink(missing_ok=True)

    def _prepare_folder(self, create: bool) -> None:
        try:
            if create:
                self.folder.mkdir(parents=True, exist_ok=True)
            if not self.path.exists():
                self._refuse_to_begin(create)
            elif self.path.stat().st_size:
                with self.path.open("rb") as file:
                    if file.read(16) != b"SQLite format 3\x00":
                        raise self._damaged("it is not a database")
            elif self._has_remains():
                raise self._damaged("it is empty")
        except OSError as error:
            raise disk_error(self.folder, error) from error
        if not os.access(self.folder, os.W_OK | os.X_OK) or (
            self.path.exists() and not os.access(self.path, os.W_OK)
        ):
            raise LogbookError(
                f"The logbook in '{self.folder}' may not be written",
                "the right to write the folder and the file in it is needed",
                "change the rights, or copy the whole folder to where you may write",
            )

    def _refuse_to_begin(self, create: bool) -> None:
        if not create:
            raise LogbookError(
                f"There is no logbook in '{self.folder}'",
                f"a folder that holds '{DATABASE_NAME}' is needed",
                "name the folder of your bench, or add a deck to begin a logbook",
            )
        if self._has_remains():
            raise LogbookError(
                f"'{self.folder}' holds captures or backups, but no '{DATABASE_NAME}'",
                "a new one would hide what was there",
                f"{self._way_back()}, or begin in another folder",
            )

    def _has_remains(self) -> bool:
        captures = self.folder / "captures"
        return self.newest_backup() is not None or (
            captures.is_dir() and any(not name.name.startswith(".") for name in captures.iterdir())
        )

    def _way_back(self) -> str:
        newest = self.newest_backup()
        if newest is None:
            return f"there is no backup in '{self.backups}', but the captures can be measured again"
        return f"copy the newest backup, '{newest}', to '{self.path}'"

    def _damaged(self, why: str) -> LogbookError:
        return LogbookError(
            f"The logbook '{self.path}' is damaged ({why})",
            "it was left as it is; move it aside and keep it",
            self._way_back(),
        )

    def _newer(self, version: int) -> LogbookError:
        return LogbookError(
            f"The logbook in '{self.folder}' has version {version} of its tables",
            f"this Runstrue ({__version__}) knows them up to version {len(schema.MIGRATIONS)}",
            "install the Runstrue that wrote it, or a later one; the file was left as it is",
        )

    def _sentence(self, error: sqlite3.Error) -> LogbookError:
        code = getattr(error, "sqlite_errorcode", 0) & 0xFF  # the primary code, without details
        if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
            return LogbookError(
                f"Another program has held the logbook in '{self.folder}' for more than "
                f"{self._busy_timeout_s:g} s",
                "it has to finish first; nothing of this was stored",
                "try again when it is done",
            )
        if code == sqlite3.SQLITE_FULL:
            return disk_full(self.folder)
        if code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
            return self._damaged(str(error))
        if code in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM):
            return LogbookError(
                f"The logbook in '{self.folder}' cannot be opened for writing ({error})",
                "nothing of this was stored; the right to write the folder is needed",
                "change the rights, or copy the whole folder to where you may write",
            )
        return LogbookError(
            f"The logbook in '{self.folder}' refused ({error})",
            "nothing of this was stored, earlier content is intact",
        )


def disk_full(folder: Path) -> LogbookError:
    """Return the sentence for a full disk."""
    return LogbookError(
        f"The disk that holds '{folder}' is full",
        "nothing of this was stored, earlier content is intact",
        "make room and try again",
    )


def disk_error(folder: Path, error: OSError) -> LogbookError:
    """Return the sentence for what the disk says about a bench folder."""
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return disk_full(folder)
    return LogbookError(
        f"The bench folder '{folder}' cannot be used ({error.strerror or error})",
        "nothing of this was stored; a folder that may be written is needed",
        "change its rights or name another folder",
    )


def sync(path: Path) -> None:
    """Have the disk hold what was written to a file or folder before going on."""
    if os.name != "posix" and path.is_dir():
        return  # folders cannot be opened there; their entries are written by the system
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _free_name(path: Path) -> Path:
    """Return the path, or where it is taken the same with a number."""
    number, free = 1, path
    while free.exists():
        number += 1
        free = path.with_name(f"{path.stem}-{number}{path.suffix}")
    return free
