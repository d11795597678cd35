package screen

import (
	"strings"

	"lastlight/client/exit"
	"lastlight/client/table"
	pb "lastlight/proto/lastlight/v1"
)

// Ready answers "am I good to go?": yes or no, the level as it counts, then
// STOP, ENDED, SOON and OK, each with what to do.
func (w View) Ready(g *pb.GoodToGo) error {
	if err := w.readyLines(g); err != nil {
		return err
	}
	if last := g.GetOnLastDay(); !g.GetYes() || last != nil && !last.GetYes() {
		return exit.Silent(exit.Refused)
	}
	return nil
}

func (w View) readyLines(g *pb.GoodToGo) error {
	if !w.Page {
		t := table.Table{Columns: []table.Column{{Title: "sign"}, {Title: "what"}, {Title: "to do"}, {Title: "changes on"}, {Title: "day"}}}
		for _, on := range []*pb.GoodToGo{g, g.GetOnLastDay()} {
			for _, l := range on.GetLines() {
				t.Rows = append(t.Rows, []string{l.GetSign(), l.GetWhat(), l.GetToDo(), l.GetChangesOn(), on.GetDay()})
			}
		}
		return w.Table(t)
	}
	p := &page{w: w}
	p.readyDay(g)
	if last := g.GetOnLastDay(); last != nil {
		p.blank()
		p.line("On the expedition's last day:")
		p.readyDay(last)
	}
	p.blank()
	p.label(0, "Rules", g.GetPolicy())
	p.label(0, "Engine", g.GetEngineVersion())
	p.line("%s", Cautions[0])
	return p.err
}

// readyDay is the answer for one day.
func (p *page) readyDay(g *pb.GoodToGo) {
	answer := "NO"
	if g.GetYes() {
		answer = "YES"
	}
	for _, s := range []string{g.GetPerson(), g.GetDay(), g.GetSite()} {
		if s != "" {
			answer += "  " + s
		}
	}
	p.headline(answer)
	p.countsAs(g.GetCountsAs(), g.GetCountsBecause())
	for _, l := range g.GetLines() {
		p.blank()
		p.label(0, strings.ToUpper(l.GetSign()), l.GetWhat())
		p.label(2, "to do", l.GetToDo())
		p.label(2, "record with", recordWith(l.GetFinding(), ""))
		p.label(2, "changes on", l.GetChangesOn())
	}
}

// countsAs says which level a diver counts as, and why if it is not the card's.
func (p *page) countsAs(level, because string) {
	if level == "" {
		level = "no level"
	}
	if because != "" {
		level += ": " + because
	}
	p.label(0, "Counts as", level)
}
