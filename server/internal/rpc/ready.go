package rpc

import (
	"context"
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

// CheckGoodToGo answers a diver's question for a day, by the rules that plans are judged by.
func (h *Roster) CheckGoodToGo(ctx context.Context, r *lastlightv1.CheckGoodToGoRequest) (*lastlightv1.GoodToGo, error) {
	q, err := h.personQuestion(ctx, "CheckGoodToGo", r.Person, r.Day, r.Site, false)
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
	if r.Plan != "" {
		if err := h.forPlan(ctx, out, q.person, r.Plan); err != nil {
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
	for _, l := range answer.Lines {
		line := &lastlightv1.GoodToGoLine{Sign: string(l.Sign), What: names.In(l.Says), ToDo: names.In(l.ToDo), ChangesOn: l.ChangesOn.String(), Finding: report.Finding(l.Finding, names)}
		if !health && report.AboutHealth(l.Finding.Rule, l.Finding.Path) {
			line.What, line.ToDo, line.ChangesOn, line.Finding = report.Public(l.Finding, names), "", "", nil
			if line.Sign != string(engine.ReadyStop) {
				line.Sign, line.What = string(engine.ReadyOK), name+" is available"
			}
		}
		out.Lines = append(out.Lines, line)
	}
	return out
}

// forPlan adds what the plan asks of this person beyond the day.
func (h *Roster) forPlan(ctx context.Context, out *lastlightv1.GoodToGo, person, id string) error {
	c := access.CallerFrom(ctx)
	p, err := h.Store.GetPlan(ctx, id, 0)
	if err != nil {
		return err
	}
	s := planSubject(c, p)
	takesPart := slices.ContainsFunc(p.Team, func(d *lastlightv1.PlanDiver) bool { return d.Person == person })
	if !access.May(c, planService+"GetPlan", s) || !takesPart {
		return fault.NoSuch("plan with this diver", id)
	}
	r, err := h.Desk.Evaluate(ctx, id, 0)
	if err != nil {
		return err
	}
	said := map[string]bool{}
	for _, l := range out.Lines {
		said[l.What] = true
	}
	var add []*lastlightv1.GoodToGoLine
	for _, f := range masked(ctx, r, s).Findings {
		if f.GetSubject().GetId() != person || said[f.Message] || !finding.Status(f.Status).Blocks() {
			continue
		}
		add = append(add, &lastlightv1.GoodToGoLine{Sign: string(engine.ReadyStop), What: f.Message, ToDo: f.Remedy, Finding: f})
	}
	if len(add) > 0 {
		out.Yes = false
		out.Lines = append(add, out.Lines...)
	}
	return nil
}
