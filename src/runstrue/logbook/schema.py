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
of a capture and the latest judgement of that analysis count; earlier ones stay.
"""

from __future__ import annotations

from dataclasses import dataclass

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


_TABLES_1 = """
CREATE TABLE migration (
    version INTEGER PRIMARY KEY,
    words TEXT NOT NULL,
    made_at TEXT NOT NULL,
    program_version TEXT NOT NULL
) STRICT
;
CREATE TABLE deck (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL,
    name_key TEXT NOT NULL UNIQUE,
    maker TEXT NOT NULL,
    model TEXT NOT NULL,
    serial TEXT NOT NULL,
    year INTEGER,
    kind TEXT NOT NULL,
    speeds_cm_s TEXT NOT NULL,
    heads INTEGER,
    wells INTEGER,
    mains TEXT NOT NULL,
    notes TEXT NOT NULL,
    created_at TEXT NOT NULL,
    hidden_at TEXT
) STRICT
;
CREATE TABLE deck_history (
    id INTEGER PRIMARY KEY,
    deck INTEGER NOT NULL REFERENCES deck,
    changed_at TEXT NOT NULL,
    before TEXT NOT NULL,
    program_version TEXT NOT NULL
) STRICT
;
CREATE TABLE sheet (
    id INTEGER PRIMARY KEY,
    deck INTEGER NOT NULL REFERENCES deck,
    text TEXT NOT NULL,
    source TEXT NOT NULL,
    understood TEXT NOT NULL,
    entered_at TEXT NOT NULL,
    program_version TEXT NOT NULL
) STRICT
;
CREATE TABLE visit (
    id INTEGER PRIMARY KEY,
    deck INTEGER NOT NULL REFERENCES deck,
    begun_at TEXT NOT NULL,
    ended_at TEXT,
    reason TEXT NOT NULL,
    notes TEXT NOT NULL
) STRICT
;
CREATE UNIQUE INDEX visit_open ON visit (deck) WHERE ended_at IS NULL
;
CREATE TABLE recording (
    sha256 TEXT PRIMARY KEY,
    stored_name TEXT NOT NULL UNIQUE,
    bytes INTEGER NOT NULL,
    stored_at TEXT NOT NULL
) STRICT
;
CREATE TABLE capture (
    id INTEGER PRIMARY KEY,
    deck INTEGER NOT NULL REFERENCES deck,
    visit INTEGER REFERENCES visit,
    source TEXT NOT NULL,
    recording TEXT REFERENCES recording,
    file_name TEXT NOT NULL,
    stage TEXT NOT NULL,
    well TEXT NOT NULL,
    side TEXT NOT NULL,
    direction TEXT NOT NULL,
    speed_cm_s REAL,
    noise_reduction TEXT NOT NULL,
    tape TEXT NOT NULL,
    position TEXT NOT NULL,
    remark TEXT NOT NULL,
    starts_group TEXT NOT NULL,
    stored_at TEXT NOT NULL,
    hidden_at TEXT
) STRICT
;
CREATE INDEX capture_deck ON capture (deck)
;
CREATE TABLE capture_history (
    id INTEGER PRIMARY KEY,
    capture INTEGER NOT NULL REFERENCES capture,
    changed_at TEXT NOT NULL,
    before TEXT NOT NULL,
    program_version TEXT NOT NULL
) STRICT
;
CREATE TABLE analysis (
    id INTEGER PRIMARY KEY,
    capture INTEGER NOT NULL REFERENCES capture,
    summary TEXT NOT NULL,
    conditions TEXT NOT NULL,
    doubts TEXT NOT NULL,
    test_tape TEXT,
    made_at TEXT NOT NULL,
    program_version TEXT NOT NULL
) STRICT
;
CREATE INDEX analysis_capture ON analysis (capture)
;
CREATE TABLE reading (
    id INTEGER PRIMARY KEY,
    analysis INTEGER NOT NULL REFERENCES analysis,
    quantity TEXT NOT NULL,
    method TEXT NOT NULL,
    channel TEXT NOT NULL,
    value REAL,
    unit TEXT,
    u REAL,
    degrees_of_freedom REAL,
    low REAL,
    middle REAL,
    high REAL,
    budget TEXT NOT NULL,
    over TEXT,
    lines TEXT NOT NULL,
    conditions TEXT NOT NULL,
    doubts TEXT NOT NULL,
    made_at TEXT NOT NULL,
    program_version TEXT NOT NULL,
    replaces INTEGER UNIQUE REFERENCES reading,
    CHECK ((value IS NULL) = (u IS NULL) AND (value IS NULL) = (unit IS NULL))
) STRICT
;
CREATE INDEX reading_analysis ON reading (analysis)
;
CREATE TABLE deviation (
    analysis INTEGER PRIMARY KEY REFERENCES analysis,
    rate_hz REAL NOT NULL,
    nominal_hz REAL NOT NULL,
    channels TEXT NOT NULL,
    samples INTEGER NOT NULL,
    crc32 INTEGER NOT NULL,
    percent_f4 BLOB NOT NULL
) STRICT
;
CREATE TABLE trace (
    id INTEGER PRIMARY KEY,
    analysis INTEGER NOT NULL REFERENCES analysis,
    reading INTEGER REFERENCES reading,
    name TEXT NOT NULL,
    channel TEXT NOT NULL,
    x_label TEXT NOT NULL,
    x_unit TEXT NOT NULL,
    y_label TEXT NOT NULL,
    y_unit TEXT NOT NULL,
    marks TEXT NOT NULL,
    points INTEGER NOT NULL,
    x_type TEXT NOT NULL,
    x BLOB NOT NULL,
    x_crc32 INTEGER NOT NULL,
    y_type TEXT NOT NULL,
    y BLOB NOT NULL,
    y_crc32 INTEGER NOT NULL
) STRICT
;
CREATE INDEX trace_analysis ON trace (analysis)
;
CREATE TABLE judgement (
    id INTEGER PRIMARY KEY,
    analysis INTEGER NOT NULL REFERENCES analysis,
    sheet INTEGER REFERENCES sheet,
    judged_at TEXT NOT NULL,
    program_version TEXT NOT NULL
) STRICT
;
CREATE INDEX judgement_analysis ON judgement (analysis)
;
CREATE TABLE verdict (
    id INTEGER PRIMARY KEY,
    judgement INTEGER NOT NULL REFERENCES judgement,
    reading INTEGER REFERENCES reading,
    quantity TEXT NOT NULL,
    method TEXT NOT NULL,
    channel TEXT NOT NULL,
    words TEXT NOT NULL,
    outcome TEXT NOT NULL,
    chance REAL,
    rule TEXT NOT NULL,
    whole TEXT NOT NULL
) STRICT
;
CREATE INDEX verdict_judgement ON verdict (judgement)
;
CREATE TABLE setting (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL,
    value TEXT NOT NULL,
    set_at TEXT NOT NULL
) STRICT
;
CREATE VIEW readings AS
SELECT reading.id, deck.name AS deck, capture.stage, capture.well, capture.side,
       reading.quantity, reading.method, reading.channel,
       reading.value, reading.unit, reading.u,
       reading.made_at, reading.program_version, capture.id AS capture,
       reading.analysis = (
           SELECT max(later.id) FROM analysis AS later WHERE later.capture = capture.id
       ) AND capture.hidden_at IS NULL AND deck.hidden_at IS NULL AS counts
FROM reading
JOIN analysis ON analysis.id = reading.analysis
JOIN capture ON capture.id = analysis.capture
JOIN deck ON deck.id = capture.deck
"""

_TABLES_2 = """
CREATE TABLE transport (
    id INTEGER PRIMARY KEY,
    deck INTEGER NOT NULL REFERENCES deck,
    name TEXT NOT NULL,
    speed_cm_s REAL,
    text TEXT NOT NULL,
    entered_at TEXT NOT NULL,
    program_version TEXT NOT NULL
) STRICT
;
CREATE TABLE intake (
    id INTEGER PRIMARY KEY,
    deck INTEGER NOT NULL REFERENCES deck,
    visit INTEGER REFERENCES visit,
    question TEXT NOT NULL,
    answer TEXT NOT NULL,
    answered_at TEXT NOT NULL,
    program_version TEXT NOT NULL
) STRICT
;
CREATE TABLE evidence (
    id INTEGER PRIMARY KEY,
    deck INTEGER NOT NULL REFERENCES deck,
    visit INTEGER REFERENCES visit,
    kind TEXT NOT NULL,
    key TEXT NOT NULL,
    answer TEXT NOT NULL,
    because TEXT NOT NULL,
    reading INTEGER REFERENCES reading,
    seen_at TEXT NOT NULL,
    program_version TEXT NOT NULL
) STRICT
;
CREATE TABLE taken_back (
    id INTEGER PRIMARY KEY,
    evidence INTEGER NOT NULL UNIQUE REFERENCES evidence,
    taken_at TEXT NOT NULL
) STRICT
;
CREATE TABLE repair (
    id INTEGER PRIMARY KEY,
    deck INTEGER NOT NULL REFERENCES deck,
    visit INTEGER REFERENCES visit,
    cause TEXT NOT NULL,
    words TEXT NOT NULL,
    minutes REAL,
    parts TEXT NOT NULL,
    done_at TEXT NOT NULL,
    program_version TEXT NOT NULL
) STRICT
"""

_APPEND_ONLY_2 = ("transport", "intake", "evidence", "taken_back", "repair")

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


def _guards(append_only: tuple[str, ...], never_deleted: tuple[str, ...]) -> tuple[str, ...]:
    guards = []
    for table in append_only:
        guards.append(
            f"CREATE TRIGGER {table}_no_update BEFORE UPDATE ON {table} BEGIN "
            f"SELECT raise(ABORT, 'rows of {table} are never changed'); END"
        )
    for table in append_only + never_deleted:
        key = {"migration": "version", "recording": "sha256", "deviation": "analysis"}
        column = key.get(table, "id")
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
            *(statement.strip() for statement in _TABLES_1.split("\n;\n")),
            *_guards(_APPEND_ONLY_1, _NEVER_DELETED_1),
        ),
    ),
    Migration(
        "transports, intake, evidence of faults, repairs",
        (
            *(statement.strip() for statement in _TABLES_2.split("\n;\n")),
            *_guards(_APPEND_ONLY_2, ()),
        ),
    ),
)
