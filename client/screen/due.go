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
