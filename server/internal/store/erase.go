package store

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	"lastlight/engine/policy"
	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/report"
)

// removal is one kind of record that goes with a person.
type removal struct {
	kind, what string
	then       []string // $1: the person, $2: now
	untold     bool     // how many there are would tell something that not everybody who sees the preview may know
}

// removals are what goes, in the order of going. Every table that refers to a person stands here or in remains: a test asks.
var removals = []removal{
	{kind: "health", what: "medical status and restriction code, whatever is on record", then: []string{`DELETE FROM medical_status WHERE person = $1`}, untold: true},
	{kind: "contacts", what: "emergency contacts and telephone, whatever is on record", then: []string{`DELETE FROM emergency_contact WHERE person = $1`}, untold: true},
	{kind: "card", what: "training cards and who saw them", then: []string{`DELETE FROM card WHERE person = $1`}},
	{kind: "token", what: "devices: nobody signs in as this person any more", then: []string{`DELETE FROM token WHERE person = $1`}},
	{kind: "role", what: "roles held, and who was named guardian", then: []string{`DELETE FROM role_grant WHERE person = $1 OR of_person = $1`}},
	{kind: "mail", what: "mail address and letters, whatever there is", then: []string{`DELETE FROM letter WHERE person = $1`, `DELETE FROM digest WHERE person = $1`}, untold: true},
	{
		kind: "participation", what: "places in expeditions that are not over",
		then: []string{
			`UPDATE expedition t SET version = version + 1, doc = jsonb_set(t.doc, '{participants}',
  (SELECT COALESCE(jsonb_agg(x ORDER BY n), '[]') FROM jsonb_array_elements(t.doc -> 'participants') WITH ORDINALITY AS y (x, n) WHERE x ->> 'person' <> $1))
WHERE t.to_day >= $2::timestamptz::date AND EXISTS (SELECT FROM expedition_participant x WHERE x.expedition = t.id AND x.person = $1)`,
			`DELETE FROM expedition_participant x USING expedition t WHERE t.id = x.expedition AND t.to_day >= $2::timestamptz::date AND x.person = $1`,
		},
	},
	{
		kind: "event", what: "the event log's copies of these, and of the person's own record",
		then: []string{`UPDATE event SET before = NULL, after = NULL WHERE (before IS NOT NULL OR after IS NOT NULL)
  AND (kind = 'person' AND record = $1 OR kind IN ('token', 'role') AND $1 IN (before ->> 'person', after ->> 'person', before ->> 'of_person', after ->> 'of_person'))`},
	},
	{kind: "answer", what: "answers kept for calls that are repeated", then: []string{`UPDATE request SET response = NULL WHERE response IS NOT NULL AND caller = $1`}},
	{kind: "watch", what: "what the person said at signing in and out, whatever there is", then: []string{`UPDATE watch_fact SET doc = '{}' WHERE person = $1 AND doc <> '{}'`}, untold: true},
}

// remain is one kind of record that stays, under the pseudonym, and why.
type remain struct {
	kind, what, why string
	cell            string // of the policy's retention; empty: none
	count           string // records and the latest day, of $1, at $2; empty: how many is not told; a dive under way is not among them
}

var remains = []remain{
	{
		"dive", "dives: site, day, times, the dive's depth and zone, who else dived; not this diver's gas, profile or words",
		"they are the others' dives and count for the site", "dive",
		`SELECT count(*), max(d.out_at) FROM dive_diver x JOIN dive d ON d.id = x.dive WHERE x.person = $1 AND (d.state = 'closed' OR d.archived)`,
	},
	{
		"watch", "the board of dives: who was to be seen when, the figures at the entry, seen in and out", "it is the others' board too", "board",
		`SELECT count(DISTINCT w.dive), max(d.out_at) FROM watch w JOIN dive d ON d.id = w.dive WHERE (d.state = 'closed' OR d.archived) AND (w.cover = $1 OR EXISTS (SELECT FROM dive_diver x WHERE x.dive = d.id AND x.person = $1))`,
	},
	{
		"expedition", "places in expeditions that are over", "who was there", "",
		`SELECT count(*), NULL::timestamptz FROM expedition_participant x JOIN expedition t ON t.id = x.expedition WHERE x.person = $1 AND t.to_day < $2::timestamptz::date`,
	},
	{
		"plan", "plans, every version, and what was decided about them, with the values used: date of birth, cards, dates and limits of fitness, consumption, dives before",
		"a decision is replayed to the same bytes from them; they stand under the pseudonym", "plan",
		`SELECT count(DISTINCT x.plan), max(p.planned_entry) FROM plan_person x JOIN plan p ON p.id = x.plan WHERE x.person = $1`,
	},
	{
		"title", "evaluations in whose input a title that somebody typed, as of a reel, holds the name", "they are replayed to the same bytes, and go with their plan", "plan",
		`SELECT count(*), max(e.evaluated_at) FROM evaluation e JOIN person p ON p.id = $1
WHERE EXISTS (SELECT FROM plan_person x WHERE x.plan = e.plan AND x.person = $1) AND position(lower(p.full_name) IN lower(convert_from(e.input, 'UTF8'))) > 0`,
	},
	{"incident", "incident reports, if there are any, with the place in them as \"diver N\"", "what was learned belongs to everybody's safety", "incident", ""},
	{
		"decision", "decisions taken, waivers given or withdrawn, plans agreed to", "whoever dived on them can ask why", "plan",
		`SELECT count(*), max(at) FROM (SELECT decided_at AS at FROM decision WHERE decided_by = $1
UNION ALL SELECT waived_at FROM waiver WHERE $1 IN (waived_by, second_approver, withdrawn_by)
UNION ALL SELECT at FROM acknowledgement WHERE person = $1) x`,
	},
	{
		"fact", "readings, fills, analyses, services, hand-overs and surveys recorded", "they are facts of the place and of the gear", "",
		`SELECT count(*), max(at) FROM (SELECT recorded_at AS at FROM reading WHERE read_by = $1 UNION ALL SELECT recorded_at FROM fill WHERE filled_by = $1
UNION ALL SELECT recorded_at FROM analysis WHERE analysed_by = $1 UNION ALL SELECT recorded_at FROM service_event WHERE recorded_by = $1
UNION ALL SELECT recorded_at FROM custody_event WHERE recorded_by = $1 UNION ALL SELECT recorded_at FROM survey WHERE recorded_by = $1
UNION ALL SELECT recorded_at FROM line_damage WHERE reported_by = $1) x`,
	},
	{
		"gear", "gear owned: take it out of the register, or give it another owner first", "fills, services and plans name it", "equipment",
		`SELECT count(*), NULL::timestamptz FROM item WHERE owner = $1 AND NOT archived`,
	},
	{
		"held", "gear handed over to this person: have it handed back first", "somebody has it", "",
		`SELECT count(*), NULL::timestamptz FROM holding WHERE holder = $1 AND owner IS DISTINCT FROM $1`,
	},
	{
		"left", "what lies in a cave in this name: let somebody else answer for it first", "it lies there until it is recovered", "",
		`SELECT count(*), NULL::timestamptz FROM left_item WHERE owner = $1 AND recovered_at IS NULL`,
	},
	{
		"read", "who was shown what of this person, and what this person was shown of others", "the others' right to know; nothing of what was shown stands there", "",
		`SELECT count(*), max(at) FROM data_read WHERE person = $1 OR who = $1`,
	},
	{
		"log", "that something was done, when and to which record", "the log of the club's doings has no gaps", "",
		`SELECT count(*), max(at) FROM event WHERE who = $1`,
	},
	{
		"policy", "policies and own rules drafted or adopted, with what they say and cite", "decisions rest on them, word by word", "",
		`SELECT count(*), NULL::timestamptz FROM policy p WHERE $1 IN (created_by, adopted_by) OR EXISTS (SELECT FROM person x WHERE x.id = $1 AND position(lower(x.full_name) IN lower(p.doc::text)) > 0)`,
	},
	{
		"key", "keys of gear, plans, dives and other records in which the club has put the key of this person", "other records and decisions name them", "",
		`SELECT count(*), NULL::timestamptz FROM (SELECT id FROM item UNION ALL SELECT id FROM cylinder_set UNION ALL SELECT id FROM plan UNION ALL SELECT id FROM dive
UNION ALL SELECT id FROM incident UNION ALL SELECT id FROM expedition UNION ALL SELECT id FROM site UNION ALL SELECT id FROM permit) x WHERE x.id ~ ('(^|-)' || $1 || '(-|$)')`,
	},
	{"word", "a first or short name, initials on a marker, a maker that is called the same, and whatever else does not say the full name, in texts that are not about this person", "nobody can tell whom it means", "", ""},
}

// hindrances are why an erasure waits: a code and whether it is so, of $1.
var hindrances = []struct{ code, sql string }{
	{"frozen", `SELECT EXISTS (SELECT FROM incident WHERE state = 'open') AND $1 <> ''`},
	// One code for both: who reads the preview may not know who is away.
	{"planned", `SELECT EXISTS (SELECT FROM plan p JOIN plan_person x ON x.plan = p.id AND x.version = p.version
  WHERE x.person = $1 AND p.state IN ('approved', 'stale', 'in_water') AND NOT p.archived)
OR EXISTS (SELECT FROM dive d LEFT JOIN watch w ON w.dive = d.id WHERE d.state <> 'closed' AND NOT d.archived
  AND (w.cover = $1 OR EXISTS (SELECT FROM dive_diver x WHERE x.dive = d.id AND x.person = $1)))`},
	{"guardian", `SELECT EXISTS (SELECT FROM person w WHERE w.guardian = $1 AND NOT w.archived)
  OR EXISTS (SELECT FROM role_grant g JOIN person w ON w.id = g.of_person WHERE g.person = $1 AND g.revoked_at IS NULL AND NOT w.archived)`},
	{"last_of_committee", `SELECT EXISTS (SELECT FROM role_grant WHERE person = $1 AND role = 'committee' AND revoked_at IS NULL)
  AND NOT EXISTS (SELECT FROM role_grant g JOIN person p ON p.id = g.person WHERE g.person <> $1 AND g.role = 'committee' AND g.revoked_at IS NULL AND NOT p.archived)`},
}

// hindered gives the codes of all reasons why a person cannot be erased now.
func hindered(ctx context.Context, q Querier, person string) ([]string, error) {
	var codes []string
	for _, h := range hindrances {
		var so bool
		if err := q.QueryRow(ctx, h.sql, person).Scan(&so); err != nil {
			return nil, fmt.Errorf("whether erasing is %s: %w", h.code, err)
		}
		if so {
			codes = append(codes, h.code)
		}
	}
	return codes, nil
}

// erase takes everything of a person out but what the records of others need, which stays under the pseudonym, and says both. The
// person's root is locked by the caller. Whoever only asks rolls it back; while the erasure is hindered the key stays and the texts
// are not gone through, for nothing is to wait at the water for an answer to a question.
func (tx *Tx) erase(ctx context.Context, id string, hindered bool) (*lastlightv1.ErasurePreview, *eraser, error) {
	var pseudonym, full, short string
	var version int64
	var numbers []string
	err := tx.QueryRow(ctx, `
SELECT pseudonym, full_name, COALESCE(doc ->> 'short_name', ''),
  array_remove(ARRAY[telephone, (SELECT address FROM digest WHERE person = $1)] || ARRAY (SELECT number FROM card WHERE person = $1), NULL), version FROM person WHERE id = $1`, id).
		Scan(&pseudonym, &full, &short, &numbers, &version)
	if err != nil {
		return nil, nil, err
	}
	// How long all of it may take says the call; a log of many years is one statement.
	if _, err := tx.Exec(ctx, `SET LOCAL lastlight.retention = 'on'; SET LOCAL statement_timeout = 0`); err != nil {
		return nil, nil, err
	}
	governs, in, err := policyNamed(ctx, tx, "", tx.Now())
	if err != nil {
		return nil, nil, err
	}
	out := &lastlightv1.ErasurePreview{Person: id, Pseudonym: pseudonym, Policy: governs}
	if out.Stays, err = whatStays(ctx, tx, id, in, tx.Now()); err != nil {
		return nil, nil, err
	}
	out.Goes = append(out.Goes, &lastlightv1.ErasureLine{Kind: "person", What: "name, key, date of birth, guardian, consumption, days away, arrivals", Records: 1})
	for _, r := range removals {
		n := 0
		for _, sql := range r.then {
			args := []any{id}
			if strings.Contains(sql, "$2") {
				args = append(args, tx.Now())
			}
			tag, err := tx.Exec(ctx, sql, args...)
			if err != nil {
				return nil, nil, fmt.Errorf("erasing %s: %w", r.kind, err)
			}
			n = int(tag.RowsAffected()) // of the last: what comes before it follows it
		}
		line := &lastlightv1.ErasureLine{Kind: r.kind, What: r.what, Records: int32(n)}
		if r.untold {
			line.Records, line.Untold = 0, true
		}
		if n > 0 || r.untold {
			out.Goes = append(out.Goes, line)
		}
	}
	e := newEraser(id, strings.ToLower(pseudonym), pseudonym, full, short, numbers...)
	e.version = version
	if hindered {
		return out, e, nil
	}
	if err := tx.renamePerson(ctx, e); err != nil {
		return nil, nil, err
	}
	n, err := tx.eraseTexts(ctx, e)
	if err != nil {
		return nil, nil, err
	}
	dives, err := tx.eraseDives(ctx, e)
	if err != nil {
		return nil, nil, err
	}
	if n += dives; n > 0 {
		out.Goes = append(out.Goes, &lastlightv1.ErasureLine{Kind: "text", What: "the key, the name in notes and titles, and the diver's own values, in records that stay", Records: int32(n)})
	}
	return out, e, nil
}

func whatStays(ctx context.Context, q Querier, id string, in *policy.Policy, now time.Time) ([]*lastlightv1.ErasureLine, error) {
	cells := map[string]policy.Retention{}
	for _, c := range in.Retention {
		cells[c.Record] = c
	}
	var out []*lastlightv1.ErasureLine
	for _, r := range remains {
		line := &lastlightv1.ErasureLine{Kind: r.kind, What: r.what, Why: r.why, Untold: r.count == ""}
		var last *time.Time
		if r.count != "" {
			args := []any{id}
			if strings.Contains(r.count, "$2") {
				args = append(args, now)
			}
			if err := q.QueryRow(ctx, r.count, args...).Scan(&line.Records, &last); err != nil {
				return nil, fmt.Errorf("what stays of %s: %w", r.kind, err)
			}
			if line.Records == 0 {
				continue
			}
		}
		if cell, ok := cells[r.cell]; ok {
			line.Kept = strings.ReplaceAll(kept(cell), "_", " ")
			if by, cited := in.CitationFor("retention[" + cell.Record + "]"); cited {
				line.Citation = report.Citation(by)
			}
			if last != nil && cell.Months+cell.Days > 0 {
				line.Until = last.AddDate(0, cell.Months, cell.Days).UTC().Format(time.DateOnly)
			}
		}
		out = append(out, line)
	}
	return out, nil
}

// renamePerson gives the row the neutral key, which the tables that refer to it follow, and empties it.
func (tx *Tx) renamePerson(ctx context.Context, e *eraser) error {
	doc := stored(&lastlightv1.Person{Id: e.next, FullName: e.pseudonym})
	for _, s := range []struct {
		sql  string
		args []any
	}{
		{`UPDATE person SET guardian = NULL, version = version + 1, updated_at = $2 WHERE guardian = $1`, []any{e.key, tx.Now()}},
		{`UPDATE person SET id = $2, full_name = $3, guest = false, birth_day = NULL, guardian = NULL, telephone = NULL, doc = $4, archived = true, version = version + 1, updated_at = $5
WHERE id = $1`, []any{e.key, e.next, e.pseudonym, doc, tx.Now()}},
		{`UPDATE event SET record = $2 WHERE kind = 'person' AND record = $1`, []any{e.key, e.next}},
		{`UPDATE booking SET subject = $2 WHERE kind = 'person' AND subject = $1`, []any{e.key, e.next}},
		{`UPDATE request SET caller = $2 WHERE caller = $1`, []any{e.key, e.next}},
		// Answers to others, as a list of records that were applied, may name the person.
		{
			`UPDATE request SET response = NULL WHERE response IS NOT NULL AND EXISTS (SELECT FROM unnest($1::text[]) n WHERE position(convert_to(n, 'UTF8') IN response) > 0)`,
			[]any{append(spellings(e.key, e.fullName), e.numbers...)},
		},
		// Few values fit the hash of a call that wrote what is restricted: whoever tries them all would read it.
		{
			`UPDATE request SET response = NULL, body_hash = sha256(convert_to(gen_random_uuid()::text, 'UTF8'))
WHERE caller = $1 OR id IN (SELECT request_id FROM event WHERE kind = 'person' AND record = $1)`,
			[]any{e.next},
		},
		// The lists are in step with the gear's roots.
		{`UPDATE item SET version = version + 1, updated_at = $2 WHERE owner = $1`, []any{e.next, tx.Now()}},
	} {
		if _, err := tx.Exec(ctx, s.sql, s.args...); err != nil {
			return err
		}
	}
	return nil
}

// sparedTables hold nothing typed about a person: the policies are the club's rules, and what they cite has authors.
var sparedTables = []string{"policy", "club", "erasure", "request", "token", "schema_migrations"}

// aboutPerson tells, of a row of a table whose document does not say so, whether it is about the person $2.
var aboutPerson = map[string]string{
	"incident":        `EXISTS (SELECT FROM incident_person x WHERE x.incident = t.id AND x.person = $2) OR t.reported_by = $2`,
	"incident_former": `EXISTS (SELECT FROM incident_person x WHERE x.incident = t.incident AND x.person = $2)`,
	"decision":        `EXISTS (SELECT FROM plan_person x WHERE x.plan = t.plan AND x.person = $2) OR t.decided_by = $2`,
	"waiver":          `EXISTS (SELECT FROM plan_person x WHERE x.plan = t.plan AND x.person = $2) OR t.waived_by = $2`,
	"plan":            `EXISTS (SELECT FROM plan_person x WHERE x.plan = t.id AND x.person = $2)`,
	"watch_fact":      `EXISTS (SELECT FROM dive_diver x WHERE x.dive = t.dive AND x.person = $2)`,
	"item":            `t.owner = $2 OR t.quarantined_by = $2`,
	"reading":         `t.read_by = $2`,
	"line_damage":     `t.reported_by = $2`,
	"analysis":        `t.analysed_by = $2`,
	"fill":            `t.filled_by = $2`,
	"survey":          `t.recorded_by = $2`,
	"custody_event":   `t.recorded_by = $2`,
	"service_event":   `t.recorded_by = $2 OR EXISTS (SELECT FROM item x WHERE x.id = t.item AND x.owner = $2)`,
	"left_item":       `$2 IN (t.owner, t.confirmed_by, t.recovered_by)`,
	"dive_former":     `EXISTS (SELECT FROM dive_diver x WHERE x.dive = t.dive AND x.person = $2)`,
	"card":            `t.seen_by = $2 OR t.revoked_by = $2`,
	"event": `t.kind = 'dive' AND EXISTS (SELECT FROM dive_diver x WHERE x.dive = t.record AND x.person = $2) 
  OR t.kind = 'incident' AND EXISTS (SELECT FROM incident_person x WHERE x.incident = t.record AND x.person = $2)
  OR t.kind = 'plan' AND EXISTS (SELECT FROM plan_person x WHERE x.plan = t.record AND x.person = $2)`,
}

// column is one that may hold words or keys: not one that refers to another table or is a key itself.
type column struct{ table, name, kind string }

const wordyColumns = `
SELECT c.relname, a.attname, y.typname FROM pg_class c
JOIN pg_attribute a ON a.attrelid = c.oid AND a.attnum > 0 AND NOT a.attisdropped
JOIN pg_type y ON y.oid = a.atttypid AND y.typname IN ('text', '_text', 'jsonb')
WHERE c.relnamespace = current_schema()::regnamespace AND c.relkind = 'r' AND NOT c.relname = ANY ($1)
  AND NOT EXISTS (SELECT FROM pg_constraint k WHERE k.conrelid = c.oid AND k.contype IN ('p', 'f') AND a.attnum = ANY (k.conkey))
ORDER BY c.relname, a.attnum`

// eraseTexts goes through every column of every table that may hold a key or words, whatever is added to the schema later, and
// gives the number of rows that it changed.
func (tx *Tx) eraseTexts(ctx context.Context, e *eraser) (int, error) {
	rows, err := tx.Query(ctx, wordyColumns, sparedTables)
	if err != nil {
		return 0, err
	}
	all, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (c column, err error) {
		err = row.Scan(&c.table, &c.name, &c.kind)
		return c, err
	})
	if err != nil {
		return 0, err
	}
	n := 0
	for len(all) > 0 {
		end := 1
		for end < len(all) && all[end].table == all[0].table {
			end++
		}
		changed, err := tx.eraseInTable(ctx, e, all[:end])
		if err != nil {
			return 0, fmt.Errorf("erasing in %s: %w", all[0].table, err)
		}
		n, all = n+changed, all[end:]
	}
	return n, nil
}

// versioned are the roots whose version a client starts an update from.
var versioned = []string{"person", "site", "permit", "cylinder_set", "expedition", "dive", "incident", "item"}

// erasedAtOnce is how many rows are held in memory: a name that is a word of every text is found in every row.
const erasedAtOnce = 500

func (tx *Tx) eraseInTable(ctx context.Context, e *eraser, columns []column) (int, error) {
	table := pgx.Identifier{columns[0].table}.Sanitize()
	var where []string
	for _, c := range columns {
		where = append(where, `t.`+pgx.Identifier{c.name}.Sanitize()+`::text ~* $1`)
	}
	rows, err := tx.Query(ctx, `SELECT t.ctid::text FROM `+table+` t WHERE `+strings.Join(where, " OR ")+` FOR UPDATE OF t`, e.pattern())
	if err != nil {
		return 0, err
	}
	found, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		return 0, err
	}
	n := 0
	for some := range slices.Chunk(found, erasedAtOnce) { // they are locked: each stays where it was found until it is rewritten here
		changed, err := tx.eraseRows(ctx, e, columns, some)
		if err != nil {
			return 0, err
		}
		n += changed
	}
	return n, nil
}

// eraseRows rewrites rows of a table, by where they lie.
func (tx *Tx) eraseRows(ctx context.Context, e *eraser, columns []column, at []string) (int, error) {
	table := pgx.Identifier{columns[0].table}.Sanitize()
	about := aboutPerson[columns[0].table]
	if about == "" {
		about = `false`
	}
	own := `false`
	if columns[0].table == "event" {
		own = `t.kind = 'dive'`
	} else if strings.HasPrefix(columns[0].table, "dive") || columns[0].table == "watch" {
		own = `true`
	}
	var read []string
	for _, c := range columns {
		read = append(read, `to_jsonb(t.`+pgx.Identifier{c.name}.Sanitize()+`)::text`)
	}
	rows, err := tx.Query(ctx, `SELECT t.ctid::text, (`+about+`) AND $2 <> '', `+own+`, ARRAY[`+strings.Join(read, ", ")+`] FROM `+table+` t WHERE t.ctid = ANY ($1::text[]::tid[])`, at, e.next)
	if err != nil {
		return 0, err
	}
	var b pgx.Batch
	var place string
	var isAbout, isOwn bool
	var values []*string
	if _, err := pgx.ForEachRow(rows, []any{&place, &isAbout, &isOwn, &values}, func() error {
		var set []string
		args := []any{place}
		for i, c := range columns {
			if values[i] == nil {
				continue
			}
			field := c.name
			if c.kind == "jsonb" {
				field = ""
			}
			doc, changed, err := e.document([]byte(*values[i]), field, isOwn, isAbout)
			if err != nil {
				return err
			}
			if !changed {
				continue
			}
			args = append(args, string(doc))
			value := fmt.Sprintf(`$%d::text::jsonb`, len(args))
			switch c.kind {
			case "text":
				value = `(` + value + ` #>> '{}')`
			case "_text":
				value = `ARRAY (SELECT jsonb_array_elements_text(` + value + `))`
			}
			set = append(set, pgx.Identifier{c.name}.Sanitize()+` = `+value)
		}
		if len(set) == 0 {
			return nil
		}
		if slices.Contains(versioned, columns[0].table) {
			set = append(set, `version = version + 1`)
		}
		b.Queue(`UPDATE `+table+` SET `+strings.Join(set, ", ")+` WHERE ctid = $1::tid`, args...)
		return nil
	}); err != nil {
		return 0, err
	}
	if b.Len() == 0 {
		return 0, nil
	}
	return b.Len(), tx.send(ctx, &b)
}

// eraseDives goes through the records of dives, which are not text: those the person dived in, and those that hold the name.
func (tx *Tx) eraseDives(ctx context.Context, e *eraser) (int, error) {
	rows, err := tx.Query(ctx, `
SELECT d.id, d.record, EXISTS (SELECT FROM dive_diver x WHERE x.dive = d.id AND x.person = $1) FROM dive d
WHERE EXISTS (SELECT FROM dive_diver x WHERE x.dive = d.id AND x.person = $1)
  OR EXISTS (SELECT FROM unnest($2::text[]) n WHERE position(convert_to(n, 'UTF8') IN d.record) > 0) ORDER BY d.id FOR UPDATE OF d`, e.next, spellings(e.needles()...))
	if err != nil {
		return 0, err
	}
	type found struct {
		id     string
		record []byte
		dived  bool
	}
	list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (f found, err error) {
		err = row.Scan(&f.id, &f.record, &f.dived)
		return f, err
	})
	if err != nil {
		return 0, err
	}
	var b pgx.Batch
	for _, f := range list {
		d := &lastlightv1.Dive{}
		if err := proto.Unmarshal(f.record, d); err != nil {
			return 0, fmt.Errorf("dive %s: %w", f.id, err)
		}
		doc, changed, err := e.document(marshalDocument(d), "", true, f.dived)
		if err != nil {
			return 0, err
		}
		if !changed {
			continue
		}
		d = &lastlightv1.Dive{}
		if err := protojson.Unmarshal(doc, d); err != nil {
			return 0, fmt.Errorf("dive %s: %w", f.id, err)
		}
		record, err := proto.Marshal(d)
		if err != nil {
			return 0, err
		}
		b.Queue(`UPDATE dive SET record = $2, version = version + 1, updated_at = $3 WHERE id = $1`, f.id, record, tx.Now())
	}
	// What the columns beside the record say of the diver alone.
	b.Queue(`UPDATE dive_diver SET counted_as = '', used = '{}' WHERE person = $1 AND (counted_as <> '' OR used <> '{}')`, e.next)
	n := b.Len() - 1
	return n, tx.send(ctx, &b)
}
