package screen

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"lastlight/client/exit"
	"lastlight/client/units"
	pb "lastlight/proto/lastlight/v1"
)

var now = time.Date(2026, 6, 2, 9, 30, 0, 0, time.UTC)

// at is a time of 2 June 2026, hours and minutes in UTC.
func at(hour, minute int) *timestamppb.Timestamp {
	return timestamppb.New(time.Date(2026, 6, 2, hour, minute, 0, 0, time.UTC))
}

func view(t *testing.T, out *bytes.Buffer, page bool, u units.System) View {
	t.Helper()
	zurich, err := time.LoadLocation("Europe/Zurich")
	if err != nil {
		t.Fatal(err)
	}
	return View{Out: out, Units: u, Page: page, Now: now, Zone: func(string) *time.Location { return zurich }}
}

// screens holds a screen in its three forms against testdata: NAME.txt,
// NAME.imperial.txt and NAME.tsv.
func screens(t *testing.T, name string, show func(View) error, want exit.Code) {
	t.Helper()
	for _, form := range []struct {
		ending string
		page   bool
		units  units.System
	}{{".txt", true, units.Metric}, {".imperial.txt", true, units.Imperial}, {".tsv", false, units.Metric}} {
		var out bytes.Buffer
		err := show(view(t, &out, form.page, form.units))
		if exit.Of(err) != want || (err != nil && err.Error() != "") {
			t.Errorf("%s%s: ends with %d %v", name, form.ending, exit.Of(err), err)
		}
		if form.page {
			for _, line := range strings.Split(out.String(), "\n") {
				if n := utf8.RuneCountInString(line); n > 80 {
					t.Errorf("%s%s: %d columns: %s", name, form.ending, n, line)
				}
			}
		}
		if strings.ContainsRune(out.String(), '\x1b') {
			t.Errorf("%s%s: coloured", name, form.ending)
		}
		path := filepath.Join("testdata", name+form.ending)
		if os.Getenv("UPDATE_GOLDEN") != "" {
			if err := errors.Join(os.MkdirAll("testdata", 0o755), os.WriteFile(path, out.Bytes(), 0o600)); err != nil {
				t.Fatal(err)
			}
		}
		golden, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if out.String() != string(golden) {
			t.Errorf("%s (UPDATE_GOLDEN=1 writes it):\n%s", path, out.String())
		}
	}
}

func figure(name string, n float64, text, unit string) *pb.Figure {
	return &pb.Figure{Name: name, Number: proto.Float64(n), Text: text, Unit: unit}
}

// refused is the siphon of story 2 of the method handbook in its numbers,
// with an unknown and a waiver beside it.
func refused() *pb.Report {
	return &pb.Report{
		Plan: "siphon-2", PlanVersion: 3, Moment: "planning", Verdict: "refuse", Hash: "5f0c2a91d7b3", EngineVersion: "engine 1", Policy: "2026-spring",
		Survey: "lower-spring 4", EvaluatedAt: at(6, 12),
		Counts: &pb.FindingCounts{Refuse: 1, Indeterminate: 3, NeedsWaiver: 1, Caution: 1, Pass: 41, NotApplicable: 6},
		Findings: []*pb.Finding{
			{
				Rule: "gas.sharing", RuleVersion: 1, Status: "refuse", Key: "gas.sharing/ane/rolf", Subject: &pb.FindingSubject{Kind: "diver", Id: "ane", Name: "Ane"},
				Other: &pb.FindingSubject{Kind: "diver", Id: "rolf", Name: "Rolf"}, Place: "480 m in, at the bell",
				Message: "Swimming out on one diver's gas from the farthest place takes more than the donor has left.", Observed: figure("left", 3200, "3200", "L"),
				Limit: figure("need", 4800, "4800", "L"), Shortfall: figure("short", 1600, "1600", "L"), Figures: []*pb.Figure{figure("in each cylinder", 66.66, "66.7", "bar")},
				Remedy: "farthest here 360 m", Citation: &pb.Citation{Document: "method handbook", Section: "route and gas 3"},
				Steps: []*pb.Step{{What: "way out", Formula: "L = d / v × Q × p", Inputs: []*pb.Figure{figure("d", 480, "480", "m"), figure("v", 12, "12", "m/min")}, Result: figure("need", 4800, "4800", "L")}},
			},
			{
				Rule: "site.reading", RuleVersion: 2, Status: "indeterminate", Key: "site.reading", Subject: &pb.FindingSubject{Kind: "site", Id: "lower-spring"},
				Message: "No reading of the level on this day.", Remedy: "record today's reading", DueAt: "entry",
			},
			{
				Rule: "lights.count", RuleVersion: 1, Status: "needs_waiver", Key: "lights.count/rolf", Subject: &pb.FindingSubject{Kind: "diver", Id: "rolf", Name: "Rolf"},
				Message: "Two lights are planned.", Observed: figure("lights", 2, "2", ""), Limit: figure("at least", 3, "3", ""), Shortfall: figure("short", 1, "1", ""),
				Remedy: "a third light", WaivableBy: []string{"coordinator", "safety_officer"}, SecondApprover: true,
			},
			{Rule: "level.depth", RuleVersion: 1, Status: "indeterminate", Subject: &pb.FindingSubject{Kind: "plan"}, Message: "Nobody can say which level counts.", Remedy: "have the cards seen"},
			{Rule: "level.jumps", RuleVersion: 1, Status: "indeterminate", Subject: &pb.FindingSubject{Kind: "plan"}, Message: "Nobody can say which level counts.", Remedy: "have the cards seen"},
			{Rule: "card.span", RuleVersion: 1, Status: "caution", Subject: &pb.FindingSubject{Kind: "diver", Id: "ane", Name: "Ane"}, Message: "The card's last day."},
			{Rule: "team.size", RuleVersion: 1, Status: "pass", Subject: &pb.FindingSubject{Kind: "plan", Id: "siphon-2"}, Message: "Two divers."},
		},
	}
}

func TestRefusedPlan(t *testing.T) {
	t.Parallel()
	screens(t, "refused", func(w View) error { return w.Report(refused(), ReportOptions{Site: "lower-spring"}) }, exit.Done)
	screens(t, "refused-all", func(w View) error { return w.Report(refused(), ReportOptions{All: true, Steps: true}) }, exit.Done)
}

func TestExplained(t *testing.T) {
	t.Parallel()
	r := refused()
	step := r.GetFindings()[0].GetSteps()[0]
	step.Source = "method handbook, route method, 4.2"
	step.Formula, step.What = "metres / speed × rate × pressure", "what one needs for the way out of 480 m against the flow"
	step.Inputs = []*pb.Figure{
		{Name: "metres", Number: proto.Float64(480), Text: "480", Unit: "m", From: "route.legs"},
		{Name: "speed", Number: proto.Float64(12), Text: "12", Unit: "m/min", From: "policy.speeds.contingency_swim"},
		{Name: "rate", Number: proto.Float64(20), Text: "20", Unit: "L/min", From: "divers[0].consumption.rmv_l_min"},
		{Name: "pressure", Number: proto.Float64(3), Text: "3", Unit: "bar"},
	}
	step.Result = figure("need", 2400, "2400", "L")
	r.GetFindings()[0].Steps = append(r.GetFindings()[0].Steps, &pb.Step{What: "the other's rate", Formula: "as recorded", Source: step.GetSource(), Withheld: true})
	r.GetFindings()[0].Records = []*pb.RecordRef{{Kind: "diver", Id: "ane", Version: 4}}
	screens(t, "explain", func(w View) error { return w.Explain(r, "1") }, exit.Done)
	screens(t, "explain-all", func(w View) error { return w.Explainable(r) }, exit.Done)
	for _, which := range []string{"0", "8", "gas"} {
		if err := (View{}).Explain(r, which); err == nil {
			t.Errorf("found %q", which)
		}
	}
}

func TestPassingPlan(t *testing.T) {
	t.Parallel()
	r := refused()
	r.Verdict, r.Counts, r.Findings = "pass", &pb.FindingCounts{Pass: 44}, r.GetFindings()[6:]
	screens(t, "passing", func(w View) error { return w.Report(r, ReportOptions{}) }, exit.Done)
}

func TestReady(t *testing.T) {
	t.Parallel()
	screens(t, "ready-no", func(w View) error {
		return w.Ready(&pb.GoodToGo{
			Person: "ane", Day: "2026-06-07", Site: "lower-spring", CountsAs: "introductory", CountsBecause: "the apprentice card ends on 2026-06-05",
			Policy: "2026-spring", EngineVersion: "engine 1",
			Lines: []*pb.GoodToGoLine{
				{Sign: "STOP", What: "Your medical declaration ends on 2026-06-04.", ToDo: "Make a new declaration and have the day recorded."},
				{Sign: "SOON", What: "Cylinder c-12-1 is due for its visual inspection after 2026-06-30.", ToDo: "Take it to the blender.", ChangesOn: "2026-07-01"},
				{Sign: "OK", What: "You have been in this cave in the last 12 months."},
			},
		})
	}, exit.Refused)
	screens(t, "ready-last-day", func(w View) error {
		return w.Ready(&pb.GoodToGo{
			Person: "ane", Day: "2026-06-02", Yes: true, CountsAs: "FULL", Lines: []*pb.GoodToGoLine{{Sign: "OK", What: "Nothing is missing."}},
			OnLastDay: &pb.GoodToGo{Person: "ane", Day: "2026-06-07", CountsAs: "FULL", Lines: []*pb.GoodToGoLine{{Sign: "STOP", What: "Your medical declaration ends on 2026-06-04."}}},
		})
	}, exit.Refused)
	screens(t, "ready-yes", func(w View) error {
		return w.Ready(&pb.GoodToGo{Person: "ane", Day: "2026-06-02", Yes: true, CountsAs: "FULL", Lines: []*pb.GoodToGoLine{{Sign: "OK", What: "Nothing is missing."}}})
	}, exit.Done)
}

// What is over stands apart from what stops diving and from what will end, on both screens.
func TestEndedReadsAsEnded(t *testing.T) {
	t.Parallel()
	days := int32(14)
	screens(t, "due-ended", func(w View) error {
		if !w.Page {
			return w.Ready(&pb.GoodToGo{Yes: true, Lines: []*pb.GoodToGoLine{{Sign: "ENDED", What: "Ane: STAGE does not count any more, 3 uses in 12 months, 4 asked", ToDo: "Use it in training."}}})
		}
		return w.DuePage(&pb.ListDueResponse{
			Day: "2026-06-07", By: "2026-07-07", Total: 3, Policy: "2026-spring",
			Entries: []*pb.DueEntry{
				{Kind: "cylinder", Id: "c-12-1", Stops: "now", What: "c-12-1: filled: no, hydro test overdue", ToDo: "Take it to test."},
				{Kind: "person", Id: "ane", Person: "ane", Stops: "ended", What: "Ane: the APP card ended on 2026-06-05, counts as INT", ToDo: "Renew the card and have it seen."},
				{Kind: "person", Id: "ane", Person: "ane", Stops: "later", LastDay: "2026-06-21", Days: &days, What: "Ane: DECO counts until 2026-06-21, the last day of its card", Of: "DECO"},
			},
		}, func(e *pb.DueEntry) string { return "1a2b3c4" + e.GetOf() })
	}, exit.Done)
}

func watches() []*pb.Watch {
	return []*pb.Watch{
		{
			Dive: "d-41", Plan: "loop-1", PlanVersion: 3, Site: "hollow-spring", TimeZone: "Europe/Zurich", EnteredAt: at(7, 5), CodeWord: "HERON",
			Step: "look", NextStep: "call the coordinator", NextStepAt: at(9, 41), Split: true, Cover: "Grete", EmergencyNumber: "112",
			Times: &pb.WatchTimes{Eto: at(8, 55), Look: at(9, 10), Coordinator: at(9, 41), Dial: at(9, 55), Walk: at(9, 35)},
			Divers: []*pb.WatchDiver{
				{Person: "rolf", Name: "Rolf", InAt: at(7, 5)},
				{Person: "ane", Name: "Ane", InAt: at(7, 5), SeenOutAt: at(8, 50), SeenOutBy: "grete", SignedOutAt: at(8, 58), Symptoms: proto.Bool(false), Corrections: []string{"seen out 08:40 was Rolf's twin"}},
			},
			Figures:  []*pb.DiverFigures{{Person: "rolf", Name: "Rolf", Turns: []*pb.SupplyTurn{{Supply: "twin-2", StartBar: 195, TurnBar: 140, TurnBarExact: 139.2}}}},
			Contacts: []*pb.WatchContact{{Person: "rolf", FullName: "Contact of Rolf", Telephone: "+00 555 0101", Relation: "family"}},

			TurnAtTheLatest: &pb.TurnPlace{Station: "niche", MetresPast: 42.7, Towards: "rose", ElapsedMin: 31.4, Binds: []string{"sharing exit, Rolf for Ane"}},
		},
		{
			Dive: "d-42", Plan: "pool-1", PlanVersion: 1, Site: "hollow-spring", TimeZone: "Europe/Zurich", EnteredAt: at(9, 0), Step: "in", NextStep: "expected out", Stopped: []string{"all dives stopped: thunder over the ridge"},
			NextStepAt: at(10, 15), Times: &pb.WatchTimes{Eto: at(10, 15)}, Divers: []*pb.WatchDiver{{Person: "tove", Name: "Tove", InAt: at(9, 0), SignedOutAt: at(9, 20), SignedOutBy: "tove"}},
		},
	}
}

func TestBoard(t *testing.T) {
	t.Parallel()
	screens(t, "board", func(w View) error {
		return w.Board(&pb.Board{AsOf: timestamppb.New(now.Add(-40 * time.Second)), Watches: watches(), Caution: "Nobody is called by this system."})
	}, exit.Done)
	screens(t, "board-empty", func(w View) error { return w.Board(&pb.Board{AsOf: timestamppb.New(now)}) }, exit.Done)
}

// Cover who rings has to know that a diver in the water has nobody on record; who was seen out is not asked for any more.
func TestMissingContactIsTold(t *testing.T) {
	in := func(person string, seen *timestamppb.Timestamp) *pb.WatchDiver {
		return &pb.WatchDiver{Person: person, InAt: timestamppb.New(now), SeenOutAt: seen}
	}
	b := &pb.Board{AsOf: timestamppb.New(now), Watches: []*pb.Watch{{
		Dive: "d-1", Step: "in", Divers: []*pb.WatchDiver{in("rolf", nil), in("ane", nil), in("tove", timestamppb.New(now))},
		Contacts:       []*pb.WatchContact{{Person: "rolf", FullName: "Contact of Rolf", Telephone: "+00 555 0101"}},
		WithoutContact: []string{"ane"},
	}}}
	var out bytes.Buffer
	show := func() string {
		out.Reset()
		if err := (View{Out: &out, Page: true}).Board(b); err != nil {
			t.Fatal(err)
		}
		return out.String()
	}
	if text := show(); !strings.Contains(text, "NONE ON RECORD for ane\n") || !strings.Contains(text, "Contact of Rolf") {
		t.Error(text)
	}
	b.Watches[0].Contacts, b.Watches[0].WithoutContact = nil, []string{"rolf", "ane"}
	if text := strings.Join(strings.Fields(show()), " "); !strings.Contains(text, "NONE ON RECORD: nobody in the water has an emergency contact (rolf, ane)") {
		t.Errorf("of nobody on record nothing is said:\n%s", text)
	}
	b.Watches[0].WithoutContact = nil
	if text := show(); strings.Contains(text, "NONE ON RECORD") {
		t.Errorf("whoever may not see contacts is told there are none:\n%s", text)
	}
}

func TestSignIn(t *testing.T) {
	t.Parallel()
	screens(t, "sign-in-go", func(w View) error {
		return w.SignIn(&pb.SignInResponse{Go: true, Changed: []string{"Rolf starts with 195 bar instead of 210"}, Watch: watches()[1]}, false, "")
	}, exit.Done)
	screens(t, "sign-in-check", func(w View) error {
		return w.SignIn(&pb.SignInResponse{Go: true, Report: &pb.Report{Dive: &pb.DiveFigures{Divers: watches()[0].GetFigures()}}}, true, "")
	}, exit.Done)
	// Pressures that last for a part of the route: go, with the turn moved; nobody is named to approve it.
	screens(t, "sign-in-part", func(w View) error {
		return w.SignIn(&pb.SignInResponse{Go: true, Report: &pb.Report{Verdict: "refuse", Dive: &pb.DiveFigures{
			Divers: watches()[0].GetFigures(), TurnAtTheLatest: watches()[0].GetTurnAtTheLatest(),
		}}}, true, "")
	}, exit.Done)
	screens(t, "sign-in-no", func(w View) error {
		return w.SignIn(&pb.SignInResponse{Changed: []string{"the team is another one"}, WhoMustApprove: "a coordinator who takes no part in the dive", Report: refused()}, false, "lower-spring")
	}, exit.Refused)
}

func TestDetail(t *testing.T) {
	t.Parallel()
	screens(t, "detail", func(w View) error {
		return w.Detail(&pb.Reading{Id: "r-1", Site: "hollow-spring", ReadAt: at(5, 40), LevelM: proto.Float64(0.8), Flow: "low", OpeningsSeenOpen: []string{"pool", "east"}, Notes: "two\nlines \x1b[31m"})
	}, exit.Done)
}

// A decision's conditions have commas of their own: each is told apart; the report's hash stays whole.
func TestDecisionDetail(t *testing.T) {
	t.Parallel()
	screens(t, "decision", func(w View) error {
		return w.DetailAt("hollow-spring", &pb.Decision{
			Id: "7", Plan: "loop-1", PlanVersion: 2, Decision: "approved", DecidedBy: "cora", DecidedAt: at(5, 40),
			Conditions: []string{"a reading of the day, at the site, before entry", "the permit covers 2026-06-02, 08:00 to 12:00"},
			ReportHash: strings.Repeat("0123456789abcdef", 4),
		})
	}, exit.Done)
}

// TestTurnPressuresAreNeverRoundedDown, in either unit.
func TestTurnPressuresAreNeverRoundedDown(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		bar              float64
		metric, imperial string
	}{{150, "150 bar", "2176 psi"}, {139.21, "139.3 bar", "2020 psi"}, {150.00000000001, "150 bar", "2176 psi"}} {
		if got := units.Metric.BarUp(c.bar); got != c.metric {
			t.Errorf("%v: %s", c.bar, got)
		}
		if got := units.Imperial.BarUp(c.bar); got != c.imperial {
			t.Errorf("%v: %s", c.bar, got)
		}
	}
}

// What a route with faults leaves unanswered is one reason, wherever it stands in the list, and so is what hangs on cards that
// nobody has seen; what else is not known is not hidden in it. The engine gives each finding its steps.
func TestWhatHangsOnOneThingIsOneReason(t *testing.T) {
	about := func(kind, id, rule, code, message string) *pb.Finding {
		return &pb.Finding{
			Rule: rule, RuleVersion: 1, Code: code, Status: "indeterminate", Message: message, Subject: &pb.FindingSubject{Kind: kind, Id: id},
			Steps: []*pb.Step{{What: "what is not known", Formula: "not recorded", Result: &pb.Figure{Text: "blocks"}}},
		}
	}
	r := &pb.Report{Verdict: "indeterminate", Findings: []*pb.Finding{
		about("plan", "p", "route.turn", "route_unknown", "plan p: cannot tell, the route has faults"),
		about("plan", "p", "kit.lights", "level_unknown", "plan p: cannot tell, nobody can say which level counts"),
		about("diver", "mo", "medical.valid", "unknown", "mo: cannot tell, the medical is not recorded"),
		about("item", "lamp", "kit.light_burn", "route_unknown", "lamp: cannot tell, the route has faults"),
		about("item", "spare", "kit.light_burn", "route_unknown", "spare: cannot tell, the route has faults"),
		about("diver", "mo", "level.depth", "level_unknown", "mo: cannot tell, nobody can say which level counts"),
	}}
	show := func(o ReportOptions) string {
		var out bytes.Buffer
		if err := (View{Out: &out, Page: true}).Report(r, o); err != nil {
			t.Fatal(err)
		}
		return strings.Join(strings.Fields(out.String()), " ")
	}
	text := show(ReportOptions{})
	for _, want := range []string{
		"1. NOT KNOWN plan p", "the same for kit.light_burn (item lamp; item spare)", "2. NOT KNOWN plan p", "the same for level.depth (diver mo)", "3. NOT KNOWN diver mo",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("the report does not say %q:\n%s", want, text)
		}
	}
	for _, once := range []string{"the route has faults", "which level counts"} {
		if n := strings.Count(text, once); n != 1 {
			t.Errorf("%q is told %d times, not once", once, n)
		}
	}
	if n := strings.Count(show(ReportOptions{Steps: true}), "the route has faults"); n != 3 {
		t.Errorf("with the steps asked for, %d of 3 findings show theirs", n)
	}
}
