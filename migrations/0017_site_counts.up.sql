-- How many dives, people-dives and incidents each site had in each month (UTC), in step with their rows: a site's history says how
-- many there were without counting them. A dive counts unless it is archived or in the water. By month, so that a file with a
-- site's whole log does not change one row thousands of times over. The site is no reference: where its id changes, the dives and
-- incidents are moved by their own triggers.
CREATE TABLE site_count (
  site         text NOT NULL,
  month        date NOT NULL,
  dives        bigint NOT NULL,
  people_dives bigint NOT NULL,
  incidents    bigint NOT NULL,
  PRIMARY KEY (site, month)
) WITH (fillfactor = 70);
LOCK TABLE dive, dive_diver, incident IN SHARE ROW EXCLUSIVE MODE;

-- Moves one dive, person's dive or incident from a site and time to others; null: it was not counted, or is not any more. The rows
-- are locked in order.
CREATE FUNCTION move_count(from_site text, from_at timestamptz, to_site text, to_at timestamptz, dives integer, people_dives integer, incidents integer) RETURNS void LANGUAGE sql AS $$
  INSERT INTO site_count AS c (site, month, dives, people_dives, incidents)
  SELECT site, date_trunc('month', at AT TIME ZONE 'UTC')::date AS month, sum(n) * dives, sum(n) * people_dives, sum(n) * incidents
  FROM (VALUES (from_site, from_at, -1), (to_site, to_at, 1)) moved (site, at, n)
  WHERE site IS NOT NULL GROUP BY 1, 2 HAVING sum(n) <> 0 ORDER BY 1, 2
  ON CONFLICT (site, month) DO UPDATE
  SET dives = c.dives + EXCLUDED.dives, people_dives = c.people_dives + EXCLUDED.people_dives, incidents = c.incidents + EXCLUDED.incidents
$$;

-- The counts change when a transaction commits, after it has locked all else that it waits for: two writers who meet at a count
-- cannot wait for each other in a circle.
CREATE FUNCTION count_dive() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
  was text := CASE WHEN NOT OLD.archived AND OLD.state <> 'in_water' THEN OLD.site END;
  is_now text := CASE WHEN NOT NEW.archived AND NEW.state <> 'in_water' THEN NEW.site END;
BEGIN
  PERFORM move_count(was, OLD.entered_at, is_now, NEW.entered_at, 1, 0, 0);
  RETURN NULL;
END $$;
CREATE CONSTRAINT TRIGGER dive_counted AFTER INSERT OR DELETE ON dive DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION count_dive();
CREATE CONSTRAINT TRIGGER dive_counted_anew AFTER UPDATE ON dive DEFERRABLE INITIALLY DEFERRED FOR EACH ROW
  WHEN ((OLD.state, OLD.archived, OLD.site, OLD.entered_at) IS DISTINCT FROM (NEW.state, NEW.archived, NEW.site, NEW.entered_at)) EXECUTE FUNCTION count_dive();

CREATE FUNCTION count_people_dive() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
  was text := CASE WHEN OLD.state NOT IN ('archived', 'in_water') THEN OLD.site END;
  is_now text := CASE WHEN NEW.state NOT IN ('archived', 'in_water') THEN NEW.site END;
BEGIN
  PERFORM move_count(was, OLD.entered_at, is_now, NEW.entered_at, 0, 1, 0);
  RETURN NULL;
END $$;
CREATE CONSTRAINT TRIGGER dive_diver_counted AFTER INSERT OR DELETE ON dive_diver DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION count_people_dive();
CREATE CONSTRAINT TRIGGER dive_diver_counted_anew AFTER UPDATE ON dive_diver DEFERRABLE INITIALLY DEFERRED FOR EACH ROW
  WHEN ((OLD.state, OLD.site, OLD.entered_at) IS DISTINCT FROM (NEW.state, NEW.site, NEW.entered_at)) EXECUTE FUNCTION count_people_dive();

CREATE FUNCTION count_incident() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  PERFORM move_count(OLD.site, OLD.happened_at, NEW.site, NEW.happened_at, 0, 0, 1);
  RETURN NULL;
END $$;
CREATE CONSTRAINT TRIGGER incident_counted AFTER INSERT OR DELETE ON incident DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION count_incident();
CREATE CONSTRAINT TRIGGER incident_counted_anew AFTER UPDATE ON incident DEFERRABLE INITIALLY DEFERRED FOR EACH ROW
  WHEN ((OLD.site, OLD.happened_at) IS DISTINCT FROM (NEW.site, NEW.happened_at)) EXECUTE FUNCTION count_incident();

INSERT INTO site_count (site, month, dives, people_dives, incidents)
SELECT site, date_trunc('month', at AT TIME ZONE 'UTC')::date, sum(dives), sum(people_dives), sum(incidents) FROM (
  SELECT site, entered_at AS at, 1 AS dives, 0 AS people_dives, 0 AS incidents FROM dive WHERE NOT archived AND state <> 'in_water'
  UNION ALL SELECT site, entered_at, 0, 1, 0 FROM dive_diver WHERE state NOT IN ('archived', 'in_water')
  UNION ALL SELECT site, happened_at, 0, 0, 1 FROM incident WHERE site IS NOT NULL) counted
GROUP BY 1, 2;
