package store

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/fault"
)

// DivePage is a page of dives as they lie in their rows: not decoded, because
// whoever may see all of every dive is answered with the stored bytes.
type DivePage struct {
	sql    string // less order
	values []any
	size   int
	lines  bool  // only what a line shows
	bound  []any // what the page's token is bound to
	rows   []diveRow
	next   string
}

// diveRow is one row of diveColumns.
type diveRow struct {
	record            []byte // the message less what the server writes
	version           int64
	archived          bool
	state, recordedBy string
	in, out           *time.Time // of a dive that is not closed
	line              []byte     // of a page of lines, where it is stored
}

// The register moves the times of a dive until it is closed; after that its record says them.
const diveColumns = `d.record, d.version, d.archived, d.state, d.recorded_by,
       CASE WHEN d.state <> 'closed' THEN d.entered_at END, CASE WHEN d.state <> 'closed' THEN d.out_at END`

// order asks for one row more than the page has. The number stands in the text, of which there are as many as there are sizes of
// a page: as an argument it made the database guess a tenth of the log, and so plan the statement anew in every call.
func (p *DivePage) order() string {
	return fmt.Sprintf(` ORDER BY d.entered_at DESC, d.id DESC LIMIT %d`, p.size+1)
}

// lineColumns are diveColumns with the record only where the line does not say it all.
const lineColumns = `CASE WHEN d.line IS NULL OR d.state <> 'closed' THEN d.record END, d.version, d.archived, d.state, d.recorded_by,
       CASE WHEN d.state <> 'closed' THEN d.entered_at END, CASE WHEN d.state <> 'closed' THEN d.out_at END, d.line`

// diveLine is a dive as a line of a list shows it: nothing of it is hidden from anybody who may list dives.
func diveLine(m *lastlightv1.Dive) *lastlightv1.Dive {
	l := &lastlightv1.Dive{
		Id: m.Id, Site: m.Site, Plan: m.Plan, Expedition: m.Expedition, Kind: m.Kind, EnteredAt: toMicrosecond(m.EnteredAt), OutAt: toMicrosecond(m.OutAt),
		MaxDepthM: m.MaxDepthM, Zone: m.Zone,
	}
	for _, d := range m.Divers {
		l.Divers = append(l.Divers, &lastlightv1.DiveDiver{Person: d.Person})
	}
	return l
}

// targets is where a row of diveColumns is scanned into.
func (r *diveRow) targets() []any {
	return []any{&r.record, &r.version, &r.archived, &r.state, &r.recordedBy, &r.in, &r.out}
}

// dive decodes a row.
func (r *diveRow) dive() (*lastlightv1.Dive, error) {
	m, record := &lastlightv1.Dive{}, r.record
	if record == nil {
		record = r.line
	}
	if err := proto.Unmarshal(record, m); err != nil {
		return nil, err
	}
	m.Version, m.Archived, m.State, m.RecordedBy = r.version, r.archived, r.state, r.recordedBy
	if r.state != "closed" {
		m.EnteredAt, m.OutAt = stampOrNil(r.in), stampOrNil(r.out)
	}
	return m, nil
}

// Numbers of the fields that the server writes into a dive, and of the dives in a list.
var (
	diveFields     = (*lastlightv1.Dive)(nil).ProtoReflect().Descriptor().Fields()
	diveVersion    = diveFields.ByName("version").Number()
	diveArchived   = diveFields.ByName("archived").Number()
	diveState      = diveFields.ByName("state").Number()
	diveRecorder   = diveFields.ByName("recorded_by").Number()
	diversOfDive   = diveFields.ByName("divers").Number()
	diverFields    = (*lastlightv1.DiveDiver)(nil).ProtoReflect().Descriptor().Fields()
	profileOfDiver = diverFields.ByName("profile").Number()
	profileLeftOut = diverFields.ByName("profile_left_out").Number()
	divesInAnswer  = (*lastlightv1.ListDivesResponse)(nil).ProtoReflect().Descriptor().Fields().ByName("dives").Number()
)

// appendDive appends the encoded message of a row to b. A closed dive is the stored bytes, then what the server writes, whose
// numbers come last in the message; any other is decoded, because its times may have moved since it was stored.
func (r *diveRow) appendDive(b []byte) ([]byte, error) {
	if r.state != "closed" {
		m, err := r.dive()
		if err != nil {
			return nil, err
		}
		LeaveProfilesOut(m)
		return proto.MarshalOptions{}.MarshalAppend(b, m)
	}
	b, err := appendWithoutProfiles(b, r.record)
	if err != nil {
		return nil, err
	}
	b = protowire.AppendVarint(protowire.AppendTag(b, diveVersion, protowire.VarintType), uint64(r.version))
	if r.archived {
		b = protowire.AppendVarint(protowire.AppendTag(b, diveArchived, protowire.VarintType), 1)
	}
	b = protowire.AppendString(protowire.AppendTag(b, diveState, protowire.BytesType), r.state)
	return protowire.AppendString(protowire.AppendTag(b, diveRecorder, protowire.BytesType), r.recordedBy), nil
}

// Dives decodes the page.
func (p *DivePage) Dives() ([]*lastlightv1.Dive, error) {
	list := make([]*lastlightv1.Dive, len(p.rows))
	for i := range p.rows {
		var err error
		if list[i], err = p.rows[i].dive(); err != nil {
			return nil, err
		}
	}
	return list, nil
}

// UnderWay tells whether a dive of the page, or the one whose place its token rests on, is not closed.
func (p *DivePage) UnderWay() bool {
	return slices.ContainsFunc(p.rows, func(r diveRow) bool { return r.state != "closed" })
}

// LeaveProfilesOut takes the profiles out of a dive that is listed, and says where there was one.
func LeaveProfilesOut(d *lastlightv1.Dive) {
	for _, x := range d.Divers {
		if x.Profile != nil {
			x.Profile, x.ProfileLeftOut = nil, true
		}
	}
}

// appendWithoutProfiles appends an encoded dive less its profiles: what LeaveProfilesOut does to a decoded one.
func appendWithoutProfiles(b, record []byte) ([]byte, error) {
	var one []byte
	for len(record) > 0 {
		number, kind, n := protowire.ConsumeTag(record)
		if n < 0 {
			return nil, protowire.ParseError(n)
		}
		m := protowire.ConsumeFieldValue(number, kind, record[n:])
		if m < 0 {
			return nil, protowire.ParseError(m)
		}
		field, value := record[:n+m], record[n:n+m]
		record = record[n+m:]
		if number != diversOfDive {
			b = append(b, field...)
			continue
		}
		diver, _ := protowire.ConsumeBytes(value)
		var left bool
		var err error
		if one, left, err = appendWithoutProfile(one[:0], diver); err != nil {
			return nil, err
		}
		if left {
			one = protowire.AppendVarint(protowire.AppendTag(one, profileLeftOut, protowire.VarintType), 1)
			field = protowire.AppendBytes(protowire.AppendTag(nil, diversOfDive, protowire.BytesType), one)
		}
		b = append(b, field...)
	}
	return b, nil
}

// appendWithoutProfile appends an encoded diver of a dive less the profile, and tells whether there was one.
func appendWithoutProfile(b, diver []byte) (out []byte, left bool, err error) {
	for len(diver) > 0 {
		number, _, n := protowire.ConsumeField(diver)
		if n < 0 {
			return nil, false, protowire.ParseError(n)
		}
		if number == profileOfDiver {
			left = true
		} else {
			b = append(b, diver[:n]...)
		}
		diver = diver[n:]
	}
	return b, left, nil
}

// Next is the token of the page after this one; empty: this is the last.
func (p *DivePage) Next() string { return p.next }

// Whole is the answer for a caller who may see all of every dive. Nothing is masked in it. The dives are in it encoded, as
// "unknown fields", which protobuf sends as they are: on the wire it is the same message.
func (p *DivePage) Whole() (*lastlightv1.ListDivesResponse, error) {
	size := 0
	for i := range p.rows {
		size += min(len(p.rows[i].record), 4096) + 64 // longer ones are mostly profile
	}
	encoded, one := make([]byte, 0, size), make([]byte, 0, 1024)
	for i := range p.rows {
		var err error
		if one, err = p.rows[i].appendDive(one[:0]); err != nil {
			return nil, err
		}
		encoded = protowire.AppendBytes(protowire.AppendTag(encoded, divesInAnswer, protowire.BytesType), one)
	}
	answer := &lastlightv1.ListDivesResponse{NextPageToken: p.next}
	answer.ProtoReflect().SetUnknown(encoded)
	return answer, nil
}

// Lines is the answer with a line for each dive. sees tells whether the caller may know of a dive that is not closed.
func (p *DivePage) Lines(sees func(*lastlightv1.Dive) bool) (*lastlightv1.ListDivesResponse, error) {
	encoded, one := make([]byte, 0, 160*len(p.rows)), make([]byte, 0, 256)
	for i := range p.rows {
		r := &p.rows[i]
		if one = one[:0]; r.state == "closed" && r.line != nil {
			one = append(one, r.line...)
		} else {
			m, err := r.dive()
			if err != nil {
				return nil, err
			}
			if r.state != "closed" && !sees(m) {
				continue
			}
			if one, err = (proto.MarshalOptions{}).MarshalAppend(one, diveLine(m)); err != nil {
				return nil, err
			}
		}
		if r.archived {
			one = protowire.AppendVarint(protowire.AppendTag(one, diveArchived, protowire.VarintType), 1)
		}
		one = protowire.AppendString(protowire.AppendTag(one, diveState, protowire.BytesType), r.state)
		encoded = protowire.AppendBytes(protowire.AppendTag(encoded, divesInAnswer, protowire.BytesType), one)
	}
	answer := &lastlightv1.ListDivesResponse{NextPageToken: p.next}
	answer.ProtoReflect().SetUnknown(encoded)
	return answer, nil
}

// BoardSight is which teams a caller may know to be away: those of Expeditions, and those that Person is in or is the cover of.
// The zero value knows of none.
type BoardSight struct {
	Person      string
	Expeditions []string
}

// ListDives reads a page, latest first. restrictTo, if not empty, leaves only dives of these people; board, if not nil, leaves out
// dives under way that it does not know of, in the page and in its token.
func (s *Store) ListDives(ctx context.Context, r *lastlightv1.ListDivesRequest, restrictTo []string, board *BoardSight) (*DivePage, error) {
	p, err := NewDivePage(r, restrictTo, board)
	if err != nil {
		return nil, err
	}
	rows, err := s.pool.Query(ctx, p.sql+p.order(), p.values...)
	if err == nil {
		err = p.scan(rows)
	}
	return p, translate(err)
}

// NewDivePage is a page that is not read yet: by one index range whatever the filter.
func NewDivePage(r *lastlightv1.ListDivesRequest, restrictTo []string, board *BoardSight) (*DivePage, error) {
	from, to := time.Time{}, time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC)
	if r.From != nil {
		from = r.From.AsTime()
	}
	if r.To != nil {
		to = r.To.AsTime()
	}
	args := []any{r.ShowArchived, r.Site, r.Person, r.Expedition, from, to, restrictTo}
	columns := diveColumns
	if r.Lines {
		columns = lineColumns
	}
	after, err := ReadToken("dives", args, r.PageToken, 2)
	if err != nil {
		return nil, err
	}
	// A condition stands in the query only where it is asked for, so that each
	// list is one index range, and the database sees from the text how much it
	// is asked to read; the texts are constants, values are arguments.
	var values []any
	argument := func(value any) string {
		values = append(values, value)
		return fmt.Sprintf("$%d", len(values))
	}
	table, where := `dive d`, `true`
	if !r.ShowArchived {
		where = `NOT d.archived`
	}
	if r.Site != "" {
		where += ` AND d.site = ` + argument(r.Site)
	}
	if r.Expedition != "" {
		where += ` AND d.expedition = ` + argument(r.Expedition)
	}
	if r.Person != "" { // a person's dives are few among many: start from them
		table = `dive_diver x JOIN dive d ON d.id = x.dive AND x.person = ` + argument(r.Person)
	}
	both := func(bound string) { // each table has the time in its index
		where += ` AND d.entered_at ` + bound
		if r.Person != "" {
			where += ` AND x.entered_at ` + bound
		}
	}
	if r.From != nil {
		both(`>= ` + argument(from))
	}
	switch {
	case after != nil:
		lastAt, err := time.Parse(time.RFC3339Nano, after[0])
		if err != nil {
			return nil, fault.Wrong([]fault.Problem{{Field: "page_token", Expected: "a next_page_token of this very list", Message: "not a token of this list"}})
		}
		last := argument(lastAt)
		where += ` AND (d.entered_at, d.id) < (` + last + `, ` + argument(after[1]) + `)`
		if r.Person != "" {
			where += ` AND x.entered_at <= ` + last
		}
	case r.To != nil:
		both(`<= ` + argument(to))
	}
	if restrictTo != nil {
		where += ` AND EXISTS (SELECT FROM dive_diver y WHERE y.dive = d.id AND y.person = ANY (` + argument(restrictTo) + `))`
	}
	if board != nil {
		person := argument(board.Person)
		where += ` AND (d.state = 'closed' OR d.expedition = ANY (` + argument(nonNil(board.Expeditions)) + `)
       OR EXISTS (SELECT FROM dive_diver z WHERE z.dive = d.id AND z.person = ` + person + `)
       OR EXISTS (SELECT FROM watch w WHERE w.dive = d.id AND w.cover = ` + person + `))`
	}
	return &DivePage{
		sql:    `SELECT ` + columns + ` FROM ` + table + ` WHERE ` + where,
		values: values, size: PageSize(r.PageSize), lines: r.Lines, bound: args,
	}, nil
}

// queueFor sends the query with others, in one round trip. It reads nothing unless the token of that hash stands: whoever has none
// must not make the database work.
func (p *DivePage) queueFor(b *pgx.Batch, hash []byte, now time.Time) {
	sql := fmt.Sprintf(`%s AND EXISTS (SELECT FROM token t WHERE t.hash = $%d AND t.revoked_at IS NULL AND t.expires_at > $%d)`,
		p.sql, len(p.values)+1, len(p.values)+2)
	b.Queue(sql+p.order(), append(slices.Clone(p.values), hash, now)...).Query(p.scan)
}

func (p *DivePage) scan(rows pgx.Rows) error {
	p.rows = make([]diveRow, 0, p.size+1)
	var row diveRow
	targets := row.targets()
	if p.lines {
		targets = append(targets, &row.line)
	}
	if _, err := pgx.ForEachRow(rows, targets, func() error { p.rows = append(p.rows, row); return nil }); err != nil {
		return err
	}
	if len(p.rows) <= p.size {
		return nil
	}
	p.rows = p.rows[:p.size]
	last, err := p.rows[p.size-1].dive()
	if err != nil {
		return err
	}
	p.next = NextToken("dives", p.bound, last.EnteredAt.AsTime().Format(time.RFC3339Nano), last.Id)
	return nil
}
