-- A dive in the register: in the water, out, or closed (recorded). Past dives
-- come in closed and without a plan.
CREATE TABLE dive (
  id            text PRIMARY KEY CHECK (id ~ '^[a-z0-9][a-z0-9-]{0,62}$'),
  site          text NOT NULL REFERENCES site (id) ON UPDATE CASCADE,
  plan          text,
  plan_version  integer,
  expedition    text REFERENCES expedition (id) ON UPDATE CASCADE,
  kind          text NOT NULL CHECK (kind IN ('normal', 'set_up', 'clean_up', 'training', 'site_opening')),
  state         text NOT NULL CHECK (state IN ('in_water', 'out', 'closed')),
  entered_at    timestamptz NOT NULL,
  out_at        timestamptz,
  max_depth_m   double precision CHECK (max_depth_m >= 0),
  penetration_m double precision CHECK (penetration_m >= 0),
  zone          text CHECK (zone IN ('open_water', 'cavern', 'cave')),
  taught_level  text NOT NULL DEFAULT '',
  -- The API's message as protobuf bytes, not as JSON: dives are many, and a page
  -- of them is read ten times as fast. What is searched has a column.
  record        bytea NOT NULL,
  version       bigint NOT NULL DEFAULT 1,
  archived      boolean NOT NULL DEFAULT false,
  recorded_by   text NOT NULL REFERENCES person (id) ON UPDATE CASCADE,
  recorded_at   timestamptz NOT NULL DEFAULT now(),
  updated_at    timestamptz NOT NULL DEFAULT now(),
  FOREIGN KEY (plan, plan_version) REFERENCES plan_version (plan, version) ON UPDATE CASCADE,
  CHECK ((plan IS NULL) = (plan_version IS NULL)),
  CHECK (out_at > entered_at),
  CHECK (state = 'in_water' OR out_at IS NOT NULL),
  CHECK (state <> 'closed' OR (max_depth_m IS NOT NULL AND zone IS NOT NULL))
);
CREATE INDEX dive_site ON dive (site, entered_at DESC, id DESC);
CREATE INDEX dive_entered ON dive (entered_at DESC, id DESC);
CREATE UNIQUE INDEX dive_of_plan ON dive (plan) WHERE plan IS NOT NULL AND NOT archived;
CREATE INDEX dive_running ON dive (state) WHERE state <> 'closed';
CREATE INDEX dive_expedition ON dive (expedition, entered_at DESC, id DESC);

-- entered_at stands here again so that a person's dives are one index range.
CREATE TABLE dive_diver (
  dive       text NOT NULL REFERENCES dive (id) ON UPDATE CASCADE,
  person     text NOT NULL REFERENCES person (id) ON UPDATE CASCADE,
  entered_at timestamptz NOT NULL,
  site       text NOT NULL,
  counted_as text NOT NULL DEFAULT '',
  instructor boolean NOT NULL DEFAULT false,
  used       text[] NOT NULL DEFAULT '{}',
  doc        jsonb NOT NULL,
  PRIMARY KEY (dive, person)
);
CREATE INDEX dive_diver_person ON dive_diver (person, entered_at DESC, dive);
CREATE INDEX dive_diver_person_site ON dive_diver (person, site, entered_at DESC);

-- Former records of corrected dives.
CREATE TABLE dive_former (
  dive       text NOT NULL REFERENCES dive (id) ON UPDATE CASCADE,
  version    bigint NOT NULL,
  doc        jsonb NOT NULL,
  changed_at timestamptz NOT NULL DEFAULT now(),
  changed_by text NOT NULL REFERENCES person (id) ON UPDATE CASCADE,
  PRIMARY KEY (dive, version)
);

-- The register's deadlines, fixed at entry.
CREATE TABLE watch (
  dive        text PRIMARY KEY REFERENCES dive (id) ON UPDATE CASCADE,
  cover       text REFERENCES person (id) ON UPDATE CASCADE,
  eto         timestamptz NOT NULL,
  look        timestamptz NOT NULL,
  coordinator timestamptz NOT NULL,
  dial        timestamptz NOT NULL,
  walk        timestamptz,
  grace_min   double precision NOT NULL,
  gas_clause  text NOT NULL,
  -- Turn figures of the entry evaluation, as shown on the board.
  figures     jsonb NOT NULL,
  CHECK (eto <= look AND look <= coordinator AND coordinator <= dial)
);

-- Append-only: the latest fact per person and kind stands; at null = it did not happen.
CREATE TABLE watch_fact (
  id          bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
  dive        text NOT NULL REFERENCES dive (id) ON UPDATE CASCADE,
  person      text NOT NULL REFERENCES person (id) ON UPDATE CASCADE,
  what        text NOT NULL CHECK (what IN ('in', 'seen_out', 'signed_out')),
  at          timestamptz,
  correction  boolean NOT NULL DEFAULT false,
  reason      text NOT NULL DEFAULT '',
  doc         jsonb NOT NULL DEFAULT '{}',
  recorded_by text NOT NULL REFERENCES person (id) ON UPDATE CASCADE,
  recorded_at timestamptz NOT NULL DEFAULT clock_timestamp(),
  CHECK (correction OR at IS NOT NULL),
  CHECK (NOT correction OR reason <> '')
);
CREATE INDEX watch_fact_dive ON watch_fact (dive, id);

CREATE TABLE left_item (
  id                text PRIMARY KEY,
  site              text NOT NULL REFERENCES site (id) ON UPDATE CASCADE,
  dive              text NOT NULL REFERENCES dive (id) ON UPDATE CASCADE,
  kind              text NOT NULL CHECK (kind IN ('line', 'marker', 'cylinder')),
  place             text NOT NULL,
  item              text NOT NULL DEFAULT '',
  owner             text NOT NULL REFERENCES person (id) ON UPDATE CASCADE,
  left_at           timestamptz NOT NULL,
  remove_by         date,
  confirmed_at      timestamptz,
  confirmed_by      text REFERENCES person (id) ON UPDATE CASCADE,
  recovered_at      timestamptz,
  recovered_by      text REFERENCES person (id) ON UPDATE CASCADE,
  recovered_in_dive text REFERENCES dive (id) ON UPDATE CASCADE,
  CHECK (recovered_at >= left_at)
);
CREATE INDEX left_item_site ON left_item (site, left_at DESC, id);

CREATE TABLE incident (
  id                 text PRIMARY KEY CHECK (id ~ '^[a-z0-9][a-z0-9-]{0,62}$'),
  site               text REFERENCES site (id) ON UPDATE CASCADE,
  dive               text REFERENCES dive (id) ON UPDATE CASCADE,
  happened_at        timestamptz NOT NULL,
  level              smallint NOT NULL CHECK (level BETWEEN 0 AND 5),
  state              text NOT NULL DEFAULT 'open' CHECK (state IN ('open', 'closed')),
  doc                jsonb NOT NULL,
  reviewed_narrative text,
  reviewed_by        text REFERENCES person (id) ON UPDATE CASCADE,
  reported_by        text NOT NULL REFERENCES person (id) ON UPDATE CASCADE,
  reported_at        timestamptz NOT NULL DEFAULT now(),
  version            bigint NOT NULL DEFAULT 1,
  CHECK ((reviewed_narrative IS NULL) = (reviewed_by IS NULL))
);
CREATE INDEX incident_site ON incident (site, happened_at DESC, id);
CREATE INDEX incident_happened ON incident (happened_at DESC, id);

-- Identities, kept apart from the narrative: ordinal is the N of "diver N".
CREATE TABLE incident_person (
  incident text NOT NULL REFERENCES incident (id) ON UPDATE CASCADE,
  ordinal  integer NOT NULL CHECK (ordinal >= 1),
  person   text NOT NULL REFERENCES person (id) ON UPDATE CASCADE,
  injured  boolean NOT NULL DEFAULT false,
  PRIMARY KEY (incident, ordinal),
  UNIQUE (incident, person)
);
CREATE TABLE incident_former (
  incident   text NOT NULL REFERENCES incident (id) ON UPDATE CASCADE,
  version    bigint NOT NULL,
  doc        jsonb NOT NULL,
  changed_at timestamptz NOT NULL DEFAULT now(),
  changed_by text NOT NULL REFERENCES person (id) ON UPDATE CASCADE,
  PRIMARY KEY (incident, version)
);

CREATE TRIGGER watch_fact_is_for_ever BEFORE DELETE ON watch_fact FOR EACH ROW EXECUTE FUNCTION refuse_change();
CREATE TRIGGER dive_is_for_ever BEFORE DELETE ON dive FOR EACH ROW EXECUTE FUNCTION refuse_change();
CREATE TRIGGER left_item_is_for_ever BEFORE DELETE ON left_item FOR EACH ROW EXECUTE FUNCTION refuse_change();
CREATE TRIGGER incident_is_for_ever BEFORE DELETE ON incident FOR EACH ROW EXECUTE FUNCTION refuse_change();
