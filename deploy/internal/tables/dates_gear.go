package tables

import (
	"lastlight/engine/analysis"
	"lastlight/engine/calendar"
	"lastlight/engine/due"
)

// The numbers the rows rely on and no head table carries, as the method
// handbook's "Dates and deadlines" gives them.
var (
	cylinderRules = due.CylinderRules{DueWithinDays: 60, EddyCurrentAlloys: []string{"6351"}, PlusSpecs: []string{"3A", "3AA"}, PlusPercent: 10} // T3, T13
	cellRules     = due.CellRules{MonthsFromManufacture: 18, MonthsFromFitting: 12, DueWithinDays: 60}                                           // T21
	diveLimits    = map[string]int{"regulator": 100}                                                                                             // T20
	lightRules    = due.LightRules{PrimaryFactor: 1.5, BackupFactor: 1}                                                                          // T43
	analysisDays  = 14                                                                                                                           // T29
)

func init() {
	dateKinds["cylinder_due"] = answer(cylinderDue)
	dateKinds["cylinder_may"] = answer(cylinderMay)
	dateKinds["expedition_cylinder"] = answer(expeditionCylinder)
	dateKinds["cylinder_set"] = answer(cylinderSet)
	dateKinds["plus_rating"] = answer(plusRating)
	dateKinds["kit_due"] = answer(kitDue)
	dateKinds["cell_due"] = answer(cellDue)
	dateKinds["lights"] = answer(lights)
	dateKinds["analysis"] = answer(analysisHolds)
	dateKinds["gas_label"] = answer(gasLabel)
}

// cylinder is a cylinder whose regime is a name in the head's table.
type cylinder struct {
	due.Cylinder
	Regime string `json:"regime"`
}

func (f *datesFile) cylinder(c cylinder) due.Cylinder {
	regime, ok := f.Regimes[c.Regime]
	if !ok {
		regime = f.Regimes[due.Unknown]
	}
	out := c.Cylinder
	out.Regime = regime
	return out
}

func cylinderDue(f *datesFile, in struct {
	asked
	Cylinder cylinder `json:"cylinder"`
},
) (any, error) {
	days, err := f.days(in.asked)
	if err != nil {
		return nil, err
	}
	return due.DueOn(f.cylinder(in.Cylinder), days.Last, cylinderRules), nil
}

func cylinderMay(f *datesFile, in struct {
	asked
	Cylinder    cylinder     `json:"cylinder"`
	FilledOn    calendar.Day `json:"filled_on"`
	Strict      bool         `json:"strict"`
	Pressurised *bool        `json:"pressurised"`
},
) (any, error) {
	days, err := f.days(in.asked)
	if err != nil {
		return nil, err
	}
	return due.May(due.CylinderUse{
		Cylinder: f.cylinder(in.Cylinder), Days: days, FilledOn: in.FilledOn, Strict: in.Strict,
		Empty: in.Pressurised != nil && !*in.Pressurised,
	}, cylinderRules), nil
}

func expeditionCylinder(f *datesFile, in struct {
	Cylinder cylinder     `json:"cylinder"`
	First    calendar.Day `json:"first_day"`
	Last     calendar.Day `json:"last_day"`
},
) (any, error) {
	return due.DuringExpedition(f.cylinder(in.Cylinder), calendar.Days{First: in.First, Last: in.Last}, cylinderRules), nil
}

func cylinderSet(f *datesFile, in struct {
	asked
	Members []cylinder `json:"members"`
},
) (any, error) {
	days, err := f.days(in.asked)
	if err != nil {
		return nil, err
	}
	var members []due.Cylinder
	for _, m := range in.Members {
		members = append(members, f.cylinder(m))
	}
	return due.SetDueOn(members, days.Last, cylinderRules), nil
}

func plusRating(f *datesFile, in struct {
	asked
	Cylinder  cylinder `json:"cylinder"`
	MarkedPsi int      `json:"marked_psi"`
	DiscOK    bool     `json:"disc_ok"`
	MadePlus  bool     `json:"made_plus"`
},
) (any, error) {
	days, err := f.days(in.asked)
	if err != nil {
		return nil, err
	}
	c := f.cylinder(in.Cylinder)
	c.MadePlus = c.MadePlus || in.MadePlus
	return due.PlusRating(c, days.Last, in.MarkedPsi, in.DiscOK, cylinderRules), nil
}

func kitDue(f *datesFile, in struct {
	asked
	Item       string                   `json:"item"`
	Clocks     map[string]calendar.Mark `json:"clocks"`
	DivesSince *int                     `json:"dives_since"`
},
) (any, error) {
	days, err := f.days(in.asked)
	if err != nil {
		return nil, err
	}
	rule := due.KitRule{Months: f.KitMonths[in.Item]}
	if in.DivesSince != nil { // a row without the count asks about the dates alone
		rule.DiveLimit = diveLimits[in.Item]
	}
	return due.KitDueOn(due.KitItem{Clocks: in.Clocks, DivesSince: in.DivesSince}, rule, days.Last, cylinderRules.DueWithinDays), nil
}

func cellDue(f *datesFile, in struct {
	asked
	Made   calendar.Mark `json:"made"`
	Fitted calendar.Mark `json:"fitted"`
},
) (any, error) {
	days, err := f.days(in.asked)
	if err != nil {
		return nil, err
	}
	return due.CellDueOn(in.Made, in.Fitted, days.Last, cellRules), nil
}

func lights(_ *datesFile, in struct {
	RuntimeMin float64 `json:"runtime_min"`
},
) (any, error) {
	return due.LightsFor(in.RuntimeMin, lightRules), nil
}

func analysisHolds(f *datesFile, in struct {
	asked
	AnalysedAt calendar.Instant `json:"analysed_at"`
	Events     []analysis.Event `json:"events"`
},
) (any, error) {
	all, err := f.zonesOf(in.asked)
	if err != nil {
		return nil, err
	}
	out, err := analysis.Judge(analysis.Question{
		AnalysedAt: in.AnalysedAt, Dive: in.span(), Events: in.Events, HoldsDays: analysisDays,
	}, all...)
	if err != nil {
		return nil, err
	}
	return local(out, all[0], map[string]calendar.Instant{"ended_at": out.EndedAt})
}

// typedDecimal is a decimal as a JSON string or number.
type typedDecimal struct{ analysis.Decimal }

func (d *typedDecimal) UnmarshalJSON(text []byte) error {
	if n := len(text); n > 1 && text[0] == '"' {
		text = text[1 : n-1]
	}
	return d.UnmarshalText(text)
}

func gasLabel(_ *datesFile, in struct {
	PlanO2     typedDecimal  `json:"plan_o2"`
	PlanHe     typedDecimal  `json:"plan_he"`
	MeasuredO2 typedDecimal  `json:"measured_o2"`
	MeasuredHe typedDecimal  `json:"measured_he"`
	PPMax      *typedDecimal `json:"pp_max"`
	PlanDepth  *typedDecimal `json:"plan_depth_m"`
	AtDepth    *typedDecimal `json:"at_depth_m"`
},
) (any, error) {
	decimal := func(text string) analysis.Decimal {
		d, err := analysis.ParseDecimal(text)
		if err != nil {
			panic(err) // a constant below is wrong
		}
		return d
	}
	label := analysis.Label{
		PlanOxygen: in.PlanO2.Decimal, PlanHelium: in.PlanHe.Decimal,
		MeasuredOxygen: in.MeasuredO2.Decimal, MeasuredHelium: in.MeasuredHe.Decimal,
		MaxOxygenBar: decimal("1.4"), // practice 10
	}
	if in.PPMax != nil {
		label.MaxOxygenBar = in.PPMax.Decimal
	}
	if in.PlanDepth != nil {
		label.PlanDepthM = &in.PlanDepth.Decimal
	}
	if in.AtDepth != nil {
		label.AtDepthM = &in.AtDepth.Decimal
	}
	return analysis.JudgeLabel(label, analysis.LabelRules{ // T30
		OxygenTolerance: decimal("1.0"), HeliumTolerance: decimal("2.0"), HypoxicBar: decimal("0.18"),
	})
}
