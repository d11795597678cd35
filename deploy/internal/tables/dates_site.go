package tables

import (
	"lastlight/engine/calendar"
	"lastlight/engine/due"
	"lastlight/engine/rates"
	"lastlight/engine/watch"
)

// The numbers the rows rely on, as the method handbook's "Dates and deadlines"
// gives them.
var (
	watchRules      = watch.Rules{RoundToMin: 5, GraceShare: 0.5, GraceMin: 60, GraceMax: 90, GasFloorMin: 20, LookShare: 0.25, CoordinatorShare: 0.5} // T36
	verifiedFor     = 168 * 60                                                                                                                         // T31
	farOpeningFor   = 48 * 60                                                                                                                          // T32
	flightRules     = watch.FlightRules{SingleHours: 12, SeriesHours: 18, StopsHours: 24, SeriesGapMin: 48 * 60, CabinBelowM: 600}                     // T38
	oxygenRules     = watch.OxygenRules{ReserveBar: 20, LitresMin: 15, Casualties: 2}                                                                  // T39
	rateRules       = rates.Rules{Confidence: 0.95, HideBelow: 3, Per: 1000}                                                                           // T40, T41
	rateDigits      = 3                                                                                                                                // T40
	lambdaDigits    = 4                                                                                                                                // T40
	typedDateBounds = calendar.TypedRules{EarliestYear: 1900, EarliestTwoDigitYear: 1950}                                                              // T6
)

func init() {
	dateKinds["watch"] = answer(watchTimes)
	dateKinds["overlap"] = answer(overlap)
	dateKinds["permit"] = answer(permit)
	dateKinds["reading"] = answer(reading)
	dateKinds["verification"] = answer(verification)
	dateKinds["far_opening"] = answer(farOpening)
	dateKinds["flight"] = answer(flight)
	dateKinds["oxygen_minutes"] = answer(oxygenMinutes)
	dateKinds["rate"] = answer(rate)
	dateKinds["change"] = answer(change)
	dateKinds["typed_date"] = answer(typedDate)
	dateKinds["typed_time"] = answer(typedTime)
	dateKinds["order"] = answer(order)
}

func watchTimes(f *datesFile, in struct {
	watch.Question
	Zone string `json:"zone"`
},
) (any, error) {
	zone, err := f.zone(in.Zone)
	if err != nil {
		return nil, err
	}
	out, err := watch.Plan(in.Question, watchRules, zone)
	if err != nil {
		return nil, err
	}
	return local(out, zone, map[string]calendar.Instant{
		"eto": out.ETO, "look": out.Look, "coordinator": out.Coordinator, "dial": out.Dial, "walk_from": out.WalkFrom,
	})
}

func overlap(_ *datesFile, in struct {
	A      watch.Duty `json:"a"`
	B      watch.Duty `json:"b"`
	Buffer int        `json:"buffer_min"`
},
) (any, error) {
	return map[string]any{"conflict": watch.Conflict(in.A, in.B, in.Buffer)}, nil
}

func permit(f *datesFile, in struct {
	asked
	Permit *struct {
		From  calendar.Day `json:"from"`
		To    calendar.Day `json:"to"`
		Daily []string     `json:"daily"`
	} `json:"permit"`
	Closures []struct {
		From dayOrInstant `json:"from"`
		To   dayOrInstant `json:"to"`
	} `json:"closures"`
},
) (any, error) {
	all, err := f.zonesOf(in.asked)
	if err != nil {
		return nil, err
	}
	var allowed *watch.Permit
	if p := in.Permit; p != nil {
		allowed = &watch.Permit{From: p.From, To: p.To}
		if len(p.Daily) == 2 {
			start, err := calendar.ParseClock(p.Daily[0])
			if err != nil {
				return nil, err
			}
			end, err := calendar.ParseClock(p.Daily[1])
			if err != nil {
				return nil, err
			}
			allowed.Daily = &watch.Daily{Start: start, End: end}
		}
	}
	var closures []watch.Closure
	for _, c := range in.Closures {
		closures = append(closures, watch.Closure{FromDay: c.From.day, ToDay: c.To.day, From: c.From.at, To: c.To.at})
	}
	return watch.JudgeAccess(in.span(), allowed, closures, all...)
}

func reading(f *datesFile, in struct {
	asked
	Readings []watch.Reading `json:"readings"`
},
) (any, error) {
	all, err := f.zonesOf(in.asked)
	if err != nil {
		return nil, err
	}
	out, err := watch.ReadingFor(in.Readings, in.Entry, all...)
	if err != nil {
		return nil, err
	}
	return local(out, all[0], map[string]calendar.Instant{"used": out.Used})
}

func verification(f *datesFile, in struct {
	watch.Verification
	Zone string `json:"zone"`
},
) (any, error) {
	zone, err := f.zone(in.Zone)
	if err != nil {
		return nil, err
	}
	in.HoldsForMin = verifiedFor
	out, err := watch.JudgeVerification(in.Verification, zone)
	if err != nil {
		return nil, err
	}
	return local(out, zone, map[string]calendar.Instant{"ends_at": out.EndsAt})
}

func farOpening(f *datesFile, in struct {
	asked
	SeenOpenAt calendar.Instant `json:"seen_open_at"`
},
) (any, error) {
	all, err := f.zonesOf(in.asked)
	if err != nil {
		return nil, err
	}
	out := watch.JudgeFarOpening(in.SeenOpenAt, in.span(), farOpeningFor)
	return local(out, all[0], map[string]calendar.Instant{"ends_at": out.EndsAt})
}

func flight(f *datesFile, in struct {
	watch.FlightQuestion
	Zone string `json:"zone"`
},
) (any, error) {
	zone, err := f.zone(in.Zone)
	if err != nil {
		return nil, err
	}
	out := watch.JudgeFlight(in.FlightQuestion, flightRules)
	return local(out, zone, map[string]calendar.Instant{"earliest": out.Earliest})
}

func oxygenMinutes(_ *datesFile, in struct {
	Cylinders  []watch.OxygenCylinder `json:"cylinders"`
	Casualties *int                   `json:"casualties"`
},
) (any, error) {
	rules := oxygenRules
	if in.Casualties != nil {
		rules.Casualties = *in.Casualties
	}
	return map[string]int{"minutes": watch.OxygenMinutes(in.Cylinders, rules)}, nil
}

func rate(_ *datesFile, in struct {
	rates.Question
	Viewer     string   `json:"viewer"` // none = the safety group
	Per        *float64 `json:"per"`
	Confidence *float64 `json:"confidence"`
},
) (any, error) {
	rules := rateRules
	if in.Per != nil {
		rules.Per = *in.Per
	}
	if in.Confidence != nil {
		rules.Confidence = *in.Confidence
	}
	in.InSafetyGroup = in.Viewer == "" || in.Viewer == "safety"
	out := rates.Judge(in.Question, rules)
	if out.Verdict == rates.Shown {
		out.Rate = rates.Round(out.Rate, rateDigits)
		out.Lambda = roundLimits(out.Lambda, lambdaDigits)
		out.Limits = roundLimits(out.Limits, rateDigits)
	}
	return out, nil
}

func change(_ *datesFile, in struct {
	Before     rates.Question `json:"before"`
	After      rates.Question `json:"after"`
	Confidence *float64       `json:"confidence"`
},
) (any, error) {
	rules := rateRules
	if in.Confidence != nil {
		rules.Confidence = *in.Confidence
	}
	out := rates.JudgeChange(in.Before, in.After, rules)
	return map[string]any{
		"verdict": out.Verdict, "claim": out.Claim,
		"limits_per_1000": []rates.Limits{roundLimits(out.Limits[0], rateDigits), roundLimits(out.Limits[1], rateDigits)},
	}, nil
}

func roundLimits(l rates.Limits, digits int) rates.Limits {
	return rates.Limits{rates.Round(l[0], digits), rates.Round(l[1], digits)}
}

func typedDate(f *datesFile, in struct {
	Text string           `json:"text"`
	Form calendar.Form    `json:"form"`
	Use  calendar.Use     `json:"use"`
	Now  calendar.Instant `json:"now"`
	Zone string           `json:"zone"`
	Made calendar.Mark    `json:"made"`
},
) (any, error) {
	zone, err := f.zone(in.Zone)
	if err != nil {
		return nil, err
	}
	today, err := zone.Day(in.Now)
	if err != nil {
		return nil, err
	}
	return calendar.ReadTypedDate(calendar.TypedDate{
		Text: in.Text, Form: in.Form, Use: in.Use, Today: today, Made: in.Made, Rules: typedDateBounds,
	}), nil
}

func typedTime(f *datesFile, in struct {
	Wall   string `json:"wall"`
	Zone   string `json:"zone"`
	Offset string `json:"offset"`
},
) (any, error) {
	zone, err := f.zone(in.Zone)
	if err != nil {
		return nil, err
	}
	out, err := calendar.ReadTypedTime(in.Wall, in.Offset, zone)
	if err != nil {
		return nil, err
	}
	tree, err := plain(out)
	if err != nil {
		return nil, err
	}
	offsets := []string{}
	for _, off := range out.Offsets {
		offsets = append(offsets, calendar.FormatOffset(off))
	}
	tree["offsets"] = offsets
	return tree, nil
}

func order(_ *datesFile, in struct {
	First  orderMark `json:"first"`
	Second orderMark `json:"second"`
},
) (any, error) {
	if !in.First.at.IsZero() && !in.Second.at.IsZero() { // an out must lie after its in
		return map[string]bool{"accepted": in.Second.at.After(in.First.at)}, nil
	}
	return map[string]bool{"accepted": calendar.InOrder(in.First.mark, in.Second.mark)}, nil
}

// orderMark is a date, a month, or an instant.
type orderMark struct {
	mark calendar.Mark
	at   calendar.Instant
}

func (o *orderMark) UnmarshalText(text []byte) error {
	if len(text) > 10 {
		return o.at.UnmarshalText(text)
	}
	return o.mark.UnmarshalText(text)
}

// band is one medical band as the files write it: [below age or null, months].
type band [2]*int

func ageBands(bands []band) []due.AgeBand {
	var out []due.AgeBand
	for _, b := range bands {
		if b[1] != nil {
			out = append(out, due.AgeBand{BelowAge: b[0], Months: *b[1]})
		}
	}
	return out
}
