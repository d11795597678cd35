package rpc

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/proto"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/access"
	"lastlight/server/internal/dive"
	"lastlight/server/internal/facts"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/plan"
	"lastlight/server/internal/store"
)

// Files serves RecordService: files in, files out.
type Files struct {
	lastlightv1.UnimplementedRecordServiceServer
	Store *store.Store
	Valid protovalidate.Validator
	Zones facts.ZoneLoader
}

const recordService = "/lastlight.v1.RecordService/"

// kindOrder is the order in which records are stored and written out: whatever
// a record refers to comes before it, so that a file may be in any order.
var kindOrder = []string{
	"person", "site", "survey", "cylinder", "equipment", "cylinder_set", "policy", "expedition", "role", "reading", "permit",
	"fill", "analysis", "custody_event", "plan", "dive", "incident",
}

// mostProblems are told; a file with more is wrong as a whole.
const mostProblems = 2000

// entry is one record of a file.
type entry struct {
	kind   string // name of the field in Record
	id     string
	m      proto.Message // in SI; the caller's own is left alone
	prefix string        // "records[3].site."
	exists bool
	holed  bool // something that every record of the kind has is missing: it cannot even be tried
}

// file is a file under way.
type file struct {
	entries  []*entry
	problems []fault.Problem
	unknown  []reference                // what the records name, and neither file nor register has
	on       map[string]map[string]bool // what is on record, by kind and id
	subjects map[string]store.Subjects  // of people, sites and items
	c        *access.Caller
	ground   *ground
	due      facts.Due // what fills are judged by
}

// ApplyRecords stores a file of records, all or nothing.
func (h *Files) ApplyRecords(ctx context.Context, r *lastlightv1.ApplyRecordsRequest) (*lastlightv1.ApplyRecordsResponse, error) {
	f, err := h.read(ctx, r)
	if err != nil {
		return nil, err
	}
	var first error
	if len(f.problems) == 0 && !r.DryRun {
		// Nearly every file is good: then nothing is done twice.
		out, err := store.Mutate(ctx, h.Store, mutation(ctx, recordService+"ApplyRecords", r.RequestId, r), func(ctx context.Context, tx *store.Tx) (*lastlightv1.ApplyRecordsResponse, error) {
			return h.store(ctx, tx, f, false)
		})
		if !isInput(err) {
			return out, err
		}
		first = err
	}
	// Something is wrong, or it is a dry run: try every record for itself and tell all.
	var out *lastlightv1.ApplyRecordsResponse
	err = h.Store.Try(ctx, f.c.Person, func(ctx context.Context, tx *store.Tx) error {
		var err error
		out, err = h.store(ctx, tx, f, true)
		return err
	})
	if err != nil {
		return nil, err
	}
	if !r.DryRun && len(out.Problems) == 0 { // what was wrong a moment ago is not any more
		return nil, first
	}
	return out, nil
}

// isInput tells whether the caller can mend what is wrong.
func isInput(err error) bool {
	f, ok := fault.As(err)
	if !ok {
		return false
	}
	switch f.Kind {
	case fault.Invalid:
		return f.Reason != "REQUEST_ID_REUSED"
	case fault.Exists, fault.NotFound, fault.WrongState, fault.Denied:
		return true
	case fault.Internal, fault.Changed, fault.Unauthenticated, fault.TooLarge, fault.Unavailable, fault.DeadlineExceeded:
		return false
	}
	return false
}

// read checks everything that can be told before storing.
func (h *Files) read(ctx context.Context, r *lastlightv1.ApplyRecordsRequest) (*file, error) {
	f := &file{c: access.CallerFrom(ctx), subjects: map[string]store.Subjects{}}
	var err error
	if f.ground, err = readGround(ctx, h.Store, nil); err != nil {
		return nil, err
	}
	if f.due, err = facts.NewDue(f.ground.inForce, f.ground.zone, f.ground.now, h.Zones); err != nil {
		return nil, err
	}
	for i, record := range r.Records {
		set := record.ProtoReflect().WhichOneof(record.ProtoReflect().Descriptor().Oneofs().ByName("record"))
		if set == nil {
			f.wrong(fmt.Sprintf("records[%d]", i), "", strings.Join(kindOrder, ", "), "a record is empty: it must be of one kind")
			continue
		}
		e := &entry{kind: string(set.Name()), m: proto.Clone(record.ProtoReflect().Get(set).Message().Interface()), prefix: fmt.Sprintf("records[%d].%s.", i, set.Name())}
		if withID, ok := e.m.(interface{ GetId() string }); ok && e.kind != "role" {
			e.id = withID.GetId()
		}
		f.entries = append(f.entries, e)
	}
	if err := h.lookUp(ctx, f); err != nil {
		return nil, err
	}
	for _, e := range f.entries {
		if err := h.check(f, e, r.DryRun); err != nil {
			return nil, err
		}
	}
	f.twice()
	f.references()
	return f, h.authorise(ctx, f)
}

func (f *file) wrong(field, read, expected, message string) {
	f.problems = append(f.problems, fault.Problem{Field: field, Read: read, Expected: expected, Message: message})
}

// lookUp finds what is on record of what the file names, a query for each kind.
func (h *Files) lookUp(ctx context.Context, f *file) error {
	ids := map[string][]string{}
	zones := []string{}
	for _, e := range f.entries {
		if e.id != "" {
			ids[e.kind] = append(ids[e.kind], e.id)
		}
		if s, ok := e.m.(*lastlightv1.Survey); ok {
			zones = append(zones, s.Site)
		}
		for _, r := range referencesOf(e.m) {
			ids[r.kind] = append(ids[r.kind], r.id)
		}
	}
	var err error
	if f.on, err = store.On(ctx, h.Store.Pool(), ids); err != nil {
		return err
	}
	if f.ground.siteZone, err = store.SiteZones(ctx, h.Store.Pool(), zones); err != nil {
		return err
	}
	for _, e := range f.entries {
		e.exists = f.on[e.kind][e.id]
		if s, ok := e.m.(*lastlightv1.Site); ok {
			f.ground.siteZone[s.Id] = s.TimeZone
		}
	}
	return nil
}

// check notes what is wrong with one record by itself. Where a field broke the
// rules beside it, what else is said of it is not repeated.
func (h *Files) check(f *file, e *entry, dryRun bool) error {
	var violations []fault.Problem
	if dryRun { // else the call would not have come through
		var err error
		if violations, err = Violations(h.Valid, e.m); err != nil {
			return err
		}
	}
	fields := map[string]bool{}
	for _, p := range violations {
		fields[p.Field] = true
		e.holed = e.holed || p.Read == ""
		p.Field = strings.TrimSuffix(e.prefix+p.Field, ".")
		f.problems = append(f.problems, p)
	}
	own := fault.Collect("")
	var more error
	switch m := e.m.(type) {
	case *lastlightv1.Plan:
		more = plan.Check(m, "")
	case *lastlightv1.Dive:
		if m.EnteredAt != nil && m.OutAt != nil {
			more = dive.Check(m, "", f.ground.now)
		}
	case *lastlightv1.RoleGrant:
		if len(violations) == 0 {
			more = CheckGrant(f.c, m, "")
		}
	default:
		f.ground.check(own, m)
	}
	list := own.List()
	if x, ok := fault.As(more); ok {
		list = append(list, x.Problems...)
		if len(x.Problems) == 0 {
			list = append(list, fault.Problem{Message: x.Message})
		}
	}
	for _, p := range list {
		if !said(fields, p.Field) {
			p.Field = strings.TrimSuffix(e.prefix+p.Field, ".")
			f.problems = append(f.problems, p)
		}
	}
	return nil
}

// said tells whether a field, or one above or below it, is complained of already.
func said(fields map[string]bool, field string) bool {
	for other := range fields {
		if other == field || strings.HasPrefix(other, field+".") || strings.HasPrefix(field, other+".") {
			return true
		}
	}
	return false
}

// keyed are the kinds that a file names by the club's own key: without one the
// same file would make another record each time.
var keyed = []string{"person", "site", "cylinder", "equipment", "cylinder_set", "permit", "policy", "expedition", "plan", "dive", "incident"}

// twice notes records that stand in the file twice, and twin cylinders.
func (f *file) twice() {
	first := map[string]string{}
	note := func(key string, e *entry, field, read, expected, message string) {
		if former, there := first[key]; there {
			f.wrong(e.prefix+field, read, expected, message+" "+strings.TrimSuffix(former, "."))
			return
		}
		first[key] = e.prefix
	}
	for _, e := range f.entries {
		if e.id == "" && slices.Contains(keyed, e.kind) {
			f.wrong(e.prefix+"id", "", "the club's own key, e.g. \"hollow-spring\"", "a record in a file needs its id: applying the file again must find it")
			continue
		}
		if e.id != "" {
			key := e.kind
			if key == "cylinder" || key == "equipment" {
				key = "item" // one key for both: a plan names either
			}
			note(key+" "+e.id, e, "id", e.id, "each record once", "this record is in the file already, as")
		}
		if c, ok := e.m.(*lastlightv1.Cylinder); ok && c.Serial != "" && c.Maker != "" {
			key := "serial " + strings.ToLower(c.Maker) + "\x00" + strings.ToLower(c.Serial)
			if former, there := first[key]; there {
				f.wrong(e.prefix+"serial", c.Maker+" "+c.Serial, "one cylinder per maker and serial", fmt.Sprintf("cylinders %q and %q would have the same maker and serial", former, c.Id))
			} else {
				first[key] = c.Id
			}
		}
	}
}

// references notes what the file refers to and neither it nor the register has.
func (f *file) references() {
	inFile := map[string]bool{}
	for _, e := range f.entries {
		inFile[e.kind+" "+e.id] = true
	}
	for _, e := range f.entries {
		for _, r := range referencesOf(e.m) {
			if f.on[r.kind][r.id] || inFile[r.kind+" "+r.id] {
				continue
			}
			if e.kind == "incident" && e.exists && strings.HasPrefix(r.id, "diver ") {
				continue // as it was shown
			}
			f.unknown = append(f.unknown, r)
			f.wrong(e.prefix+r.field, r.id, "the id of a "+strings.ReplaceAll(r.kind, "_", " ")+" on record or in this file", "there is no such "+strings.ReplaceAll(r.kind, "_", " "))
		}
	}
}
