package store

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/proto"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/message"
)

var dives = aggregate[*lastlightv1.Dive]{
	kind:   "dive",
	load:   loadDive,
	insert: insertPastDive,
	update: updateDive,
	remark: remarkDive,
}

// loading are the fields of a dive by which it loads its divers.
var loading = []string{"entered_at", "out_at", "site", "max_depth_m", "divers"}

// longestAgo is how far back any policy may ask for earlier dives: a log of years is read in without a question for each dive.
const longestAgo = 720 * time.Hour

func remarkDive(_ context.Context, tx *Tx, _, m *lastlightv1.Dive, changes []string) error {
	if slices.ContainsFunc(changes, func(path string) bool { return slices.Contains(loading, fieldOf(path)) }) {
		tx.unforeseen(m)
	}
	return nil
}

// unforeseen marks the plans whose divers a dive loads that nobody planned. It does so at the end: the dive's people and site are
// locked then, and plans come after them, as in decisions.
func (tx *Tx) unforeseen(m *lastlightv1.Dive) {
	if tx.Now().Sub(m.OutAt.AsTime()) > longestAgo {
		return
	}
	tx.atEnd = append(tx.atEnd, func(ctx context.Context) error {
		if err := tx.Flush(ctx); err != nil {
			return err
		}
		return tx.MarkStale(ctx, "dive", m.Id, "a dive without a plan was recorded of a diver of the team")
	})
}

// insertPastDive writes a dive that was dived without the register. The dive of a plan has the plan's own id, which nobody takes
// before its team has entered: it could not be signed in.
func insertPastDive(ctx context.Context, tx *Tx, m *lastlightv1.Dive) error {
	var awaited bool
	if err := tx.QueryRow(ctx, `
SELECT EXISTS (SELECT FROM plan WHERE id = $1 AND (planned_entry > $2 OR state IN ('submitted', 'approved', 'stale', 'in_water')))`,
		m.Id, tx.Now()).Scan(&awaited); err != nil {
		return err
	}
	if awaited {
		return fault.Taken("dive", m.Id)
	}
	tx.unforeseen(m)
	return insertDive(ctx, tx, m, "closed")
}

func scanDive(row pgx.CollectableRow) (*lastlightv1.Dive, error) {
	var r diveRow
	if err := row.Scan(r.targets()...); err != nil {
		return nil, err
	}
	return r.dive()
}

func loadDive(ctx context.Context, q Querier, id string, lock bool) (*lastlightv1.Dive, bool, error) {
	sql := `SELECT ` + diveColumns + ` FROM dive d WHERE d.id = $1`
	if lock {
		sql += ` FOR UPDATE`
	}
	rows, err := q.Query(ctx, sql, id)
	if err != nil {
		return nil, false, err
	}
	m, err := pgx.CollectExactlyOneRow(rows, scanDive)
	if errors.Is(err, pgx.ErrNoRows) {
		return nil, false, nil
	}
	return m, err == nil, err
}

// diveRecord is what is stored of a dive: a list sends it as it is, so it says of times what the columns can hold.
func diveRecord(m *lastlightv1.Dive) ([]byte, error) {
	m = message.ForFile(m)
	m.EnteredAt, m.OutAt = toMicrosecond(m.EnteredAt), toMicrosecond(m.OutAt)
	return proto.Marshal(m)
}

// insertDive writes a dive in a state; one in the water has no end yet.
func insertDive(ctx context.Context, tx *Tx, m *lastlightv1.Dive, state string) error {
	var out any
	if m.OutAt != nil {
		out = m.OutAt.AsTime()
	}
	var planVersion any
	if m.Plan != "" {
		planVersion = m.PlanVersion
	}
	record, err := diveRecord(m)
	if err != nil {
		return err
	}
	line, err := proto.Marshal(diveLine(m))
	if err != nil {
		return err
	}
	_, err = tx.Exec(ctx, `
INSERT INTO dive (id, site, plan, plan_version, expedition, kind, state, entered_at, out_at, max_depth_m, penetration_m, zone, taught_level, record, recorded_by, recorded_at, updated_at, line)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $16, $17)`,
		m.Id, m.Site, nullIfEmpty(m.Plan), planVersion, nullIfEmpty(m.Expedition), m.Kind, state, m.EnteredAt.AsTime(), out,
		m.MaxDepthM, m.PenetrationM, nullIfEmpty(m.Zone), m.TaughtLevel, record, tx.Mutation.Caller, tx.Now(), line)
	if err != nil {
		return err
	}
	return putDiveChildren(ctx, tx, m, state)
}

func updateDive(ctx context.Context, tx *Tx, before, m *lastlightv1.Dive) error {
	if before.State != "closed" {
		return fault.NotInState("dive", m.Id, before.State, "closed")
	}
	tx.Later(`INSERT INTO dive_former (dive, version, doc, changed_at, changed_by) VALUES ($1, $2, $3, $4, $5)`,
		m.Id, before.Version, stored(before), tx.Now(), tx.Mutation.Caller)
	return writeDive(ctx, tx, before, m, "closed")
}

// writeDive writes a changed dive over the one before. The plan that it was dived on stays.
func writeDive(ctx context.Context, tx *Tx, before, m *lastlightv1.Dive, state string) error {
	m.Plan, m.PlanVersion = before.Plan, before.PlanVersion
	record, err := diveRecord(m)
	if err != nil {
		return err
	}
	line, err := proto.Marshal(diveLine(m))
	if err != nil {
		return err
	}
	_, err = tx.Exec(ctx, `
UPDATE dive SET site = $2, expedition = $3, kind = $4, state = $5, entered_at = $6, out_at = $7, max_depth_m = $8, penetration_m = $9, zone = $10,
  taught_level = $11, record = $12, version = version + 1, updated_at = $13, line = $14 WHERE id = $1`,
		m.Id, m.Site, nullIfEmpty(m.Expedition), m.Kind, state, m.EnteredAt.AsTime(), m.OutAt.AsTime(), m.MaxDepthM, m.PenetrationM, nullIfEmpty(m.Zone), m.TaughtLevel, record, tx.Now(), line)
	if err != nil {
		return err
	}
	if _, err := tx.Exec(ctx, `DELETE FROM dive_diver WHERE dive = $1`, m.Id); err != nil {
		return err
	}
	return putDiveChildren(ctx, tx, m, state)
}

// putDiveChildren writes who dived, bumping each person's root first (the dive
// counts for their currency), and the site's; what stays behind is written once.
func putDiveChildren(ctx context.Context, tx *Tx, m *lastlightv1.Dive, state string) error {
	people := make([]string, len(m.Divers))
	for i, d := range m.Divers {
		people[i] = d.Person
	}
	if people = tx.notRaised("person", people); len(people) > 0 {
		if _, err := tx.Exec(ctx, `SELECT id FROM person WHERE id = ANY ($1) ORDER BY id FOR UPDATE`, people); err != nil {
			return err
		}
		tx.Later(`UPDATE person SET version = version + 1 WHERE id = ANY ($1)`, people)
	}
	if site := tx.notRaised("site", []string{m.Site}); len(site) > 0 {
		tx.Later(`UPDATE site SET version = version + 1 WHERE id = ANY ($1)`, site)
	}
	for _, d := range m.Divers {
		if _, err := tx.Exec(ctx, `
INSERT INTO dive_diver (dive, person, entered_at, site, counted_as, instructor, used, doc) VALUES ($1, $2, $3, $4, $5, $6, $7, $8)`,
			m.Id, d.Person, m.EnteredAt.AsTime(), m.Site, d.CountedAs, d.Instructor, nonNil(d.Used), marshalDocument(message.ForFile(d))); err != nil {
			return err
		}
	}
	if state != "closed" {
		return nil
	}
	for _, l := range m.Left {
		var removeBy any
		if l.RemoveBy != "" {
			removeBy = l.RemoveBy
		}
		id := m.Id + "/" + l.Kind + "/" + l.Place
		if l.Item != "" {
			id += "/" + l.Item
		}
		entered, err := tx.Exec(ctx, `
INSERT INTO left_item (id, site, dive, kind, place, item, owner, left_at, remove_by) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9) ON CONFLICT (id) DO NOTHING`,
			id, m.Site, m.Id, l.Kind, l.Place, l.Item, l.Owner, m.OutAt.AsTime(), removeBy)
		if err != nil {
			return err
		}
		if l.Kind == "cylinder" && entered.RowsAffected() > 0 {
			if err := tx.leftByDive(ctx, &lastlightv1.CustodyEvent{Item: l.Item, Kind: "waiting_in_cave", At: m.OutAt, Site: m.Site, Place: l.Place, RemoveBy: l.RemoveBy, Dive: m.Id}); err != nil {
				return err
			}
		}
	}
	return nil
}

// notRaised gives, sorted, the roots whose version this transaction has not
// raised yet, and takes them as raised. Once is enough for whoever reads or
// locks them, and a file with thousands of dives of one person would leave as
// many dead versions of one row for each next statement to wade through.
func (tx *Tx) notRaised(table string, ids []string) []string {
	if tx.raised == nil {
		tx.raised = map[string]bool{}
	}
	var out []string
	for _, id := range sortedSet(ids) {
		if key := table + " " + id; !tx.raised[key] {
			tx.raised[key] = true
			out = append(out, id)
		}
	}
	return out
}

// PutDive records a past dive, or corrects a recorded one: the former record is kept.
func (tx *Tx) PutDive(ctx context.Context, m *lastlightv1.Dive, expect Expect, guards ...Guard[*lastlightv1.Dive]) (Put[*lastlightv1.Dive], error) {
	if err := checkDiveReferences(ctx, tx, m); err != nil {
		return Put[*lastlightv1.Dive]{}, err
	}
	return dives.put(ctx, tx, m, expect, guards...)
}

// checkDiveReferences finds every leg, station and survey in the dive that the site does not have.
func checkDiveReferences(ctx context.Context, tx *Tx, m *lastlightv1.Dive) error {
	if m.Survey == 0 && len(m.Legs) == 0 && m.MarkerStation == "" {
		return nil
	}
	survey, err := getSurvey(ctx, tx, m.Site, m.Survey)
	if err != nil {
		if fault.Is(err, fault.NotFound) {
			return fault.Wrong([]fault.Problem{{Field: "survey", Expected: "a survey of the site, on which legs and stations are named", Message: "the site has no such survey"}})
		}
		return err
	}
	return fault.Wrong(diveProblems(m, survey))
}

// GetDive reads a dive.
func (s *Store) GetDive(ctx context.Context, id string) (*lastlightv1.Dive, error) {
	return dives.get(ctx, s.pool, id)
}

// ArchiveDive takes a dive out of lists and of every count; the row stays.
func (tx *Tx) ArchiveDive(ctx context.Context, id string) (*lastlightv1.Dive, error) {
	m, err := dives.archive(ctx, tx, "dive", id)
	if err != nil {
		return nil, err
	}
	for _, d := range m.Divers {
		tx.Later(`UPDATE person SET version = version + 1 WHERE id = $1`, d.Person)
	}
	return m, nil
}

func diveProblems(m *lastlightv1.Dive, survey *lastlightv1.Survey) []fault.Problem {
	legs, stations := map[string]bool{}, map[string]bool{}
	for _, l := range survey.Legs {
		legs[l.Id] = true
	}
	for _, st := range survey.Stations {
		stations[st.Id] = true
	}
	var problems []fault.Problem
	missing := func(field, id, kind string) {
		problems = append(problems, fault.Problem{Field: field, Read: id, Expected: fmt.Sprintf("a %s of survey %d of the site", kind, survey.Number), Message: fmt.Sprintf("the survey has no %s %q", kind, id)})
	}
	for i, l := range m.Legs {
		if !legs[l.Leg] {
			missing(fmt.Sprintf("legs[%d].leg", i), l.Leg, "leg")
		}
	}
	if m.MarkerStation != "" && !stations[m.MarkerStation] {
		missing("marker_station", m.MarkerStation, "station")
	}
	for i, st := range m.OpeningsSeenOpen {
		if !stations[st] {
			missing(fmt.Sprintf("openings_seen_open[%d]", i), st, "station")
		}
	}
	for i, l := range m.Left {
		if l.Kind == "line" && !legs[l.Place] {
			missing(fmt.Sprintf("left[%d].place", i), l.Place, "leg")
		}
		if l.Kind != "line" && !stations[l.Place] {
			missing(fmt.Sprintf("left[%d].place", i), l.Place, "station")
		}
	}
	return problems
}
