-- What bins, zones and probes were called, and where a probe stood. Rows keep the
-- names of their time; subject is what stays when a name changes. A name belongs to
-- a subject after a sequence number, until another row takes it.
CREATE TABLE period (
    id          INTEGER PRIMARY KEY,
    kind        TEXT NOT NULL,             -- bin, zone or probe
    subject     INTEGER NOT NULL,
    bin         INTEGER NOT NULL,          -- of a zone: the subject of its bin; else 0
    name        TEXT NOT NULL,
    after_seq   INTEGER NOT NULL,
    since       INTEGER NOT NULL,          -- 0: since before this table was kept
    until       INTEGER NOT NULL DEFAULT 0, -- 0: in force
    seat        TEXT NOT NULL DEFAULT '',  -- of a probe: the zone it stood in, as it was called
    topic       TEXT NOT NULL DEFAULT '',
    calibration TEXT NOT NULL DEFAULT ''   -- raw:value, by rising raw
) STRICT;

-- A name that is given anew makes a series of the same names that is another one.
CREATE TABLE series_named (
    id        INTEGER PRIMARY KEY,
    probe     TEXT NOT NULL,
    quantity  TEXT NOT NULL,
    places    TEXT NOT NULL,               -- JSON: [["bin","zone"], ...]
    after_seq INTEGER NOT NULL DEFAULT 0   -- the names are those in force after it
) STRICT;
INSERT INTO series_named (id, probe, quantity, places) SELECT id, probe, quantity, places FROM series;
DROP TABLE series;
ALTER TABLE series_named RENAME TO series;
CREATE INDEX series_probe ON series (probe);
