-- Who numbered the packet that an event came in: packet ids mean nothing across
-- clients and their sessions. NULL: the one broker that is subscribed to.
ALTER TABLE reading_0 ADD COLUMN sender INTEGER;
ALTER TABLE reading_1 ADD COLUMN sender INTEGER;
ALTER TABLE event ADD COLUMN sender INTEGER;
DROP VIEW unpacked;
CREATE VIEW unpacked AS SELECT * FROM reading_0 UNION ALL SELECT * FROM reading_1;
