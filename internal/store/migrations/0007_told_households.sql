-- Whose time it was, for when the entry is gone: brothers and sisters stand in
-- one calendar entry, and a calendar that had it is to take the time back.
ALTER TABLE published_times ADD COLUMN household {{.Text}} NOT NULL DEFAULT '';
