ALTER TABLE decision DROP CONSTRAINT decision_decision_check;
UPDATE decision SET decision = 'withdrawn' WHERE decision = 'waiver_withdrawn';
ALTER TABLE decision ADD CONSTRAINT decision_decision_check CHECK (decision IN ('approved', 'refused', 'waived', 'countersigned', 'withdrawn',
  'stale', 'rechecked', 'expired', 'entered'));
DROP INDEX waiver_latest;
DROP INDEX waiver_not_withdrawn;
DELETE FROM waiver WHERE withdrawn_at IS NOT NULL;
ALTER TABLE waiver ADD CONSTRAINT waiver_plan_version_finding_key UNIQUE (plan, version, finding);
ALTER TABLE waiver DROP COLUMN said, DROP COLUMN observed, DROP COLUMN shortfall, DROP COLUMN withdrawn_by, DROP COLUMN withdrawn_at, DROP COLUMN withdrawn_reason;
