package screen

import (
	"strconv"
	"strings"

	"lastlight/client/table"
	pb "lastlight/proto/lastlight/v1"
)

// Currency shows what recorded dives make of a person's cards: one line per
// level, endorsement, site and depth; in a pipe also the dives it counted.
func (w View) Currency(x *pb.Currency) error {
	if !w.Page {
		t := table.Table{Columns: []table.Column{
			{Title: "about"}, {Title: "name"}, {Title: "count"}, {Title: "asked"}, {Title: "months"}, {Title: "state"}, {Title: "last"}, {Title: "one fewer on"}, {Title: "changes on"}, {Title: "changes to"}, {Title: "dives"},
		}}
		for _, f := range x.GetFigures() {
			t.Rows = append(t.Rows, []string{
				f.GetAbout(), f.GetName(), strconv.Itoa(int(f.GetCount())), strconv.Itoa(int(f.GetAsked())), strconv.Itoa(int(f.GetWithinMonths())), f.GetState(),
				f.GetLastDay(), f.GetFallsOn(), f.GetChangesOn(), f.GetChangesTo(), strings.Join(f.GetDives(), " "),
			})
		}
		return w.Table(t)
	}
	p := &page{w: w}
	p.headline("CURRENCY  " + x.GetPerson() + "  " + x.GetDay())
	p.countsAs(x.GetCountsAs(), x.GetCountsBecause())
	for _, f := range x.GetFigures() {
		p.blank()
		name := f.GetName()
		if f.GetAbout() == "depth" {
			name += " m or deeper"
		}
		said := count(f.GetCount(), "dive", "dives") + " in " + count(f.GetWithinMonths(), "month", "months")
		if f.GetAsked() > 0 {
			said += ", " + strconv.Itoa(int(f.GetAsked())) + " asked"
		}
		p.label(0, f.GetAbout(), strings.TrimSuffix(name+": "+said+", "+f.GetState(), ", "))
		p.label(2, "last", f.GetLastDay())
		p.label(2, "one fewer on", f.GetFallsOn())
		if f.GetChangesOn() != "" {
			p.label(2, "changes on", f.GetChangesOn()+", to "+f.GetChangesTo())
		}
		p.label(2, "dives", strings.Join(f.GetDives(), ", "))
	}
	p.blank()
	p.label(0, "Rules", x.GetPolicy())
	p.label(0, "Engine", x.GetEngineVersion())
	p.line("%s", Cautions[0])
	return p.err
}
