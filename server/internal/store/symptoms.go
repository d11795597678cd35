package store

import (
	"context"
	"time"
)

// SuspendForSymptoms suspends a person from the minute they said yes to
// symptoms, until cleared by the roles of the policy. What they have is not
// asked and has no place here.
func (tx *Tx) SuspendForSymptoms(ctx context.Context, person string, at time.Time) error {
	if _, err := tx.Exec(ctx, `UPDATE person SET version = version + 1, updated_at = $2 WHERE id = $1`, person, tx.Now()); err != nil {
		return err
	}
	if _, err := tx.Exec(ctx, `
INSERT INTO medical_status (person, suspended_at, recorded_by, recorded_at) VALUES ($1, $2, $3, $4)
ON CONFLICT (person) DO UPDATE SET suspended_at = EXCLUDED.suspended_at, cleared_at = NULL, cleared_by_roles = '{}',
  recorded_by = EXCLUDED.recorded_by, recorded_at = EXCLUDED.recorded_at`, person, at, tx.Mutation.Caller, tx.Now()); err != nil {
		return err
	}
	tx.Event("person.unavailable", "person", person, nil, nil)
	return tx.MarkStale(ctx, "person", person, "a diver is not available")
}
