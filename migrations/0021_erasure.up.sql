-- Requests to erase what is on record of a person, and which were carried out. Of an erased person stay the pseudonym that decisions
-- carry, by which a restored backup is brought up to date, and a salted hash of the former key, so that an old file does not bring
-- the person back unseen.
CREATE TABLE erasure (
  id           uuid PRIMARY KEY DEFAULT gen_random_uuid(),
  person       text NOT NULL REFERENCES person (id) ON UPDATE CASCADE,
  -- Null, like done_by: the server itself, which carries out again what a restored backup has undone.
  requested_by text REFERENCES person (id) ON UPDATE CASCADE,
  requested_at timestamptz NOT NULL,
  -- The day of the letter, where the committee asks for the person.
  written_day  date,
  withdrawn_by text REFERENCES person (id) ON UPDATE CASCADE,
  withdrawn_at timestamptz,
  done_by      text REFERENCES person (id) ON UPDATE CASCADE,
  done_at      timestamptz,
  key_salt     bytea,
  key_hash     bytea CHECK (length(key_hash) = 32),
  CHECK ((withdrawn_by IS NULL) = (withdrawn_at IS NULL)),
  CHECK (withdrawn_at IS NULL OR done_at IS NULL),
  CHECK ((done_at IS NULL) = (key_hash IS NULL) AND (key_salt IS NULL) = (key_hash IS NULL))
);
CREATE UNIQUE INDEX erasure_open ON erasure (person) WHERE withdrawn_at IS NULL AND done_at IS NULL;
CREATE INDEX erasure_latest ON erasure (requested_at DESC, id);
CREATE TRIGGER erasure_is_for_ever BEFORE DELETE ON erasure FOR EACH ROW EXECUTE FUNCTION refuse_change();

-- An erasure takes a person out of the texts of records that stay; whoever has no key to that changes nothing, as before.
CREATE OR REPLACE FUNCTION refuse_new_content() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF NEW.doc IS DISTINCT FROM OLD.doc AND current_setting('lastlight.retention', true) IS DISTINCT FROM 'on' THEN
    RAISE EXCEPTION 'the content of % is never changed', TG_TABLE_NAME USING ERRCODE = 'restrict_violation';
  END IF;
  RETURN NEW;
END $$;
CREATE OR REPLACE FUNCTION refuse_new_decision() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF to_jsonb(NEW) - 'decided_by' - 'plan' IS DISTINCT FROM to_jsonb(OLD) - 'decided_by' - 'plan'
     AND current_setting('lastlight.retention', true) IS DISTINCT FROM 'on' THEN
    RAISE EXCEPTION 'rows of % are never changed', TG_TABLE_NAME USING ERRCODE = 'restrict_violation';
  END IF;
  RETURN NEW;
END $$;
-- What was evaluated is replayed byte for byte, so nothing but the index of its records may change, with whatever key.
CREATE FUNCTION keep_evidence() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF (NEW.input, NEW.report, NEW.hash) IS DISTINCT FROM (OLD.input, OLD.report, OLD.hash) THEN
    RAISE EXCEPTION 'the evidence of a decision is never changed' USING ERRCODE = 'restrict_violation';
  END IF;
  RETURN NEW;
END $$;
CREATE TRIGGER evaluation_evidence BEFORE UPDATE ON evaluation FOR EACH ROW EXECUTE FUNCTION keep_evidence();

-- A token that a coordinator issued opens no more than a coordinator lends, whatever role its owner is given later.
ALTER TABLE token ADD COLUMN lent boolean NOT NULL DEFAULT false;
UPDATE token t SET lent = true WHERE EXISTS (
  SELECT FROM event e WHERE e.kind = 'token' AND e.what = 'token.issue' AND e.who NOT IN ('server', t.person)
    AND e.after ->> 'person' = t.person AND e.after ->> 'device' = t.device
    AND NOT EXISTS (SELECT FROM role_grant g WHERE g.person = e.who AND g.role = 'committee' AND g.granted_at <= e.at AND (g.revoked_at IS NULL OR g.revoked_at >= e.at)));
