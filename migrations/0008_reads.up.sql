-- Who was shown which group of fields of whom, or the place of which site; never
-- what it said. Append-only; the keys may be replaced (erasure).
CREATE TABLE data_read (
  id     bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
  at     timestamptz NOT NULL,
  who    text NOT NULL REFERENCES person (id) ON UPDATE CASCADE,
  asked  text NOT NULL,
  fields text NOT NULL CHECK (fields IN ('medical', 'restriction', 'contacts', 'place')),
  person text REFERENCES person (id) ON UPDATE CASCADE,
  site   text REFERENCES site (id) ON UPDATE CASCADE,
  call   uuid,
  CHECK (num_nonnulls(person, site) = 1)
);
CREATE INDEX data_read_person ON data_read (person, id DESC) WHERE person IS NOT NULL;
CREATE INDEX data_read_site ON data_read (site, id DESC) WHERE site IS NOT NULL;
CREATE INDEX data_read_who ON data_read (who, at);

CREATE TRIGGER data_read_content BEFORE UPDATE OF id, at, asked, fields, call ON data_read
  FOR EACH ROW EXECUTE FUNCTION refuse_change();
CREATE TRIGGER data_read_is_for_ever BEFORE DELETE ON data_read
  FOR EACH ROW EXECUTE FUNCTION refuse_change();
