-- That a notice is a reminder, and in which bundle it was last handed over, has
-- stood in texts until now.
ALTER TABLE owed ADD COLUMN reminder INTEGER NOT NULL DEFAULT 0;
ALTER TABLE owed ADD COLUMN bundle TEXT NOT NULL DEFAULT '';
UPDATE owed SET reminder = 1 WHERE substr(notice, 1, 7) = 'remind-';
UPDATE owed SET bundle = substr(trouble, 22), trouble = '' WHERE fate IS NULL AND substr(trouble, 1, 21) = 'being handed over as ';
