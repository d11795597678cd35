package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/types/known/timestamppb"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/fault"
)

// WatchRow is one team's entry in the register, as stored.
type WatchRow struct {
	Dive        *lastlightv1.Dive
	TimeZone    string
	Expedition  string
	Cover       string
	CodeWord    string
	Times       *lastlightv1.WatchTimes
	Figures     []*lastlightv1.DiverFigures
	Emergency   *lastlightv1.EmergencySheet
	Stopped     []string     // why all dives were stopped since the team went in
	Divers      []WatchDiver // in the plan's order
	EnterReport *lastlightv1.DiveFigures
}

// WatchDiver is what stands for one diver: the latest fact of each kind.
type WatchDiver struct {
	Person      string
	Name        string
	InAt        time.Time
	SeenOutAt   time.Time
	SeenOutBy   string
	SignedOutAt time.Time
	SignedOutBy string
	SignedOut   *lastlightv1.DiveDiver // what was said at sign-out
	Corrections []string
}

// OpenWatch enters a dive in the register with its deadlines: all in.
func (tx *Tx) OpenWatch(ctx context.Context, dive *lastlightv1.Dive, times *lastlightv1.WatchTimes, figures *lastlightv1.DiveFigures) error {
	if err := insertDive(ctx, tx, dive, "in_water"); err != nil {
		return err
	}
	doc, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(figures)
	if err != nil {
		return err
	}
	var walk any
	if times.Walk != nil {
		walk = times.Walk.AsTime()
	}
	if _, err := tx.Exec(ctx, `
INSERT INTO watch (dive, cover, eto, look, coordinator, dial, walk, grace_min, gas_clause, figures) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)`,
		dive.Id, nullIfEmpty(dive.Cover), times.Eto.AsTime(), times.Look.AsTime(), times.Coordinator.AsTime(), times.Dial.AsTime(), walk,
		times.GraceMin, times.GasClause, doc); err != nil {
		return err
	}
	for _, d := range dive.Divers {
		tx.Later(`INSERT INTO watch_fact (dive, person, what, at, recorded_by, recorded_at) VALUES ($1, $2, 'in', $3, $4, $5)`,
			dive.Id, d.Person, dive.EnteredAt.AsTime(), tx.Mutation.Caller, tx.Now())
	}
	tx.Event("watch.in", "dive", dive.Id, nil, dive)
	return nil
}

// WatchFact is one fact of the register: in, seen_out or signed_out. At zero
// in a correction: it did not happen.
type WatchFact struct {
	Dive       string
	Person     string
	What       string
	At         time.Time
	Correction bool
	Reason     string
	Said       *lastlightv1.DiveDiver // at sign-out: end pressure, depth, symptoms yes or no
}

// AddWatchFact writes the fact beside those that stand; none is ever changed.
func (tx *Tx) AddWatchFact(ctx context.Context, f WatchFact) error {
	said := []byte(`{}`)
	if f.Said != nil {
		said = marshalDocument(f.Said)
	}
	_, err := tx.Exec(ctx, `
INSERT INTO watch_fact (dive, person, what, at, correction, reason, doc, recorded_by, recorded_at) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)`,
		f.Dive, f.Person, f.What, nullIfZero(f.At), f.Correction, f.Reason, said, tx.Mutation.Caller, tx.Now())
	if err != nil {
		return err
	}
	what := "watch." + f.What
	if f.Correction {
		what = "watch.correct"
	}
	tx.Event(what, "dive", f.Dive, nil, nil)
	return nil
}

// LockDive locks a dive's row, so that facts of one dive come one after another.
func (tx *Tx) LockDive(ctx context.Context, id string) (*lastlightv1.Dive, error) {
	m, found, err := loadDive(ctx, tx, id, true)
	if err == nil && !found {
		err = fault.NoSuch("dive", id)
	}
	return m, err
}

// SetDiveState moves a dive of the register between in_water and out. in is the
// first minute of an entry as it stands after corrections; out is the last known
// minute, zero while somebody is in.
func (tx *Tx) SetDiveState(ctx context.Context, id, state string, in, out time.Time) error {
	if _, err := tx.Exec(ctx, `UPDATE dive SET state = $2, entered_at = $3, out_at = $4, version = version + 1, updated_at = $5 WHERE id = $1 AND state <> 'closed'`,
		id, state, in, nullIfZero(out), tx.Now()); err != nil {
		return err
	}
	_, err := tx.Exec(ctx, `UPDATE dive_diver SET entered_at = $2 WHERE dive = $1 AND entered_at <> $2`, id, in)
	return err
}

// CloseDive writes the record of a dive that was in the register.
func (tx *Tx) CloseDive(ctx context.Context, before, m *lastlightv1.Dive) (*lastlightv1.Dive, error) {
	if err := checkDiveReferences(ctx, tx, m); err != nil {
		return nil, err
	}
	if err := writeDive(ctx, tx, before, m, "closed"); err != nil {
		return nil, err
	}
	tx.Event("dive.close", "dive", m.Id, before, m)
	if err := tx.Flush(ctx); err != nil {
		return nil, err
	}
	after, _, err := loadDive(ctx, tx, m.Id, false)
	return after, err
}

// Watch reads one entry of the register.
func Watch(ctx context.Context, q Querier, dive string) (*WatchRow, error) {
	list, err := watches(ctx, q, `d.id = $1`, dive)
	if err != nil {
		return nil, err
	}
	if len(list) == 0 {
		return nil, fault.NoSuch("dive in the register", dive)
	}
	return list[0], nil
}

// Watch reads one entry of the register inside the transaction.
func (tx *Tx) Watch(ctx context.Context, dive string) (*WatchRow, error) {
	if err := tx.Flush(ctx); err != nil {
		return nil, err
	}
	return Watch(ctx, tx, dive)
}

// RunningWatches reads all entries that are not closed, of one site or
// expedition if named.
func (s *Store) RunningWatches(ctx context.Context, site, expedition string) ([]*WatchRow, error) {
	var list []*WatchRow
	err := s.Read(ctx, func(ctx context.Context, q Querier) error {
		var err error
		list, err = watches(ctx, q, `d.state <> 'closed' AND ($1 = '' OR d.site = $1) AND ($2 = '' OR d.expedition = $2)`, site, expedition)
		return err
	})
	return list, err
}

// GetWatch reads one entry of the register on one snapshot.
func (s *Store) GetWatch(ctx context.Context, dive string) (*WatchRow, error) {
	var row *WatchRow
	err := s.Read(ctx, func(ctx context.Context, q Querier) error {
		var err error
		row, err = Watch(ctx, q, dive)
		return err
	})
	return row, err
}

// watches reads watches with their dive, site and code word, by entry; condition
// is a constant of this file, never input.
func watches(ctx context.Context, q Querier, condition string, args ...any) ([]*WatchRow, error) {
	rows, err := q.Query(ctx, `
SELECT `+diveColumns+`, s.time_zone, s.doc -> 'emergency', COALESCE(d.expedition, ''), COALESCE(w.cover, ''), COALESCE(v.code_word, ''), COALESCE(p.state_reasons, '{}'),
       w.eto, w.look, w.coordinator, w.dial, w.walk, w.grace_min, w.gas_clause, w.figures
FROM dive d JOIN watch w ON w.dive = d.id JOIN site s ON s.id = d.site
LEFT JOIN plan p ON p.id = d.plan LEFT JOIN plan_version v ON v.plan = d.plan AND v.version = d.plan_version
WHERE `+condition+` ORDER BY d.entered_at, d.id`, args...)
	if err != nil {
		return nil, err
	}
	list, err := pgx.CollectRows(rows, scanWatch)
	if err != nil {
		return nil, err
	}
	return list, watchFacts(ctx, q, list)
}

func scanWatch(row pgx.CollectableRow) (*WatchRow, error) {
	var (
		r                            diveRow
		emergency, figures           []byte
		walk                         *time.Time
		eto, look, coordinator, dial time.Time
	)
	w := &WatchRow{Times: &lastlightv1.WatchTimes{}}
	if err := row.Scan(append(r.targets(),
		&w.TimeZone, &emergency, &w.Expedition, &w.Cover, &w.CodeWord, &w.Stopped, &eto, &look, &coordinator, &dial, &walk, &w.Times.GraceMin, &w.Times.GasClause, &figures)...); err != nil {
		return nil, err
	}
	w.Stopped = Stopped(w.Stopped)
	var err error
	if w.Dive, err = r.dive(); err != nil {
		return nil, err
	}
	w.Times.Eto, w.Times.Look, w.Times.Coordinator, w.Times.Dial, w.Times.Walk = timestamppb.New(eto), timestamppb.New(look), timestamppb.New(coordinator), timestamppb.New(dial), stampOrNil(walk)
	if len(emergency) > 0 {
		w.Emergency = &lastlightv1.EmergencySheet{}
		if err := unmarshalDocument(emergency, w.Emergency); err != nil {
			return nil, err
		}
	}
	w.EnterReport = &lastlightv1.DiveFigures{}
	if err := unmarshalDocument(figures, w.EnterReport); err != nil {
		return nil, err
	}
	w.Figures = w.EnterReport.Divers
	return w, nil
}

func watchFacts(ctx context.Context, q Querier, list []*WatchRow) error {
	ids := make([]string, len(list))
	of := map[string]*WatchRow{}
	for i, w := range list {
		ids[i], of[w.Dive.Id] = w.Dive.Id, w
		for _, d := range w.Dive.Divers {
			w.Divers = append(w.Divers, WatchDiver{Person: d.Person})
		}
	}
	rows, err := q.Query(ctx, `
SELECT f.dive, f.person, COALESCE(NULLIF(p.doc ->> 'short_name', ''), p.full_name), f.what, f.at, f.correction, f.reason, f.doc, f.recorded_by
FROM watch_fact f JOIN person p ON p.id = f.person WHERE f.dive = ANY ($1) ORDER BY f.dive, f.id`, nonNil(ids))
	if err != nil {
		return err
	}
	var dive, person, name, what, reason, by string
	var at *time.Time
	var correction bool
	var doc []byte
	_, err = pgx.ForEachRow(rows, []any{&dive, &person, &name, &what, &at, &correction, &reason, &doc, &by}, func() error {
		w := of[dive]
		for i := range w.Divers {
			d := &w.Divers[i]
			if d.Person != person {
				continue
			}
			d.Name = name
			when := time.Time{}
			if at != nil {
				when = *at
			}
			switch what {
			case "in":
				d.InAt = when
			case "seen_out":
				d.SeenOutAt, d.SeenOutBy = when, by
			case "signed_out":
				d.SignedOutAt, d.SignedOutBy = when, by
				said := &lastlightv1.DiveDiver{}
				if err := unmarshalDocument(doc, said); err != nil {
					return err
				}
				switch {
				case !correction:
					d.SignedOut = said
				case when.IsZero(): // it did not happen, nor did what was said with it
					d.SignedOut = nil
				}
			}
			if correction {
				d.Corrections = append(d.Corrections, what+": "+reason)
			}
		}
		return nil
	})
	return err
}

// RunsFor tells whether this person is cover of a dive that is not closed, or
// whether any watch with this person in the water runs: then contacts may be read.
func (s *Store) RunsFor(ctx context.Context, cover, diver string) (bool, error) {
	var runs bool
	err := s.pool.QueryRow(ctx, `
SELECT EXISTS (SELECT FROM dive d JOIN watch w ON w.dive = d.id JOIN dive_diver x ON x.dive = d.id
  WHERE d.state <> 'closed' AND w.cover = $1 AND ($2 = '' OR x.person = $2))`, cover, diver).Scan(&runs)
	return runs, translate(err)
}

// WatchContacts reads whom to ring for those whom nobody has seen out.
func (s *Store) WatchContacts(ctx context.Context, w *lastlightv1.Watch) ([]*lastlightv1.WatchContact, error) {
	var in []string
	for _, d := range w.Divers {
		if d.SeenOutAt == nil {
			in = append(in, d.Person)
		}
	}
	rows, err := s.pool.Query(ctx, `SELECT person, full_name, telephone, relation FROM emergency_contact WHERE person = ANY ($1) ORDER BY person, position`, nonNil(in))
	if err != nil {
		return nil, translate(err)
	}
	list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (*lastlightv1.WatchContact, error) {
		c := &lastlightv1.WatchContact{}
		return c, row.Scan(&c.Person, &c.FullName, &c.Telephone, &c.Relation)
	})
	return list, translate(err)
}
