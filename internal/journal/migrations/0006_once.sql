-- By which form of a page a line came, so that each is taken once however often it is sent.
ALTER TABLE event ADD COLUMN once TEXT;
CREATE INDEX event_once ON event (once) WHERE once IS NOT NULL;
