-- A dive as a line of a list shows it, encoded: nothing in it is anybody's health, training or gas. Rows written
-- before have none; the reader then makes it from the record.
ALTER TABLE dive ADD COLUMN line bytea;
