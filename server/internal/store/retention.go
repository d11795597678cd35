package store

import (
	"context"
	"fmt"
	"strconv"
	"time"

	"github.com/jackc/pgx/v5"

	"lastlight/engine/finding"
	"lastlight/engine/policy"
)

// Retained is what became of one kind of record by the club's policy.
type Retained struct {
	Kind   string
	Keep   string    // how long, in words
	Before time.Time // what ended earlier goes; zero: nothing goes
	Gone   int       // records
	Why    string    // why nothing goes, where that is not the time
}

// Retention is the outcome of a run.
type Retention struct {
	Policy   string
	Citation finding.Citation
	Frozen   []string // open incidents: nothing goes while there is one
	Kinds    []Retained
	Answers  int // kept for repeated calls, and too old for that
}

// answersKept is how long the answer to a call is kept for whoever asks again: a device that was out of reach does so after an
// expedition at the latest. That the call was carried out is known for ever, so that it is never carried out twice. An answer is a
// copy of records and no record: it goes whether an incident is open or not, and outlives none by more than this.
const answersKept = 30 * 24 * time.Hour

// purge takes out what of a kind ended before $1. doomed gives the ids and locks them; the statements take $1, the ids, children first.
type purge struct {
	roots  map[string]string // by table: the ids, of $1, of what the records belong to; see raise
	event  string            // the kind in the event log: the copies of the records there go too, and the answers that told them; empty: none are kept there
	doomed string
	then   []string
}

// purges are the kinds that can go. What a decision used is kept with it under pseudonyms, so that it can be replayed after the
// records are gone; it goes with its plan. A dive, and the analyses of what was breathed in it, stay with their incident.
var purges = map[string]purge{
	"board": {
		doomed: `SELECT d.id FROM dive d JOIN watch w ON w.dive = d.id WHERE d.state = 'closed' AND d.out_at < $1 ORDER BY d.id FOR UPDATE OF d`,
		then: []string{
			`UPDATE request SET response = NULL WHERE id IN (SELECT request_id FROM event WHERE kind = 'dive' AND record = ANY ($1) AND what LIKE 'watch.%')`,
			`UPDATE dive SET version = version + 1 WHERE id = ANY ($1)`,
			`DELETE FROM watch_fact WHERE dive = ANY ($1)`, `DELETE FROM watch WHERE dive = ANY ($1)`,
		},
	},
	"analysis": {
		event: "analysis",
		roots: map[string]string{"item": `SELECT cylinder FROM analysis WHERE id = ANY ($1)`},
		doomed: `
SELECT a.id FROM analysis a WHERE a.analysed_at < $1 AND NOT EXISTS (
  SELECT FROM incident i JOIN dive d ON d.id = i.dive JOIN plan_item x ON x.plan = d.plan AND x.version = d.plan_version
  WHERE x.item = a.cylinder AND a.analysed_at <= d.entered_at) ORDER BY a.id`,
		then: []string{`DELETE FROM analysis WHERE id = ANY ($1)`},
	},
	"incident": {
		event:  "incident",
		doomed: `SELECT id FROM incident WHERE state = 'closed' AND happened_at < $1 ORDER BY id`,
		then:   []string{`DELETE FROM incident_person WHERE incident = ANY ($1)`, `DELETE FROM incident_former WHERE incident = ANY ($1)`, `DELETE FROM incident WHERE id = ANY ($1)`},
	},
	"dive": {
		event: "dive",
		roots: map[string]string{
			"person": `SELECT person FROM dive_diver WHERE dive = ANY ($1)`,
			"site":   `SELECT site FROM dive WHERE id = ANY ($1) UNION SELECT site FROM left_item WHERE dive = ANY ($1) OR recovered_in_dive = ANY ($1)`,
		},
		doomed: `
SELECT d.id FROM dive d WHERE d.state = 'closed' AND d.out_at < $1 AND NOT EXISTS (SELECT FROM incident i WHERE i.dive = d.id) ORDER BY d.id FOR UPDATE OF d`,
		then: []string{
			`DELETE FROM watch_fact WHERE dive = ANY ($1)`, `DELETE FROM watch WHERE dive = ANY ($1)`, `DELETE FROM dive_former WHERE dive = ANY ($1)`,
			`UPDATE left_item SET dive = NULL WHERE dive = ANY ($1)`, `UPDATE left_item SET recovered_in_dive = NULL WHERE recovered_in_dive = ANY ($1)`,
			`DELETE FROM dive_diver WHERE dive = ANY ($1)`, `DELETE FROM dive WHERE id = ANY ($1)`,
		},
	},
	"plan": {
		event: "plan",
		doomed: `
SELECT p.id FROM plan p WHERE p.planned_entry < $1 AND p.state <> 'in_water' AND NOT EXISTS (SELECT FROM dive d WHERE d.plan = p.id) ORDER BY p.id FOR UPDATE OF p`,
		then: []string{
			`DELETE FROM booking WHERE plan = ANY ($1)`, `DELETE FROM waiver WHERE plan = ANY ($1)`, `DELETE FROM acknowledgement WHERE plan = ANY ($1)`, `DELETE FROM decision WHERE plan = ANY ($1)`,
			`DELETE FROM evaluation WHERE plan = ANY ($1)`, `DELETE FROM plan_item WHERE plan = ANY ($1)`, `DELETE FROM plan_person WHERE plan = ANY ($1)`,
			`DELETE FROM plan_version WHERE plan = ANY ($1)`, `DELETE FROM plan WHERE id = ANY ($1)`,
		},
	},
	// One that waits stays; so does one whose week may still run, or its person would be written to twice.
	"letter": {
		doomed: `SELECT id::text FROM letter WHERE state <> 'queued' AND done_at < $1 AND period < $1::timestamptz::date - 7 ORDER BY id FOR UPDATE`,
		then:   []string{`DELETE FROM letter WHERE id = ANY ($1::text[]::uuid[])`},
	},
}

// purgeOrder is the order in which kinds go: an incident holds its dive, a dive its plan.
var purgeOrder = []string{"board", "analysis", "incident", "dive", "plan", "letter"}

// staying says why a kind of the policy's table is not taken out.
var staying = map[string]string{
	"medical_form": "no form is on record: status and days alone, replaced by the next",
	"equipment":    "it is named by fills, services and plans; of people it says who owns it",
}

// Retain takes out what the policy in force keeps no longer; nothing while an incident is open, and nothing in a dry run, which
// counts what would go. Everything in one transaction.
func (s *Store) Retain(ctx context.Context, dry bool) (*Retention, error) {
	out := &Retention{}
	run := func(ctx context.Context, tx *Tx) error { return retain(ctx, tx, out) }
	if dry {
		return out, s.Try(ctx, "server", run)
	}
	return out, s.serverWrite(ctx, run)
}

func retain(ctx context.Context, tx *Tx, out *Retention) error {
	// Nobody opens an incident meanwhile, and no two runs meet.
	if _, err := tx.Exec(ctx, `LOCK TABLE incident IN SHARE ROW EXCLUSIVE MODE`); err != nil {
		return err
	}
	if _, err := tx.Exec(ctx, `SET LOCAL lastlight.retention = 'on'`); err != nil {
		return err
	}
	id, p, err := policyNamed(ctx, tx, "", tx.Now())
	if err != nil {
		return err
	}
	out.Policy = id
	out.Citation, _ = p.CitationFor("retention")
	tag, err := tx.Exec(ctx, `UPDATE request SET response = NULL WHERE response IS NOT NULL AND at < $1`, tx.Now().Add(-answersKept))
	if err != nil {
		return err
	}
	out.Answers = int(tag.RowsAffected())
	if out.Frozen, err = collectIDs(ctx, tx, `SELECT id FROM incident WHERE state = 'open' ORDER BY id`); err != nil {
		return err
	}
	raised := map[string][]string{}
	cells := map[string]policy.Retention{}
	for _, cell := range p.Retention {
		cells[cell.Record] = cell
		if _, known := purges[cell.Record]; !known {
			out.Kinds = append(out.Kinds, Retained{Kind: cell.Record, Keep: kept(cell), Why: staying[cell.Record]})
		}
	}
	for _, kind := range purgeOrder {
		cell, told := cells[kind]
		line := Retained{Kind: kind, Keep: kept(cell)}
		switch {
		case !told:
			line.Keep, line.Why = "for ever", "the policy does not say"
		case cell.Months == 0 && cell.Days == 0:
		default:
			line.Before = tx.Now().AddDate(0, -cell.Months, -cell.Days)
			if len(out.Frozen) > 0 {
				line.Why = "an incident is open"
			} else if line.Gone, err = purges[kind].run(ctx, tx, line.Before, raised); err != nil {
				return fmt.Errorf("retention of %s: %w", kind, err)
			}
		}
		if line.Gone > 0 {
			tx.Event("retention."+kind, "retention", strconv.Itoa(line.Gone)+" before "+line.Before.Format(time.DateOnly), nil, nil)
		}
		out.Kinds = append(out.Kinds, line)
	}
	return raise(ctx, tx, raised)
}

// raise raises the versions of what the records belonged to: nobody writes them back from what was read before. It comes last and in
// the order of locks everywhere, people, site, items, so that a run that takes minutes holds nobody up at the water.
func raise(ctx context.Context, tx *Tx, roots map[string][]string) error {
	for _, table := range []string{"person", "site", "item"} {
		name := pgx.Identifier{table}.Sanitize()
		if _, err := tx.Exec(ctx, `UPDATE `+name+` SET version = version + 1 WHERE id IN (SELECT id FROM `+name+` WHERE id = ANY ($1) ORDER BY id FOR NO KEY UPDATE)`, sortedSet(roots[table])); err != nil {
			return err
		}
	}
	return nil
}

func kept(cell policy.Retention) string {
	var text string
	switch {
	case cell.Months > 0:
		text = strconv.Itoa(cell.Months) + " months"
	case cell.Days > 0:
		text = strconv.Itoa(cell.Days) + " days"
	default:
		return "for ever"
	}
	if cell.After != "" {
		text += " after " + cell.After
	}
	return text
}

func (p purge) run(ctx context.Context, tx *Tx, before time.Time, raised map[string][]string) (int, error) {
	rows, err := tx.Query(ctx, p.doomed, before)
	if err != nil {
		return 0, err
	}
	ids, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil || len(ids) == 0 {
		return 0, err
	}
	for table, sql := range p.roots {
		roots, err := collectIDs(ctx, tx, sql, ids)
		if err != nil {
			return 0, err
		}
		raised[table] = append(raised[table], roots...)
	}
	for _, sql := range p.then {
		if _, err := tx.Exec(ctx, sql, ids); err != nil {
			return 0, err
		}
	}
	if p.event != "" {
		// The answers to the calls that wrote them say the same again.
		if _, err := tx.Exec(ctx, `UPDATE request SET response = NULL WHERE id IN (SELECT request_id FROM event WHERE kind = $1 AND record = ANY ($2))`, p.event, ids); err != nil {
			return 0, err
		}
		if _, err := tx.Exec(ctx, `UPDATE event SET before = NULL, after = NULL WHERE kind = $1 AND record = ANY ($2)`, p.event, ids); err != nil {
			return 0, err
		}
	}
	return len(ids), nil
}
