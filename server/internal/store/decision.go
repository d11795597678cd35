package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"google.golang.org/protobuf/types/known/timestamppb"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/plan"
)

// Roots are the records a decision relies on. They are locked in one order
// everywhere: policy, people, site, items, plan, each sorted by id. Every
// writer of a fact below a root bumps the root first, so a fact can change
// before the lock or after the decision, never in between.
type Roots struct {
	People []string
	Site   string
	Items  []string
	Plan   string
}

// LockRoots takes the locks: shared on what is relied on, exclusive on the plan.
func (tx *Tx) LockRoots(ctx context.Context, r Roots) error {
	people, items := sortedSet(r.People), sortedSet(r.Items)
	var b pgx.Batch
	b.Queue(`SELECT version FROM policy_in_force FOR SHARE`)
	b.Queue(`SELECT id FROM person WHERE id = ANY ($1) ORDER BY id FOR SHARE`, people)
	b.Queue(`SELECT id FROM site WHERE id = $1 FOR SHARE`, r.Site)
	b.Queue(`SELECT id FROM item WHERE id = ANY ($1) ORDER BY id FOR SHARE`, items)
	b.Queue(`SELECT id FROM plan WHERE id = $1 FOR UPDATE`, r.Plan)
	return tx.conn.SendBatch(ctx, &b).Close()
}

func sortedSet(list []string) []string {
	out := slices.Clone(list)
	slices.Sort(out)
	return nonNil(slices.Compact(out))
}

// PlanState reads a plan's row as it stands now in the transaction.
func (tx *Tx) PlanState(ctx context.Context, id string) (PlanState, error) {
	s := PlanState{ID: id}
	var state string
	var enterBy, until *time.Time
	err := tx.QueryRow(ctx, `SELECT version, state, stopped, state_reasons, enter_by, waived_until, site, COALESCE(expedition, '') FROM plan WHERE id = $1`, id).
		Scan(&s.Version, &state, &s.Stopped, &s.Reasons, &enterBy, &until, &s.Site, &s.Expedition)
	if errors.Is(err, pgx.ErrNoRows) {
		return s, fault.NoSuch("plan", id)
	}
	s.State = plan.State(state)
	if enterBy != nil {
		s.EnterBy = *enterBy
	}
	if plan.IsOverdue(s.State, enterBy, tx.Now()) {
		s.State = plan.Expired
	}
	if s.State == plan.Approved && until != nil && !tx.Now().Before(*until) {
		s.State, s.Reasons = plan.Stale, append(s.Reasons, waiverRanOut)
	}
	return s, err
}

// PlanState is the row of a plan.
type PlanState struct {
	ID         string
	Version    int32
	State      plan.State
	Stopped    bool
	Reasons    []string
	EnterBy    time.Time
	Site       string
	Expedition string
}

// MovePlan is the one guarded state change: from what the operation allows, at
// this version. enterBy zero leaves the column.
func (tx *Tx) MovePlan(ctx context.Context, s PlanState, op plan.Operation, enterBy time.Time, reasons []string) error {
	to, err := plan.Next(s.ID, s.State, op)
	if err != nil {
		return err
	}
	tag, err := tx.Exec(ctx, `
UPDATE plan SET state = $4, state_reasons = $5, enter_by = COALESCE($6, enter_by),
  stopped = stopped AND $4 = 'stale', updated_at = $7
WHERE id = $1 AND version = $2 AND state = ANY ($3)`,
		s.ID, s.Version, plan.From(op), string(to), nonNil(reasons), nullIfZero(enterBy), tx.Now())
	if err != nil {
		return err
	}
	if tag.RowsAffected() == 0 {
		return &fault.Error{Kind: fault.Changed, Reason: "CHANGED_MEANWHILE", Message: fmt.Sprintf("plan %q was changed meanwhile; read it again", s.ID)}
	}
	return nil
}

// WaivedUntil notes when the first of the waivers runs out with which a plan was approved; zero: none does.
func (tx *Tx) WaivedUntil(ctx context.Context, id string, until time.Time) error {
	_, err := tx.Exec(ctx, `UPDATE plan SET waived_until = $2 WHERE id = $1`, id, nullIfZero(until))
	return err
}

func nullIfZero(t time.Time) any {
	if t.IsZero() {
		return nil
	}
	return t
}

// Evaluation is one stored run of the engine, byte for byte.
type Evaluation struct {
	ID             int64
	Plan           string
	Version        int32
	Moment         string
	Verdict        string
	Hash           string
	Input          []byte
	Report         []byte
	EngineVersion  string
	Policy         string
	Survey         int32
	RecordVersions map[string]int64
	EvaluatedAt    time.Time
}

// AddEvaluation stores a run and sets its id and time.
func (tx *Tx) AddEvaluation(ctx context.Context, e *Evaluation) error {
	versions, err := json.Marshal(e.RecordVersions)
	if err != nil {
		return err
	}
	e.EvaluatedAt = tx.Now()
	return tx.QueryRow(ctx, `
INSERT INTO evaluation (plan, version, moment, verdict, hash, input, report, engine_version, policy, survey, record_versions, evaluated_at)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12) RETURNING id`,
		e.Plan, e.Version, e.Moment, e.Verdict, e.Hash, e.Input, e.Report, e.EngineVersion, e.Policy, e.Survey, versions, e.EvaluatedAt).Scan(&e.ID)
}

const evaluationRow = `e.id, e.plan, e.version, e.moment, e.verdict, e.hash, e.input, e.report, e.engine_version, e.policy, e.survey, e.evaluated_at`

func scanEvaluation(row pgx.CollectableRow) (*Evaluation, error) {
	e := &Evaluation{}
	err := row.Scan(&e.ID, &e.Plan, &e.Version, &e.Moment, &e.Verdict, &e.Hash, &e.Input, &e.Report, &e.EngineVersion, &e.Policy, &e.Survey, &e.EvaluatedAt)
	return e, err
}

// LatestEvaluation is the last stored run of a plan version; ofDecision: the
// run that the last approval or entry rests on. Nil where there is none.
func LatestEvaluation(ctx context.Context, q Querier, id string, version int32, ofDecision bool) (*Evaluation, error) {
	sql := `SELECT ` + evaluationRow + ` FROM evaluation e WHERE e.plan = $1 AND e.version = $2 ORDER BY e.id DESC LIMIT 1`
	if ofDecision {
		sql = `SELECT ` + evaluationRow + ` FROM decision d JOIN evaluation e ON e.id = d.evaluation
WHERE d.plan = $1 AND d.version = $2 AND d.decision IN ('approved', 'rechecked', 'entered') ORDER BY d.id DESC LIMIT 1`
	}
	rows, err := q.Query(ctx, sql, id, version)
	if err != nil {
		return nil, translate(err)
	}
	e, err := pgx.CollectExactlyOneRow(rows, scanEvaluation)
	if errors.Is(err, pgx.ErrNoRows) {
		return nil, nil
	}
	return e, translate(err)
}

// ApprovedEvaluation is the run that the standing approval of a version rests on.
func (tx *Tx) ApprovedEvaluation(ctx context.Context, id string, version int32) (*Evaluation, error) {
	rows, err := tx.Query(ctx, `SELECT `+evaluationRow+` FROM decision d JOIN evaluation e ON e.id = d.evaluation
WHERE d.plan = $1 AND d.version = $2 AND d.decision = 'approved' ORDER BY d.id DESC LIMIT 1`, id, version)
	if err != nil {
		return nil, err
	}
	e, err := pgx.CollectExactlyOneRow(rows, scanEvaluation)
	if errors.Is(err, pgx.ErrNoRows) {
		return nil, nil
	}
	return e, err
}

// Decision is one decision to store.
type Decision struct {
	Plan       string
	Version    int32
	Decision   string
	By         string // empty: the server itself
	Reason     string
	Conditions []string
	Evaluation *Evaluation
}

// AddDecision stores a decision and its event, and gives the record.
func (tx *Tx) AddDecision(ctx context.Context, d Decision) (*lastlightv1.Decision, error) {
	var evaluation any
	out := &lastlightv1.Decision{
		Plan: d.Plan, PlanVersion: d.Version, Decision: d.Decision, DecidedBy: d.By, DecidedAt: timestamppb.New(tx.Now()),
		Reason: d.Reason, Conditions: d.Conditions,
	}
	if e := d.Evaluation; e != nil {
		evaluation = e.ID
		out.ReportHash, out.EngineVersion, out.Policy, out.Survey = e.Hash, e.EngineVersion, e.Policy, fmt.Sprint(e.Survey)
	}
	var id int64
	err := tx.QueryRow(ctx, `
INSERT INTO decision (plan, version, decision, decided_by, decided_at, reason, conditions, evaluation)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8) RETURNING id`,
		d.Plan, d.Version, d.Decision, nullIfEmpty(d.By), tx.Now(), d.Reason, nonNil(d.Conditions), evaluation).Scan(&id)
	if err != nil {
		return nil, err
	}
	out.Id = fmt.Sprint(id)
	tx.Event("plan."+d.Decision, "plan", d.Plan, nil, out)
	return out, nil
}

// ApprovedBy is who approved the version last; "" where nobody did, or the person was erased.
func (s *Store) ApprovedBy(ctx context.Context, plan string, version int32) (string, error) {
	var by string
	err := s.pool.QueryRow(ctx, `
SELECT COALESCE(decided_by, '') FROM decision WHERE plan = $1 AND version = $2 AND decision = 'approved' ORDER BY id DESC LIMIT 1`, plan, version).Scan(&by)
	if errors.Is(err, pgx.ErrNoRows) {
		return "", nil
	}
	return by, translate(err)
}

// ListDecisions gives a page of a plan's decisions, oldest first.
func (s *Store) ListDecisions(ctx context.Context, r *lastlightv1.ListDecisionsRequest) ([]*lastlightv1.Decision, string, error) {
	args := []any{r.Plan}
	after, err := ReadToken("decisions", args, r.PageToken, 1)
	if err != nil {
		return nil, "", err
	}
	from := "0"
	if after != nil {
		from = after[0]
	}
	size := PageSize(r.PageSize)
	rows, err := s.pool.Query(ctx, `
SELECT d.id::text, d.plan, d.version, d.decision, COALESCE(d.decided_by, ''), d.decided_at, d.reason, d.conditions,
       COALESCE(e.hash, ''), COALESCE(e.engine_version, ''), COALESCE(e.policy, ''), COALESCE(e.survey::text, '')
FROM decision d LEFT JOIN evaluation e ON e.id = d.evaluation
WHERE d.plan = $1 AND d.id > $2::bigint ORDER BY d.id LIMIT $3`, r.Plan, from, size+1)
	if err != nil {
		return nil, "", translate(err)
	}
	list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (*lastlightv1.Decision, error) {
		d := &lastlightv1.Decision{}
		var at time.Time
		err := row.Scan(&d.Id, &d.Plan, &d.PlanVersion, &d.Decision, &d.DecidedBy, &at, &d.Reason, &d.Conditions,
			&d.ReportHash, &d.EngineVersion, &d.Policy, &d.Survey)
		d.DecidedAt = timestamppb.New(at)
		return d, err
	})
	if err != nil {
		return nil, "", translate(err)
	}
	list, next := cut(list, size, "decisions", args, func(d *lastlightv1.Decision) []string { return []string{d.Id} })
	return list, next, nil
}

// ErrBooked says that a person or cylinder is bound by another plan at that time.
// The whole transaction is tried again: the engine then sees the other plan and names it.
var ErrBooked = errors.New("bound by another plan")

// Binding is one person or cylinder bound over a closed interval; Until zero: without end.
// In the table a binding without end is a range whose upper end is exclusive: no
// end at all, or the start of the next plan that binds the same subject. Such a
// plan, approved earlier for later, keeps nobody out of the water now; when its
// own entry comes, the engine sees the binding without end and refuses.
type Binding struct {
	Kind    string // person or cylinder
	Subject string
	Duty    string // diver, standby, cover, carried
	From    time.Time
	Until   time.Time
}

// Book replaces what the plan binds, inserting in sorted order.
func (tx *Tx) Book(ctx context.Context, id string, bindings []Binding) error {
	slices.SortFunc(bindings, func(a, b Binding) int {
		return compareStrings(a.Kind+"\x00"+a.Subject+"\x00"+a.Duty, b.Kind+"\x00"+b.Subject+"\x00"+b.Duty)
	})
	if _, err := tx.Exec(ctx, `DELETE FROM booking WHERE plan = $1`, id); err != nil {
		return err
	}
	// An approval that was not used in time binds nobody, whenever the sweep that
	// says so in the register comes by.
	subjects := make([]string, len(bindings))
	for i, b := range bindings {
		subjects[i] = b.Subject
	}
	if _, err := tx.Exec(ctx, `
DELETE FROM booking b USING plan p WHERE p.id = b.plan AND p.state IN ('approved', 'stale') AND p.enter_by < $1 AND b.subject = ANY ($2)`, tx.Now(), subjects); err != nil {
		return err
	}
	for _, b := range bindings {
		_, err := tx.Exec(ctx, `
INSERT INTO booking (plan, kind, subject, duty, during) VALUES ($1, $2, $3, $4, CASE WHEN $6::timestamptz IS NOT NULL THEN tstzrange($5, $6, '[]')
  ELSE tstzrange($5, (SELECT min(lower(during)) FROM booking WHERE plan <> $1 AND kind = $2 AND subject = $3 AND lower(during) > $5), '[)') END)`,
			id, b.Kind, b.Subject, b.Duty, b.From, nullIfZero(b.Until))
		if pg, ok := errors.AsType[*pgconn.PgError](err); ok && pg.ConstraintName == "booking_once" {
			return ErrBooked
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// Release frees one person, or with an empty subject everything the plan binds.
func (tx *Tx) Release(ctx context.Context, id, kind, subject string, at time.Time) error {
	if subject == "" {
		_, err := tx.Exec(ctx, `DELETE FROM booking WHERE plan = $1`, id)
		return err
	}
	_, err := tx.Exec(ctx, `UPDATE booking b SET during = `+endsAt+` WHERE plan = $1 AND kind = $3 AND subject = $4`, id, at, kind, subject)
	return err
}

// endsAt is the range of booking b when it ends at $2: never before its start,
// nor into the next plan that binds the subject, whose turn has come by then.
const endsAt = `tstzrange(lower(b.during), GREATEST(lower(b.during), LEAST($2::timestamptz, (
  SELECT min(lower(o.during)) FROM booking o WHERE o.plan <> b.plan AND o.kind = b.kind AND o.subject = b.subject AND lower(o.during) > lower(b.during)) - interval '1 microsecond')), '[]')`

func compareStrings(a, b string) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

// ExpirePlans says in the register which approvals were not used in time, and frees whom they bound; and which are stale because
// a waiver of theirs has run out. It gives their number.
func (s *Store) ExpirePlans(ctx context.Context) (int, error) {
	n := 0
	err := s.serverWrite(ctx, func(ctx context.Context, tx *Tx) error {
		rows, err := tx.Query(ctx, `
SELECT id, version, enter_by < $1 FROM plan
WHERE state IN ('approved', 'stale') AND enter_by < $1 OR state = 'approved' AND waived_until <= $1 ORDER BY id FOR UPDATE SKIP LOCKED LIMIT 100`, tx.Now())
		if err != nil {
			return err
		}
		type ended struct {
			id      string
			version int32
			overdue bool
		}
		list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (e ended, err error) {
			err = row.Scan(&e.id, &e.version, &e.overdue)
			return e, err
		})
		if err != nil {
			return err
		}
		for _, e := range list {
			state, why := "stale", waiverRanOut
			if e.overdue {
				state, why = "expired", notEntered
				tx.Later(`DELETE FROM booking WHERE plan = $1`, e.id)
			}
			tx.Later(`UPDATE plan SET state = $2, state_reasons = state_reasons || $3::text, updated_at = $4 WHERE id = $1`, e.id, state, why, tx.Now())
			tx.Later(`INSERT INTO decision (plan, version, decision, decided_at, reason) VALUES ($1, $2, $3, $4, $5)`, e.id, e.version, state, tx.Now(), why)
			tx.Event("plan."+state, "plan", e.id, nil, nil)
		}
		n = len(list)
		return nil
	})
	return n, err
}

// serverWrite runs a write of the server's own, without a caller's request id.
func (s *Store) serverWrite(ctx context.Context, fn func(context.Context, *Tx) error) error {
	conn, err := s.pool.Acquire(ctx)
	if err != nil {
		return translate(err)
	}
	defer conn.Release()
	tx := &Tx{conn: conn, Mutation: Mutation{Caller: "server"}, now: s.Now().Truncate(time.Microsecond)}
	if _, err := conn.Exec(ctx, `BEGIN`); err != nil {
		return translate(err)
	}
	if err := fn(ctx, tx); err != nil {
		tx.rollback(ctx)
		return translate(err)
	}
	return tx.commit(ctx)
}

// StopDives makes every approved plan stale at once, of one expedition or of
// the club; a coordinator must approve each again, on a report made after the
// stop. It gives their ids, and those of teams in the water whose plans had been
// stopped with them had nobody entered. Plans that could be approved are locked as well: an
// approval under way is waited for and stopped, a later one finds the stop. Of a
// team in the water the stop is noted: its plan stays in the water, and lets
// nobody else in.
func (tx *Tx) StopDives(ctx context.Context, expedition, reason string) (stale, away []string, err error) {
	rows, err := tx.Query(ctx, `
SELECT id, version, state, COALESCE(enter_by < $2, false) FROM plan
WHERE NOT archived AND ($1 = '' OR expedition = $1)
  AND (state IN ('draft', 'submitted', 'refused', 'approved', 'stale') AND COALESCE(enter_by, planned_entry + interval '7 days') >= $2 OR state = 'in_water')
ORDER BY id FOR UPDATE`, expedition, tx.Now())
	if err != nil {
		return nil, nil, err
	}
	type open struct {
		id      string
		version int32
		state   plan.State
		overdue bool
	}
	list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (o open, err error) {
		err = row.Scan(&o.id, &o.version, &o.state, &o.overdue)
		return o, err
	})
	if err != nil {
		return nil, nil, err
	}
	for _, o := range list {
		tx.Later(`UPDATE plan SET stops = stops + 1 WHERE id = $1`, o.id)
		why := divesStopped
		switch o.state {
		case plan.Approved, plan.Stale:
			stale = append(stale, o.id)
			tx.Later(`UPDATE plan SET state = 'stale' WHERE id = $1`, o.id)
		case plan.InWater: // the decision and the event tell nobody which
			if o.overdue {
				why = stoppedAway
			} else {
				away = append(away, o.id)
			}
		default:
			continue
		}
		tx.Later(`UPDATE plan SET stopped = true, state_reasons = state_reasons || $2::text, updated_at = $3 WHERE id = $1`, o.id, why+reason, tx.Now())
		tx.Later(`INSERT INTO decision (plan, version, decision, decided_by, decided_at, reason) VALUES ($1, $2, 'stale', $3, $4, $5)`,
			o.id, o.version, tx.Mutation.Caller, tx.Now(), why+reason)
		tx.Event("plan.stopped", "plan", o.id, nil, nil)
	}
	return stale, away, nil
}

// BindAgain binds a diver of a dive in the water without end, after a
// correction said that the diver is not out after all. Where another plan has
// bound the person meanwhile both stand: what is true about who is in the water
// is never refused for the sake of a plan.
func (tx *Tx) BindAgain(ctx context.Context, id, person string) error {
	_, err := tx.Exec(ctx, `
UPDATE booking b SET during = tstzrange(lower(during), (
  SELECT min(lower(o.during)) FROM booking o WHERE o.plan <> b.plan AND o.kind = b.kind AND o.subject = b.subject AND lower(o.during) > lower(b.during)), '[)')
WHERE plan = $1 AND kind = 'person' AND subject = $2 AND upper_inc(during)`, id, person)
	return err
}

// ReleaseRest ends at that minute whatever of the plan is still bound without end.
func (tx *Tx) ReleaseRest(ctx context.Context, id string, at time.Time) error {
	_, err := tx.Exec(ctx, `UPDATE booking b SET during = `+endsAt+` WHERE plan = $1 AND NOT upper_inc(during)`, id, at)
	return err
}
