-- How often all dives were stopped while a plan could be approved: a report that was read before a stop is not the one after it.
-- And when the first of the waivers runs out with which it was approved: from then on the approval is stale.
ALTER TABLE plan
  ADD COLUMN stops integer NOT NULL DEFAULT 0,
  ADD COLUMN waived_until timestamptz;
