-- One row is what every decision locks first; its version is bumped by adoption.
CREATE TABLE policy_in_force (
  only_one boolean PRIMARY KEY DEFAULT true CHECK (only_one),
  version  bigint NOT NULL DEFAULT 1
);
INSERT INTO policy_in_force DEFAULT VALUES;

CREATE TABLE policy (
  id            text PRIMARY KEY CHECK (id ~ '^[a-z0-9][a-z0-9-]{0,62}$'),
  number        integer NOT NULL UNIQUE CHECK (number >= 1),
  doc           jsonb NOT NULL,
  reason        text NOT NULL DEFAULT '',
  in_force_from date,
  adopted_by    text REFERENCES person (id) ON UPDATE CASCADE,
  adopted_at    timestamptz,
  created_at    timestamptz NOT NULL DEFAULT now(),
  created_by    text REFERENCES person (id) ON UPDATE CASCADE,
  CHECK ((in_force_from IS NULL) = (adopted_at IS NULL))
);
CREATE INDEX policy_in_force_from ON policy (in_force_from DESC, adopted_at DESC);
CREATE TRIGGER policy_content BEFORE UPDATE ON policy FOR EACH ROW EXECUTE FUNCTION refuse_new_content();
CREATE TRIGGER policy_is_for_ever BEFORE DELETE ON policy FOR EACH ROW EXECUTE FUNCTION refuse_change();

CREATE TABLE expedition (
  id         text PRIMARY KEY CHECK (id ~ '^[a-z0-9][a-z0-9-]{0,62}$'),
  title      text NOT NULL CHECK (title <> ''),
  from_day   date NOT NULL,
  to_day     date NOT NULL,
  doc        jsonb NOT NULL,
  version    bigint NOT NULL DEFAULT 1,
  archived   boolean NOT NULL DEFAULT false,
  created_at timestamptz NOT NULL DEFAULT now(),
  updated_at timestamptz NOT NULL DEFAULT now(),
  CHECK (to_day >= from_day)
);
CREATE TABLE expedition_site (
  expedition text NOT NULL REFERENCES expedition (id) ON UPDATE CASCADE,
  site       text NOT NULL REFERENCES site (id) ON UPDATE CASCADE,
  PRIMARY KEY (expedition, site)
);
CREATE TABLE expedition_participant (
  expedition text NOT NULL REFERENCES expedition (id) ON UPDATE CASCADE,
  person     text NOT NULL REFERENCES person (id) ON UPDATE CASCADE,
  PRIMARY KEY (expedition, person)
);
CREATE INDEX expedition_participant_person ON expedition_participant (person);

CREATE TABLE role_grant (
  id         uuid PRIMARY KEY DEFAULT gen_random_uuid(),
  person     text NOT NULL REFERENCES person (id) ON UPDATE CASCADE,
  role       text NOT NULL CHECK (role IN ('diver', 'leader', 'coordinator', 'cover', 'blender', 'safety_officer',
               'medical_officer', 'welfare_officer', 'site_officer', 'guardian', 'committee', 'guest')),
  expedition text REFERENCES expedition (id) ON UPDATE CASCADE,
  of_person  text REFERENCES person (id) ON UPDATE CASCADE,
  granted_at timestamptz NOT NULL DEFAULT now(),
  -- Null: by the command on the server's machine.
  granted_by text REFERENCES person (id) ON UPDATE CASCADE,
  revoked_at timestamptz,
  revoked_by text REFERENCES person (id) ON UPDATE CASCADE,
  CHECK ((role = 'guardian') = (of_person IS NOT NULL))
);
-- Granting the same role twice is one grant.
CREATE UNIQUE INDEX role_grant_standing ON role_grant
  (person, role, COALESCE(expedition, ''), COALESCE(of_person, '')) WHERE revoked_at IS NULL;
CREATE INDEX role_grant_person ON role_grant (person);
