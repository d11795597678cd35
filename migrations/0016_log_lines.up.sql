-- What questions about a person's log ask of each dive, beside the person: a log of a thousand dives is then one index range and
-- not a thousand rows of another table. They follow the dive, whoever writes it: servers of the release before as well.
-- state is the dive's, or archived.
LOCK TABLE dive, dive_diver, incident IN SHARE ROW EXCLUSIVE MODE;
ALTER TABLE dive_diver ADD COLUMN state text, ADD COLUMN kind text, ADD COLUMN zone text;
UPDATE dive_diver x SET state = CASE WHEN d.archived THEN 'archived' ELSE d.state END, kind = d.kind, zone = d.zone, site = d.site, entered_at = d.entered_at
FROM dive d WHERE d.id = x.dive;
ALTER TABLE dive_diver ALTER COLUMN state SET NOT NULL, ALTER COLUMN kind SET NOT NULL;

CREATE FUNCTION log_line_of_dive() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  SELECT CASE WHEN d.archived THEN 'archived' ELSE d.state END, d.kind, d.zone, d.site, d.entered_at
  INTO NEW.state, NEW.kind, NEW.zone, NEW.site, NEW.entered_at FROM dive d WHERE d.id = NEW.dive;
  RETURN NEW;
END $$;
CREATE TRIGGER dive_diver_log_line BEFORE INSERT ON dive_diver FOR EACH ROW EXECUTE FUNCTION log_line_of_dive();

CREATE FUNCTION log_lines_follow_dive() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  UPDATE dive_diver SET state = CASE WHEN NEW.archived THEN 'archived' ELSE NEW.state END, kind = NEW.kind, zone = NEW.zone, site = NEW.site, entered_at = NEW.entered_at
  WHERE dive = NEW.id;
  RETURN NULL;
END $$;
CREATE TRIGGER dive_log_lines AFTER UPDATE ON dive FOR EACH ROW
  WHEN ((OLD.state, OLD.archived, OLD.kind, OLD.zone, OLD.site, OLD.entered_at) IS DISTINCT FROM (NEW.state, NEW.archived, NEW.kind, NEW.zone, NEW.site, NEW.entered_at))
  EXECUTE FUNCTION log_lines_follow_dive();
