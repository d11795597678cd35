package screen

import (
	"fmt"
	"math"
	"strings"

	"lastlight/client/table"
	pb "lastlight/proto/lastlight/v1"
)

// Samples calls visit for every sample of a packed profile: seconds since it
// began, centimetres, place of the gas.
func Samples(p *pb.DiveProfile, visit func(second, cm, gas uint32)) {
	var second uint32
	for i := range min(len(p.GetAfterS()), len(p.GetDepthCm())) {
		second += p.AfterS[i]
		var gas uint32
		if i < len(p.Gas) {
			gas = p.Gas[i]
		}
		visit(second, p.DepthCm[i], gas)
	}
}

// Size of the plot: columns of time right of the depths, rows of depth.
const (
	plotLeft    = 7
	plotColumns = table.Width - plotLeft
	plotRows    = 16
)

// Profile shows one diver's depth against time, depth downward.
func (w View) Profile(d *pb.Dive, x *pb.DiveDiver) error {
	if !w.Page {
		return w.profileRows(x)
	}
	p := &page{w: w}
	p.headline("PROFILE  " + x.GetPerson() + ", dive " + d.GetId() + ", " + d.GetSite())
	if x.GetProfile() == nil {
		p.line("No profile is recorded: the dive counts as spent at its greatest depth.")
		return p.err
	}
	began := x.GetProfile().GetStartedAt()
	if began == nil {
		began = d.GetEnteredAt()
	}
	p.label(0, "Began", w.Time(began, d.GetSite()))
	p.label(0, "Register", w.Time(d.GetEnteredAt(), d.GetSite())+" to "+w.Time(d.GetOutAt(), d.GetSite()))
	p.plot(x.GetProfile())
	for i, name := range gasNames(x) {
		p.label(0, fmt.Sprintf("Gas %d", i+1), name)
	}
	for _, text := range x.GetDisagrees() {
		p.label(0, "DIFFERS", text)
	}
	return p.err
}

func gasNames(x *pb.DiveDiver) []string {
	name := func(g *pb.GasMix) string {
		if g == nil {
			return "not recorded"
		}
		return fmt.Sprintf("%g/%g", g.GetOxygenPercent(), g.GetHeliumPercent())
	}
	out := []string{name(x.GetGas())}
	for _, g := range x.GetOtherGases() {
		out = append(out, name(g.GetGas()))
	}
	return out
}

// profileRows are the samples for a pipe.
func (w View) profileRows(x *pb.DiveDiver) error {
	t := table.Table{Columns: []table.Column{{Title: "second"}, {Title: "depth m"}, {Title: "gas"}}}
	names := gasNames(x)
	Samples(x.GetProfile(), func(second, cm, gas uint32) {
		name := ""
		if int(gas) < len(names) {
			name = names[gas]
		}
		t.Rows = append(t.Rows, []string{fmt.Sprint(second), fmt.Sprintf("%.2f", float64(cm)/100), name})
	})
	return w.Table(t)
}

// column is what one column of the plot covers, in centimetres; deepest below 0: nothing.
type column struct {
	shallowest, deepest float64
	gas                 uint32
}

// columnsOf spreads a profile evenly over the plot. A column holds every depth
// of its time, so no short excursion is lost.
func columnsOf(p *pb.DiveProfile) (columns []column, greatest, length float64) {
	Samples(p, func(second, cm, _ uint32) {
		length, greatest = float64(second), math.Max(greatest, float64(cm))
	})
	columns = make([]column, plotColumns)
	for i := range columns {
		columns[i] = column{shallowest: math.Inf(1), deepest: -1}
	}
	if length == 0 {
		return columns, greatest, length
	}
	at := func(second float64) int { return min(plotColumns-1, int(second/length*plotColumns)) }
	from, depth, breathed := 0.0, 0.0, uint32(0)
	Samples(p, func(second, cm, gas uint32) {
		to, next := float64(second), float64(cm)
		for i := at(from); i <= at(to); i++ {
			begin := math.Max(from, float64(i)*length/plotColumns)
			end := math.Max(begin, math.Min(to, float64(i+1)*length/plotColumns))
			for _, t := range []float64{begin, end} {
				here := next
				if to > from {
					here = depth + (next-depth)*math.Min(1, (t-from)/(to-from))
				}
				columns[i].shallowest = math.Min(columns[i].shallowest, here)
				columns[i].deepest = math.Max(columns[i].deepest, here)
			}
			columns[i].gas = breathed
		}
		from, depth, breathed = to, next, gas
		columns[at(from)].gas = gas
	})
	return columns, greatest, length
}

// plot draws the profile: metres downward at the left, minutes below, and under
// them the gas where it changes.
func (p *page) plot(profile *pb.DiveProfile) {
	columns, greatest, length := columnsOf(profile)
	// A row is a whole number of half metres, so that its number is exact.
	step := math.Max(50, math.Ceil(greatest/(plotRows-1)/50)*50)
	p.label(0, "Greatest depth", fmt.Sprintf("%.2f m", greatest/100))
	p.label(0, "Length", fmt.Sprintf("%d min %02d s", int(length)/60, int(length)%60))
	p.blank()
	for row := range int(math.Ceil(greatest/step)) + 1 {
		line := []byte(fmt.Sprintf("%5.1f |", float64(row)*step/100))
		for _, c := range columns {
			mark := byte(' ')
			// A depth between two rows is drawn on the deeper one.
			if bottom := int(math.Ceil(c.deepest / step)); c.deepest >= 0 && row <= bottom && row >= int(math.Ceil(c.shallowest/step)) {
				mark = '.'
				if row == bottom {
					mark = 'o'
				}
			}
			line = append(line, mark)
		}
		p.write(strings.TrimRight(string(line), " ") + "\n")
	}
	p.write("    m +" + strings.Repeat("-", plotColumns) + "\n")
	p.write(strings.TrimRight(string(minutes(length)), " ") + "\n")
	changes := []byte(strings.Repeat(" ", plotLeft+plotColumns))
	changed := false
	for i, c := range columns {
		if i == 0 || c.gas != columns[i-1].gas {
			changes[plotLeft+i] = byte('1' + c.gas)
			changed = changed || i > 0
		}
	}
	if changed {
		copy(changes, "  gas")
		p.write(strings.TrimRight(string(changes), " ") + "\n")
	}
	p.blank()
}

// minutes is the line of numbers below the plot.
func minutes(length float64) []byte {
	line := []byte(strings.Repeat(" ", plotLeft+plotColumns))
	copy(line, "  min")
	every := 1.0
	for _, e := range []float64{1, 2, 5, 10, 15, 30, 60, 120, 240, 480} {
		every = e
		if length/60/e <= 8 {
			break
		}
	}
	for m := 0.0; m*60 <= length && length > 0; m += every {
		text := fmt.Sprint(int(m))
		if at := plotLeft + int(m*60/length*(plotColumns-1)); at+len(text) <= len(line) {
			copy(line[at:], text)
		}
	}
	return line
}
