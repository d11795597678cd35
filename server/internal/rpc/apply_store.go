package rpc

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/access"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/incident"
	"lastlight/server/internal/store"
)

// together is how many records share a savepoint while all goes well, and how
// many are queued at most: a file may have 20,000.
const together = 200

// store writes the file's records in the order of their kinds. With collect it
// goes on after a record that cannot be stored, and the answer tells all that is
// wrong; without, the first one ends it.
func (h *Files) store(ctx context.Context, tx *store.Tx, f *file, collect bool) (*lastlightv1.ApplyRecordsResponse, error) {
	run := &applying{h: h, tx: tx, f: f, leftOut: map[string]bool{}, out: &lastlightv1.ApplyRecordsResponse{Records: make([]*lastlightv1.AppliedRecord, len(f.entries))}}
	if err := h.lock(ctx, tx, f); err != nil {
		return nil, err
	}
	// A record that is wrong by itself is not stored: what others would be judged by is not known.
	wrong := f.wrongRecords()
	for i, e := range f.entries {
		if wrong[recordOf(e.prefix)] {
			run.leaveOut(i)
		}
	}
	for _, r := range f.unknown { // that nobody has it is told once
		run.leftOut[r.kind+" "+r.id] = true
	}
	places := slices.DeleteFunc(f.order(), func(i int) bool { return wrong[recordOf(f.entries[i].prefix)] })
	for chunk := range slices.Chunk(places, together) {
		var err error
		if collect {
			err = tx.Savepoint(ctx, func() error { return run.all(ctx, chunk) })
		} else if err = run.all(ctx, chunk); err == nil {
			err = tx.Flush(ctx)
		}
		if collect && isInput(err) {
			err = run.oneByOne(ctx, chunk)
		}
		if err != nil {
			return nil, err
		}
	}
	if collect {
		if err := run.tryWrong(ctx, wrong); err != nil {
			return nil, err
		}
	}
	return run.answer(), nil
}

// wrongRecords are the numbers of the records that something was found wrong with already.
func (f *file) wrongRecords() map[int]bool {
	wrong := map[int]bool{}
	for _, p := range f.problems {
		wrong[recordOf(p.Field)] = true
	}
	return wrong
}

// applying is a file being stored.
type applying struct {
	h        *Files
	tx       *store.Tx
	f        *file
	out      *lastlightv1.ApplyRecordsResponse
	problems []fault.Problem
	leftOut  map[string]bool // by kind and id: others name them, and do not find them
}

// leaveOut notes that a record of the file is not stored.
func (a *applying) leaveOut(i int) {
	e := a.f.entries[i]
	a.leftOut[e.kind+" "+e.id] = true
	if c, ok := e.m.(*lastlightv1.Cylinder); ok { // an analysis may name it by its serial
		a.leftOut["serial "+c.Serial] = true
	}
}

// follows tells whether what the register says against a record comes of its naming one that was left out: that one is complained
// of.
func (a *applying) follows(e *entry, p fault.Problem, reference bool) bool {
	field := within(e, p.Field)
	for _, r := range append(referencesOf(e.m), itemsOf(e.m)...) {
		named := r.field == field || p.Read == r.id && strings.HasPrefix(r.field, field+"[")
		if (named || reference) && a.leftOut[r.kind+" "+r.id] {
			return true
		}
	}
	return false
}

// all stores records until one fails.
func (a *applying) all(ctx context.Context, places []int) error {
	for _, i := range places {
		applied, err := a.h.applyOne(ctx, a.tx, a.f, a.f.entries[i])
		if err != nil {
			return err
		}
		a.out.Records[i] = applied
	}
	return nil
}

// oneByOne stores records, each with a savepoint of its own, and notes those that cannot be.
func (a *applying) oneByOne(ctx context.Context, places []int) error {
	for _, i := range places {
		err := a.tx.Savepoint(ctx, func() error { return a.all(ctx, []int{i}) })
		switch {
		case err == nil:
		case !isInput(err):
			return err
		default:
			e := a.f.entries[i]
			for _, p := range problemsOf(e, err) {
				if !a.follows(e, p, isReference(err)) {
					a.problems = append(a.problems, p)
				}
			}
			a.leaveOut(i)
		}
	}
	return nil
}

// errTried ends a trial that went well: nothing of it stays.
var errTried = errors.New("tried")

// tryWrong asks the register about the records that are wrong by themselves, so that what only it knows of them is told in the same
// round; what it says of a field that is complained of already is not repeated.
func (a *applying) tryWrong(ctx context.Context, wrong map[int]bool) error {
	told := map[int]map[string]bool{}
	for _, p := range a.f.problems {
		n := recordOf(p.Field)
		if told[n] == nil {
			told[n] = map[string]bool{}
		}
		told[n][p.Field] = true
	}
	for _, i := range a.f.order() {
		e := a.f.entries[i]
		n := recordOf(e.prefix)
		if !wrong[n] || e.holed || told[n][e.prefix+"id"] || told[n][e.prefix[:len(e.prefix)-1]] {
			continue
		}
		err := a.tx.Savepoint(ctx, func() error {
			if err := a.all(ctx, []int{i}); err != nil {
				return err
			}
			if err := a.tx.Flush(ctx); err != nil {
				return err
			}
			return errTried
		})
		f, ok := fault.As(err)
		if ok && (f.Kind == fault.Unavailable || f.Kind == fault.DeadlineExceeded) {
			return err
		}
		if !isInput(err) || ok && f.Reason == "CONSTRAINT" {
			continue // of values out of range the register knows nothing more
		}
		for _, p := range problemsOf(e, err) {
			if (within(e, p.Field) == "" || !said(told[n], p.Field)) && !a.follows(e, p, isReference(err)) {
				a.problems = append(a.problems, p)
			}
		}
	}
	return nil
}

// within is the part of a field path that lies in the record; empty: the record as a whole.
func within(e *entry, field string) string {
	return strings.TrimSuffix(strings.TrimPrefix(field+".", e.prefix), ".")
}

// answer tells what was done, or all that is wrong.
func (a *applying) answer() *lastlightv1.ApplyRecordsResponse {
	problems := slices.Concat(a.f.problems, a.problems)
	if len(problems) > mostProblems {
		rest := len(problems) - mostProblems
		problems = append(problems[:mostProblems], fault.Problem{Field: "records", Message: fmt.Sprintf("and %d more", rest)})
	}
	if len(problems) > 0 {
		a.out.Records = nil
	}
	for _, p := range problems {
		a.out.Problems = append(a.out.Problems, &lastlightv1.Problem{Field: p.Field, Read: clip(p.Read, 200), Expected: p.Expected, Message: p.Message, Line: int32(p.Line), Column: int32(p.Column)})
	}
	return a.out
}

func isReference(err error) bool {
	f, ok := fault.As(err)
	return ok && (f.Reason == "NO_SUCH_REFERENCE" || f.Kind == fault.NotFound)
}

func problemsOf(e *entry, err error) []fault.Problem {
	f, ok := fault.As(fault.Under(e.prefix, err))
	if !ok {
		return nil
	}
	if len(f.Problems) == 0 {
		return []fault.Problem{{Field: e.prefix[:len(e.prefix)-1], Read: e.id, Message: f.Message}}
	}
	return f.Problems
}

// order gives the places of the records in the order in which they are stored:
// by kind, wards after guardians, custody events as they happened, else by key.
func (f *file) order() []int {
	rank := map[string]int{}
	for n, kind := range kindOrder {
		rank[kind] = n
	}
	places := make([]int, len(f.entries))
	for i := range places {
		places[i] = i
	}
	ward := func(e *entry) int {
		if p, ok := e.m.(*lastlightv1.Person); ok && p.Guardian != "" {
			return 1
		}
		return 0
	}
	slices.SortStableFunc(places, func(a, b int) int {
		x, y := f.entries[a], f.entries[b]
		if d := rank[x.kind] - rank[y.kind]; d != 0 {
			return d
		}
		if m, ok := x.m.(*lastlightv1.CustodyEvent); ok { // each must follow on the one before; pages give the latest first
			return m.At.AsTime().Compare(y.m.(*lastlightv1.CustodyEvent).At.AsTime())
		}
		return ward(x) - ward(y)
	})
	return places
}

// lock takes every root that the file touches before anything is written.
func (h *Files) lock(ctx context.Context, tx *store.Tx, f *file) error {
	var people, sites, items []string
	for _, e := range f.entries {
		switch m := e.m.(type) {
		case *lastlightv1.Person:
			people = append(people, m.Id)
		case *lastlightv1.RoleGrant:
			people = append(people, m.Person)
		case *lastlightv1.Incident:
			people = append(people, m.People...)
		case *lastlightv1.Dive:
			for _, d := range m.Divers {
				people = append(people, d.Person)
			}
			sites = append(sites, m.Site)
		case *lastlightv1.Site:
			sites = append(sites, m.Id)
		case *lastlightv1.Survey:
			sites = append(sites, m.Site)
		case *lastlightv1.Reading:
			sites = append(sites, m.Site)
		case *lastlightv1.Permit:
			sites = append(sites, m.Site)
		case *lastlightv1.Cylinder:
			items = append(items, m.Id)
		case *lastlightv1.Equipment:
			items = append(items, m.Id)
		case *lastlightv1.CylinderSet:
			items = append(items, m.Cylinders...)
		case *lastlightv1.Fill:
			items = append(items, m.Cylinder)
		case *lastlightv1.Analysis:
			items = append(items, m.Cylinder)
		case *lastlightv1.CustodyEvent:
			items = append(items, m.Item)
			if m.Site != "" {
				sites = append(sites, m.Site)
			}
		}
	}
	return tx.LockAll(ctx, people, sites, items)
}

// applyOne stores one record. A record that was found on record is changed, one
// that was not is new: what came in between is told, not overwritten.
func (h *Files) applyOne(ctx context.Context, tx *store.Tx, f *file, e *entry) (*lastlightv1.AppliedRecord, error) {
	expect := store.Expect{New: !e.exists, Existing: e.exists}
	var unseen []string
	done := func(id string, outcome store.Outcome, changes []string, err error) (*lastlightv1.AppliedRecord, error) {
		slices.Sort(unseen)
		return &lastlightv1.AppliedRecord{Kind: e.kind, Id: id, Outcome: string(outcome), Changes: changes, NotLookedAt: unseen}, err
	}
	switch m := e.m.(type) {
	case *lastlightv1.Person:
		p, err := tx.PutPerson(ctx, m, expect, guardPerson(f.c, f.subjects["person"][m.Id], &unseen))
		return done(m.Id, p.Outcome, p.Changes, err)
	case *lastlightv1.Site:
		p, err := tx.PutSite(ctx, m, expect, guardSite(f.c, f.subjects["site"][m.Id], &unseen))
		return done(m.Id, p.Outcome, p.Changes, err)
	case *lastlightv1.Survey:
		s, outcome, err := tx.AddSurvey(ctx, m)
		return done(fmt.Sprintf("%s/%d", m.Site, s.GetNumber()), outcome, nil, err)
	case *lastlightv1.Reading:
		p, err := tx.PutReading(ctx, m)
		return done(p.Record.GetId(), p.Outcome, nil, err)
	case *lastlightv1.Permit:
		p, err := tx.PutPermit(ctx, m, expect)
		return done(m.Id, p.Outcome, p.Changes, err)
	case *lastlightv1.Cylinder:
		p, err := tx.PutCylinder(ctx, m, expect, guardCylinder(f.c, f.subjects["item"][m.Id], &unseen))
		return done(m.Id, p.Outcome, p.Changes, err)
	case *lastlightv1.CylinderSet:
		p, err := tx.PutCylinderSet(ctx, m, expect)
		return done(m.Id, p.Outcome, p.Changes, err)
	case *lastlightv1.Equipment:
		p, err := tx.PutEquipment(ctx, m, expect)
		return done(m.Id, p.Outcome, p.Changes, err)
	case *lastlightv1.Fill:
		p, err := tx.PutFill(ctx, m, fillGuard(f.ground.inForce, f.due))
		return done(p.Record.GetId(), p.Outcome, nil, err)
	case *lastlightv1.Analysis:
		p, err := tx.PutAnalysis(ctx, m)
		return done(p.Record.GetId(), p.Outcome, nil, err)
	case *lastlightv1.CustodyEvent:
		p, err := tx.PutCustody(ctx, m)
		return done(p.Record.GetId(), p.Outcome, nil, err)
	case *lastlightv1.Policy:
		p, err := tx.PutPolicy(ctx, m, store.Expect{})
		return done(m.Id, p.Outcome, nil, err)
	case *lastlightv1.Expedition:
		if e.exists {
			if err := takesIn(ctx, h.Store, m.Id, participants(m)...); err != nil {
				return nil, err
			}
		}
		p, err := tx.PutExpedition(ctx, m, expect)
		return done(m.Id, p.Outcome, p.Changes, err)
	case *lastlightv1.RoleGrant:
		if err := takesIn(ctx, h.Store, m.Expedition, m.Person); err != nil {
			return nil, err
		}
		g, outcome, err := tx.GrantRole(ctx, m)
		return done(g.GetId(), outcome, nil, err)
	case *lastlightv1.Plan:
		p, err := tx.PutPlan(ctx, m, expect)
		return done(m.Id, p.Outcome, p.Changes, err)
	case *lastlightv1.Dive:
		p, err := tx.PutDive(ctx, m, expect, guardDive(f.c, 0, &unseen))
		return done(m.Id, p.Outcome, p.Changes, err)
	case *lastlightv1.Incident:
		return h.applyIncident(ctx, tx, f.c, m, expect, &unseen, done)
	}
	return nil, fmt.Errorf("a record of kind %s cannot be stored", e.kind)
}

func (h *Files) applyIncident(ctx context.Context, tx *store.Tx, c *access.Caller, m *lastlightv1.Incident, expect store.Expect, unseen *[]string,
	done func(string, store.Outcome, []string, error) (*lastlightv1.AppliedRecord, error),
) (*lastlightv1.AppliedRecord, error) {
	names, err := store.Names(ctx, tx)
	if err != nil {
		return nil, err
	}
	p, err := tx.PutIncident(ctx, m, expect, guardIncident(c, unseen, func(p *fault.Problems, m *lastlightv1.Incident) { incident.Check(p, m, names, tx.Now()) }))
	return done(m.Id, p.Outcome, p.Changes, err)
}
