DROP VIEW holding;
DROP INDEX left_item_item;
ALTER TABLE left_item DROP CONSTRAINT left_item_kind_check;
ALTER TABLE left_item ADD CONSTRAINT left_item_kind_check CHECK (kind IN ('line', 'marker', 'cylinder'));
ALTER TABLE left_item ALTER COLUMN dive SET NOT NULL;
DROP INDEX custody_event_fact;
ALTER TABLE custody_event DROP CONSTRAINT custody_event_kind_check;
ALTER TABLE custody_event ADD CONSTRAINT custody_event_kind_check
  CHECK (kind IN ('handed_over', 'left_unattended', 'valve_removed', 'waiting_in_cave', 'back'));
