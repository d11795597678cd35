package screen

import (
	"fmt"
	"math"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"lastlight/client/exit"
	"lastlight/client/table"
	pb "lastlight/proto/lastlight/v1"
)

// NoAlarm stands on the board where the server does not say it itself.
const NoAlarm = "This release raises no alarm by itself: somebody must watch this board."

// Board shows who is away, worst first, as the server orders them.
func (w View) Board(b *pb.Board) error {
	if !w.Page {
		return w.boardRows(b.GetWatches())
	}
	p := &page{w: w}
	in := 0
	for _, x := range b.GetWatches() {
		for _, d := range x.GetDivers() {
			if d.GetSeenOutAt() == nil {
				in++
			}
		}
	}
	// The server shows a team to cover, coordinator and the team; nobody may read an empty page as an empty cave.
	if len(b.GetWatches()) == 0 {
		p.headline("BOARD  no team that you may see")
	} else {
		p.headline(fmt.Sprintf("BOARD  %s, %s not seen out", count(int32(len(b.GetWatches())), "team", "teams"), count(int32(in), "diver", "divers")))
	}
	p.label(0, "As of", w.in(b.GetAsOf(), time.UTC)+", "+w.Age(b.GetAsOf()))
	for _, x := range b.GetWatches() {
		p.blank()
		w.watch(p, x)
	}
	p.blank()
	if b.GetCaution() != "" {
		p.line("%s", b.GetCaution())
	} else {
		p.line("%s", NoAlarm)
	}
	p.line("If the server cannot be reached, the times on the printed brief hold.")
	p.line("%s", Cautions[3])
	return p.err
}

// Watch shows one team's entry in the register.
func (w View) Watch(x *pb.Watch) error {
	if !w.Page {
		return w.boardRows([]*pb.Watch{x})
	}
	p := &page{w: w}
	w.watch(p, x)
	p.blank()
	p.line("%s", NoAlarm)
	return p.err
}

func (w View) watchZone(x *pb.Watch) *time.Location {
	if l, err := time.LoadLocation(x.GetTimeZone()); err == nil && x.GetTimeZone() != "" {
		return l
	}
	return w.zone(x.GetSite())
}

// siteClock names the clock that times are shown on, and what it shows now: a reader elsewhere has another.
func siteClock(zone *time.Location, now time.Time) string {
	return zone.String() + ", where it is now " + now.In(zone).Format("2006-01-02 15:04 -07:00")
}

func (w View) watch(p *page, x *pb.Watch) {
	zone := w.watchZone(x)
	at := func(t *timestamppb.Timestamp) string { return w.in(t, zone) }
	head := strings.ToUpper(x.GetStep()) + "  " + x.GetSite() + ", dive " + x.GetDive()
	if x.GetCodeWord() != "" {
		head += ", code word " + x.GetCodeWord()
	}
	p.headline(head)
	if x.GetSplit() {
		p.headline("  SPLIT TEAM: some are out and some are not.")
	}
	for _, why := range x.GetStopped() {
		what, reason, _ := strings.Cut(why, ": ")
		p.headline("  " + strings.ToUpper(what) + ": " + reason + ". This team is in the water: tell it if you can.")
	}
	p.label(2, "site's clock", siteClock(zone, w.Now))
	if x.GetNextStepAt() != nil {
		p.label(2, "next step", fmt.Sprintf("%s at %s, %s", x.GetNextStep(), at(x.GetNextStepAt()), w.until(x.GetNextStepAt())))
	} else {
		p.label(2, "next step", x.GetNextStep())
	}
	for _, d := range x.GetDivers() {
		name := d.GetName()
		if name == "" {
			name = d.GetPerson()
		}
		p.label(2, name, state(d, at))
		for _, c := range d.GetCorrections() {
			p.label(4, "corrected", factWords.Replace(c))
		}
	}
	p.label(2, "entered", at(x.GetEnteredAt()))
	t := x.GetTimes()
	p.label(2, "expected out", at(t.GetEto()))
	p.label(2, "look", at(t.GetLook()))
	p.label(2, "coordinator", at(t.GetCoordinator()))
	p.label(2, "dial", strings.TrimSpace(at(t.GetDial())+"  "+x.GetEmergencyNumber()))
	p.label(2, "start walking", at(t.GetWalk()))
	p.label(2, "cover", x.GetCover())
	p.label(2, "plan", planName(x))
	w.gas(p, 2, x.GetFigures())
	p.label(2, "turn at the latest", turnPlace(x.GetTurnAtTheLatest()))
	for _, c := range x.GetContacts() {
		p.label(2, "contact", strings.TrimSpace(fmt.Sprintf("%s: %s, %s %s", c.GetPerson(), c.GetFullName(), c.GetTelephone(), c.GetRelation())))
	}
	switch without := x.GetWithoutContact(); {
	case len(x.GetContacts()) == 0 && len(without) > 1:
		p.label(2, "contact", "NONE ON RECORD: nobody in the water has an emergency contact ("+strings.Join(without, ", ")+")")
	case len(without) > 0:
		p.label(2, "contact", "NONE ON RECORD for "+strings.Join(without, ", "))
	}
}

// factWords write the register's facts for a reader.
var factWords = strings.NewReplacer("seen_out", "seen out", "signed_out", "signed out")

// gas shows start and turn pressures of each diver.
func (w View) gas(p *page, indent int, figures []*pb.DiverFigures) {
	for _, f := range figures {
		var turns []string
		for _, s := range f.GetTurns() {
			turns = append(turns, fmt.Sprintf("%s %s, turn at %s", s.GetSupply(), w.Units.Bar(s.GetStartBar()), w.Units.Turn(s.GetTurnBar())))
		}
		name := f.GetName()
		if name == "" {
			name = f.GetPerson()
		}
		p.label(indent, "gas of "+name, strings.Join(turns, "; "))
	}
}

// turnPlace says where a team turns at the latest, metres rounded down: never farther.
func turnPlace(t *pb.TurnPlace) string {
	if t == nil {
		return ""
	}
	if t.GetWholeRoute() {
		return "as planned: the gas allows the whole route"
	}
	text := t.GetStation()
	switch {
	case t.GetHoldMin() > 0:
		text += fmt.Sprintf(", %.0f min into the hold", math.Floor(t.GetHoldMin()))
	case t.GetMetresPast() > 0:
		text = fmt.Sprintf("%.0f m past %s", math.Floor(t.GetMetresPast()), text)
		if t.GetTowards() != "" {
			text += " towards " + t.GetTowards()
		}
	}
	if t.GetElapsedMin() > 0 {
		text += fmt.Sprintf(", minute %.0f after the entry", math.Floor(t.GetElapsedMin()))
	}
	if len(t.GetBinds()) > 0 {
		text += " (" + strings.Join(t.GetBinds(), "; ") + ")"
	}
	return text
}

// partly says of a team that may go that these pressures do not last for the whole route: nobody has to approve it, the turn has moved.
func (w View) partly(p *page, r *pb.Report) {
	if t := r.GetDive().GetTurnAtTheLatest(); t != nil && !t.GetWholeRoute() && r.GetVerdict() == "refuse" {
		p.label(0, "only so far", "these pressures do not last for the whole route: the turns below are the ones for them, inside the approval")
	}
}

func planName(x *pb.Watch) string {
	if x.GetPlan() == "" {
		return ""
	}
	return fmt.Sprintf("%s, version %d", x.GetPlan(), x.GetPlanVersion())
}

// state says where a diver is, by the two facts: seen out by cover, signed out by the diver.
func state(d *pb.WatchDiver, at func(*timestamppb.Timestamp) string) string {
	symptoms := ""
	if d.Symptoms != nil && d.GetSymptoms() {
		symptoms = "; SYMPTOMS"
	}
	switch {
	case d.GetSignedOutAt() != nil && d.GetSeenOutAt() != nil:
		return "out: seen " + at(d.GetSeenOutAt()) + ", signed " + at(d.GetSignedOutAt()) + symptoms
	case d.GetSeenOutAt() != nil:
		return "seen out " + at(d.GetSeenOutAt()) + " by " + d.GetSeenOutBy() + ", not signed out" + symptoms
	case d.GetSignedOutAt() != nil:
		return "signed out " + at(d.GetSignedOutAt()) + ", NOT SEEN OUT by cover: the alarm goes on" + symptoms
	default:
		return "IN THE WATER since " + at(d.GetInAt())
	}
}

func (w View) until(t *timestamppb.Timestamp) string {
	d := t.AsTime().Sub(w.Now).Round(time.Minute)
	if d < 0 {
		return fmt.Sprintf("%d min ago", int(-d.Minutes()))
	}
	return fmt.Sprintf("in %d min", int(d.Minutes()))
}

func (w View) boardRows(watches []*pb.Watch) error {
	t := table.Table{}
	for _, title := range []string{"step", "site", "dive", "plan", "version", "code word", "person", "name", "in at", "seen out at", "signed out at", "split", "next step", "next step at", "eto", "look", "coordinator", "dial", "cover", "stopped"} {
		t.Columns = append(t.Columns, table.Column{Title: title})
	}
	for _, x := range watches {
		zone := w.watchZone(x)
		for _, d := range x.GetDivers() {
			t.Rows = append(t.Rows, []string{
				x.GetStep(), x.GetSite(), x.GetDive(), x.GetPlan(), fmt.Sprint(x.GetPlanVersion()), x.GetCodeWord(), d.GetPerson(), d.GetName(),
				w.in(d.GetInAt(), zone), w.in(d.GetSeenOutAt(), zone), w.in(d.GetSignedOutAt(), zone), fmt.Sprint(x.GetSplit()),
				x.GetNextStep(), w.in(x.GetNextStepAt(), zone), w.in(x.GetTimes().GetEto(), zone), w.in(x.GetTimes().GetLook(), zone),
				w.in(x.GetTimes().GetCoordinator(), zone), w.in(x.GetTimes().GetDial(), zone), x.GetCover(), strings.Join(x.GetStopped(), "; "),
			})
		}
	}
	return w.Table(t)
}

// SignIn shows the answer at the water: go with the new figures, or no and why. A refusal's times are in the zone of site.
func (w View) SignIn(r *pb.SignInResponse, checkOnly bool, site string) error {
	verdict := "NO: stay out of the water"
	if r.GetGo() {
		verdict = "GO"
		if checkOnly {
			verdict = "GO (checked only, nobody is signed in)"
		}
	}
	var err error
	if w.Page {
		p := &page{w: w}
		p.headline(verdict)
		for _, c := range r.GetChanged() {
			p.label(0, "changed", c)
		}
		if r.GetGo() {
			w.partly(p, r.GetReport())
		} else if r.GetReport().GetVerdict() == "refuse" {
			// Whoever approves cannot approve this: first the reasons go, then the plan is decided again.
			p.label(0, "who must approve", "nobody can approve it like this: change it as \"would pass\" says; then "+r.GetWhoMustApprove())
		} else {
			p.label(0, "who must approve", r.GetWhoMustApprove())
		}
		if r.GetGo() && r.GetWatch() == nil {
			w.gas(p, 0, r.GetReport().GetDive().GetDivers())
			p.label(0, "turn at the latest", turnPlace(r.GetReport().GetDive().GetTurnAtTheLatest()))
		}
		if r.GetWatch() != nil {
			p.blank()
			w.watch(p, r.GetWatch())
			p.line("%s", w.Units.Note())
			p.line("%s", NoAlarm)
		}
		if r.GetReport() != nil && !r.GetGo() && !Blocks(r.GetReport().GetVerdict()) {
			p.blank()
			p.line("No check stands against the dive itself; it is not approved as it stands.")
		} else if r.GetReport() != nil && !r.GetGo() {
			p.blank()
			p.err = w.Report(r.GetReport(), ReportOptions{Site: site})
		}
		err = p.err
	} else if r.GetGo() {
		err = w.boardRows([]*pb.Watch{r.GetWatch()})
	} else {
		t := table.Table{Columns: []table.Column{{Title: "go"}, {Title: "changed"}, {Title: "who must approve"}}}
		for _, c := range append([]string{}, r.GetChanged()...) {
			t.Rows = append(t.Rows, []string{"no", c, r.GetWhoMustApprove()})
		}
		if len(t.Rows) == 0 {
			t.Rows = append(t.Rows, []string{"no", "", r.GetWhoMustApprove()})
		}
		if err = w.Table(t); err == nil && r.GetReport() != nil {
			err = w.Report(r.GetReport(), ReportOptions{Site: site})
		}
	}
	if err == nil && !r.GetGo() {
		return exit.Silent(exit.Refused)
	}
	return err
}
