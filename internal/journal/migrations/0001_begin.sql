-- Times are milliseconds since 1970 UTC. Sequence numbers run through reading_0,
-- reading_1, event and chunk together.

CREATE TABLE meta (name TEXT PRIMARY KEY, value ANY NOT NULL) WITHOUT ROWID, STRICT;

-- One row for each life of the daemon.
CREATE TABLE run (
    id        INTEGER PRIMARY KEY,
    boot      TEXT NOT NULL,
    offset_ms INTEGER NOT NULL,          -- wall clock minus time since boot
    began     INTEGER NOT NULL,
    after_seq INTEGER NOT NULL,
    clean     INTEGER NOT NULL DEFAULT 0
) STRICT;

-- The broker's session in force after a sequence number.
CREATE TABLE session (after_seq INTEGER PRIMARY KEY, session INTEGER NOT NULL) STRICT;

-- A probe at its places. A probe that is moved becomes a new series, so that
-- the history of a zone stays what was measured there.
CREATE TABLE series (
    id       INTEGER PRIMARY KEY,
    probe    TEXT NOT NULL,
    quantity TEXT NOT NULL,
    places   TEXT NOT NULL,              -- JSON: [["bin","zone"], ...]
    UNIQUE (probe, quantity, places)
) STRICT;

-- Readings not yet packed, and ticks (series 0). Two tables take turns: one is
-- appended to while the other is packed and then cleared as a whole, because
-- clearing a table writes no page of it and deleting row by row writes all.
CREATE TABLE reading_0 (
    seq     INTEGER PRIMARY KEY,
    arrived INTEGER NOT NULL,
    series  INTEGER NOT NULL,
    stamp   INTEGER,                     -- at minus arrived; NULL: none
    raw     REAL,                        -- NULL: not a number
    value   REAL,                        -- only where marks say that it differs from raw
    marks   INTEGER NOT NULL,
    packet  INTEGER,
    hash    INTEGER
) STRICT;
CREATE TABLE reading_1 (
    seq     INTEGER PRIMARY KEY,
    arrived INTEGER NOT NULL,
    series  INTEGER NOT NULL,
    stamp   INTEGER,
    raw     REAL,
    value   REAL,
    marks   INTEGER NOT NULL,
    packet  INTEGER,
    hash    INTEGER
) STRICT;
CREATE VIEW unpacked AS SELECT * FROM reading_0 UNION ALL SELECT * FROM reading_1;

-- Everything else that happened.
CREATE TABLE event (
    seq     INTEGER PRIMARY KEY,
    arrived INTEGER NOT NULL,
    kind    INTEGER NOT NULL,
    bin     TEXT,                        -- of a jot
    at      INTEGER,                     -- of a jot
    body    TEXT NOT NULL,
    packet  INTEGER,
    hash    INTEGER
) STRICT;
CREATE INDEX event_jot ON event (bin, at) WHERE bin IS NOT NULL;

-- Packed readings. The bodies live apart so that a search by time stays small.
CREATE TABLE chunk (
    first      INTEGER PRIMARY KEY,
    last       INTEGER NOT NULL,
    rows       INTEGER NOT NULL,
    readings   INTEGER NOT NULL,         -- rows less ticks
    arrived_lo INTEGER NOT NULL,
    arrived_hi INTEGER NOT NULL,
    at_lo      INTEGER NOT NULL,
    at_hi      INTEGER NOT NULL
) STRICT;
CREATE TABLE chunk_body (first INTEGER PRIMARY KEY, body BLOB NOT NULL) STRICT;

-- Believed, packed readings by UTC day, kept for ever. Numbers are in steps of
-- the quantity's resolution; hours holds the same for each hour of the day.
CREATE TABLE history (
    series INTEGER NOT NULL,
    day    INTEGER NOT NULL,             -- days since 1970 UTC
    n      INTEGER NOT NULL,
    sum    INTEGER NOT NULL,
    min    INTEGER NOT NULL,
    max    INTEGER NOT NULL,
    hours  BLOB NOT NULL,
    PRIMARY KEY (series, day)
) WITHOUT ROWID, STRICT;

CREATE TABLE change (
    id      INTEGER PRIMARY KEY,
    seq     INTEGER NOT NULL,            -- of the event that caused it
    at      INTEGER NOT NULL,
    bin     TEXT NOT NULL,
    episode TEXT NOT NULL,
    eased   INTEGER NOT NULL,
    body    TEXT NOT NULL                -- JSON, as a webhook carries it
) STRICT;
CREATE INDEX change_episode ON change (episode);
CREATE INDEX change_at ON change (at);
CREATE INDEX change_seq ON change (seq);

-- The outbox. A row is settled when fate is set, and stays for threading.
CREATE TABLE owed (
    id      INTEGER PRIMARY KEY,
    notice  TEXT NOT NULL UNIQUE,
    teller  TEXT NOT NULL,
    change  INTEGER NOT NULL,
    episode TEXT NOT NULL,
    created INTEGER NOT NULL,
    tries   INTEGER NOT NULL DEFAULT 0,
    next    INTEGER NOT NULL,
    trouble TEXT NOT NULL DEFAULT '',
    fate    TEXT,
    settled INTEGER
) STRICT;
CREATE INDEX owed_due ON owed (teller, id) WHERE fate IS NULL;
CREATE INDEX owed_told ON owed (teller, episode) WHERE fate IS NOT NULL;

CREATE TABLE snapshot (
    slot    INTEGER PRIMARY KEY,         -- 0 or 1, written in turn
    seq     INTEGER NOT NULL,
    version INTEGER NOT NULL,
    digest  TEXT NOT NULL,
    taken   INTEGER NOT NULL,
    body    BLOB NOT NULL
) STRICT;

-- How far a reader of the journal has got.
CREATE TABLE cursor (name TEXT PRIMARY KEY, seq INTEGER NOT NULL) WITHOUT ROWID, STRICT;

-- Rows that a database refused.
CREATE TABLE parked (
    id     INTEGER PRIMARY KEY,
    at     INTEGER NOT NULL,
    line   TEXT NOT NULL,
    reason TEXT NOT NULL
) STRICT;
