package screen

import (
	"fmt"

	"lastlight/client/table"
	pb "lastlight/proto/lastlight/v1"
)

// Erasure shows what an erasure would take out, what would stay and why, and everything that hinders it.
func (w View) Erasure(x *pb.ErasurePreview) error {
	if !w.Page {
		return w.erasureRows(x)
	}
	p := &page{w: w}
	p.headline("ERASING " + x.GetPerson())
	p.line("Nothing has been changed. In the place of the name will stand %s.", x.GetPseudonym())
	w.erasureLines(p, x, "Goes for ever", "Stays, under the pseudonym")
	p.blank()
	if len(x.GetHindrances()) == 0 {
		p.headline("Nothing hinders it")
		p.line("A member of the committee who did not ask for it has read this, then: `lastlight person erase %s --confirm`. Nothing brings it back.", x.GetPerson())
		return p.err
	}
	p.headline("It waits, because")
	for _, h := range x.GetHindrances() {
		p.indented(2, "- "+h.GetWhy())
		p.label(4, "What to do", h.GetToDo())
	}
	return p.err
}

// Erased shows what was taken out and what has stayed.
func (w View) Erased(x *pb.Erasure) error {
	if !w.Page {
		return w.erasureRows(x.GetOutcome())
	}
	p := &page{w: w}
	p.headline("ERASED, FOR EVER")
	p.line("The person now stands on record as %s (%s) and cannot sign in.", x.GetPseudonym(), x.GetPerson())
	w.erasureLines(p, x.GetOutcome(), "Gone", "Has stayed, under the pseudonym")
	p.blank()
	p.label(0, "Backups", "they still hold it. Whoever keeps them writes `lastlightd erasures` to a file beside them, and after a restore reads that back.")
	return p.err
}

func (w View) erasureLines(p *page, x *pb.ErasurePreview, goes, stays string) {
	p.blank()
	p.headline(goes)
	for _, l := range x.GetGoes() {
		p.indented(2, erasureCount(l)+l.GetWhat())
	}
	p.blank()
	p.headline(stays)
	for _, l := range x.GetStays() {
		p.indented(2, erasureCount(l)+l.GetWhat())
		p.label(4, "Why", l.GetWhy())
		kept := l.GetKept()
		if l.GetUntil() != "" {
			kept += ", the latest until " + l.GetUntil()
		}
		if c := l.GetCitation(); c.GetDocument() != "" {
			kept += fmt.Sprintf(" (%s %s)", c.GetDocument(), c.GetSection())
		}
		p.label(4, "Kept", kept)
	}
	p.label(0, "Rules", x.GetPolicy())
}

func erasureCount(l *pb.ErasureLine) string {
	if l.GetUntold() {
		return "- "
	}
	return fmt.Sprintf("%d: ", l.GetRecords())
}

func (w View) erasureRows(x *pb.ErasurePreview) error {
	t := table.Table{Columns: []table.Column{{Title: "what"}, {Title: "kind"}, {Title: "records"}, {Title: "until"}, {Title: "words"}, {Title: "why"}}}
	add := func(what string, list []*pb.ErasureLine) {
		for _, l := range list {
			n := ""
			if !l.GetUntold() {
				n = fmt.Sprint(l.GetRecords())
			}
			t.Rows = append(t.Rows, []string{what, l.GetKind(), n, l.GetUntil(), l.GetWhat(), l.GetWhy()})
		}
	}
	add("goes", x.GetGoes())
	add("stays", x.GetStays())
	for _, h := range x.GetHindrances() {
		t.Rows = append(t.Rows, []string{"hindrance", h.GetCode(), "", "", h.GetToDo(), h.GetWhy()})
	}
	return w.Table(t)
}
