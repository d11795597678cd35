-- People, their cards and medical status, tokens, roles, the event log and the
-- requests that were answered. Keys are the club's own and cascade on update, so
-- that an erasure request can replace one by a pseudonym without breaking history.
CREATE EXTENSION IF NOT EXISTS btree_gist;

CREATE TABLE club (
  only_one  boolean PRIMARY KEY DEFAULT true CHECK (only_one),
  title     text NOT NULL,
  time_zone text NOT NULL
);

-- version is the root version: every writer of a fact below it (card, medical
-- status, role …) bumps it first, which is what a decision locks against.
CREATE TABLE person (
  id         text PRIMARY KEY CHECK (id ~ '^[a-z0-9][a-z0-9-]{0,62}$'),
  -- What decisions and incidents keep instead of a name.
  pseudonym  text NOT NULL UNIQUE,
  full_name  text NOT NULL CHECK (full_name <> ''),
  guest      boolean NOT NULL DEFAULT false,
  birth_day  date,
  guardian   text REFERENCES person (id) ON UPDATE CASCADE,
  -- Restricted: never in doc, list, export or event.
  telephone  text,
  -- The API's message less what has columns or tables of its own.
  doc        jsonb NOT NULL,
  version    bigint NOT NULL DEFAULT 1,
  archived   boolean NOT NULL DEFAULT false,
  created_at timestamptz NOT NULL DEFAULT now(),
  updated_at timestamptz NOT NULL DEFAULT now()
);

CREATE TABLE card (
  person         text NOT NULL REFERENCES person (id) ON UPDATE CASCADE,
  id             text NOT NULL,
  level          text NOT NULL DEFAULT '',
  endorsement    text NOT NULL DEFAULT '',
  issued_day     date NOT NULL,
  expires_day    date,
  number         text,
  issuing_body   text NOT NULL DEFAULT '',
  depth_limit_m  double precision CHECK (depth_limit_m > 0),
  seen_by        text REFERENCES person (id) ON UPDATE CASCADE,
  seen_at        timestamptz,
  revoked_at     timestamptz,
  revoked_by     text REFERENCES person (id) ON UPDATE CASCADE,
  revoked_reason text NOT NULL DEFAULT '',
  archived       boolean NOT NULL DEFAULT false,
  PRIMARY KEY (person, id),
  CHECK ((level = '') <> (endorsement = '')),
  CHECK (expires_day IS NULL OR expires_day >= issued_day),
  CHECK ((seen_by IS NULL) = (seen_at IS NULL)),
  CHECK ((revoked_by IS NULL) = (revoked_at IS NULL))
);

-- Status only; a form or a symptom in words has no place to be stored.
CREATE TABLE medical_status (
  person           text PRIMARY KEY REFERENCES person (id) ON UPDATE CASCADE,
  examined_day     date,
  doctor_until     date,
  declared_day     date,
  restriction_code text NOT NULL DEFAULT '',
  depth_limit_m    double precision CHECK (depth_limit_m > 0),
  suspended_at     timestamptz,
  cleared_at       timestamptz,
  cleared_by_roles text[] NOT NULL DEFAULT '{}',
  recorded_by      text REFERENCES person (id) ON UPDATE CASCADE,
  recorded_at      timestamptz NOT NULL DEFAULT now(),
  CHECK (doctor_until IS NULL OR examined_day IS NULL OR doctor_until >= examined_day),
  CHECK (cleared_at IS NULL OR suspended_at IS NOT NULL)
);

CREATE TABLE emergency_contact (
  person    text NOT NULL REFERENCES person (id) ON UPDATE CASCADE,
  position  integer NOT NULL,
  full_name text NOT NULL,
  telephone text NOT NULL,
  relation  text NOT NULL DEFAULT '',
  PRIMARY KEY (person, position)
);

CREATE TABLE token (
  id           uuid PRIMARY KEY DEFAULT gen_random_uuid(),
  person       text NOT NULL REFERENCES person (id) ON UPDATE CASCADE,
  device       text NOT NULL,
  -- SHA-256 of the secret: 256 random bits need no slow hash.
  hash         bytea NOT NULL UNIQUE CHECK (length(hash) = 32),
  issued_at    timestamptz NOT NULL DEFAULT now(),
  expires_at   timestamptz NOT NULL,
  revoked_at   timestamptz,
  last_used_at timestamptz,
  CHECK (expires_at > issued_at)
);
CREATE INDEX token_person ON token (person);

CREATE TABLE event (
  id         bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
  at         timestamptz NOT NULL DEFAULT clock_timestamp(),
  who        text NOT NULL,
  what       text NOT NULL,
  kind       text NOT NULL,
  record     text NOT NULL,
  before     jsonb,
  after      jsonb,
  request_id uuid
);
CREATE INDEX event_record ON event (kind, record, id);
CREATE INDEX event_who ON event (who, id);

-- A request id is claimed in the transaction of its effect. answers counts the
-- retries: writing it makes even the "already done" answer wait for a
-- synchronous standby.
CREATE TABLE request (
  id        uuid PRIMARY KEY,
  caller    text NOT NULL,
  method    text NOT NULL,
  body_hash bytea NOT NULL,
  response  bytea,
  answers   integer NOT NULL DEFAULT 0,
  at        timestamptz NOT NULL DEFAULT now()
);
CREATE INDEX request_at ON request (at);

-- Facts are never changed or removed. Retention, a job of its own, says so first.
CREATE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF current_setting('lastlight.retention', true) = 'on' THEN
    RETURN COALESCE(NEW, OLD);
  END IF;
  RAISE EXCEPTION 'rows of % are never changed or deleted', TG_TABLE_NAME USING ERRCODE = 'restrict_violation';
END $$;

CREATE TRIGGER event_is_for_ever BEFORE UPDATE OR DELETE ON event
  FOR EACH ROW EXECUTE FUNCTION refuse_change();
