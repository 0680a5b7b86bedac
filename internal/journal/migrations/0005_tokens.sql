-- What the buttons of mails carry, as hashes, and who has pressed which.
CREATE TABLE token (hash BLOB PRIMARY KEY, who TEXT NOT NULL, episode TEXT NOT NULL, until INTEGER NOT NULL) WITHOUT ROWID;
CREATE TABLE acted (episode TEXT NOT NULL, act TEXT NOT NULL, who TEXT NOT NULL, at INTEGER NOT NULL, PRIMARY KEY (episode, act)) WITHOUT ROWID;
