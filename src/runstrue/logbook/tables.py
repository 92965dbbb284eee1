"""The statements that make the tables, one block for each migration; `schema` says what is in them.

A block that was released is never edited.
"""

from __future__ import annotations

TABLES_1 = """
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

TABLES_2 = """
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

TABLES_3 = """
CREATE TABLE repair_taken_back (
    repair INTEGER PRIMARY KEY REFERENCES repair,
    taken_at TEXT NOT NULL
) STRICT
;
CREATE TABLE addition (
    id INTEGER PRIMARY KEY,
    analysis INTEGER NOT NULL REFERENCES analysis,
    method TEXT NOT NULL,
    basis TEXT NOT NULL,
    made_at TEXT NOT NULL,
    program_version TEXT NOT NULL
) STRICT
;
CREATE INDEX addition_analysis ON addition (analysis)
;
CREATE TABLE added_reading (
    reading INTEGER PRIMARY KEY REFERENCES reading,
    addition INTEGER NOT NULL REFERENCES addition
) STRICT
;
CREATE VIEW standing_reading AS
SELECT reading.*, added_reading.addition
FROM reading LEFT JOIN added_reading ON added_reading.reading = reading.id
WHERE added_reading.addition IS (
    SELECT max(addition.id) FROM addition
    WHERE addition.analysis = reading.analysis
      AND addition.method =
          substr(reading.method || '/', 1, instr(reading.method || '/', '/') - 1)
)
;
DROP VIEW readings
;
CREATE VIEW readings AS
SELECT reading.id, deck.name AS deck, capture.stage, capture.well, capture.side,
       reading.quantity, reading.method, reading.channel,
       reading.value, reading.unit, reading.u,
       reading.made_at, reading.program_version, capture.id AS capture,
       reading.analysis = (
           SELECT max(later.id) FROM analysis AS later WHERE later.capture = capture.id
       ) AND reading.id IN (
           SELECT standing.id FROM standing_reading AS standing
           WHERE standing.analysis = reading.analysis
       ) AND capture.hidden_at IS NULL AND deck.hidden_at IS NULL AS counts
FROM reading
JOIN analysis ON analysis.id = reading.analysis
JOIN capture ON capture.id = analysis.capture
JOIN deck ON deck.id = capture.deck
"""

TABLES_4 = """
CREATE TABLE attachment (
    id INTEGER PRIMARY KEY,
    deck INTEGER NOT NULL REFERENCES deck,
    visit INTEGER REFERENCES visit,
    kind TEXT NOT NULL,
    caption TEXT NOT NULL,
    quote TEXT NOT NULL,
    sha256 TEXT NOT NULL,
    media TEXT NOT NULL,
    name TEXT NOT NULL,
    size INTEGER NOT NULL,
    width INTEGER NOT NULL,
    height INTEGER NOT NULL,
    added_at TEXT NOT NULL,
    hidden_at TEXT,
    program_version TEXT NOT NULL
) STRICT
;
CREATE INDEX attachment_deck ON attachment (deck)
"""
