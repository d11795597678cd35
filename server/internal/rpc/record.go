package rpc

import (
	"context"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/timestamppb"

	"lastlight/engine/calendar"
	"lastlight/engine/policy"
	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/access"
	"lastlight/server/internal/dates"
	"lastlight/server/internal/expedition"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/gear"
	"lastlight/server/internal/message"
	"lastlight/server/internal/quantity"
	"lastlight/server/internal/roster"
	"lastlight/server/internal/site"
	"lastlight/server/internal/store"
)

// allowed judges a method on one record. What the caller may not even read is
// not there; "not allowed" is for those who may read it.
func allowed(ctx context.Context, method, read string, s access.Subject, kind, id string) error {
	c := access.CallerFrom(ctx)
	switch {
	case access.May(c, method, s):
		return nil
	case access.May(c, read, s):
		return denied("none of your roles allows this for " + kind + " " + id)
	}
	return fault.NoSuch(kind, id)
}

// ground is what records are checked against: the clock, the club's day, the
// policy in force. It is read once for a call, however many records it brings.
type ground struct {
	now      time.Time
	zone     string       // the club's
	today    calendar.Day // in it
	inForce  *policy.Policy
	siteZone map[string]string // zones of the sites that surveys are checked against
}

// readGround reads it through q, or at once where q is nil.
func readGround(ctx context.Context, s *store.Store, q store.Querier) (*ground, error) {
	if q == nil {
		q = s.Pool()
	}
	zone, err := store.ClubZone(ctx, q)
	if err != nil {
		return nil, err
	}
	inForce, err := store.PolicyInForce(ctx, q, s.Now())
	if err != nil {
		return nil, err
	}
	return &ground{now: s.Now(), zone: zone, today: dates.Today(s.Now(), zone), inForce: inForce, siteZone: map[string]string{}}, nil
}

// check brings a record to SI in place and notes what is wrong with it beyond the rules beside its fields.
func (g *ground) check(p *fault.Problems, m proto.Message) {
	quantity.ToSI(m, p)
	switch m := m.(type) {
	case *lastlightv1.Site:
		site.Check(p, m, g.now)
	case *lastlightv1.Survey:
		site.CheckSurvey(p, m, g.siteZone[m.Site], g.now)
	case *lastlightv1.Reading:
		site.CheckReading(p, m, g.now)
	case *lastlightv1.Permit:
		site.CheckPermit(p, m)
	case *lastlightv1.Person:
		roster.Check(p, m, g.inForce, g.today, g.now)
	case *lastlightv1.Cylinder:
		gear.CheckCylinder(p, m, g.inForce, g.today)
	case *lastlightv1.CylinderSet:
		gear.CheckSet(p, m)
	case *lastlightv1.Equipment:
		gear.CheckEquipment(p, m, g.today)
	case *lastlightv1.Fill:
		gear.CheckFill(p, m, g.now)
	case *lastlightv1.Analysis:
		gear.CheckAnalysis(p, m, g.now)
	case *lastlightv1.CustodyEvent:
		gear.CheckCustody(p, m, g.now)
		if m.Item == "" {
			p.Add("item", "", "the id of a cylinder or of equipment", "it says of nothing what became of it")
		}
	case *lastlightv1.Policy:
		if m.BasedOn == "" { // else only the store can tell, once it is whole
			store.DecodePolicy(p, m, g.today)
		}
	case *lastlightv1.Expedition:
		expedition.Check(p, m)
	}
}

// checked is check of one record of a call.
func (g *ground) checked(prefix string, m proto.Message) error {
	p := fault.Collect(prefix)
	g.check(p, m)
	return p.Err()
}

// unseen is what becomes of fields that were sent of a record and that the caller does not see. They stay as they stand, whatever was
// sent: an answer that depended on what stands would let it be guessed. In a file that is applied they are noted, for a file that is
// applied again, or that somebody else wrote, is no mistake; in a change of one record they are refused.
type unseen struct {
	problems *fault.Problems
	noted    *[]string // nil: refused
}

func (u unseen) sent(field, message string) {
	if u.noted != nil {
		*u.noted = append(*u.noted, field)
		return
	}
	u.problems.Add(field, "", "left out: it stays as it is", message)
}

// keep leaves fields of a message at the prefix as they stand. before is nil for a new record, in which whoever writes it knows what
// is written.
func (u unseen) keep(prefix string, before, next proto.Message, fields ...protoreflect.Name) {
	was, now := before.ProtoReflect(), next.ProtoReflect()
	if !was.IsValid() {
		return
	}
	for _, name := range fields {
		field := now.Descriptor().Fields().ByName(name)
		if now.Has(field) {
			u.sent(prefix+string(name), "you do not see this field, so you do not change it")
			now.Clear(field)
		}
		if was.Has(field) {
			now.Set(field, proto.Clone(before).ProtoReflect().Get(field))
		}
	}
}

// keepOthers leaves fields as they stand that the caller sees and does not write: left out they stay, sent as they stand they are
// accepted, and sent otherwise they are refused.
func keepOthers(p *fault.Problems, before, next proto.Message, fields ...protoreflect.Name) {
	was, now := before.ProtoReflect(), next.ProtoReflect()
	for _, name := range fields {
		field := now.Descriptor().Fields().ByName(name)
		if !now.Has(field) {
			if was.Has(field) {
				now.Set(field, was.Get(field))
			}
			continue
		}
		a, b := was.New(), now.New()
		if was.Has(field) {
			a.Set(field, was.Get(field))
		}
		b.Set(field, now.Get(field))
		if len(message.Changes(a.Interface(), b.Interface())) > 0 {
			p.Add(string(name), "", "as it is, or left out", "somebody else says this of you")
		}
	}
}

// notFuture refuses an instant later than now.
func notFuture(field string, at *timestamppb.Timestamp, now time.Time) error {
	p := fault.Collect("")
	dates.Instant(p, field, at.AsTime(), now)
	return p.Err()
}
