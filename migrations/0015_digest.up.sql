-- Who has asked to be told by mail what falls due. The address is a contact of the person.
CREATE TABLE digest (
  person   text PRIMARY KEY REFERENCES person (id) ON UPDATE CASCADE,
  address  text NOT NULL CHECK (address <> ''),
  every    text NOT NULL CHECK (every IN ('day', 'week')),
  since    timestamptz NOT NULL DEFAULT now()
);

-- Letters to be sent. The text is not kept: it is made when a letter is sent, by what its reader may see then.
CREATE TABLE letter (
  id          uuid PRIMARY KEY DEFAULT gen_random_uuid(),
  person      text NOT NULL REFERENCES person (id) ON UPDATE CASCADE,
  -- The day, or the Monday of the week, that it is for: one letter each.
  period      date NOT NULL,
  state       text NOT NULL DEFAULT 'queued' CHECK (state IN ('queued', 'sent', 'nothing_due', 'given_up')),
  queued_at   timestamptz NOT NULL,
  -- While a server sends it, the end of its lease: another takes over after that.
  next_try_at timestamptz NOT NULL,
  tries       integer NOT NULL DEFAULT 0,
  done_at     timestamptz,
  -- Why it was not sent, without address and text.
  why         text NOT NULL DEFAULT '',
  UNIQUE (person, period)
);
CREATE INDEX letter_queue ON letter (next_try_at) WHERE state = 'queued';
