package screen

import (
	"fmt"

	pb "lastlight/proto/lastlight/v1"
)

// dueHeads are the parts of a page of what falls due, in the server's order.
var dueHeads = map[string]string{"now": "STOPS DIVING NOW, or nobody can tell", "ended": "HAS ENDED, stops nobody by itself", "expedition": "ENDS BEFORE THE EXPEDITION DOES", "later": "LATER"}

// DuePage shows what falls due for a reader: what stops diving first, each with its last day, what to do and whose it is; then how far the
// list goes and by which rules. ref gives the reference of an entry.
func (w View) DuePage(r *pb.ListDueResponse, ref func(*pb.DueEntry) string) error {
	p := &page{w: w}
	part := ""
	for _, e := range r.GetEntries() {
		if e.GetStops() != part {
			part = e.GetStops()
			p.blank()
			p.headline(dueHeads[part])
		}
		when := "no date"
		if part == "now" || part == "ended" {
			when = part
		}
		if e.GetLastDay() != "" {
			when = e.GetLastDay()
			if d := e.GetDays(); d >= 0 {
				when += fmt.Sprintf(" (%d d)", d)
			} else {
				when += fmt.Sprintf(" (%d d ago)", -d)
			}
		}
		p.label(0, when, e.GetWhat())
		p.label(2, "to do", e.GetToDo())
		whose := e.GetPerson()
		if whose == "" {
			whose = "the club"
		}
		p.label(2, "whose", whose+"; ref "+ref(e))
	}
	p.blank()
	if len(r.GetEntries()) == 0 {
		p.line("Nothing stops diving on %s or falls due before %s.", r.GetDay(), r.GetBy())
	} else {
		p.line("Asked for %s, up to %s.", r.GetDay(), r.GetBy())
	}
	p.label(0, "Rules", r.GetPolicy())
	p.line("%s", Cautions[2])
	return p.err
}

// Digest says what letters a person has asked for.
func (w View) Digest(d *pb.Digest) error {
	if !w.Page {
		return w.Fields([][2]string{{"person", d.GetPerson()}, {"address", d.GetAddress()}, {"every", d.GetEvery()}})
	}
	p := &page{w: w}
	if d.GetAddress() == "" {
		p.line("No letters are asked for.")
		return p.err
	}
	p.line("A letter to %s each %s in which something of yours stops diving or falls due.", d.GetAddress(), d.GetEvery())
	if !d.GetSending() {
		p.line("This server sends no mail: ask whoever runs it to set smtp_server.")
	}
	return p.err
}
