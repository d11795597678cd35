package screen

import pb "lastlight/proto/lastlight/v1"

// DueNote says under a list of what falls due how far it goes, and by which rules.
func (w View) DueNote(r *pb.ListDueResponse) error {
	if !w.Page {
		return nil
	}
	p := &page{w: w}
	p.blank()
	if len(r.GetEntries()) == 0 {
		p.line("Nothing stops diving on %s or falls due before %s.", r.GetDay(), r.GetBy())
	} else {
		p.line("Asked for %s, up to %s. stops now: not in order, or nobody can tell.", r.GetDay(), r.GetBy())
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
