package bench

import (
	"context"
	"fmt"
	"io"
	"math"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	v1 "lastlight/proto/lastlight/v1"
)

// clubSize is how many records of each kind a seeded club has.
type clubSize struct{ divers, items, sites, dives int }

// seed fills a club's database by copying records of the demo, many at once. It
// goes past the server, but not past the schema: every constraint holds.
type seed struct {
	pool   *pgxpool.Pool
	out    io.Writer
	people []string // who dives; the first are the model plan's team
	sites  []string // where; the first is the model plan's site
	model  *v1.Dive // what every dive is a copy of
	latest time.Time
	has    clubSize
}

const (
	seedYears  = 20 // the log goes back so far
	seedAtOnce = 50_000
)

// copies makes the copies of a record numbered from + 1 to to.
func (s *seed) copies(ctx context.Context, from, to int, statement, of string) error {
	if _, err := s.pool.Exec(ctx, statement, from+1, to, of); err != nil {
		return fmt.Errorf("copy %s: %w", of, err)
	}
	return nil
}

// Each gets the numbers of the first and last copy, and the key of what is copied; keys, and what else must differ, get the number.
const (
	copyPerson = `INSERT INTO person SELECT (jsonb_populate_record(p, jsonb_build_object('id', 'many-' || i, 'pseudonym', 'many-' || i, 'full_name', 'Diver ' || i))).*
		FROM person p, generate_series($1::int, $2::int) i WHERE p.id = $3`
	copyCards = `INSERT INTO card SELECT (jsonb_populate_record(c, jsonb_build_object('person', 'many-' || i))).*
		FROM card c, generate_series($1::int, $2::int) i WHERE c.person = $3`
	copyMedical = `INSERT INTO medical_status SELECT (jsonb_populate_record(m, jsonb_build_object('person', 'many-' || i))).*
		FROM medical_status m, generate_series($1::int, $2::int) i WHERE m.person = $3`
	copySite = `INSERT INTO site SELECT (jsonb_populate_record(s, jsonb_build_object('id', 'many-' || i, 'title', 'Site ' || i))).*
		FROM site s, generate_series($1::int, $2::int) i WHERE s.id = $3`
	copySurvey = `INSERT INTO survey SELECT (jsonb_populate_record(s, jsonb_build_object('site', 'many-' || i))).*
		FROM survey s, generate_series($1::int, $2::int) i WHERE s.site = $3`
	// The owners have the same number of items, whatever the size of the club.
	copyItem = `INSERT INTO item SELECT (jsonb_populate_record(x, jsonb_build_object('id', x.kind || '-' || i, 'owner', 'many-' || (i - 1) / 5 + 1))).*
		FROM item x, generate_series($1::int, $2::int) i WHERE x.id = $3`
	copyCylinder = `INSERT INTO cylinder SELECT (jsonb_populate_record(x, jsonb_build_object('id', 'cylinder-' || i, 'serial', 'many-' || i))).*
		FROM cylinder x, generate_series($1::int, $2::int) i WHERE x.id = $3`
	copyEquipment = `INSERT INTO equipment SELECT (jsonb_populate_record(x, jsonb_build_object('id', 'equipment-' || i))).*
		FROM equipment x, generate_series($1::int, $2::int) i WHERE x.id = $3`
	copyServices = `INSERT INTO service_event SELECT (jsonb_populate_record(e, jsonb_build_object('id', e.id || '-' || i, 'item', x.kind || '-' || i))).*
		FROM service_event e JOIN item x ON x.id = e.item, generate_series($1::int, $2::int) i WHERE e.item = $3 AND e.corrects IS NULL`
)

// anItem finds one item of a kind that somebody of the demo owns, with the most services recorded.
func (s *seed) anItem(ctx context.Context, kind string) (id string, err error) {
	err = s.pool.QueryRow(ctx, `SELECT x.id FROM item x LEFT JOIN service_event e ON e.item = x.id
		WHERE x.kind = $1 AND NOT x.archived AND x.owner IS NOT NULL GROUP BY x.id ORDER BY count(e.id) DESC, x.id LIMIT 1`, kind).Scan(&id)
	if err != nil {
		return "", fmt.Errorf("the demo has no %s to copy: %w", kind, err)
	}
	return id, nil
}

// grow makes the club as large as this; it never shrinks.
func (s *seed) grow(ctx context.Context, to clubSize) error {
	person, site := s.people[0], s.sites[0]
	cylinder, err := s.anItem(ctx, "cylinder")
	if err != nil {
		return err
	}
	equipment, err := s.anItem(ctx, "equipment")
	if err != nil {
		return err
	}
	for _, c := range []struct {
		from, to      int
		statement, of string
	}{
		{s.has.divers, to.divers, copyPerson, person},
		{s.has.divers, to.divers, copyCards, person},
		{s.has.divers, to.divers, copyMedical, person},
		{s.has.sites, to.sites, copySite, site},
		{s.has.sites, to.sites, copySurvey, site},
		{s.has.items / 2, to.items / 2, copyItem, cylinder},
		{s.has.items / 2, to.items / 2, copyCylinder, cylinder},
		{s.has.items / 2, to.items / 2, copyServices, cylinder},
		{s.has.items / 2, to.items / 2, copyItem, equipment},
		{s.has.items / 2, to.items / 2, copyEquipment, equipment},
		{s.has.items / 2, to.items / 2, copyServices, equipment},
	} {
		if err := s.copies(ctx, c.from, c.to, c.statement, c.of); err != nil {
			return err
		}
	}
	for i := s.has.divers; i < to.divers; i++ {
		s.people = append(s.people, fmt.Sprintf("many-%d", i+1))
	}
	for i := s.has.sites; i < to.sites; i++ {
		s.sites = append(s.sites, fmt.Sprintf("many-%d", i+1))
	}
	for from := s.has.dives; from < to.dives; from += seedAtOnce {
		until := min(from+seedAtOnce, to.dives)
		if err := s.dives(ctx, from, until); err != nil {
			return err
		}
		fmt.Fprintf(s.out, "%s  %d of %d dives\n", time.Now().Format(time.TimeOnly), until, to.dives)
	}
	s.has = to
	// As the database would by itself after a while: without it plans rest on the statistics of an empty table.
	_, err = s.pool.Exec(ctx, "VACUUM ANALYZE")
	return err
}

// dive is the nth of the log. Fractions of the golden ratio spread days, and odd steps people and sites, evenly and the same each time.
func (s *seed) dive(n int) *v1.Dive {
	d := proto.CloneOf(s.model)
	d.Id, d.Site = fmt.Sprintf("many-%d", n+1), s.sites[n%len(s.sites)]
	_, part := math.Modf(float64(n) * (math.Phi - 1))
	back := time.Duration(part * seedYears * 365.25 * 24 * float64(time.Hour)).Truncate(time.Minute)
	length := s.model.GetOutAt().AsTime().Sub(s.model.GetEnteredAt().AsTime())
	at := s.latest.Add(-back)
	d.EnteredAt, d.OutAt, d.MarkerReachedAt = timestamppb.New(at), timestamppb.New(at.Add(length)), nil
	first := (n / len(s.sites) * 2) % len(s.people)
	d.Divers = d.Divers[:1]
	d.Divers = append(d.Divers, proto.CloneOf(d.Divers[0]))
	for i := range d.Divers {
		d.Divers[i].Person, d.Divers[i].Mains = s.people[(first+n%len(s.sites)*14+i)%len(s.people)], ""
	}
	return d
}

// dives writes dives from … until - 1 in one transaction.
func (s *seed) dives(ctx context.Context, from, until int) error {
	return pgx.BeginFunc(ctx, s.pool, func(tx pgx.Tx) error {
		var made, dived [][]any
		for n := from; n < until; n++ {
			d := s.dive(n)
			record, err := proto.Marshal(d)
			if err != nil {
				return err
			}
			made = append(made, []any{d.Id, d.Site, d.Kind, "closed", d.EnteredAt.AsTime(), d.OutAt.AsTime(), d.MaxDepthM, d.PenetrationM, d.Zone, record, s.people[0]})
			for _, x := range d.Divers {
				doc, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(x)
				if err != nil {
					return err
				}
				dived = append(dived, []any{d.Id, x.Person, d.EnteredAt.AsTime(), d.Site, x.CountedAs, doc})
			}
		}
		_, err := tx.CopyFrom(ctx, pgx.Identifier{"dive"},
			[]string{"id", "site", "kind", "state", "entered_at", "out_at", "max_depth_m", "penetration_m", "zone", "record", "recorded_by"}, pgx.CopyFromRows(made))
		if err != nil {
			return err
		}
		_, err = tx.CopyFrom(ctx, pgx.Identifier{"dive_diver"}, []string{"dive", "person", "entered_at", "site", "counted_as", "doc"}, pgx.CopyFromRows(dived))
		return err
	})
}
