package rpc

import (
	"context"
	"slices"

	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/timestamppb"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/access"
	"lastlight/server/internal/decide"
	"lastlight/server/internal/dive"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/quantity"
	"lastlight/server/internal/store"
)

// Dives serves DiveService: the register of who is in the water, and the record of past dives.
type Dives struct {
	lastlightv1.UnimplementedDiveServiceServer
	Store *store.Store
	Desk  *decide.Desk
	Valid protovalidate.Validator
}

const diveService = "/lastlight.v1.DiveService/"

// noAlarm stands on the board: what the reader must not expect.
const noAlarm = "This release shows the times by which a team is missed. It raises no alarm by itself: whoever has the watch looks, tells and dials."

// diveSubject is what ties the caller to a dive.
func diveSubject(c *access.Caller, d *lastlightv1.Dive, leader string) access.Subject {
	s := access.Subject{Expeditions: expeditions(d.Expedition)}
	if d.RecordedBy == c.Person {
		s.Relation |= access.Self
	}
	if leader == c.Person && leader != "" {
		s.Relation |= access.Leads
	}
	if d.Cover == c.Person {
		s.Relation |= access.Covers
	}
	for _, x := range d.Divers {
		if x.Person == c.Person {
			s.Relation |= access.InTeam
		}
		if c.Guards(x.Person) {
			s.Relation |= access.Ward
		}
	}
	if d.State == "in_water" {
		s.Relation |= access.WatchRuns
	}
	return s
}

// dive reads a dive for a method; what is hidden answers not found.
func (h *Dives) dive(ctx context.Context, method, id string) (*lastlightv1.Dive, access.Subject, error) {
	c := access.CallerFrom(ctx)
	d, err := h.Store.GetDive(ctx, id)
	if err != nil {
		return nil, access.Subject{}, err
	}
	leader := ""
	if d.Plan != "" {
		p, err := h.Store.GetPlan(ctx, d.Plan, d.PlanVersion)
		if err != nil {
			return nil, access.Subject{}, err
		}
		leader = p.Leader
	}
	s := diveSubject(c, d, leader)
	if d.State != "closed" && !c.Sees(access.Board, s) {
		return nil, s, fault.NoSuch("dive", id) // who is away is nobody else's business
	}
	if access.May(c, diveService+method, s) {
		return d, s, nil
	}
	if !access.May(c, diveService+"GetDive", s) {
		return nil, s, fault.NoSuch("dive", id)
	}
	return nil, s, &fault.Error{Kind: fault.Denied, Reason: "NOT_YOURS", Message: "none of your roles allows this for dive " + id}
}

// SignIn enters a team on its approved plan.
func (h *Dives) SignIn(ctx context.Context, r *lastlightv1.SignInRequest) (*lastlightv1.SignInResponse, error) {
	c := access.CallerFrom(ctx)
	p, err := h.Store.GetPlan(ctx, r.Plan, r.Version)
	if err != nil {
		return nil, err
	}
	s := planSubject(c, p)
	if !access.May(c, diveService+"SignIn", s) {
		if !access.May(c, planService+"GetPlan", s) {
			return nil, fault.NoSuch("plan", r.Plan)
		}
		return nil, &fault.Error{Kind: fault.Denied, Reason: "NOT_YOURS", Message: "the leader, cover or the coordinator signs a team in"}
	}
	if err := toSI(r); err != nil {
		return nil, err
	}
	out, err := h.Desk.SignIn(ctx, mutation(ctx, diveService+"SignIn", r.RequestId, r), r, seesIn(ctx, s, access.Training))
	if err != nil {
		return nil, err
	}
	out.Report = masked(ctx, out.Report, s)
	return out, nil
}

// SeenOut is cover's word.
func (h *Dives) SeenOut(ctx context.Context, r *lastlightv1.SeenOutRequest) (*lastlightv1.Watch, error) {
	_, s, err := h.dive(ctx, "SeenOut", r.Dive)
	if err != nil {
		return nil, err
	}
	w, err := h.Desk.SeenOut(ctx, mutation(ctx, diveService+"SeenOut", r.RequestId, r), r)
	return h.withContacts(ctx, w, s, err)
}

// SignOut is the diver's own word; for a diver without a device cover types it in, and the register says who did.
func (h *Dives) SignOut(ctx context.Context, r *lastlightv1.SignOutRequest) (*lastlightv1.Watch, error) {
	c := access.CallerFrom(ctx)
	if r.Person == "" {
		r.Person = c.Person
	}
	_, s, err := h.dive(ctx, "SignOut", r.Dive)
	if err != nil {
		return nil, err
	}
	if r.Person != c.Person && s.Relation&access.Covers == 0 && !c.In(s.Expeditions...).Any(access.Cover|access.Coordinator) {
		return nil, &fault.Error{Kind: fault.Denied, Reason: "NOT_YOURS", Message: "divers sign out themselves; for another, cover or a coordinator does"}
	}
	if err := toSI(r); err != nil {
		return nil, err
	}
	w, err := h.Desk.SignOut(ctx, mutation(ctx, diveService+"SignOut", r.RequestId, r), r)
	return h.withContacts(ctx, w, s, err)
}

// CorrectWatch puts a wrong fact right.
func (h *Dives) CorrectWatch(ctx context.Context, r *lastlightv1.CorrectWatchRequest) (*lastlightv1.Watch, error) {
	_, s, err := h.dive(ctx, "CorrectWatch", r.Dive)
	if err != nil {
		return nil, err
	}
	w, err := h.Desk.CorrectWatch(ctx, mutation(ctx, diveService+"CorrectWatch", r.RequestId, r), r)
	return h.withContacts(ctx, w, s, err)
}

// CloseDive records the dive of a team that is out.
func (h *Dives) CloseDive(ctx context.Context, r *lastlightv1.CloseDiveRequest) (*lastlightv1.Dive, error) {
	_, s, err := h.dive(ctx, "CloseDive", r.Dive.GetId())
	if err != nil {
		return nil, err
	}
	if err := toSI(r.Dive); err != nil {
		return nil, err
	}
	others := access.CallerFrom(ctx).In(s.Expeditions...).Any(access.Coordinator)
	d, err := h.Desk.Close(ctx, mutation(ctx, diveService+"CloseDive", r.RequestId, r), r, others, h.checkClosed)
	if err != nil {
		return nil, err
	}
	return shownDive(access.CallerFrom(ctx), d, s), nil
}

// toSI brings the quantities of a request to SI.
func toSI(m proto.Message) error {
	problems := fault.Collect("")
	quantity.ToSI(m, problems)
	return problems.Err()
}

// checkClosed judges a dive as it would be recorded, by the interface's rules and by what they cannot say.
func (h *Dives) checkClosed(d *lastlightv1.Dive) error {
	problems, err := Violations(h.Valid, d)
	if err != nil {
		return err
	}
	if err := fault.Wrong(problems); err != nil {
		return fault.Under("dive.", err)
	}
	return dive.Check(d, "dive.", h.Store.Now())
}

// withContacts adds whom to ring, for those who may know while the watch runs, and takes out what the caller may not see.
func (h *Dives) withContacts(ctx context.Context, w *lastlightv1.Watch, s access.Subject, err error) (*lastlightv1.Watch, error) {
	if err != nil || w == nil {
		return nil, err
	}
	c := access.CallerFrom(ctx)
	// Having recorded the dive makes nobody's contacts one's own.
	s.Relation &^= access.Self
	if !w.AllSeenOut && c.Writes(access.Contacts, s) { // shown below, to whoever sees them
		if w.Contacts, err = h.Store.WatchContacts(ctx, w); err != nil {
			return nil, err
		}
		w.WithoutContact = withoutContact(w)
	}
	access.MaskWatch(c, s, w)
	return w, nil
}

// withoutContact names whom nobody has seen out and nobody is on record for: an empty list of contacts could also mean that the
// reader may not see them.
func withoutContact(w *lastlightv1.Watch) []string {
	var out []string
	for _, d := range w.Divers {
		of := func(x *lastlightv1.WatchContact) bool { return x.Person == d.Person }
		if d.SeenOutAt == nil && !slices.ContainsFunc(w.Contacts, of) {
			out = append(out, d.Person)
		}
	}
	return out
}

// GetBoard lists who is away, worst first, as far as the caller may know.
func (h *Dives) GetBoard(ctx context.Context, r *lastlightv1.GetBoardRequest) (*lastlightv1.Board, error) {
	c := access.CallerFrom(ctx)
	rows, err := h.Store.RunningWatches(ctx, r.Site, r.Expedition)
	if err != nil {
		return nil, err
	}
	now := h.Store.Now()
	out := &lastlightv1.Board{AsOf: timestamppb.New(now), Caution: noAlarm}
	for _, row := range rows {
		s := diveSubject(c, row.Dive, "")
		if !c.Sees(access.Board, s) {
			continue
		}
		w, err := h.withContacts(ctx, decide.ShowWatch(row, now), s, nil)
		if err != nil {
			return nil, err
		}
		out.Watches = append(out.Watches, w)
	}
	slices.SortFunc(out.Watches, decide.Worse)
	return out, nil
}

const ownDivesOnly = "you record dives that you dived yourself; those of others are recorded by a coordinator"

// mayRecord tells whether the caller may say that this dive was dived as it stands: it counts for everybody in it.
func mayRecord(c *access.Caller, d *lastlightv1.Dive) bool {
	s := diveSubject(c, d, "")
	return access.May(c, diveService+"RecordDive", s) && (c.In(s.Expeditions...).Any(access.Coordinator|access.Committee) || s.Relation&access.InTeam != 0)
}

// RecordDive records a past dive without a plan.
func (h *Dives) RecordDive(ctx context.Context, r *lastlightv1.RecordDiveRequest) (*lastlightv1.Dive, error) {
	c := access.CallerFrom(ctx)
	if !access.May(c, diveService+"RecordDive", access.Subject{Expeditions: expeditions(r.Dive.Expedition)}) {
		return nil, &fault.Error{Kind: fault.Denied, Reason: "NOT_YOURS", Message: "none of your roles allows recording dives"}
	}
	if r.Dive.Id == "" {
		r.Dive.Id = store.NewID("dive", r.RequestId)
	}
	if err := dive.Check(r.Dive, "dive.", h.Store.Now()); err != nil {
		return nil, err
	}
	if !mayRecord(c, r.Dive) {
		return nil, denied(ownDivesOnly)
	}
	s := diveSubject(c, r.Dive, "")
	d, err := store.Mutate(ctx, h.Store, mutation(ctx, diveService+"RecordDive", r.RequestId, r), func(ctx context.Context, tx *store.Tx) (*lastlightv1.Dive, error) {
		put, err := tx.PutDive(ctx, r.Dive, store.Expect{New: true})
		return put.Record, fault.Under("dive.", err)
	})
	if err != nil {
		return nil, err
	}
	if err := h.compare(ctx, d); err != nil {
		return nil, err
	}
	return shownDive(c, d, s), nil
}

// GetDive reads a dive.
func (h *Dives) GetDive(ctx context.Context, r *lastlightv1.GetDiveRequest) (*lastlightv1.Dive, error) {
	d, s, err := h.dive(ctx, "GetDive", r.Id)
	if err != nil {
		return nil, err
	}
	if err := h.compare(ctx, d); err != nil {
		return nil, err
	}
	return shownDive(access.CallerFrom(ctx), d, s), nil
}

// compare adds where profiles and the register differ.
func (h *Dives) compare(ctx context.Context, d *lastlightv1.Dive) error {
	if !slices.ContainsFunc(d.Divers, func(x *lastlightv1.DiveDiver) bool { return x.Profile != nil }) {
		return nil
	}
	survey, err := h.Store.GetSurvey(ctx, d.Site, d.Survey)
	if err != nil {
		return err
	}
	for _, x := range d.Divers {
		x.Disagrees = dive.Disagreements(d, x, survey)
	}
	return nil
}

// shownDive leaves out what only the diver and those who plan for them see.
func shownDive(c *access.Caller, d *lastlightv1.Dive, s access.Subject) *lastlightv1.Dive {
	for _, x := range d.Divers {
		about := access.Subject{Expeditions: s.Expeditions}
		if x.Person == c.Person {
			about.Relation = access.Self
		}
		if !c.Sees(access.Medical, about) {
			x.Symptoms = nil
		}
		about.Relation |= s.Relation & access.Leads
		if !c.Sees(access.Training, about) {
			for _, name := range trainingOfDiver {
				clearField(x, name)
			}
		}
	}
	return d
}

// trainingOfDiver are the fields of a diver in a dive that tell what they count as and how much they breathe.
var trainingOfDiver = []protoreflect.Name{
	"start_pressure", "end_pressure", "counted_as", "used", "way", "start_temperature_c", "end_temperature_c", "mains_volume_l", "mean_depth_m", "cylinders", "gas_events",
}

func clearField(m proto.Message, name protoreflect.Name) {
	r := m.ProtoReflect()
	r.Clear(r.Descriptor().Fields().ByName(name))
}

// seesWholeDives tells whether shownDive leaves everything in, whatever the dive, and no dive is hidden: roles held for the whole
// club open all three groups, and no relation to a record ever closes one.
func seesWholeDives(c *access.Caller) bool {
	anyDive := access.Subject{}
	return c.Sees(access.Medical, anyDive) && c.Sees(access.Training, anyDive) && c.Sees(access.Board, anyDive)
}

// boardSight is whom the caller may know to be away; nil: everybody.
func boardSight(c *access.Caller) *store.BoardSight {
	if c.Sees(access.Board, access.Subject{}) {
		return nil
	}
	sight := &store.BoardSight{Person: c.Person}
	for e := range c.Expedition {
		if c.Sees(access.Board, access.Subject{Expeditions: []string{e}}) {
			sight.Expeditions = append(sight.Expeditions, e)
		}
	}
	slices.Sort(sight.Expeditions)
	return sight
}

// divePage is the page as far as the caller may list dives at all.
func (h *Dives) divePage(ctx context.Context, r *lastlightv1.ListDivesRequest) (*store.DivePage, error) {
	c := access.CallerFrom(ctx)
	board := boardSight(c)
	if !c.Anywhere().Any(access.Members) {
		return h.Store.ListDives(ctx, r, append([]string{c.Person}, c.Wards...), board)
	}
	// A dive that is left out afterwards would still show: a short page, and a token that says where it goes on.
	if page, ok := readAhead(ctx); ok && (board == nil || !page.UnderWay()) {
		return page, nil
	}
	return h.Store.ListDives(ctx, r, nil, board)
}

// keepProfiles copies into next the profiles that a list left out.
func keepProfiles(next, former *lastlightv1.Dive) {
	for _, x := range next.Divers {
		i := slices.IndexFunc(former.Divers, func(f *lastlightv1.DiveDiver) bool { return f.Person == x.Person })
		if i >= 0 && x.ProfileLeftOut && x.Profile == nil {
			x.Profile = former.Divers[i].Profile
		}
		if i >= 0 {
			x.ProfileLeftOut = false
		}
	}
}

// ListDives lists dives; who is no member sees their own and their wards'.
func (h *Dives) ListDives(ctx context.Context, r *lastlightv1.ListDivesRequest) (*lastlightv1.ListDivesResponse, error) {
	c := access.CallerFrom(ctx)
	page, err := h.divePage(ctx, r)
	if err != nil {
		return nil, err
	}
	if r.Lines {
		return page.Lines(func(d *lastlightv1.Dive) bool { return c.Sees(access.Board, diveSubject(c, d, "")) })
	}
	if seesWholeDives(c) {
		return page.Whole()
	}
	list, err := page.Dives()
	if err != nil {
		return nil, err
	}
	out := &lastlightv1.ListDivesResponse{NextPageToken: page.Next()}
	for _, d := range list {
		s := diveSubject(c, d, "")
		if d.State != "closed" && !c.Sees(access.Board, s) {
			continue // who is away is nobody else's business
		}
		store.LeaveProfilesOut(d)
		out.Dives = append(out.Dives, shownDive(c, d, s))
	}
	return out, nil
}

// UpdateDive corrects a recorded dive.
func (h *Dives) UpdateDive(ctx context.Context, r *lastlightv1.UpdateDiveRequest) (*lastlightv1.Dive, error) {
	former, s, err := h.dive(ctx, "UpdateDive", r.Dive.Id)
	if err != nil {
		return nil, err
	}
	c := access.CallerFrom(ctx)
	if !mayRecord(c, r.Dive) {
		return nil, denied(ownDivesOnly)
	}
	keepProfiles(r.Dive, former)
	// As it was sent, without what stands in fields that the caller does not see: what were said of those would tell them.
	if err := dive.Check(r.Dive, "dive.", h.Store.Now()); err != nil {
		return nil, err
	}
	d, err := store.Mutate(ctx, h.Store, mutation(ctx, diveService+"UpdateDive", r.RequestId, r), func(ctx context.Context, tx *store.Tx) (*lastlightv1.Dive, error) {
		put, err := tx.PutDive(ctx, r.Dive, store.Expect{Existing: true, Version: r.ExpectedVersion}, guardDive(c, s.Relation&access.Leads, nil))
		return put.Record, fault.Under("dive.", err)
	})
	if err != nil {
		return nil, err
	}
	if err := h.compare(ctx, d); err != nil {
		return nil, err
	}
	return shownDive(c, d, s), nil
}

// ArchiveDive takes a dive out of every count.
func (h *Dives) ArchiveDive(ctx context.Context, r *lastlightv1.ArchiveDiveRequest) (*lastlightv1.Dive, error) {
	_, s, err := h.dive(ctx, "ArchiveDive", r.Id)
	if err != nil {
		return nil, err
	}
	d, err := store.Mutate(ctx, h.Store, mutation(ctx, diveService+"ArchiveDive", r.RequestId, r), func(ctx context.Context, tx *store.Tx) (*lastlightv1.Dive, error) {
		return tx.ArchiveDive(ctx, r.Id)
	})
	if err != nil {
		return nil, err
	}
	return shownDive(access.CallerFrom(ctx), d, s), nil
}
