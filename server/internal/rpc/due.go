package rpc

import (
	"cmp"
	"context"
	"slices"
	"strconv"
	"strings"
	"sync"

	"lastlight/engine"
	"lastlight/engine/calendar"
	"lastlight/engine/finding"
	"lastlight/engine/policy"
	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/access"
	"lastlight/server/internal/dates"
	"lastlight/server/internal/facts"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/report"
	"lastlight/server/internal/store"
)

// Due answers what falls due.
type Due struct {
	lastlightv1.UnimplementedDueServiceServer
	Store *store.Store
	Zones facts.ZoneLoader
	// Whether this server sends mail.
	Sending bool

	known workedOut
}

// workedOut keeps what was worked out of each person and item at their version. It is never wrong and never needed: a version that
// has moved, another policy or another day are worked out anew. A club's 20,000 items change one at a time.
type workedOut struct {
	sync.Mutex
	under string // policy and day
	of    map[string]workedLine
}

type workedLine struct {
	version int64
	entries []dueEntry
}

// dueEntry is an entry with what decides who sees it and where it stands.
type dueEntry struct {
	*lastlightv1.DueEntry
	health bool // a person's; to be asked before it is shown
	diver  bool // stops the person, not only a thing that can be left at home
	last   calendar.Day
}

// dueQuestion is a request as understood.
type dueQuestion struct {
	day, by calendar.Day
	trip    calendar.Day // last day of the expedition; none = no expedition asked about
	dates   facts.Due
	policy  *policy.Policy
	id      string // of the policy
}

// ListDue lists what stops diving or falls due.
func (h *Due) ListDue(ctx context.Context, r *lastlightv1.ListDueRequest) (*lastlightv1.ListDueResponse, error) {
	c := access.CallerFrom(ctx)
	named := 0
	for _, on := range []bool{r.Person != "", r.Item != "", r.Expedition != "", r.Club} {
		if on {
			named++
		}
	}
	p := fault.Collect("")
	if named > 1 {
		p.Add("person", r.Person, "one of person, item, expedition and club", "more than one is asked about")
	}
	dates.Day(p, "day", r.Day)
	dates.Day(p, "by", r.By)
	if err := p.Err(); err != nil {
		return nil, err
	}
	q, err := h.question(ctx, r)
	if err != nil {
		return nil, err
	}
	var all []dueEntry
	switch {
	case r.Item != "":
		all, err = h.ofItem(ctx, q, r.Item)
	case r.Expedition != "":
		all, err = h.ofExpedition(ctx, q, r.Expedition)
	case r.Club:
		all, err = h.ofClub(ctx, c, q)
	case r.Person != "":
		all, err = h.ofPerson(ctx, q, r.Person)
	default:
		all, err = h.ofPerson(ctx, q, c.Person)
	}
	if err != nil {
		return nil, err
	}
	return h.page(ctx, r, q, all)
}

// question reads the days asked about and the policy.
func (h *Due) question(ctx context.Context, r *lastlightv1.ListDueRequest) (*dueQuestion, error) {
	now := h.Store.Now()
	inForce, err := h.Store.PolicyInForce(ctx)
	if err != nil {
		return nil, err
	}
	current, err := h.Store.GetPolicy(ctx, "")
	if err != nil {
		return nil, err
	}
	_, zone, err := h.Store.Club(ctx)
	if err != nil {
		return nil, err
	}
	q := &dueQuestion{policy: inForce, id: current.Id}
	if q.dates, err = facts.NewDue(inForce, zone, now, h.Zones); err != nil {
		return nil, err
	}
	q.day = q.dates.Today()
	if r.Day != "" {
		if q.day, err = calendar.ParseDay(r.Day); err != nil {
			return nil, err
		}
	}
	if r.Expedition != "" {
		const read = expeditionService + "GetExpedition"
		if err := allowed(ctx, expeditionService+"GetEligibility", read, access.Subject{Expeditions: expeditions(r.Expedition)}, "expedition", r.Expedition); err != nil {
			return nil, err
		}
		x, err := h.Store.GetExpedition(ctx, r.Expedition)
		if err != nil {
			return nil, err
		}
		if q.trip, err = calendar.ParseDay(x.ToDay); err != nil {
			return nil, err
		}
	}
	switch {
	case r.By != "":
		if q.by, err = calendar.ParseDay(r.By); err != nil {
			return nil, err
		}
	case !q.trip.IsZero() && !q.trip.Before(q.day):
		q.by = q.trip
	default:
		q.by = q.day.Add(inForce.Cylinders.DueSoonDays)
	}
	p := fault.Collect("")
	if q.by.Before(q.day) {
		p.Add("by", q.by.String(), "not before "+q.day.String(), "the list would end before the day asked about")
	}
	return q, p.Err()
}

// ofPerson is a person with their own gear, by everything on record.
func (h *Due) ofPerson(ctx context.Context, q *dueQuestion, person string) ([]dueEntry, error) {
	roster := &Roster{Store: h.Store, Zones: h.Zones}
	asked, err := roster.personQuestion(ctx, "CheckGoodToGo", person, q.day.String(), "", false)
	if err != nil {
		return nil, err
	}
	return q.entries(engine.Due(asked.in), asked.names, person), nil
}

// ofItem is one item, for whoever sees its dates.
func (h *Due) ofItem(ctx context.Context, q *dueQuestion, id string) ([]dueEntry, error) {
	cylinders, equipment, err := h.Store.GatherItems(ctx, q.policy, []string{id})
	if err != nil {
		return nil, err
	}
	owner := ""
	for _, c := range cylinders {
		owner = c.Record.Owner
	}
	for _, e := range equipment {
		owner = e.Record.Owner
	}
	seen, err := h.seesGear(ctx, owner)
	if err != nil {
		return nil, err
	}
	if len(cylinders)+len(equipment) == 0 || !seen {
		return nil, fault.NoSuch("item", id)
	}
	return q.entries(q.dates.Lines(cylinders, equipment, q.day), report.Names{}, owner), nil
}

// seesGear tells whether the caller sees the dates of an item of this owner.
func (h *Due) seesGear(ctx context.Context, owner string) (bool, error) {
	c := access.CallerFrom(ctx)
	if owner == "" {
		return c.Sees(access.GearDates, access.Subject{}), nil
	}
	subjects, err := h.Store.PersonSubjects(ctx, nil, c, []string{owner})
	return err == nil && c.Sees(access.GearDates, subjects[owner]), err
}

// ofExpedition is everybody who dives in an expedition, their gear, and its sites.
func (h *Due) ofExpedition(ctx context.Context, q *dueQuestion, id string) ([]dueEntry, error) {
	x, err := h.Store.GetExpedition(ctx, id)
	if err != nil {
		return nil, err
	}
	var all []dueEntry
	for _, m := range x.Participants {
		if len(m.Tasks) > 0 && !slices.Contains(m.Tasks, "diver") {
			continue
		}
		list, err := h.ofPerson(ctx, q, m.Person)
		if err != nil {
			return nil, err
		}
		all = append(all, list...)
	}
	sites, err := h.ofSites(ctx, q, x.Sites)
	return append(all, sites...), err
}

// ofClub is everybody's papers, everything's dates and all sites for a coordinator of the club; the gear for a blender.
func (h *Due) ofClub(ctx context.Context, c *access.Caller, q *dueQuestion) ([]dueEntry, error) {
	coordinator := c.Club.Any(access.Coordinator)
	if !coordinator && !c.Club.Any(access.Blender) {
		return nil, denied("the club's list is for its coordinators, of the gear for its blenders")
	}
	subjects, err := h.Store.DueSubjects(ctx, coordinator)
	if err != nil {
		return nil, err
	}
	all, err := h.workOut(ctx, q, subjects)
	if err != nil || !coordinator {
		return all, err
	}
	sites, err := h.ofSites(ctx, q, nil)
	return append(all, sites...), err
}

// gatherAtOnce is how many subjects are read in one go.
const gatherAtOnce = 500

// workOut gives the entries of many, reading those alone that have changed since they were last asked for.
func (h *Due) workOut(ctx context.Context, q *dueQuestion, subjects []store.DueSubject) ([]dueEntry, error) {
	h.known.Lock()
	defer h.known.Unlock()
	if under := q.id + " " + q.day.String(); h.known.under != under {
		h.known.under, h.known.of = under, map[string]workedLine{}
	}
	missing := map[bool][]string{} // people, things
	version := map[string]int64{}
	for _, s := range subjects {
		key := s.Kind + " " + s.ID
		version[key] = s.Version
		// The dives that a thing has made since its service raise no version of its own.
		if w, ok := h.known.of[key]; !ok || w.version != s.Version || s.Kind == "equipment" && q.countsDives() {
			missing[s.Kind == "person"] = append(missing[s.Kind == "person"], s.ID)
		}
	}
	keep := func(kind, id string, entries []dueEntry) {
		h.known.of[kind+" "+id] = workedLine{version[kind+" "+id], entries}
	}
	for ids := range slices.Chunk(missing[true], gatherAtOnce) {
		records, err := h.Store.GatherPapers(ctx, ids, h.Store.Now())
		if err != nil {
			return nil, err
		}
		for i := range records {
			r := &records[i]
			in, err := facts.Ready(r, q.day.String(), h.Store.Now(), h.Zones)
			if err != nil {
				return nil, err
			}
			name := r.Person.ShortName
			if name == "" {
				name = r.Person.FullName
			}
			pseudonym := r.Pseudonyms[r.Person.Id]
			names := report.NewNames(map[string]string{pseudonym: r.Person.Id}, map[string]string{pseudonym: name})
			keep("person", r.Person.Id, q.entries(engine.PapersDue(in), names, r.Person.Id))
		}
	}
	for ids := range slices.Chunk(missing[false], gatherAtOnce) {
		cylinders, equipment, err := h.Store.GatherItems(ctx, q.policy, ids)
		if err != nil {
			return nil, err
		}
		for i := range cylinders {
			c := &cylinders[i]
			keep("cylinder", c.Record.Id, q.entries(q.dates.Lines(cylinders[i:i+1], nil, q.day), report.Names{}, c.Record.Owner))
		}
		for i := range equipment {
			e := &equipment[i]
			keep("equipment", e.Record.Id, q.entries(q.dates.Lines(nil, equipment[i:i+1], q.day), report.Names{}, e.Record.Owner))
		}
	}
	var all []dueEntry
	for _, s := range subjects {
		all = append(all, h.known.of[s.Kind+" "+s.ID].entries...)
	}
	return all, nil
}

// countsDives tells whether the policy asks for a service after so many dives.
func (q *dueQuestion) countsDives() bool {
	return slices.ContainsFunc(q.policy.Kit, func(k policy.KitInterval) bool {
		return slices.ContainsFunc(k.Clocks, func(c policy.KitClock) bool { return c.Dives > 0 })
	})
}

// ofSites is what is to be out of caves, and permits that end; nil: of all sites.
func (h *Due) ofSites(ctx context.Context, q *dueQuestion, sites []string) ([]dueEntry, error) {
	left, err := h.Store.ToBeOut(ctx, sites)
	if err != nil {
		return nil, err
	}
	var all []dueEntry
	for _, l := range left {
		last, err := calendar.ParseDay(l.RemoveBy)
		if err != nil {
			return nil, err
		}
		e := dueEntry{last: last, DueEntry: &lastlightv1.DueEntry{
			Kind: "left_item", Id: l.Id, Name: strings.TrimSpace(l.Kind + " " + l.Item), Person: l.Owner,
			What: l.Kind + " at " + l.Site + ", " + l.Place + ": to be out by " + l.RemoveBy, ToDo: "bring it out and record it, or agree on a later day", Rule: "site.left",
		}}
		all = append(all, q.placed(e, signOn(q.day, last)))
	}
	permits, err := h.Store.LastPermits(ctx, sites)
	if err != nil {
		return nil, err
	}
	for site, day := range permits {
		last, err := calendar.ParseDay(day)
		if err != nil {
			return nil, err
		}
		e := dueEntry{last: last, diver: true, DueEntry: &lastlightv1.DueEntry{
			Kind: "site", Id: site, Name: site, What: site + ": the last permit window ends " + day, ToDo: "ask the owner for the next", Rule: "site.permit",
		}}
		all = append(all, q.placed(e, signOn(q.day, last)))
	}
	return all, nil
}

// signOn is how a last day reads on a day.
func signOn(day, last calendar.Day) engine.Sign {
	if last.Before(day) {
		return engine.ReadyStop
	}
	return engine.ReadyOK
}

// entries are lines as they are shown; owner is whose the person or the things are.
func (q *dueQuestion) entries(lines []engine.ReadyLine, names report.Names, owner string) []dueEntry {
	var out []dueEntry
	for _, l := range lines {
		f := l.Finding
		e := dueEntry{
			last: l.LastDay(), diver: l.StopsDiver(), health: report.AboutHealth(f.Rule, f.Path),
			DueEntry: &lastlightv1.DueEntry{
				Id: f.Subject.ID, Name: f.Subject.Name, Person: owner, What: names.In(l.Says), ToDo: names.In(l.ToDo), Rule: f.Rule, Clause: clauseOf(f.Citation),
			},
		}
		if strings.HasPrefix(f.Code, "endorsement_") { // whether it counts or not: one date, which moves
			e.Of = f.Observed.Text
		}
		switch f.Subject.Kind {
		case finding.KindCylinder:
			e.Kind = "cylinder"
		case finding.KindItem:
			e.Kind = "equipment"
		default:
			e.Kind, e.Id, e.Name = "person", owner, names.Of(f.Subject.ID)
		}
		out = append(out, q.placed(e, l.Sign))
	}
	return out
}

func clauseOf(c finding.Citation) string {
	return strings.Join(slices.DeleteFunc([]string{c.Document, c.Edition, c.Section}, func(s string) bool { return s == "" }), ", ")
}

// placed says what an entry stops, and when.
func (q *dueQuestion) placed(e dueEntry, sign engine.Sign) dueEntry {
	switch {
	case sign == engine.ReadyStop:
		e.Stops = "now"
		if e.Kind == "left_item" || e.Kind == "site" { // a day that is past all the same
			break
		}
		e.last = calendar.Day{}
	case sign == engine.ReadyEnded:
		e.Stops = "ended"
	case !q.trip.IsZero() && !e.last.IsZero() && e.last.Before(q.trip):
		e.Stops = "expedition"
	default:
		e.Stops = "later"
	}
	if !e.last.IsZero() {
		days := int32(e.last.Sub(q.day))
		e.LastDay, e.Days = e.last.String(), &days
	}
	return e
}

// page sorts the entries, leaves out what holds on the last day asked about, and gives a page of what the caller may see.
func (h *Due) page(ctx context.Context, r *lastlightv1.ListDueRequest, q *dueQuestion, all []dueEntry) (*lastlightv1.ListDueResponse, error) {
	c := access.CallerFrom(ctx)
	all = slices.DeleteFunc(all, func(e dueEntry) bool { return e.Stops == "later" && !e.last.IsZero() && !e.last.Before(q.by) })
	var people []string
	for _, e := range all {
		if e.health {
			people = append(people, e.Person)
		}
	}
	subjects, err := h.Store.PersonSubjects(ctx, nil, c, people)
	if err != nil {
		return nil, err
	}
	all = shownTo(all, func(e dueEntry) bool { return c.Writes(access.Medical, subjects[e.Person]) })
	rank := map[string]int{"now": 0, "ended": 1, "expedition": 2, "later": 3}
	slices.SortFunc(all, func(a, b dueEntry) int {
		thing := func(e dueEntry) int {
			if e.Stops == "now" && !e.diver {
				return 1
			}
			return 0
		}
		return cmp.Or(
			cmp.Compare(rank[a.Stops], rank[b.Stops]), cmp.Compare(thing(a), thing(b)), a.last.Compare(b.last),
			cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Id, b.Id), cmp.Compare(a.Rule, b.Rule), cmp.Compare(a.What, b.What),
		)
	})
	bound := []any{r.Person, r.Item, r.Expedition, r.Club, q.day.String(), q.by.String()}
	after, err := store.ReadToken("due", bound, r.PageToken, 1)
	if err != nil {
		return nil, err
	}
	from := 0
	if after != nil {
		if from, err = strconv.Atoi(after[0]); err != nil || from < 0 || from > len(all) {
			return nil, fault.Wrong([]fault.Problem{{Field: "page_token", Expected: "a next_page_token of this very list", Message: "not a token of this list"}})
		}
	}
	until := min(len(all), from+store.PageSize(r.PageSize))
	out := &lastlightv1.ListDueResponse{Day: q.day.String(), By: q.by.String(), Total: int32(len(all)), Policy: q.id}
	if until < len(all) {
		out.NextPageToken = store.NextToken("due", bound, strconv.Itoa(until))
	}
	for _, e := range all[from:until] {
		if e.health && !c.Sees(access.Medical, subjects[e.Person]) { // that it is shown is noted, of this page alone
			continue
		}
		out.Entries = append(out.Entries, e.DueEntry)
	}
	return out, nil
}

// shownTo is the list as somebody sees it who sees the health of some alone. Of the others it is seen whether they dive, never why
// not, by how many reasons, and until when.
func shownTo(all []dueEntry, sees func(dueEntry) bool) []dueEntry {
	var out []dueEntry
	told := map[string]bool{}
	for _, e := range all {
		if e.health && !sees(e) {
			if e.Stops != "now" || told[e.Person] {
				continue
			}
			told[e.Person] = true
			e = dueEntry{diver: e.diver, DueEntry: &lastlightv1.DueEntry{
				Kind: e.Kind, Id: e.Id, Name: e.Name, Person: e.Person, Stops: e.Stops, What: e.Name + " is not available", Rule: "diver.not_available",
			}}
		}
		out = append(out, e)
	}
	return out
}
