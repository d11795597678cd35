package screen

import (
	"fmt"
	"strconv"
	"strings"

	"lastlight/client/exit"
	"lastlight/client/table"
	"lastlight/client/units"
	pb "lastlight/proto/lastlight/v1"
)

// line is a figure with its label.
type line struct{ label, text string }

// lines writes figures one under the other, or as field and value in a pipe;
// what has no text is left out.
func (w View) lines(rows []line) error {
	if !w.Page {
		t := table.Table{Columns: []table.Column{{Title: "field"}, {Title: "value"}}}
		for _, r := range rows {
			if r.text != "" {
				t.Rows = append(t.Rows, []string{r.label, r.text})
			}
		}
		return w.Table(t)
	}
	p := &page{w: w}
	for _, r := range rows {
		p.label(0, r.label, r.text)
	}
	return p.err
}

func metres(m float64) string {
	switch {
	case m >= 9999:
		return "any depth"
	case m < 0:
		return "nowhere"
	}
	return strconv.FormatFloat(m, 'f', 1, 64) + " m"
}

func shallowest(m float64) string {
	if m == 0 {
		return "the surface"
	}
	return metres(m)
}

func oxygenBar(b float64) string { return strconv.FormatFloat(b, 'f', 2, 64) + " bar" }

func gramsPerLitre(d float64) string { return strconv.FormatFloat(d, 'f', 2, 64) + " g/L" }

func atDepth(a *pb.AtDepth) []line {
	if a == nil {
		return nil
	}
	rows := []line{
		{"At", metres(a.GetDepthM())},
		{"Oxygen", oxygenBar(a.GetOxygenBar())},
		{"Density", gramsPerLitre(a.GetDensity()) + " at 0 °C"},
		{"As deep as air", signed(a.GetEquivalentAirM()) + " by nitrogen"},
		{"Narcosis as at", signed(a.GetNarcoticWithOxygenM()) + ", oxygen counted; " + signed(a.GetNarcoticNitrogenM()) + ", nitrogen alone"},
		{"Verdict", strings.ToUpper(a.GetVerdict())},
	}
	for _, r := range a.GetReasons() {
		rows = append(rows, line{"because", r})
	}
	return rows
}

// signed is an equivalent depth, which lies above the surface for thin mixes.
func signed(m float64) string { return strconv.FormatFloat(m, 'f', 1, 64) + " m" }

func limits(l *pb.GasLimits) string {
	return fmt.Sprintf("%s at work, %s at rest, at least %s; %s advised, %s at most",
		oxygenBar(l.GetOxygenWorkingBar()), oxygenBar(l.GetOxygenRestingBar()), oxygenBar(l.GetOxygenFloorBar()),
		gramsPerLitre(l.GetDensityAdvised()), gramsPerLitre(l.GetDensityMost()))
}

const analyse = "Depths are of what was typed: what is breathed is what was analysed."

// MixCheck shows where a mix may be breathed.
func (w View) MixCheck(m *pb.MixCheck) error {
	rows := []line{
		{"Gas", units.Mix(m.GetGas())},
		{"Deepest at work", metres(m.GetDeepestWorkingM())},
		{"Deepest at rest", metres(m.GetDeepestRestingM())},
		{"Density advised to", metres(m.GetDeepestAdvisedDensityM())},
		{"Density refused below", metres(m.GetDeepestDensityM())},
		{"Shallowest", shallowest(m.GetShallowestM())},
	}
	rows = append(rows, atDepth(m.GetAtDepth())...)
	rows = append(rows, line{"Limits", limits(m.GetLimits())}, line{"Caution", analyse})
	if err := w.lines(rows); err != nil {
		return err
	}
	if m.GetAtDepth().GetVerdict() == "refuse" {
		return exit.Silent(exit.Refused)
	}
	return nil
}

// BestMix shows the mix for a depth.
func (w View) BestMix(m *pb.BestMix) error {
	rows := []line{{"Best mix", "none keeps to these limits"}}
	if m.GetFound() {
		rows = []line{
			{"Best mix", units.Mix(m.GetGas())}, {"not rounded", exactMix(m.GetExact())}, {"Shallowest", shallowest(m.GetShallowestM())},
		}
		rows = append(rows, atDepth(m.GetAtDepth())...)
	}
	var fitting []string
	for _, g := range m.GetFitting() {
		fitting = append(fitting, units.Mix(g))
	}
	if len(fitting) == 0 {
		fitting = []string{"none of those at hand"}
	}
	rows = append(rows, line{"Keeps to it too", strings.Join(fitting, ", ")},
		line{"Asked", oxygenBar(m.GetOxygenLimitBar()) + " of oxygen, " + gramsPerLitre(m.GetDensityLimit())}, line{"Caution", analyse})
	if err := w.lines(rows); err != nil {
		return err
	}
	if !m.GetFound() {
		return exit.Silent(exit.Refused)
	}
	return nil
}

func exactMix(g *pb.GasMix) string {
	return strconv.FormatFloat(g.GetOxygenPercent(), 'f', 2, 64) + "/" + strconv.FormatFloat(g.GetHeliumPercent(), 'f', 2, 64) + " %"
}

// GasSwitch shows a change of gas.
func (w View) GasSwitch(m *pb.GasSwitch) error {
	points := func(x float64) string { return strconv.FormatFloat(x, 'f', 1, 64) + " points" }
	head := "NOTHING TO NOTE"
	if m.GetNoted() {
		head = "NOTE"
	}
	return w.lines([]line{{"Verdict", head}, {"Nitrogen rises", points(m.GetNitrogenRisePercent())}, {"Rule of thumb", "at most " + points(m.GetAllowedPercent())}, {"", m.GetNote()}})
}

// Contents shows what a cylinder holds.
func (w View) Contents(m *pb.Contents) error {
	return w.lines([]line{
		{"Holds", w.Units.Litres(m.GetLitres()) + " at 1 bar and 20 °C"},
		{"Pressure × volume", w.Units.Litres(m.GetIdealLitres()) + ", for comparison"},
		{"Compressibility", strconv.FormatFloat(m.GetCompressibility(), 'f', 4, 64)},
		{"Weight of the gas", grams(m.GetGrams())},
	})
}

func grams(g float64) string {
	if g >= 1000 {
		return strconv.FormatFloat(g/1000, 'f', 3, 64) + " kg"
	}
	return strconv.FormatFloat(g, 'f', 0, 64) + " g"
}

// Settled shows the pressure at another temperature.
func (w View) Settled(m *pb.SettledPressure) error {
	return w.lines([]line{{"Shows then", w.Units.BarDown(m.GetBar())}, {"Ideal gas", w.Units.Bar(m.GetIdealBar()) + ", for comparison"}})
}

var added = map[string]string{"helium": "helium", "oxygen": "oxygen", "top_up": "top-up"}

// BlendSheet shows how to make a mix.
func (w View) BlendSheet(m *pb.BlendSheet) error {
	t := table.Table{Columns: []table.Column{
		{Title: "add"}, {Title: "fill to", Right: true}, {Title: "rise", Right: true}, {Title: "weight", Right: true}, {Title: "then in it"}, {Title: "ideal gas (not to use)", Right: true},
	}}
	if m.BleedToBar != nil {
		t.Rows = append(t.Rows, []string{"bleed down", w.Units.BarDown(m.GetBleedToBar()), "", "", "", ""})
	}
	for _, s := range m.GetSteps() {
		t.Rows = append(t.Rows, []string{
			added[s.GetAdd()], w.Units.Bar(s.GetToBar()), w.Units.Bar(s.GetRiseBar()), grams(s.GetGrams()),
			exactMix(&pb.GasMix{OxygenPercent: s.GetOxygenPercent(), HeliumPercent: s.GetHeliumPercent()}), w.Units.Bar(s.GetIdealToBar()),
		})
	}
	stop := stops(m)
	if !w.Page {
		if stop != "" { // in a pipe too, before the steps that must not be followed
			t.Rows = append([][]string{{stop, "", "", "", "", ""}}, t.Rows...)
		}
		if err := w.Table(t); err != nil {
			return err
		}
		return blendCode(m)
	}
	p := &page{w: w}
	if stop != "" {
		p.headline(stop)
	}
	switch {
	case m.GetMakes() == nil:
		return firstOf(p.err, blendCode(m))
	case m.BleedToBar != nil:
		p.headline("Bleed down to " + w.Units.BarDown(m.GetBleedToBar()) + " first: " + m.GetWhyNot())
	default:
		p.headline("Start at " + w.Units.Bar(m.GetStartBar()))
	}
	if p.err != nil {
		return p.err
	}
	if err := w.Table(t); err != nil {
		return err
	}
	p.blank()
	p.label(0, "Makes", exactMix(m.GetMakes()))
	p.label(0, "Gauge off by "+w.Units.Bar(m.GetReadingErrorBar()), fmt.Sprintf("%s to %s; tolerance %g points of oxygen, %g of helium", exactMix(m.GetLeast()), exactMix(m.GetMost()), m.GetOxygenTolerancePercent(), m.GetHeliumTolerancePercent()))
	p.label(0, "At 15 °C", w.Units.Bar(m.GetSettlesBar()))
	p.label(0, "Ideal gas would make", exactMix(m.GetIdealMakes()))
	for _, n := range m.GetNotices() {
		p.label(0, "Notice", n)
	}
	return firstOf(p.err, blendCode(m))
}

func firstOf(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// stops says why a sheet must not be followed; "" where it may.
func stops(m *pb.BlendSheet) string {
	switch {
	case m.GetMakes() == nil:
		return "CANNOT BE MADE: " + m.GetWhyNot()
	case m.GetCleanEnough() == "no":
		return "DO NOT FILL: not clean for oxygen"
	case m.GetCleanEnough() == "cannot_tell":
		return "DO NOT FILL: not known to be clean for oxygen"
	}
	return ""
}

// blendCode refuses a sheet that must not be followed.
func blendCode(m *pb.BlendSheet) error {
	if stops(m) != "" {
		return exit.Silent(exit.Refused)
	}
	return nil
}

// Cascade shows the order of a bank's bottles.
func (w View) Cascade(m *pb.Cascade) error {
	t := table.Table{Columns: []table.Column{{Title: "open"}, {Title: "it falls from", Right: true}, {Title: "to", Right: true}, {Title: "cylinder then", Right: true}}}
	for _, s := range m.GetSteps() {
		t.Rows = append(t.Rows, []string{"bottle " + strconv.Itoa(int(s.GetBottle())), w.Units.Bar(s.GetBottleFromBar()), w.Units.Bar(s.GetBottleToBar()), w.Units.Bar(s.GetCylinderToBar())})
	}
	if err := w.Table(t); err != nil || !w.Page {
		return err
	}
	p := &page{w: w}
	p.blank()
	reaches := w.Units.BarDown(m.GetReachesBar())
	if !m.GetEnough() {
		reaches += ": NOT ENOUGH, the rest is for the compressor"
	}
	p.label(0, "Reaches", reaches)
	p.label(0, "In it then", exactMix(m.GetMakes()))
	p.line("Open slowly: gas that evens out fast is hot, and shows more than it holds.")
	return p.err
}

// FillPlan shows the gas budget of an expedition's days.
func (w View) FillPlan(m *pb.FillPlan) error {
	days := table.Table{Columns: []table.Column{
		{Title: "day"},
		{Title: "fills", Right: true},
		{Title: "top-up", Right: true},
		{Title: "compressor", Right: true},
		{Title: "oxygen", Right: true},
		{Title: "O2 left", Right: true},
		{Title: "helium", Right: true},
		{Title: "He left", Right: true},
	}}
	left := func(x *float64) string {
		if x == nil {
			return "?"
		}
		return w.Units.GasDown(*x)
	}
	for _, d := range m.GetDays() {
		days.Rows = append(days.Rows, []string{
			d.GetDay(), strconv.Itoa(len(d.GetFills())), w.Units.GasUp(d.GetTopUpL()), hours(d.GetCompressorMin()),
			w.Units.GasUp(d.GetOxygenL()), left(d.OxygenLeftL), w.Units.GasUp(d.GetHeliumL()), left(d.HeliumLeftL),
		})
	}
	fills := table.Table{Columns: []table.Column{
		{Title: "day"}, {Title: "cylinder"}, {Title: "plan"}, {Title: "from", Right: true}, {Title: "to", Right: true}, {Title: "gas"}, {Title: "problem", Wraps: true},
	}}
	taken := table.Table{Columns: []table.Column{ // what each fill takes
		{Title: "day"}, {Title: "cylinder"}, {Title: "oxygen", Right: true}, {Title: "helium", Right: true}, {Title: "top-up", Right: true}, {Title: "bank to", Right: true}, {Title: "clean"},
	}}
	for _, d := range m.GetDays() {
		for _, f := range d.GetFills() {
			problems := f.GetProblems()
			if f.BleedToBar != nil {
				problems = append([]string{"bleed down to " + w.Units.BarDown(f.GetBleedToBar())}, problems...)
			}
			fills.Rows = append(fills.Rows, []string{
				d.GetDay(), f.GetCylinder(), f.GetPlan(), w.Units.Bar(f.GetFromBar()), w.Units.Bar(f.GetToBar()), units.Mix(f.GetGas()), strings.Join(problems, "; "),
			})
			bank, clean := "", ""
			if f.GetBankToBar() > 0 {
				bank = w.Units.BarDown(f.GetBankToBar())
			}
			if f.GetNeedsOxygenClean() {
				clean = "for oxygen"
			}
			taken.Rows = append(taken.Rows, []string{
				d.GetDay(), f.GetCylinder(), w.Units.GasUp(f.GetOxygenL()), w.Units.GasUp(f.GetHeliumL()), w.Units.GasUp(f.GetTopUpL()), bank, clean,
			})
		}
	}
	if !w.Page { // The days' sums are in --json.
		fills.Columns = append(fills.Columns, taken.Columns[2:]...)
		for i := range fills.Rows {
			fills.Rows[i] = append(fills.Rows[i], taken.Rows[i][2:]...)
		}
		return w.Table(fills)
	}
	p := &page{w: w}
	p.headline("Gas of " + m.GetExpedition())
	if p.err != nil {
		return p.err
	}
	if err := w.Table(days); err != nil {
		return err
	}
	for _, d := range m.GetDays() {
		w.shortages(p, d)
	}
	p.blank()
	if p.err != nil {
		return p.err
	}
	if err := w.Table(fills); err != nil {
		return err
	}
	if len(taken.Rows) > 0 {
		p.blank()
		if p.err != nil {
			return p.err
		}
		if err := w.Table(taken); err != nil {
			return err
		}
	}
	for _, l := range m.GetLeavingTest() {
		text := l.GetEvent() + " good to the end of " + l.GetLastDay() + ", no fill from " + l.GetNoFillFrom()
		if l.GetEvent() == "" {
			text = "cannot tell: " + strings.Join(l.GetWhy(), ", ")
		}
		p.label(0, "Out of test", l.GetCylinder()+": "+text)
	}
	p.blank()
	for _, a := range m.GetAssumed() {
		p.line("%s", a)
	}
	return p.err
}

// shortages says in words what a day lacks.
func (w View) shortages(p *page, d *pb.FillDay) {
	if d.GetCompressorShortMin() > 0 {
		p.label(0, "SHORT "+d.GetDay(), hours(d.GetCompressorShortMin())+" of compressor")
	}
	for _, s := range []struct {
		name string
		left *float64
	}{{"oxygen", d.OxygenLeftL}, {"helium", d.HeliumLeftL}} {
		if s.left != nil && *s.left < 0 {
			p.label(0, "SHORT "+d.GetDay(), w.Units.GasUp(-*s.left)+" of "+s.name)
		}
	}
}

// hours shows minutes of running, already rounded up.
func hours(min float64) string {
	m := int(min)
	return fmt.Sprintf("%d h %02d min", m/60, m%60)
}
