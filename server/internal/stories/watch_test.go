package stories

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	pb "lastlight/proto/lastlight/v1"
)

func (c *club) seenOut(dive, person string) *pb.Watch {
	c.t.Helper()
	w, err := c.dives().SeenOut(c.as("cover"), &pb.SeenOutRequest{Dive: dive, Person: person, RequestId: id()})
	if err != nil {
		c.t.Fatalf("seen out %s: %v", person, err)
	}
	return w
}

func (c *club) signOut(dive, person string, symptoms bool) *pb.Watch {
	c.t.Helper()
	w, err := c.dives().SignOut(c.as(person), &pb.SignOutRequest{Dive: dive, EndPressure: bar(100), Symptoms: &symptoms, RequestId: id()})
	if err != nil {
		c.t.Fatalf("sign out %s: %v", person, err)
	}
	return w
}

func (c *club) watchFacts(what string) int {
	c.t.Helper()
	var n int
	if err := c.pool.QueryRow(c.t.Context(), `SELECT count(*) FROM watch_fact WHERE what = $1`, what).Scan(&n); err != nil {
		c.t.Fatal(err)
	}
	return n
}

// A retried out counts one, one out clears one, a wrong one is taken back by a
// new fact, and a server that starts again knows who is in the water and since
// when, and which deadline is past.
func TestOneOutIsOneDiver(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	c.reading("spring", c.at("2026-06-08 07:00"))
	p := c.approved("water", "2026-06-08 07:40")
	c.clock.set(c.at("2026-06-08 07:41"))
	entered := c.mustGo(p, 1, 200, 200)
	c.clock.set(c.at("2026-06-08 08:00"))

	r := &pb.SeenOutRequest{Dive: "water", Person: "asta", RequestId: id()}
	for range 3 { // the same call, retried
		w, err := c.dives().SeenOut(c.as("cover"), r)
		if err != nil {
			t.Fatal(err)
		}
		if w.AllSeenOut || !w.Split || w.Step == "out" {
			t.Errorf("one out of two: all out %v, split %v, step %s", w.AllSeenOut, w.Split, w.Step)
		}
	}
	c.seenOut("water", "asta") // said once more by a second tap
	if n := c.watchFacts("seen_out"); n != 1 {
		t.Errorf("one diver seen out is %d facts", n)
	}

	// Another server on the same register.
	c.conn = serve(t, c.club.pool.Config().ConnString(), c.clock.Now)
	w := c.board().Watches
	if len(w) != 1 || !w[0].Split || w[0].AllSeenOut || len(w[0].Divers) != 2 {
		t.Fatalf("after a restart the board shows %v", w)
	}
	for _, d := range w[0].Divers {
		if out := d.SeenOutAt != nil; out != (d.Person == "asta") || !d.InAt.AsTime().Equal(c.at("2026-06-08 07:41")) {
			t.Errorf("after a restart: %v", d)
		}
	}
	if !proto.Equal(w[0].Times, entered.Times) || w[0].CodeWord != entered.CodeWord || turns(w[0].Figures)["birk"] != turns(entered.Figures)["birk"] {
		t.Errorf("after a restart the deadlines are %v, were %v", w[0].Times, entered.Times)
	}
	for _, step := range []struct {
		at   time.Time
		name string
	}{
		{entered.Times.Eto.AsTime(), "overdue"},
		{entered.Times.Look.AsTime(), "look"},
		{entered.Times.Coordinator.AsTime(), "coordinator"},
		{entered.Times.Dial.AsTime(), "call"},
	} {
		c.clock.set(step.at)
		if w := c.board().Watches; len(w) != 1 || w[0].Step != step.name {
			t.Errorf("at %v with one diver still in, the board says %v", step.at, w)
		}
	}

	if w := c.seenOut("water", "birk"); !w.AllSeenOut || w.Split || w.Step != "out" {
		t.Errorf("both out: %v", w)
	}
	// It was somebody else who came up.
	back, err := c.dives().CorrectWatch(c.as("cover"), &pb.CorrectWatchRequest{Dive: "water", Person: "birk", What: "seen_out", Reason: "it was a diver of another team", RequestId: id()})
	if err != nil {
		t.Fatal(err)
	}
	if back.AllSeenOut || !back.Split || back.Step != "call" || len(back.Divers[1].Corrections) != 1 || !strings.Contains(back.Divers[1].Corrections[0], "another team") {
		t.Errorf("after the correction: %v", back)
	}
	if n := c.watchFacts("seen_out"); n != 3 {
		t.Errorf("%d facts, want both outs and the correction", n)
	}
	// In the water again, Birk is free for nobody else.
	q := c.plan("elsewhere", "2026-06-08 12:00")
	c.mustSay(c.submit(q).Report, "Birk", "water")

	if w := c.seenOut("water", "birk"); !w.AllSeenOut {
		t.Errorf("seen out after the correction: %v", w)
	}
	c.signOut("water", "asta", false)
	if w := c.signOut("water", "birk", false); !w.AllSignedOut {
		t.Errorf("both signed out: %v", w)
	}
}

// A wrong entry is moved by a new fact; the minutes of the dive follow it.
func TestCorrectedEntry(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	c.reading("spring", c.at("2026-06-08 07:00"))
	p := c.approved("late", "2026-06-08 07:40")
	c.clock.set(c.at("2026-06-08 08:05"))
	c.mustGo(p, 1, 200, 200) // typed when the team was long in
	for _, person := range []string{"asta", "birk"} {
		if _, err := c.dives().CorrectWatch(c.as("cover"), &pb.CorrectWatchRequest{Dive: "late", Person: person, What: "in", At: stamp(c.at("2026-06-08 07:45")), Reason: "typed late", RequestId: id()}); err != nil {
			t.Fatal(err)
		}
	}
	c.clock.set(c.at("2026-06-08 08:10"))
	for _, person := range []string{"asta", "birk"} {
		if _, err := c.dives().SeenOut(c.as("cover"), &pb.SeenOutRequest{Dive: "late", Person: person, SeenAt: stamp(c.at("2026-06-08 08:04")), RequestId: id()}); err != nil {
			t.Fatal(err)
		}
		c.signOut("late", person, false)
	}
	d, err := c.dives().CloseDive(c.as("cover"), &pb.CloseDiveRequest{Dive: &pb.Dive{Id: "late", MaxDepthM: proto.Float64(10), Zone: "cave"}, RequestId: id()})
	if err != nil {
		t.Fatal(err)
	}
	if !d.EnteredAt.AsTime().Equal(c.at("2026-06-08 07:45")) || d.OutAt.AsTime().Before(d.EnteredAt.AsTime()) {
		t.Errorf("recorded from %v to %v, want from 07:45", d.EnteredAt.AsTime(), d.OutAt.AsTime())
	}
}

// An edit makes every earlier turn pressure disappear from what is dived on.
func TestOldTurnsNowhere(t *testing.T) {
	c := newClub(t, "2026-06-08 07:30")
	c.adoptPolicy(nil)
	stations, legs, route := straight(440, 0)
	c.apply(levelSite("spring", zoneName, 10, stations, legs)...)
	team := []diver{{id: "asta"}, {id: "birk"}, {id: "cleo"}}
	c.enrol("spring", team...)
	c.reading("spring", c.at("2026-06-08 07:00"))
	p := planOf("edit", "spring", c.at("2026-06-08 08:30"), route, team, []float64{210, 195, 185})
	first := c.submit(p).Report
	if out := c.approve(p, first); !out.Decided {
		t.Fatalf("not approved: %s", out.Explanation)
	}
	old := c.briefOf("edit")
	shows := func(text string, bars ...string) bool {
		for _, line := range strings.Split(text, "\n") {
			words := strings.Fields(line)
			if len(words) > 0 && slices.Contains(bars, words[len(words)-1]) {
				return true
			}
		}
		return false
	}
	if !shows(old.Text, "150") || !shows(old.Text, "135") || !shows(old.Text, "125") {
		t.Fatalf("the brief does not show 150/135/125:\n%s", old.Text)
	}

	for i, start := range []float64{200, 187, 198} {
		p.Team[i].StartPressure = bar(start)
	}
	if _, err := c.plans().UpdatePlan(c.as("asta"), &pb.UpdatePlanRequest{Plan: p, ExpectedVersion: 1, RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	draft := c.briefOf("edit")
	if draft.Valid || draft.PlanVersion != 2 || draft.CodeWord == old.CodeWord || shows(draft.Text, "150", "135", "125") || strings.Contains(draft.Text, "TURN bar") {
		t.Errorf("the brief of the edited plan:\n%s", draft.Text)
	}
	if r, err := c.plans().GetReport(c.as("asta"), &pb.GetReportRequest{Id: "edit"}); status.Code(err) != codes.NotFound {
		t.Errorf("the edited plan has a report before it was submitted: %v, %v", r.GetDive().GetDivers(), err)
	}
	if _, err := c.dives().SignIn(c.as("cover"), &pb.SignInRequest{Plan: "edit", Version: 1, Measured: measuredAs(p, 210, 195, 185), RequestId: id()}); status.Code(err) != codes.Aborted {
		t.Errorf("entry on the paper of version 1: %v", err)
	}
	second := c.again("edit").Report
	// The least start is now 187 bar: a third of it is 62 bar, in steps of 5 bar 60 for each (practice P3).
	want := map[string]float64{"asta": 140, "birk": 127, "cleo": 138}
	for person, bar := range want {
		if got := turns(second.Dive.Divers)[person]; got != bar {
			t.Errorf("%s turns at %v, want %v", person, got, bar)
		}
	}
	if _, err := c.plans().ApprovePlan(c.as("cora"), &pb.ApprovePlanRequest{Id: "edit", Version: 1, ReportHash: first.Hash, RequestId: id()}); status.Code(err) != codes.Aborted {
		t.Errorf("version 1 approved after the edit: %v", err)
	}
	if out := c.approve(p, second); !out.Decided {
		t.Fatalf("version 2 is not approved: %s", out.Explanation)
	}
	fresh := c.briefOf("edit")
	// 127 and 138 are no marks of a gauge: printed 130 and 140.
	if !fresh.Valid || !shows(fresh.Text, "140") || !shows(fresh.Text, "130") || shows(fresh.Text, "127", "138", "150", "135", "125") {
		t.Errorf("the brief of version 2:\n%s", fresh.Text)
	}
	// Version 1 can still be read, as version 1.
	if r, err := c.plans().GetReport(c.as("cora"), &pb.GetReportRequest{Id: "edit", Version: 1, OfDecision: true}); err != nil || r.PlanVersion != 1 || turns(r.Dive.Divers)["asta"] != 150 {
		t.Errorf("version 1 reads %v, %v", r, err)
	}
	c.clock.set(c.at("2026-06-08 08:31"))
	c.mustGo(p, 2, 200, 186, 198)
	board, paper := c.board().Watches, c.briefOf("edit")
	if len(board) != 1 || turns(board[0].Figures)["birk"] != 126 || board[0].CodeWord != paper.CodeWord || !shows(paper.Text, "130") || shows(paper.Text, "126", "127", "150", "135", "125") {
		t.Errorf("at the water the board shows %v, and the brief:\n%s", board, paper.Text)
	}
}

// The day's third dive starts with what the first two left: it counts them, and
// while one of them is not closed nobody can tell.
func TestThirdDiveOfTheDay(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	c.reading("spring", c.at("2026-06-08 07:00"))
	later := func(name, entry, status, words string) {
		t.Helper()
		r := c.submit(c.plan(name, entry)).Report
		for _, person := range []string{"asta", "birk"} {
			f := found(r, "decompression.earlier_dives", person)
			ok := false
			for _, x := range f {
				ok = ok || x.Status == status && strings.Contains(x.Message, words)
			}
			if !ok {
				t.Errorf("%s of %s: %v; want %s, %q", name, person, f, status, words)
			}
		}
	}
	later("before", "2026-06-08 16:00", "pass", "no dive in the last 240 h")

	// One dive from entry to record, with a question at every step.
	p := c.approved("first", "2026-06-08 07:40")
	later("after-a-plan", "2026-06-08 16:00", "caution", "first is planned before this dive")
	afternoon := c.approved("afternoon", "2026-06-08 14:00")
	c.clock.set(c.at("2026-06-08 07:41"))
	c.mustGo(p, 1, 200, 200)
	later("in-water", "2026-06-08 16:00", "indeterminate", "the dive is not closed")
	c.clock.set(c.at("2026-06-08 08:20"))
	c.seenOut("first", "asta")
	c.seenOut("first", "birk")
	later("both-out", "2026-06-08 16:00", "indeterminate", "the dive is not closed")
	c.signOut("first", "asta", false)
	c.signOut("first", "birk", false)
	closed := func(name string) {
		t.Helper()
		d, err := c.dives().CloseDive(c.as("cover"), &pb.CloseDiveRequest{Dive: &pb.Dive{Id: name, MaxDepthM: proto.Float64(10), PenetrationM: proto.Float64(200), Zone: "cave"}, RequestId: id()})
		if err != nil || d.Divers[0].Gas == nil {
			t.Fatalf("%v %v", d, err)
		}
	}
	// The afternoon's approval was given in the morning: while the first dive is open nobody can tell.
	c.clock.set(c.at("2026-06-08 14:00"))
	c.mustNotGo(afternoon, 1, "the dive is not closed")
	closed("first")
	later("recorded", "2026-06-08 18:00", "pass", "1 dive of the last 240 h counted, the last ended 9.6 h before the entry")
	c.mustGo(afternoon, 1, 200, 200)
	c.clock.set(c.at("2026-06-08 14:40"))
	for _, person := range []string{"asta", "birk"} {
		c.seenOut("afternoon", person)
		c.signOut("afternoon", person, false)
	}
	closed("afternoon")
	later("third", "2026-06-08 16:00", "pass", "2 dives of the last 240 h counted")
	later("ten-days-on", "2026-06-18 14:41", "pass", "no dive in the last 240 h")
}

// Whoever reports an incident goes on diving; whoever says symptoms does not.
func TestSymptomsNotReportsSuspend(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	c.reading("spring", c.at("2026-06-08 07:00"))
	p := c.approved("dive", "2026-06-08 07:40")
	fit := func(person, day string) bool {
		t.Helper()
		g, err := c.people().CheckGoodToGo(c.as(person), &pb.CheckGoodToGoRequest{Person: person, Day: day, Site: "spring"})
		if err != nil {
			t.Fatalf("good to go %s: %v", person, err)
		}
		for _, l := range g.Lines {
			if l.GetFinding().GetRule() == "diver.medical" && l.Sign == "STOP" {
				return false
			}
		}
		return true
	}
	c.clock.set(c.at("2026-06-08 07:41"))
	c.mustGo(p, 1, 200, 200)
	c.clock.set(c.at("2026-06-08 08:20"))
	c.seenOut("dive", "asta")
	c.seenOut("dive", "birk")
	if _, err := c.incidents().ReportIncident(c.as("asta"), &pb.ReportIncidentRequest{Incident: &pb.Incident{
		Id: "line", Site: "spring", HappenedAt: stamp(c.at("2026-06-08 08:00")),
		Level: proto.Int32(1), Types: []string{"line"}, People: []string{"asta"}, Narrative: "The line was lost for a minute.",
	}, RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	c.signOut("dive", "asta", false)
	w := c.signOut("dive", "birk", true)
	for _, d := range w.Divers {
		if d.Person == "asta" && d.Symptoms != nil {
			t.Errorf("birk is told about asta's symptoms: %v", d)
		}
	}
	for _, watch := range c.board().Watches {
		for _, d := range watch.Divers {
			if d.Symptoms != nil {
				t.Errorf("cover is told about symptoms: %v", d)
			}
		}
	}
	if _, err := c.dives().SignOut(c.as("asta"), &pb.SignOutRequest{Dive: "dive", RequestId: id()}); status.Code(err) != codes.InvalidArgument {
		t.Errorf("symptoms left unanswered: %v", err)
	}
	if !fit("asta", "2026-06-12") || fit("birk", "2026-06-12") {
		t.Errorf("good to go on the 12th: the reporter %v, the one with symptoms %v", fit("asta", "2026-06-12"), fit("birk", "2026-06-12"))
	}
	c.clock.set(c.at("2026-06-08 10:00"))
	r := c.submit(c.plan("after", "2026-06-12 09:00")).Report
	c.mustSay(r, "Birk", "not available")
	if f := found(r, "diver.medical", "asta"); len(f) != 1 || f[0].Status != "pass" {
		t.Errorf("the reporter: %v", f)
	}

	// Asked again two hours after: a later yes suspends, a later no clears nobody.
	for _, later := range []bool{true, false} {
		for _, d := range c.signOut("dive", "asta", later).Divers {
			if d.Person == "asta" && (!d.SignedOutAt.AsTime().Equal(c.at("2026-06-08 08:20")) || d.Symptoms == nil || !*d.Symptoms) {
				t.Errorf("signed out again, symptoms %v: %v", later, d)
			}
		}
		if fit("asta", "2026-06-12") {
			t.Errorf("asta may dive after symptoms two hours after the dive, then %v", later)
		}
	}
}

// A request retried under its id is answered the same and done once; the id
// with another body is an error.
func TestRetriedRequests(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	c.reading("spring", c.at("2026-06-08 07:00"))
	p := c.plan("retried", "2026-06-08 07:40")
	cora, cover := c.as("cora"), c.as("cover")
	var report *pb.Report
	var watch *pb.Watch
	for _, call := range []struct {
		name  string
		do    func(request string) (proto.Message, error)
		other func(request string) error
	}{
		{"create", func(r string) (proto.Message, error) {
			return c.plans().CreatePlan(cora, &pb.CreatePlanRequest{Plan: p, RequestId: r})
		}, func(r string) error {
			q := proto.CloneOf(p)
			q.Goal = "another"
			_, err := c.plans().CreatePlan(cora, &pb.CreatePlanRequest{Plan: q, RequestId: r})
			return err
		}},
		{"submit", func(r string) (proto.Message, error) {
			out, err := c.plans().SubmitPlan(cora, &pb.SubmitPlanRequest{Id: p.Id, RequestId: r})
			report = out.GetReport()
			return out, err
		}, func(r string) error {
			_, err := c.plans().SubmitPlan(cora, &pb.SubmitPlanRequest{Id: p.Id, ExpectedVersion: 1, RequestId: r})
			return err
		}},
		{"approve", func(r string) (proto.Message, error) {
			return c.plans().ApprovePlan(cora, &pb.ApprovePlanRequest{Id: p.Id, Version: 1, ReportHash: report.Hash, RequestId: r})
		}, func(r string) error {
			_, err := c.plans().ApprovePlan(cora, &pb.ApprovePlanRequest{Id: p.Id, Version: 1, ReportHash: report.Hash, Note: "another", RequestId: r})
			return err
		}},
		{"in", func(r string) (proto.Message, error) {
			out, err := c.dives().SignIn(cover, &pb.SignInRequest{Plan: p.Id, Version: 1, Measured: measuredAs(p, 200, 200), RequestId: r})
			watch = out.GetWatch()
			return out, err
		}, func(r string) error {
			_, err := c.dives().SignIn(cover, &pb.SignInRequest{Plan: p.Id, Version: 1, Measured: measuredAs(p, 200, 199), RequestId: r})
			return err
		}},
		{"out", func(r string) (proto.Message, error) {
			return c.dives().SeenOut(cover, &pb.SeenOutRequest{Dive: watch.GetDive(), Person: "asta", RequestId: r})
		}, func(r string) error {
			_, err := c.dives().SeenOut(cover, &pb.SeenOutRequest{Dive: watch.GetDive(), Person: "birk", RequestId: r})
			return err
		}},
	} {
		request := id()
		first, err := call.do(request)
		if err != nil {
			t.Fatalf("%s: %v", call.name, err)
		}
		c.clock.set(c.clock.Now().Add(2 * time.Minute))
		before := c.everything()
		second, err := call.do(request)
		if err != nil || !proto.Equal(first, second) {
			t.Errorf("%s again: %v, %v; first %v", call.name, second, err, first)
		}
		if err := call.other(request); status.Code(err) != codes.InvalidArgument || !strings.Contains(err.Error(), "request id") {
			t.Errorf("%s: the same id with another body: %v", call.name, err)
		}
		if after := c.everything(); after != before {
			t.Errorf("%s again had an effect:\n%s\n%s", call.name, before, after)
		}
	}
}

// everything counts the rows of what decisions and the register write.
func (c *club) everything() string {
	c.t.Helper()
	out := c.rows()
	for _, table := range []string{"plan_version", "evaluation", "decision", "booking", "watch", "watch_fact", "waiver"} {
		var n int
		if err := c.pool.QueryRow(c.t.Context(), `SELECT count(*) FROM `+table).Scan(&n); err != nil {
			c.t.Fatal(err)
		}
		out += fmt.Sprintf(", %s %d", table, n)
	}
	return out
}
