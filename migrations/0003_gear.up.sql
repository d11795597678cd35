-- item is the root of a cylinder or another piece of equipment: what decisions
-- lock, and where quarantine stands.
CREATE TABLE item (
  id                 text PRIMARY KEY CHECK (id ~ '^[a-z0-9][a-z0-9-]{0,62}$'),
  kind               text NOT NULL CHECK (kind IN ('cylinder', 'equipment')),
  owner              text REFERENCES person (id) ON UPDATE CASCADE,
  quarantined_at     timestamptz,
  quarantined_by     text REFERENCES person (id) ON UPDATE CASCADE,
  quarantine_reason  text NOT NULL DEFAULT '',
  version            bigint NOT NULL DEFAULT 1,
  archived           boolean NOT NULL DEFAULT false,
  created_at         timestamptz NOT NULL DEFAULT now(),
  updated_at         timestamptz NOT NULL DEFAULT now(),
  UNIQUE (id, kind),
  CHECK ((quarantined_at IS NULL) = (quarantine_reason = ''))
);

CREATE TABLE cylinder (
  id                   text PRIMARY KEY,
  kind                 text NOT NULL DEFAULT 'cylinder' CHECK (kind = 'cylinder'),
  serial               text NOT NULL CHECK (serial <> ''),
  maker                text NOT NULL CHECK (maker <> ''),
  water_volume_l       double precision NOT NULL CHECK (water_volume_l > 0 AND water_volume_l <= 100),
  working_pressure_bar double precision NOT NULL CHECK (working_pressure_bar > 0 AND working_pressure_bar <= 450),
  doc                  jsonb NOT NULL,
  FOREIGN KEY (id, kind) REFERENCES item (id, kind) ON UPDATE CASCADE
);
-- One maker stamps a serial once, however it is typed; two makers may use the same.
CREATE UNIQUE INDEX cylinder_maker_serial ON cylinder (lower(maker), lower(serial));
CREATE INDEX cylinder_serial ON cylinder (lower(serial));

CREATE TABLE equipment (
  id   text PRIMARY KEY,
  kind text NOT NULL DEFAULT 'equipment' CHECK (kind = 'equipment'),
  sort text NOT NULL,
  doc  jsonb NOT NULL,
  FOREIGN KEY (id, kind) REFERENCES item (id, kind) ON UPDATE CASCADE
);
CREATE INDEX equipment_sort ON equipment (sort, id);

CREATE TABLE cylinder_set (
  id         text PRIMARY KEY CHECK (id ~ '^[a-z0-9][a-z0-9-]{0,62}$'),
  kind       text NOT NULL CHECK (kind IN ('twinset', 'sidemount', 'single', 'stage', 'deco')),
  doc        jsonb NOT NULL,
  version    bigint NOT NULL DEFAULT 1,
  archived   boolean NOT NULL DEFAULT false,
  created_at timestamptz NOT NULL DEFAULT now(),
  updated_at timestamptz NOT NULL DEFAULT now()
);
CREATE TABLE cylinder_set_member (
  cylinder_set text NOT NULL REFERENCES cylinder_set (id) ON UPDATE CASCADE,
  position     integer NOT NULL,
  cylinder     text NOT NULL REFERENCES cylinder (id) ON UPDATE CASCADE,
  PRIMARY KEY (cylinder_set, position),
  UNIQUE (cylinder_set, cylinder)
);
CREATE INDEX cylinder_set_member_cylinder ON cylinder_set_member (cylinder);

CREATE TABLE service_event (
  id          text PRIMARY KEY,
  item        text NOT NULL REFERENCES item (id) ON UPDATE CASCADE,
  kind        text NOT NULL,
  -- As marked: YYYY-MM-DD, or YYYY-MM where the mark has no day.
  date        text NOT NULL CHECK (date ~ '^\d{4}-\d{2}(-\d{2})?$'),
  corrects    text REFERENCES service_event (id),
  doc         jsonb NOT NULL,
  recorded_at timestamptz NOT NULL DEFAULT now(),
  recorded_by text NOT NULL REFERENCES person (id) ON UPDATE CASCADE
);
CREATE INDEX service_event_item ON service_event (item, date);

CREATE TABLE fill (
  id           text PRIMARY KEY,
  cylinder     text NOT NULL REFERENCES cylinder (id) ON UPDATE CASCADE,
  filled_at    timestamptz NOT NULL,
  pressure_bar double precision NOT NULL CHECK (pressure_bar BETWEEN 0 AND 450),
  doc          jsonb NOT NULL,
  filled_by    text NOT NULL REFERENCES person (id) ON UPDATE CASCADE,
  recorded_at  timestamptz NOT NULL DEFAULT now()
);
CREATE INDEX fill_cylinder ON fill (cylinder, filled_at DESC, id);

CREATE TABLE analysis (
  id          text PRIMARY KEY,
  cylinder    text NOT NULL REFERENCES cylinder (id) ON UPDATE CASCADE,
  analysed_at timestamptz NOT NULL,
  -- As typed, compared exactly.
  oxygen      numeric(5, 2) NOT NULL CHECK (oxygen BETWEEN 4 AND 100),
  helium      numeric(5, 2) NOT NULL DEFAULT 0 CHECK (helium BETWEEN 0 AND 96),
  doc         jsonb NOT NULL,
  analysed_by text NOT NULL REFERENCES person (id) ON UPDATE CASCADE,
  recorded_at timestamptz NOT NULL DEFAULT now(),
  CHECK (oxygen + helium <= 100)
);
CREATE INDEX analysis_cylinder ON analysis (cylinder, analysed_at DESC, id);

-- What happens to a filled cylinder between analysis and dive.
CREATE TABLE custody_event (
  id          text PRIMARY KEY,
  item        text NOT NULL REFERENCES item (id) ON UPDATE CASCADE,
  -- handed_over, left_unattended, valve_removed, waiting_in_cave, back.
  kind        text NOT NULL CHECK (kind IN ('handed_over', 'left_unattended', 'valve_removed', 'waiting_in_cave', 'back')),
  at          timestamptz NOT NULL,
  doc         jsonb NOT NULL,
  recorded_by text NOT NULL REFERENCES person (id) ON UPDATE CASCADE,
  recorded_at timestamptz NOT NULL DEFAULT now()
);
CREATE INDEX custody_event_item ON custody_event (item, at DESC);

CREATE TRIGGER service_event_content BEFORE UPDATE ON service_event FOR EACH ROW EXECUTE FUNCTION refuse_new_content();
CREATE TRIGGER service_event_is_for_ever BEFORE DELETE ON service_event FOR EACH ROW EXECUTE FUNCTION refuse_change();
CREATE TRIGGER fill_content BEFORE UPDATE ON fill FOR EACH ROW EXECUTE FUNCTION refuse_new_content();
CREATE TRIGGER fill_is_for_ever BEFORE DELETE ON fill FOR EACH ROW EXECUTE FUNCTION refuse_change();
CREATE TRIGGER analysis_content BEFORE UPDATE ON analysis FOR EACH ROW EXECUTE FUNCTION refuse_new_content();
CREATE TRIGGER analysis_is_for_ever BEFORE DELETE ON analysis FOR EACH ROW EXECUTE FUNCTION refuse_change();
CREATE TRIGGER custody_event_content BEFORE UPDATE ON custody_event FOR EACH ROW EXECUTE FUNCTION refuse_new_content();
CREATE TRIGGER custody_event_is_for_ever BEFORE DELETE ON custody_event FOR EACH ROW EXECUTE FUNCTION refuse_change();
