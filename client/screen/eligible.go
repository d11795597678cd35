package screen

import (
	"slices"
	"strconv"

	"lastlight/client/table"
	pb "lastlight/proto/lastlight/v1"
)

// Eligibility shows who can dive where on which day. A page has one line for
// each stretch of days with the same answer; a pipe one line for each cell.
func (w View) Eligibility(x *pb.Eligibility) error {
	if !w.Page {
		t := table.Table{Columns: []table.Column{{Title: "site"}, {Title: "day"}, {Title: "person"}, {Title: "may"}, {Title: "counts as"}, {Title: "reason"}}}
		for _, c := range x.GetCells() {
			t.Rows = append(t.Rows, []string{c.GetSite(), c.GetDay(), c.GetPerson(), strconv.FormatBool(c.GetMay()), c.GetCountsAs(), c.GetReason()})
		}
		return w.Table(t)
	}
	p := &page{w: w}
	p.headline("WHO CAN DIVE WHERE  " + x.GetExpedition())
	cells := slices.Clone(x.GetCells())
	for len(cells) > 0 {
		site, person := cells[0].GetSite(), cells[0].GetPerson()
		var own, rest []*pb.EligibilityCell
		for _, c := range cells {
			if c.GetSite() == site && c.GetPerson() == person {
				own = append(own, c)
			} else {
				rest = append(rest, c)
			}
		}
		cells = rest
		p.blank()
		p.label(0, person, "at "+site)
		for i := 0; i < len(own); {
			j := i
			for j+1 < len(own) && own[j+1].GetMay() == own[i].GetMay() && own[j+1].GetCountsAs() == own[i].GetCountsAs() && own[j+1].GetRule() == own[i].GetRule() {
				j++
			}
			days := own[i].GetDay()
			if j > i {
				days += " to " + own[j].GetDay()
			}
			said := "yes, counts as " + own[i].GetCountsAs()
			if !own[i].GetMay() {
				said = "no: " + own[i].GetReason()
			}
			p.label(2, days, said)
			i = j + 1
		}
	}
	p.blank()
	for i, r := range x.GetPolicies() {
		if i == 0 {
			p.label(0, "Rules", r.GetPolicy())
			continue
		}
		p.label(0, "from "+r.GetFromDay(), r.GetPolicy())
	}
	p.label(0, "Engine", x.GetEngineVersion())
	p.line("%s", Cautions[0])
	return p.err
}
