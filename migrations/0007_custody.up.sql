-- What became of an item also says that it was lost, and found.
ALTER TABLE custody_event DROP CONSTRAINT custody_event_kind_check;
ALTER TABLE custody_event ADD CONSTRAINT custody_event_kind_check
  CHECK (kind IN ('handed_over', 'left_unattended', 'valve_removed', 'waiting_in_cave', 'back', 'lost', 'found'));
-- One fact on record per item, kind and minute, whoever reads the file again.
CREATE UNIQUE INDEX custody_event_fact ON custody_event (item, kind, at);

-- What lies in a cave need not have been left by a dive of the register, and may be other equipment.
ALTER TABLE left_item ALTER COLUMN dive DROP NOT NULL;
ALTER TABLE left_item DROP CONSTRAINT left_item_kind_check;
ALTER TABLE left_item ADD CONSTRAINT left_item_kind_check CHECK (kind IN ('line', 'marker', 'cylinder', 'equipment'));
CREATE INDEX left_item_item ON left_item (item) WHERE recovered_at IS NULL;

-- Where each item is now, by the last event that says so: a valve that was
-- removed says nothing of who has it. Where nothing was recorded its owner holds it.
CREATE VIEW holding AS
SELECT i.id AS item, COALESCE(q.sort, 'cylinder') AS kind, COALESCE(i.owner, '') AS owner, i.archived,
       CASE e.kind WHEN 'left_unattended' THEN 'unattended' WHEN 'waiting_in_cave' THEN 'waiting_in_cave' WHEN 'lost' THEN 'lost' ELSE 'held' END AS state,
       CASE WHEN e.kind IN ('left_unattended', 'waiting_in_cave', 'lost') THEN '' ELSE COALESCE(e.doc ->> 'holder', i.owner, '') END AS holder,
       e.at AS since, COALESCE(e.doc ->> 'site', '') AS site, COALESCE(e.doc ->> 'place', '') AS place, COALESCE(e.doc ->> 'remove_by', '') AS remove_by
FROM item i LEFT JOIN equipment q ON q.id = i.id LEFT JOIN LATERAL (
  SELECT kind, at, doc FROM custody_event WHERE item = i.id AND kind <> 'valve_removed' ORDER BY at DESC, recorded_at DESC, id DESC LIMIT 1) e ON true;
