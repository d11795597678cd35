-- What was waived, as it was measured then: a waiver speaks for that and for nothing worse. NULL in shortfall and '' in observed:
-- recorded before this was kept, it speaks for the finding whatever its measure.
ALTER TABLE waiver
  ADD COLUMN said text NOT NULL DEFAULT '',
  ADD COLUMN observed text NOT NULL DEFAULT '',
  ADD COLUMN shortfall double precision,
  ADD COLUMN withdrawn_by text REFERENCES person (id) ON UPDATE CASCADE,
  ADD COLUMN withdrawn_at timestamptz,
  ADD COLUMN withdrawn_reason text NOT NULL DEFAULT '',
  ADD CHECK ((withdrawn_by IS NULL) = (withdrawn_at IS NULL));

-- One that was withdrawn, or has run out and is replaced, stays on record beside the next.
ALTER TABLE waiver DROP CONSTRAINT waiver_plan_version_finding_key;
CREATE UNIQUE INDEX waiver_not_withdrawn ON waiver (plan, version, finding) WHERE withdrawn_at IS NULL;
CREATE INDEX waiver_latest ON waiver (waived_at DESC, id);

ALTER TABLE decision DROP CONSTRAINT decision_decision_check;
ALTER TABLE decision ADD CONSTRAINT decision_decision_check CHECK (decision IN ('approved', 'refused', 'waived', 'countersigned', 'waiver_withdrawn', 'withdrawn',
  'stale', 'rechecked', 'expired', 'entered'));
