package fillstation

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"lastlight/engine/calendar"
	"lastlight/engine/due"
	engine "lastlight/engine/facts"
	"lastlight/engine/fillplan"
	"lastlight/engine/gas"
	"lastlight/engine/gear"
	"lastlight/engine/policy"
	"lastlight/engine/water"
	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/dates"
	"lastlight/server/internal/facts"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/quantity"
	"lastlight/server/internal/store"
)

const (
	mostDays   = 31
	stockLeave = 30 // bar: what a booster leaves in a stock bottle; common practice, from memory
)

// Question is a request for a fill plan, read.
type Question struct {
	Request     *lastlightv1.GetFillPlanRequest // in SI
	First, Last calendar.Day
}

// Ask reads a request for a fill plan and notes everything wrong with it.
func Ask(r *lastlightv1.GetFillPlanRequest) (*Question, error) {
	p := fault.Collect("")
	q := &Question{Request: inSI(r, p)}
	q.First = dates.Day(p, "from_day", r.FromDay)
	q.Last = q.First
	if r.ToDay != "" {
		q.Last = dates.Day(p, "to_day", r.ToDay)
	}
	if n := q.Last.Sub(q.First) + 1; !q.First.IsZero() && !q.Last.IsZero() && (n < 1 || n > mostDays) {
		p.Add("to_day", r.ToDay, fmt.Sprintf("from_day or later, at most %d days in all", mostDays), "not a span of days")
	}
	seen := map[string]bool{}
	for i, c := range r.Present {
		if seen[c.Cylinder] {
			p.Addf(c.Cylinder, "each cylinder once", "named twice", "present[%d].cylinder", i)
		}
		seen[c.Cylinder] = true
	}
	return q, p.Err()
}

// Span is the time within which plans of the days enter, whatever the zone.
func (q *Question) Span() (from, to time.Time) {
	at := func(d calendar.Day) time.Time { return time.Unix(int64(d.Sub(epoch))*86400, 0) }
	return at(q.First.Add(-1)), at(q.Last.Add(2))
}

var epoch = func() calendar.Day {
	d, err := calendar.ParseDay("1970-01-01")
	if err != nil {
		panic(err)
	}
	return d
}()

// Ground is what a fill plan is judged by.
type Ground struct {
	Policy     *policy.Policy
	Due        facts.Due
	Expedition *lastlightv1.Expedition
	Gear       *store.ExpeditionGear
}

// Plan works the fill plan out.
func (q *Question) Plan(g Ground) (*lastlightv1.FillPlan, error) {
	p := fault.Collect("")
	for i, c := range q.Request.Present {
		if g.Gear.Cylinders[c.Cylinder] == nil {
			p.Addf(c.Cylinder, "a cylinder that a plan of these days names", "no plan of these days has it", "present[%d].cylinder", i)
		}
	}
	station, err := q.station(g.Policy)
	if err != nil {
		return nil, err
	}
	if err := p.Err(); err != nil {
		return nil, err
	}
	w := &worker{Ground: g, question: q, last: map[string]content{}, out: &lastlightv1.FillPlan{Expedition: q.Request.Expedition}}
	budgets, err := fillplan.Of(w.days(), station)
	if err != nil {
		return nil, err
	}
	for _, b := range budgets {
		w.day(b)
	}
	if err := w.leaving(); err != nil {
		return nil, err
	}
	w.assumptions()
	return w.out, nil
}

func (q *Question) station(p *policy.Policy) (fillplan.Station, error) {
	r := q.Request
	s := fillplan.Station{
		Kelvin: kelvin(r.TemperatureC), Surface: water.SeaLevelBar, TopUp: mixOr(r.TopUp, gas.Air), DayMinutes: 60 * r.CompressorHours,
		Bank: bottles(r.Bank), Tolerance: tolerance(p),
	}
	switch d := r.Compressor.GetUnit().(type) {
	case *lastlightv1.Delivery_LitresPerMinute:
		s.CompressorMin = d.LitresPerMinute
	case *lastlightv1.Delivery_CubicFeetPerMinute:
		s.CompressorMin = d.CubicFeetPerMinute * quantity.LitresPerCubicFoot
	}
	leave := q.left()
	stock := func(list []*lastlightv1.GasBottle, m gas.Mix) (*float64, error) {
		if len(list) == 0 {
			return nil, nil
		}
		l, err := gas.Stock(m, bottles(list), leave, s.Kelvin, s.Surface)
		return &l, err
	}
	var err error
	if s.OxygenL, err = stock(r.OxygenStock, gas.Oxygen); err == nil {
		s.HeliumL, err = stock(r.HeliumStock, gas.Mix{He: 1})
	}
	return s, err
}

// left is the pressure at which stock bottles are left, bar.
func (q *Question) left() float64 {
	if at := q.Request.StockLeftAt; at != nil {
		return at.GetBar()
	}
	return stockLeave
}

// worker goes through the plans in the order in which they enter.
type worker struct {
	Ground
	question *Question
	last     map[string]content // what a cylinder was last filled with, here
	plans    int
	missing  []string
	out      *lastlightv1.FillPlan
}

type content struct {
	mix gas.Mix
	bar float64
}

func (w *worker) days() []fillplan.Day {
	var out []fillplan.Day
	for d := w.question.First; !d.After(w.question.Last); d = d.Add(1) {
		out = append(out, fillplan.Day{Day: d})
	}
	for _, p := range w.Gear.Plans {
		day := dates.Today(p.PlannedEntry.AsTime(), w.Gear.SiteZones[p.Site])
		if day.Before(w.question.First) || day.After(w.question.Last) {
			continue
		}
		w.plans++
		into := &out[day.Sub(w.question.First)]
		for _, d := range p.Team {
			set := w.Gear.Sets[d.Mains]
			if set == nil {
				w.missing = append(w.missing, fmt.Sprintf("Plan %s: set %s is not on record, its gas is not in these figures.", p.Id, d.Mains))
			}
			for _, c := range set.GetCylinders() {
				w.fill(into, day, p.Id, c, w.settled(p.Id, d.StartPressure, d.Gas, d.TemperatureC))
			}
			for _, s := range d.Stages {
				w.fill(into, day, p.Id, s.Cylinder, w.settled(p.Id, s.StartPressure, s.Gas, s.TemperatureC))
			}
		}
	}
	return out
}

// settled is what a plan wants in a cylinder, at the temperature of the fill
// station: a start pressure is meant at that of the plan.
func (w *worker) settled(plan string, start *lastlightv1.Pressure, mix *lastlightv1.GasMix, celsius *float64) content {
	c := content{mixOf(mix), start.GetBar()}
	settled, err := gas.AtTemperature(gas.Real, c.mix, c.bar, water.SeaLevelBar, kelvin(celsius), kelvin(w.question.Request.TemperatureC))
	if err != nil {
		w.missing = append(w.missing, fmt.Sprintf("Plan %s: %s is filled as it stands, not for the temperature of the plan: %v.", plan, bar(c.bar), err))
		return c
	}
	c.bar = settled
	return c
}

func (w *worker) fill(into *fillplan.Day, day calendar.Day, plan, id string, to content) {
	c := w.Gear.Cylinders[id]
	if c == nil {
		w.missing = append(w.missing, fmt.Sprintf("Plan %s: cylinder %s is not on record, its gas is not in these figures.", plan, id))
		return
	}
	fact := w.Due.Fact(facts.Cylinder{Record: c})
	before, filled := w.last[id]
	if !filled {
		before = to
	}
	f := fillplan.Fill{
		Cylinder: id, Plan: plan, Volume: c.WaterVolume.GetLitres(), Target: to.mix, ToBar: to.bar, Now: before.mix, Clean: c.OxygenClean,
		// Above its mark only while a plus stands (T13).
		MostBar: max(fact.RatedBar, gear.MaxFillBar(w.Policy, &fact, day)), CleanAbove: cleanAbove(w.Policy, c.Jurisdiction),
	}
	if used := w.question.Request.UsedPercent; used != nil {
		f.NowBar = before.bar * (1 - *used/100)
	}
	if !filled {
		for _, n := range w.question.Request.Present {
			if n.Cylinder == id {
				f.Now, f.NowBar = mixOf(n.Gas), n.Pressure.GetBar()
			}
		}
	}
	w.last[id] = to
	f.Barred = w.barred(c, fact, day)
	into.Fills = append(into.Fills, f)
}

// barred says why a cylinder may not be filled on a day (T14, quarantine).
func (w *worker) barred(c *lastlightv1.Cylinder, fact engine.Cylinder, day calendar.Day) []string {
	var why []string
	if c.Quarantined != "" {
		why = append(why, "in quarantine: "+c.Quarantined)
	}
	if c.Archived {
		why = append(why, "no longer kept")
	}
	if j := gear.MayDuring(w.Policy, &fact, calendar.On(day)).Fill; j.Answer != due.Yes {
		for _, reason := range j.Why {
			why = append(why, spoken(reason))
		}
	}
	return why
}

// spoken writes a code of the engine in words.
func spoken(code string) string { return strings.ReplaceAll(code, "_", " ") }

var problemWords = map[string]string{
	fillplan.Unreachable: "cannot be made out of what is in it with these gases",
	fillplan.NotClean:    "NOT CLEAN FOR OXYGEN",
	fillplan.NoClean:     "not known to be clean for oxygen",
	fillplan.OverRating:  "above its working pressure",
	fillplan.Impossible:  "makes no fill: look at its record and at the plan",
}

func (w *worker) day(b fillplan.Budget) {
	d := &lastlightv1.FillDay{
		Day: b.Day.String(), TopUpL: up(b.TopUpL, 0), FromBankL: down(b.FromBankL, 0), CompressorMin: up(b.CompressorMin, 0), CompressorShortMin: up(b.ShortMin, 0),
		OxygenL: up(b.OxygenL, 0), HeliumL: up(b.HeliumL, 0),
	}
	left := func(x *float64) *float64 {
		if x == nil {
			return nil
		}
		l := down(*x, 0)
		return &l
	}
	d.OxygenLeftL, d.HeliumLeftL = left(b.OxygenLeftL), left(b.HeliumLeftL)
	for _, f := range b.Fills {
		line := &lastlightv1.PlannedFill{
			Cylinder: f.Cylinder, Plan: f.Plan, FromBar: round(f.NowBar, 1), ToBar: round(f.ToBar, 1), Gas: percent(f.Target, 2),
			TopUpL: up(f.TopUpL, 0), OxygenL: up(f.OxygenL, 0), HeliumL: up(f.HeliumL, 0), BankToBar: down(f.BankToBar, 1), NeedsOxygenClean: f.NeedsClean,
		}
		if f.DrainToBar < f.NowBar {
			line.BleedToBar = &f.DrainToBar
		}
		for _, problem := range f.Problems {
			if problem == fillplan.Drained {
				continue // bleed_to_bar says it
			}
			if problem == fillplan.Unreachable || problem == fillplan.Impossible {
				w.missing = append(w.missing, fmt.Sprintf("Plan %s: the gas of cylinder %s on %s is not in these figures, no fill for it can be worked out.", f.Plan, f.Cylinder, b.Day))
			}
			if said, ok := problemWords[problem]; ok {
				problem = said
			}
			line.Problems = append(line.Problems, problem)
		}
		if len(f.Problems) > 0 {
			d.Problems++
		}
		d.Fills = append(d.Fills, line)
	}
	w.out.Days = append(w.out.Days, d)
}

// leaving lists the cylinders of these plans whose tests end by the expedition's
// last day (T17), or cannot be told.
func (w *worker) leaving() error {
	first, err := calendar.ParseDay(w.Expedition.FromDay)
	if err != nil {
		return err
	}
	last, err := calendar.ParseDay(w.Expedition.ToDay)
	if err != nil {
		return err
	}
	if w.question.Last.After(last) {
		last = w.question.Last
	}
	for _, id := range slices.Sorted(maps.Keys(w.last)) {
		line := &lastlightv1.LeavingTest{Cylinder: id}
		fact := w.Due.Fact(facts.Cylinder{Record: w.Gear.Cylinders[id]})
		e := gear.During(w.Policy, &fact, calendar.Days{First: first, Last: last})
		if e.Verdict == due.InDate {
			continue
		}
		for _, why := range e.Why {
			line.Why = append(line.Why, spoken(why))
		}
		if e.Next != nil {
			line.Event, line.LastDay, line.NoFillFrom = string(e.Next.Event), e.Next.LastDay.String(), e.Next.LastDay.Add(1).String()
		}
		w.out.LeavingTest = append(w.out.LeavingTest, line)
	}
	return nil
}

func (w *worker) assumptions() {
	q, r := w.question, w.question.Request
	say := func(format string, args ...any) { w.out.Assumed = append(w.out.Assumed, fmt.Sprintf(format, args...)) }
	say("%d plans still to be dived; litres at 1 bar and 20 °C by the real gas.", w.plans)
	if r.UsedPercent != nil {
		say("Cylinders come with %g %% of the start pressure of their last fill breathed, and with its gas.", *r.UsedPercent)
	} else {
		say("Cylinders come empty: the most gas. Say what share is breathed to come closer.")
	}
	if len(r.Bank) > 0 {
		say("The bank is full each morning; the minutes of the compressor fill it again.")
	}
	for _, s := range []struct {
		name string
		list []*lastlightv1.GasBottle
	}{{"oxygen", r.OxygenStock}, {"helium", r.HeliumStock}} {
		if len(s.list) == 0 {
			say("No stock of %s was given: what is left cannot be told.", s.name)
		}
	}
	if len(r.OxygenStock)+len(r.HeliumStock) > 0 {
		say("Stock bottles give their gas down to %s, also into a cylinder that holds more: with a booster.", bar(q.left()))
	}
	say("The compressor draws air of 1 bar: at 2000 m it delivers a fifth less.")
	if r.CompressorHours == 0 {
		say("The hours of the compressor were not given: whether it suffices cannot be told.")
	}
	w.out.Assumed = append(w.out.Assumed, w.missing...)
}
