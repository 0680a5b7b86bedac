-- Chunks that are still packed as schema 2 did, and snapshots until they are
-- overwritten. Both forms can be read; folds pack some of these anew each time.
CREATE TABLE repack (first INTEGER PRIMARY KEY) STRICT;
INSERT INTO repack SELECT first FROM chunk;
