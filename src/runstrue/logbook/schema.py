"""The tables of the logbook, as numbered migrations.

The n-th migration brings the database from version n − 1 (`PRAGMA user_version`) to n. A
released migration is never edited; what changes comes as a new one at the end.

Plain columns hold what people ask for, JSON text holds what travels with it, and blobs hold
curves: values one after the other, little-endian IEEE 754, nothing before or after them, not
compressed. A blob's row says how many values of which type it has (`f4` 32 bit, `f8` 64 bit)
and their CRC-32 (as in zlib). Deviations are stored channel after channel; a value that is
not a number marks lost tone.

The way of a figure: capture (one pass) → analysis (one run of the program over it) →
reading; and judgement (one look at an analysis with a sheet) → verdict. The latest analysis
of a capture and the latest judgement of that analysis count; earlier ones stay. What is worked
out later from what an analysis kept joins it as an addition (one method, on one basis, such as
a transport): its readings stand in the place of all that this method said before.
`standing_reading` shows which readings of an analysis stand.
"""

from __future__ import annotations

from dataclasses import dataclass

from runstrue.logbook.tables import TABLES_1, TABLES_2, TABLES_3, TABLES_4

# 'RnST' in ASCII: tells a logbook from any other SQLite file (PRAGMA application_id).
APPLICATION_ID = 0x526E5354


@dataclass(frozen=True, slots=True)
class Migration:
    """One step of the schema.

    Parameters
    ----------
    words : str
        What it brings, in one line; stored with the step.
    statements : tuple of str
        Run one by one in one transaction.
    """

    words: str
    statements: tuple[str, ...]


# What was once stored stays: rows of these tables can be added and read, nothing else. (A
# replacing INSERT deletes without telling the triggers, hence the third kind.)
_APPEND_ONLY_1 = (
    "migration",
    "deck_history",
    "sheet",
    "recording",
    "capture_history",
    "analysis",
    "reading",
    "deviation",
    "trace",
    "judgement",
    "verdict",
    "setting",
)

# Rows of these may be corrected (with the old values kept where they are facts) and hidden.
_NEVER_DELETED_1 = ("deck", "visit", "capture")

_APPEND_ONLY_2 = ("transport", "intake", "evidence", "taken_back", "repair")
_APPEND_ONLY_3 = ("repair_taken_back", "addition", "added_reading")
_NEVER_DELETED_4 = ("attachment",)

# What tells the rows of a table apart, where it is not called 'id'.
_KEYS = {
    "migration": "version",
    "recording": "sha256",
    "deviation": "analysis",
    "repair_taken_back": "repair",
    "added_reading": "reading",
}


def _guards(append_only: tuple[str, ...], never_deleted: tuple[str, ...]) -> tuple[str, ...]:
    guards = []
    for table in append_only:
        guards.append(
            f"CREATE TRIGGER {table}_no_update BEFORE UPDATE ON {table} BEGIN "
            f"SELECT raise(ABORT, 'rows of {table} are never changed'); END"
        )
    for table in append_only + never_deleted:
        column = _KEYS.get(table, "id")
        guards.append(
            f"CREATE TRIGGER {table}_no_delete BEFORE DELETE ON {table} BEGIN "
            f"SELECT raise(ABORT, 'rows of {table} are never deleted'); END"
        )
        guards.append(
            f"CREATE TRIGGER {table}_no_replace BEFORE INSERT ON {table} "
            f"WHEN EXISTS (SELECT 1 FROM {table} WHERE {column} = NEW.{column}) BEGIN "
            f"SELECT raise(ABORT, 'rows of {table} are never replaced'); END"
        )
    return tuple(guards)


MIGRATIONS: tuple[Migration, ...] = (
    Migration(
        "decks, sheets, visits, captures, readings, verdicts",
        (
            *(statement.strip() for statement in TABLES_1.split("\n;\n")),
            *_guards(_APPEND_ONLY_1, _NEVER_DELETED_1),
        ),
    ),
    Migration(
        "transports, intake, evidence of faults, repairs",
        (
            *(statement.strip() for statement in TABLES_2.split("\n;\n")),
            *_guards(_APPEND_ONLY_2, ()),
        ),
    ),
    Migration(
        "repairs that are taken back, readings that are added to a pass afterwards",
        (
            *(statement.strip() for statement in TABLES_3.split("\n;\n")),
            *_guards(_APPEND_ONLY_3, ()),
        ),
    ),
    Migration(
        "photos and papers",
        (
            *(statement.strip() for statement in TABLES_4.split("\n;\n")),
            *_guards((), _NEVER_DELETED_4),
        ),
    ),
)
