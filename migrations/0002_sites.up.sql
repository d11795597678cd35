CREATE TABLE site (
  id         text PRIMARY KEY CHECK (id ~ '^[a-z0-9][a-z0-9-]{0,62}$'),
  title      text NOT NULL CHECK (title <> ''),
  time_zone  text NOT NULL CHECK (time_zone <> ''),
  doc        jsonb NOT NULL,
  version    bigint NOT NULL DEFAULT 1,
  archived   boolean NOT NULL DEFAULT false,
  created_at timestamptz NOT NULL DEFAULT now(),
  updated_at timestamptz NOT NULL DEFAULT now()
);

-- Apart, so that no list, export, event or log can carry it by accident.
CREATE TABLE site_restricted (
  site         text PRIMARY KEY REFERENCES site (id) ON UPDATE CASCADE,
  latitude     double precision CHECK (latitude BETWEEN -90 AND 90),
  longitude    double precision CHECK (longitude BETWEEN -180 AND 180),
  access_notes text,
  gate_code    text,
  CHECK ((latitude IS NULL) = (longitude IS NULL))
);

CREATE TABLE survey (
  site         text NOT NULL REFERENCES site (id) ON UPDATE CASCADE,
  number       integer NOT NULL CHECK (number >= 1),
  surveyed_day date NOT NULL,
  doc          jsonb NOT NULL,
  -- SHA-256 of the canonical content: applying the same survey again adds nothing.
  content_hash bytea NOT NULL,
  recorded_at  timestamptz NOT NULL DEFAULT now(),
  recorded_by  text NOT NULL REFERENCES person (id) ON UPDATE CASCADE,
  PRIMARY KEY (site, number)
);

CREATE TABLE reading (
  id           text PRIMARY KEY,
  site         text NOT NULL REFERENCES site (id) ON UPDATE CASCADE,
  read_at      timestamptz NOT NULL,
  level_m      double precision,
  flow         text NOT NULL DEFAULT '' CHECK (flow IN ('', 'none', 'low', 'moderate', 'high', 'extreme')),
  visibility_m double precision CHECK (visibility_m >= 0),
  openings_seen_open text[] NOT NULL DEFAULT '{}',
  notes        text NOT NULL DEFAULT '',
  read_by      text NOT NULL REFERENCES person (id) ON UPDATE CASCADE,
  recorded_at  timestamptz NOT NULL DEFAULT now()
);
CREATE INDEX reading_site ON reading (site, read_at DESC, id);

CREATE TABLE permit (
  id         text PRIMARY KEY CHECK (id ~ '^[a-z0-9][a-z0-9-]{0,62}$'),
  site       text NOT NULL REFERENCES site (id) ON UPDATE CASCADE,
  from_day   date NOT NULL,
  to_day     date NOT NULL,
  doc        jsonb NOT NULL,
  version    bigint NOT NULL DEFAULT 1,
  archived   boolean NOT NULL DEFAULT false,
  created_at timestamptz NOT NULL DEFAULT now(),
  updated_at timestamptz NOT NULL DEFAULT now(),
  CHECK (to_day >= from_day)
);
CREATE INDEX permit_site ON permit (site, from_day);

CREATE TABLE line_damage (
  id          text PRIMARY KEY,
  site        text NOT NULL REFERENCES site (id) ON UPDATE CASCADE,
  legs        text[] NOT NULL CHECK (cardinality(legs) > 0),
  seen_at     timestamptz NOT NULL,
  what        text NOT NULL,
  reported_by text NOT NULL REFERENCES person (id) ON UPDATE CASCADE,
  recorded_at timestamptz NOT NULL DEFAULT now()
);
CREATE INDEX line_damage_site ON line_damage (site, seen_at DESC);

-- Content never changes; the keys of site and person may be replaced (erasure).
CREATE FUNCTION refuse_new_content() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF NEW.doc IS DISTINCT FROM OLD.doc THEN
    RAISE EXCEPTION 'the content of % is never changed', TG_TABLE_NAME USING ERRCODE = 'restrict_violation';
  END IF;
  RETURN NEW;
END $$;

CREATE TRIGGER survey_content BEFORE UPDATE ON survey
  FOR EACH ROW EXECUTE FUNCTION refuse_new_content();
CREATE TRIGGER survey_is_for_ever BEFORE DELETE ON survey
  FOR EACH ROW EXECUTE FUNCTION refuse_change();
CREATE TRIGGER reading_is_for_ever BEFORE DELETE ON reading
  FOR EACH ROW EXECUTE FUNCTION refuse_change();
CREATE TRIGGER line_damage_is_for_ever BEFORE DELETE ON line_damage
  FOR EACH ROW EXECUTE FUNCTION refuse_change();
