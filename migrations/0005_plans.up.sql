CREATE TABLE plan (
  id             text PRIMARY KEY CHECK (id ~ '^[a-z0-9][a-z0-9-]{0,62}$'),
  site           text NOT NULL REFERENCES site (id) ON UPDATE CASCADE,
  expedition     text REFERENCES expedition (id) ON UPDATE CASCADE,
  leader         text NOT NULL REFERENCES person (id) ON UPDATE CASCADE,
  -- The latest version; state is about it, except while approved_version is dived on.
  version        integer NOT NULL DEFAULT 1 CHECK (version >= 1),
  state          text NOT NULL DEFAULT 'draft' CHECK (state IN ('draft', 'submitted', 'approved', 'refused',
                   'withdrawn', 'stale', 'expired', 'in_water', 'closed')),
  state_reasons  text[] NOT NULL DEFAULT '{}',
  -- Stale by an order to stop: the check at entry is not enough, a coordinator decides again.
  stopped        boolean NOT NULL DEFAULT false,
  planned_entry  timestamptz NOT NULL,
  -- Set by submission; an approval not used by then expires.
  enter_by       timestamptz,
  archived       boolean NOT NULL DEFAULT false,
  created_at     timestamptz NOT NULL DEFAULT now(),
  updated_at     timestamptz NOT NULL DEFAULT now(),
  CHECK (state NOT IN ('submitted', 'approved', 'stale', 'in_water') OR enter_by IS NOT NULL)
);
CREATE INDEX plan_site ON plan (site, planned_entry DESC, id DESC);
CREATE INDEX plan_state ON plan (state, planned_entry DESC, id DESC);

CREATE TABLE plan_version (
  plan      text NOT NULL REFERENCES plan (id) ON UPDATE CASCADE,
  version   integer NOT NULL CHECK (version >= 1),
  doc       jsonb NOT NULL,
  code_word text NOT NULL,
  made_at   timestamptz NOT NULL DEFAULT now(),
  made_by   text NOT NULL REFERENCES person (id) ON UPDATE CASCADE,
  PRIMARY KEY (plan, version)
);

-- Who takes part in which version, for lists, staleness and visibility.
CREATE TABLE plan_person (
  plan    text NOT NULL,
  version integer NOT NULL,
  person  text NOT NULL REFERENCES person (id) ON UPDATE CASCADE,
  duty    text NOT NULL CHECK (duty IN ('diver', 'standby', 'cover')),
  PRIMARY KEY (plan, version, person, duty),
  FOREIGN KEY (plan, version) REFERENCES plan_version (plan, version) ON UPDATE CASCADE
);
CREATE INDEX plan_person_person ON plan_person (person, plan);
CREATE TABLE plan_item (
  plan    text NOT NULL,
  version integer NOT NULL,
  item    text NOT NULL REFERENCES item (id) ON UPDATE CASCADE,
  PRIMARY KEY (plan, version, item),
  FOREIGN KEY (plan, version) REFERENCES plan_version (plan, version) ON UPDATE CASCADE
);
CREATE INDEX plan_item_item ON plan_item (item, plan);

-- Every evaluation that was stored, byte for byte: decisions are replayed from it.
CREATE TABLE evaluation (
  id             bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
  plan           text NOT NULL,
  version        integer NOT NULL,
  moment         text NOT NULL CHECK (moment IN ('planning', 'entry')),
  verdict        text NOT NULL,
  hash           text NOT NULL,
  -- Canonical bytes of the engine's input and report.
  input          bytea NOT NULL,
  report         bytea NOT NULL,
  engine_version text NOT NULL,
  policy         text NOT NULL,
  survey         integer NOT NULL,
  -- Root versions of every record used; beside the hash, never in it.
  record_versions jsonb NOT NULL,
  evaluated_at   timestamptz NOT NULL DEFAULT now(),
  FOREIGN KEY (plan, version) REFERENCES plan_version (plan, version) ON UPDATE CASCADE
);
CREATE INDEX evaluation_plan ON evaluation (plan, version, id DESC);

CREATE TABLE decision (
  id         bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
  plan       text NOT NULL,
  version    integer NOT NULL,
  decision   text NOT NULL CHECK (decision IN ('approved', 'refused', 'waived', 'countersigned', 'withdrawn',
               'stale', 'rechecked', 'expired', 'entered')),
  -- Null: the server itself (stale, expired).
  decided_by text REFERENCES person (id) ON UPDATE CASCADE,
  decided_at timestamptz NOT NULL DEFAULT now(),
  reason     text NOT NULL DEFAULT '',
  conditions text[] NOT NULL DEFAULT '{}',
  evaluation bigint REFERENCES evaluation (id),
  FOREIGN KEY (plan, version) REFERENCES plan_version (plan, version) ON UPDATE CASCADE,
  CHECK (decision <> 'approved' OR (evaluation IS NOT NULL AND decided_by IS NOT NULL)),
  CHECK (decision NOT IN ('refused', 'waived') OR reason <> '')
);
CREATE INDEX decision_plan ON decision (plan, id);

CREATE TABLE waiver (
  id                    uuid PRIMARY KEY DEFAULT gen_random_uuid(),
  plan                  text NOT NULL,
  version               integer NOT NULL,
  finding               text NOT NULL,
  rule                  text NOT NULL,
  reason                text NOT NULL CHECK (reason <> ''),
  conditions            text NOT NULL DEFAULT '',
  waived_by             text NOT NULL REFERENCES person (id) ON UPDATE CASCADE,
  waived_at             timestamptz NOT NULL DEFAULT now(),
  expires_at            timestamptz,
  needs_second_approver boolean NOT NULL DEFAULT false,
  second_approver       text REFERENCES person (id) ON UPDATE CASCADE,
  second_at             timestamptz,
  UNIQUE (plan, version, finding),
  FOREIGN KEY (plan, version) REFERENCES plan_version (plan, version) ON UPDATE CASCADE,
  CHECK (second_approver IS NULL OR second_approver <> waived_by),
  CHECK ((second_approver IS NULL) = (second_at IS NULL))
);

-- A person or cylinder bound by an approved, stale or in-water plan. Closed
-- intervals: touching in one minute is an overlap. Inserted sorted, so that two
-- approvals wait for each other instead of deadlocking.
CREATE TABLE booking (
  plan    text NOT NULL REFERENCES plan (id) ON UPDATE CASCADE,
  kind    text NOT NULL CHECK (kind IN ('person', 'cylinder')),
  subject text NOT NULL,
  duty    text NOT NULL CHECK (duty IN ('diver', 'standby', 'cover', 'carried')),
  -- Upper end open: in the water and not all seen out.
  during  tstzrange NOT NULL CHECK (NOT isempty(during)),
  PRIMARY KEY (plan, kind, subject, duty),
  CONSTRAINT booking_once EXCLUDE USING gist (kind WITH =, subject WITH =, during WITH &&)
);
CREATE INDEX booking_subject ON booking (kind, subject);

CREATE TRIGGER plan_version_content BEFORE UPDATE ON plan_version FOR EACH ROW EXECUTE FUNCTION refuse_new_content();
CREATE TRIGGER plan_version_is_for_ever BEFORE DELETE ON plan_version FOR EACH ROW EXECUTE FUNCTION refuse_change();
-- What was decided, and on what, never changes; the key of a person may be replaced (erasure).
CREATE FUNCTION refuse_new_decision() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF to_jsonb(NEW) - 'decided_by' - 'plan' IS DISTINCT FROM to_jsonb(OLD) - 'decided_by' - 'plan' THEN
    RAISE EXCEPTION 'rows of % are never changed', TG_TABLE_NAME USING ERRCODE = 'restrict_violation';
  END IF;
  RETURN NEW;
END $$;
CREATE TRIGGER evaluation_content BEFORE UPDATE ON evaluation FOR EACH ROW EXECUTE FUNCTION refuse_new_decision();
CREATE TRIGGER decision_content BEFORE UPDATE ON decision FOR EACH ROW EXECUTE FUNCTION refuse_new_decision();
CREATE TRIGGER evaluation_is_for_ever BEFORE DELETE ON evaluation FOR EACH ROW EXECUTE FUNCTION refuse_change();
CREATE TRIGGER decision_is_for_ever BEFORE DELETE ON decision FOR EACH ROW EXECUTE FUNCTION refuse_change();
