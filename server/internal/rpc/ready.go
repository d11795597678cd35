package rpc

import (
	"context"
	"fmt"
	"slices"

	"lastlight/engine"
	"lastlight/engine/calendar"
	"lastlight/engine/finding"
	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/access"
	"lastlight/server/internal/dates"
	"lastlight/server/internal/facts"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/report"
	"lastlight/server/internal/store"
)

// personQuestion is what a question about one person and one day rests on.
type personQuestion struct {
	person  string // id
	name    string // as shown
	subject access.Subject
	in      engine.ReadyInput
	names   report.Names
}

// personQuestion reads the records of a question about a person, the caller
// where none is named; day is empty for today. everything reads the whole log, and not what can matter on the day.
func (h *Roster) personQuestion(ctx context.Context, method, person, day, site string, everything bool) (*personQuestion, error) {
	if person == "" {
		person = access.CallerFrom(ctx).Person
	}
	q := &personQuestion{person: person}
	var err error
	if q.subject, err = h.may(ctx, method, person); err != nil {
		return nil, err
	}
	problems := fault.Collect("")
	dates.Day(problems, "day", day)
	if err := problems.Err(); err != nil {
		return nil, err
	}
	now := h.Store.Now()
	records, err := h.Store.GatherPerson(ctx, person, day, site, everything, now)
	if err != nil {
		return nil, err
	}
	if q.in, err = facts.Ready(records, day, now, h.Zones); err != nil {
		return nil, err
	}
	if q.name = records.Person.ShortName; q.name == "" {
		q.name = records.Person.FullName
	}
	pseudonym := records.Pseudonyms[person]
	q.names = report.NewNames(map[string]string{pseudonym: person}, map[string]string{pseudonym: q.name})
	return q, nil
}

// CheckGoodToGo answers a diver's question for a day, by the rules that plans are judged by; for a plan it is the day and the
// site of the plan.
func (h *Roster) CheckGoodToGo(ctx context.Context, r *lastlightv1.CheckGoodToGoRequest) (*lastlightv1.GoodToGo, error) {
	day, site := r.Day, r.Site
	var p *lastlightv1.Plan
	if r.Plan != "" {
		person := r.Person
		if person == "" {
			person = access.CallerFrom(ctx).Person
		}
		_, err := h.may(ctx, "CheckGoodToGo", person)
		if err != nil {
			return nil, err
		}
		if p, err = h.planWith(ctx, person, r.Plan); err != nil {
			return nil, err
		}
		if day, site, err = h.whenAndWhere(ctx, p, r); err != nil {
			return nil, err
		}
	}
	q, err := h.personQuestion(ctx, "CheckGoodToGo", r.Person, day, site, false)
	if err != nil {
		return nil, err
	}
	out := q.answer(ctx, q.in.Day)
	if r.Expedition != "" {
		last, err := h.lastDay(ctx, r.Expedition, q.in.Day)
		if err != nil {
			return nil, err
		}
		out.OnLastDay = q.answer(ctx, last)
	}
	if p != nil {
		if err := h.forPlan(ctx, out, q.person, p); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// lastDay is the last day of an expedition that the caller may read and that is not over on the day asked about.
func (h *Roster) lastDay(ctx context.Context, id string, asked calendar.Day) (calendar.Day, error) {
	const read = expeditionService + "GetExpedition"
	if err := allowed(ctx, read, read, access.Subject{Expeditions: expeditions(id)}, "expedition", id); err != nil {
		return calendar.Day{}, err
	}
	x, err := h.Store.GetExpedition(ctx, id)
	if err != nil {
		return calendar.Day{}, err
	}
	last, err := calendar.ParseDay(x.ToDay)
	if err != nil {
		return calendar.Day{}, err
	}
	p := fault.Collect("")
	if last.Before(asked) {
		p.Add("expedition", id, "one that ends on "+asked.String()+" or later", "it ended on "+last.String())
	}
	return last, p.Err()
}

// answer says how the person stands on the day, as far as the caller may see.
func (q *personQuestion) answer(ctx context.Context, day calendar.Day) *lastlightv1.GoodToGo {
	in := q.in
	in.Day = day
	answer, name, names := engine.Ready(in), q.name, q.names
	out := &lastlightv1.GoodToGo{
		Person: q.person, Day: answer.Day.String(), Site: in.SiteID, Yes: answer.Yes, CountsAs: answer.CountsAs, CountsBecause: names.In(answer.Because),
		Policy: in.PolicyVersion, EngineVersion: engine.Version,
	}
	health := access.CallerFrom(ctx).Sees(access.Medical, q.subject)
	// To whoever does not see it, one line for all of health, at one place: how many there are, and where, would tell why.
	available := &lastlightv1.GoodToGoLine{Sign: string(engine.ReadyOK), What: name + " is available"}
	for _, l := range answer.Lines {
		if !health && report.AboutHealth(l.Finding.Rule, l.Finding.Path) {
			if l.Sign == engine.ReadyStop {
				available = &lastlightv1.GoodToGoLine{Sign: string(l.Sign), What: report.Public(l.Finding, names)}
			}
			continue
		}
		out.Lines = append(out.Lines, &lastlightv1.GoodToGoLine{
			Sign: string(l.Sign), What: names.In(l.Says), ToDo: names.In(l.ToDo), ChangesOn: l.ChangesOn.String(), Finding: report.Finding(l.Finding, names),
		})
	}
	switch {
	case health:
	case available.Sign == string(engine.ReadyStop):
		out.Lines = slices.Insert(out.Lines, 0, available)
	default:
		out.Lines = append(out.Lines, available)
	}
	return out
}

// planWith is a plan that the caller may read and in whose team the person dives.
func (h *Roster) planWith(ctx context.Context, person, id string) (*lastlightv1.Plan, error) {
	c := access.CallerFrom(ctx)
	p, err := h.Store.GetPlan(ctx, id, 0)
	if err != nil {
		return nil, err
	}
	takesPart := slices.ContainsFunc(p.Team, func(d *lastlightv1.PlanDiver) bool { return d.Person == person })
	if !access.May(c, planService+"GetPlan", planSubject(c, p)) || !takesPart {
		return nil, fault.NoSuch("plan with this diver", id)
	}
	return p, nil
}

// whenAndWhere gives the day of a plan's planned entry on the site's clocks, and its site. Another day or site asked for beside
// the plan is refused: the answer would be for one of the two, and nobody could tell which.
func (h *Roster) whenAndWhere(ctx context.Context, p *lastlightv1.Plan, r *lastlightv1.CheckGoodToGoRequest) (day, site string, err error) {
	day, site = r.Day, p.Site
	if p.PlannedEntry != nil {
		zones, err := store.SiteZones(ctx, h.Store.Pool(), []string{p.Site})
		if err != nil {
			return "", "", err
		}
		at := p.PlannedEntry.AsTime()
		zone, err := h.Zones(zones[p.Site], at.Year()-1, at.Year()+1)
		if err != nil {
			return "", "", err
		}
		on, err := zone.Day(calendar.FromUnix(at.Unix()))
		if err != nil {
			return "", "", err
		}
		day = on.String()
	}
	problems := fault.Collect("")
	if r.Day != "" && r.Day != day {
		problems.Add("day", r.Day, day+", the day of the plan, or none", "the plan is for another day")
	}
	if r.Site != "" && r.Site != site {
		problems.Add("site", r.Site, site+", the site of the plan, or none", "the plan is for another site")
	}
	return day, site, problems.Err()
}

// forPlan adds what stops this person in the plan beyond the day, and how many things else stop the plan: nobody dives a plan
// that is stopped by what concerns another diver, the route or the site.
func (h *Roster) forPlan(ctx context.Context, out *lastlightv1.GoodToGo, person string, p *lastlightv1.Plan) error {
	s := planSubject(access.CallerFrom(ctx), p)
	r, err := h.Desk.Evaluate(ctx, p.Id, 0)
	if err != nil {
		return err
	}
	waived := map[string]bool{}
	for _, f := range r.Findings {
		waived[f.Key] = f.WaivedBy != ""
	}
	said := map[string]bool{}
	for _, l := range out.Lines {
		said[l.What] = true
	}
	var add []*lastlightv1.GoodToGoLine
	others := 0
	for _, f := range masked(ctx, r, s).Findings {
		switch {
		case waived[f.Key] || said[f.Message] || !finding.Status(f.Status).Blocks():
		case f.GetSubject().GetId() == person || f.GetOther().GetId() == person:
			add = append(add, &lastlightv1.GoodToGoLine{Sign: string(engine.ReadyStop), What: f.Message, ToDo: f.Remedy, Finding: f})
		default:
			others++
		}
	}
	if others > 0 {
		add = append(add, &lastlightv1.GoodToGoLine{
			Sign: string(engine.ReadyStop), What: fmt.Sprintf("plan %s: stopped by what concerns others, the route or the site: %d in all", p.Id, others),
			ToDo: "read the plan's report: it says what would pass",
		})
	}
	if len(add) > 0 {
		out.Yes = false
		out.Lines = append(add, out.Lines...)
	}
	return nil
}
