-- Who of a plan has read this version of it and agreed. Another version is read anew.
CREATE TABLE acknowledgement (
  plan    text NOT NULL,
  version integer NOT NULL,
  person  text NOT NULL REFERENCES person (id) ON UPDATE CASCADE,
  at      timestamptz NOT NULL,
  PRIMARY KEY (plan, version, person),
  FOREIGN KEY (plan, version) REFERENCES plan_version (plan, version) ON UPDATE CASCADE
);
