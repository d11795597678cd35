package command

import (
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"lastlight/client/exit"
	pb "lastlight/proto/lastlight/v1"
)

// TestRefusalsEndWithOne: what a rule refuses is an answer, and exit code 1
// in every form of output.
func TestRefusalsEndWithOne(t *testing.T) {
	c := newClub(t)
	for _, verdict := range []string{"refuse", "indeterminate", "needs_waiver", "", "a word of later"} {
		r := &pb.Report{Plan: "loop-1", PlanVersion: 1, Verdict: verdict, Hash: "aa"}
		c.say("SubmitPlan", &pb.SubmitPlanResponse{Report: r})
		c.say("EvaluatePlan", r)
		c.say("GetReport", r)
		for _, args := range [][]string{{"plan", "submit", "loop-1"}, {"plan", "check", "loop-1"}} {
			for _, as := range []string{"table", "tabs", "json"} {
				if got := c.run(append(args, "--as", as)...); got.code != exit.Refused || got.err != "" || got.out == "" {
					t.Errorf("%q %v as %s: %d %s", verdict, args, as, got.code, got.err)
				}
			}
		}
		if got := c.run("plan", "report", "loop-1"); got.code != exit.Done {
			t.Errorf("reading a refusal is no refusal: %d", got.code)
		}
	}
	for verdict := range map[string]bool{"pass": true, "caution": true, "note": true} {
		c.say("SubmitPlan", &pb.SubmitPlanResponse{Report: &pb.Report{Verdict: verdict}})
		if got := c.run("plan", "submit", "loop-1"); got.code != exit.Done {
			t.Errorf("%s: %d", verdict, got.code)
		}
	}
	c.say("CheckGoodToGo", &pb.GoodToGo{Yes: false})
	c.say("SignIn", &pb.SignInResponse{Go: false, Changed: []string{"the team"}})
	c.say("GetBrief", &pb.Brief{Text: "NOT TO BE DIVED"})
	c.say("ApprovePlan", &pb.DecideResponse{NotDecided: "blocked", Explanation: "two findings refuse"})
	for _, args := range [][]string{
		{"ready"},
		{"watch", "sign-in", "loop-1", "--version", "1", "--measured", "ane=190"},
		{"plan", "brief", "loop-1"},
		{"plan", "approve", "loop-1", "--version", "1", "--report-hash", "aa"},
	} {
		if got := c.run(args...); got.code != exit.Refused {
			t.Errorf("%v: %d %s", args, got.code, got.err)
		}
	}
	c.say("ApprovePlan", &pb.DecideResponse{NotDecided: "report_changed"})
	if got := c.run("plan", "approve", "loop-1", "--version", "1", "--report-hash", "aa"); got.code != exit.Conflict {
		t.Errorf("changed meanwhile: %d", got.code)
	}
}

// TestRefuseAndWaiveTakeTheVersionThatWasRead, as approve does; a brief is asked for in the user's units.
func TestRefuseAndWaiveTakeTheVersionThatWasRead(t *testing.T) {
	c := newClub(t)
	refuse := []string{"plan", "refuse", "loop-1", "--reason", "no cover that day"}
	waive := []string{"plan", "waive", "loop-1", "--finding", "lights.count/ane", "--reason", "lent by cover"}
	for _, args := range [][]string{refuse, waive} {
		if got := c.run(args...); got.code != exit.Usage {
			t.Errorf("%v unread: %d %s", args, got.code, got.err)
		}
	}
	c.say("GetReport", &pb.Report{Plan: "loop-1", PlanVersion: 3, Verdict: "needs_waiver", Hash: "beef"})
	c.run("plan", "report", "loop-1")
	c.say("RefusePlan", &pb.DecideResponse{Decided: true})
	c.say("WaiveFinding", &pb.DecideResponse{Decided: true})
	for _, args := range [][]string{refuse, waive, append(refuse, "--version", "2")} {
		if got := c.run(args...); got.code != exit.Done {
			t.Errorf("%v: %d %s", args, got.code, got.err)
		}
	}
	var versions []int32
	for _, m := range c.asked("RefusePlan") {
		versions = append(versions, m.(*pb.RefusePlanRequest).Version)
	}
	if !slices.Equal(versions, []int32{3, 2}) {
		t.Errorf("refused versions %v, want the one read and the one named", versions)
	}
	c.say("GetBrief", &pb.Brief{Text: "BRIEF", Valid: true})
	c.run("plan", "brief", "loop-1", "--units", "imperial")
	if asked := c.asked("GetBrief"); len(asked) != 1 || asked[0].(*pb.GetBriefRequest).Units != "imperial" {
		t.Errorf("the brief was asked for with %v", asked)
	}
}

// TestApproveTakesTheReportThatWasRead: and that of no other token.
func TestApproveTakesTheReportThatWasRead(t *testing.T) {
	c := newClub(t)
	c.say("ApprovePlan", &pb.DecideResponse{Decided: true})
	if got := c.run("plan", "approve", "loop-1"); got.code != exit.Usage || len(c.asked("ApprovePlan")) != 0 {
		t.Fatalf("approved unread: %d %s", got.code, got.err)
	}
	c.say("GetReport", &pb.Report{Plan: "loop-1", PlanVersion: 3, Verdict: "pass", Hash: "beef"})
	c.run("plan", "report", "loop-1")
	if got := c.run("plan", "approve", "loop-1"); got.code != exit.Done {
		t.Fatal(got.err)
	}
	req := c.asked("ApprovePlan")[0].(*pb.ApprovePlanRequest)
	if req.GetVersion() != 3 || req.GetReportHash() != "beef" {
		t.Errorf("sent %v", req)
	}
	// Another version than the one read needs its own hash.
	if got := c.run("plan", "approve", "loop-1", "--version", "4"); got.code != exit.Usage {
		t.Errorf("another version: %d", got.code)
	}
	other := filepath.Join(c.dir, "other")
	if err := os.WriteFile(other, []byte("other-token"), 0o600); err != nil {
		t.Fatal(err)
	}
	if got := c.run("plan", "approve", "loop-1", "--token-file", other); got.code != exit.Usage {
		t.Errorf("another person's reading: %d", got.code)
	}
}

// TestWhoMayNotDecideIsToldFirst: not to read a report for nothing.
func TestWhoMayNotDecideIsToldFirst(t *testing.T) {
	c := newClub(t)
	c.say("GetPlan", &pb.Plan{Id: "loop-1", NotYours: []string{"approve", "refuse", "waive"}})
	for _, args := range [][]string{
		{"plan", "approve", "loop-1"}, {"plan", "refuse", "loop-1", "--reason", "no"}, {"plan", "waive", "loop-1", "--finding", "2", "--reason", "no"},
	} {
		if got := c.run(args...); got.code != exit.NotAllowed || !strings.Contains(got.err, "you may not "+args[1]) || strings.Contains(got.err, "plan report") {
			t.Errorf("%v: %d %s", args, got.code, got.err)
		}
	}
	if len(c.asked("ApprovePlan"))+len(c.asked("RefusePlan"))+len(c.asked("WaiveFinding")) > 0 {
		t.Error("asked the server to decide all the same")
	}
}

// TestWaiverThatWaits says how it is signed; a report of which all is waived passes.
func TestWaiverThatWaits(t *testing.T) {
	c := newClub(t)
	c.say("WaiveFinding", &pb.DecideResponse{Decided: true, Decision: &pb.Decision{Decision: "waived"}, Plan: &pb.Plan{Id: "loop-1", Waivers: []*pb.Waiver{
		{Id: "w-3", Plan: "loop-1", Rule: "level.visibility", State: "waiting"}, {Id: "w-2", Plan: "loop-1", Rule: "level.visibility", State: "withdrawn"},
	}}})
	got := c.run("plan", "waive", "loop-1", "--version", "1", "--finding", "k", "--reason", "r", "--conditions", "one, with a comma", "--conditions", "two", "--as", "table")
	if got.code != exit.Done || !strings.Contains(got.out, "lastlight plan countersign loop-1 w-3") || strings.Contains(got.out, "w-2") {
		t.Errorf("%d %s %s", got.code, got.out, got.err)
	}
	if asked := c.asked("WaiveFinding")[0].(*pb.WaiveFindingRequest); !slices.Equal(asked.Conditions, []string{"one, with a comma", "two"}) {
		t.Errorf("sent %q", asked.Conditions)
	}
	// Whether the waivers suffice is the server's to say: a waiver shown beside a finding is not enough.
	for _, x := range []struct {
		by, second string
		waived     bool
		want       exit.Code
		says       string
	}{
		{"", "", false, exit.Refused, "NEEDS WAIVER"},
		{"cora", "", false, exit.Refused, "waived by         cora\n"},
		{"cora", "", true, exit.Done, "waived by         cora\n"},
		{"cora", "konrad", true, exit.Done, "waived by         cora and, as second approver, konrad\n"},
	} {
		c.say("EvaluatePlan", &pb.Report{Plan: "loop-1", PlanVersion: 1, Verdict: "needs_waiver", Hash: "beef", Waived: x.waived, Findings: []*pb.Finding{
			{Status: "needs_waiver", Rule: "level.visibility", Key: "k", Place: "at the surface", Message: "low", WaivedBy: x.by, WaiverSecondApprover: x.second}, {Status: "pass", Rule: "x", Key: "y"},
		}})
		got := c.run("plan", "check", "loop-1", "--as", "table")
		if got.code != x.want || !strings.Contains(got.out, x.says) || strings.Contains(got.out, "PASSES, with what was waived") != x.waived || strings.Contains(got.out, "at at") {
			t.Errorf("%+v: %d\n%s", x, got.code, got.out)
		}
	}
}

// TestSiteHistoryTellsRates, hidden counts, and days where no more may be told.
func TestSiteHistoryTellsRates(t *testing.T) {
	c := newClub(t)
	for _, x := range []struct {
		rate *pb.IncidentRate
		n    int32
		want string
	}{
		{&pb.IncidentRate{ShownAs: "fewer than 3"}, 0, "fewer than 3  not shown"},
		{&pb.IncidentRate{ShownAs: "4", PerThousand: 4, Lower: 1.1, Upper: 10.2}, 4, "4  4.0 per 1,000 people-dives (1.1 to 10.2)"},
	} {
		c.say("GetSiteHistory", &pb.SiteHistory{Site: "spring", Dives: 500, PeopleDives: 1000, Incidents: x.n, Rate: x.rate, Entries: []*pb.SiteHistoryEntry{
			{Kind: "incident", Id: "i-1", Day: "2026-06-07", Summary: "incident of level 1"},
		}})
		if got := c.run("site", "history", "spring", "--as", "table"); !strings.Contains(strings.Join(strings.Fields(got.out), " "), strings.Join(strings.Fields(x.want), " ")) || !strings.Contains(got.out, "2026-06-07  incident") {
			t.Errorf("%s\n%s", got.out, got.err)
		}
	}
}

func TestErrorsEndAsDocumented(t *testing.T) {
	c := newClub(t)
	s, err := status.New(codes.InvalidArgument, "not a site").WithDetails(&errdetails.BadRequest{FieldViolations: []*errdetails.BadRequest_FieldViolation{
		{Field: "site.grade", Description: "read 9, expected 1 to 5"}, {Field: "site.title", Description: "is missing"},
	}})
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range []struct {
		status *status.Status
		code   exit.Code
		words  []string
	}{
		{status.New(codes.NotFound, "no site \"x\""), exit.NotAllowed, []string{"not found: no site"}},
		{status.New(codes.PermissionDenied, "coordinators only"), exit.NotAllowed, []string{"not allowed"}},
		{status.New(codes.Unauthenticated, "expired"), exit.NotAllowed, []string{"lastlight login"}},
		{status.New(codes.FailedPrecondition, "withdrawn"), exit.Conflict, []string{"not possible now"}},
		{status.New(codes.Aborted, "version 4 stands"), exit.Conflict, []string{"changed meanwhile"}},
		{status.New(codes.AlreadyExists, "hollow-spring"), exit.Conflict, []string{"exists already"}},
		{status.New(codes.Internal, "incident 5f"), exit.Internal, []string{"incident 5f"}},
		{status.New(codes.DeadlineExceeded, ""), exit.Unreachable, []string{"no answer in time"}},
		{s, exit.Invalid, []string{"site.grade: read 9, expected 1 to 5", "site.title: is missing"}},
		{status.New(codes.Internal, "red\x1b[31m"), exit.Internal, []string{"red[31m"}},
	} {
		c.answer("GetSite", func(proto.Message) (proto.Message, error) { return nil, x.status.Err() })
		got := c.run("site", "show", "hollow-spring")
		if got.code != x.code || got.out != "" {
			t.Errorf("%s: ends with %d, want %d", x.status.Code(), got.code, x.code)
		}
		for _, w := range x.words {
			if !strings.Contains(got.err, w) {
				t.Errorf("%s: %q lacks %q", x.status.Code(), got.err, w)
			}
		}
	}
	for _, args := range [][]string{
		{"sit"},
		{"site", "show"},
		{"site", "list", "--nope"},
		{"--as", "xml", "whoami"},
		{"--request-id", "7", "whoami"},
		{"--units", "furlongs", "whoami"},
		{"sheet", "in"},
		{"sheet", "columns"},
		{"sheet", "columns", "person", "site"},
		{"person", "my-data", "ane"},
	} {
		if got := c.run(args...); got.code != exit.Usage || got.err == "" {
			t.Errorf("%v: %d %s", args, got.code, got.err)
		}
	}
	if got := c.run("whoami", "--server", "127.0.0.1:1", "--timeout", "300ms"); got.code != exit.Unreachable {
		t.Errorf("nobody there: %d %s", got.code, got.err)
	}
}

// TestRetries: a restarting server is asked again, a write with the same id.
func TestRetries(t *testing.T) {
	c := newClub(t)
	tries := 0
	c.answer("CreateSite", func(proto.Message) (proto.Message, error) {
		if tries++; tries < 3 {
			return nil, status.Error(codes.Unavailable, "starting")
		}
		return c.samples["lastlight.v1.Site"], nil
	})
	const id = "7d5f2f0e-53a5-4f0f-8b11-0d3c1a0b6f11"
	args := []string{"site", "create", "x", "--title", "X", "--time-zone", "UTC", "--water-density", "1000", "--grade", "1", "--request-id", id}
	if got := c.run(args...); got.code != exit.Done {
		t.Fatal(got.err)
	}
	asked := c.asked("CreateSite")
	if len(asked) != 3 {
		t.Fatalf("%d tries", len(asked))
	}
	for _, r := range asked {
		if r.(*pb.CreateSiteRequest).GetRequestId() != id {
			t.Errorf("request id %s", r.(*pb.CreateSiteRequest).GetRequestId())
		}
	}
	c.answer("CreateSite", func(proto.Message) (proto.Message, error) { return nil, status.Error(codes.DeadlineExceeded, "") })
	if got := c.run(args...); got.code != exit.Unreachable || !strings.Contains(got.err, "--request-id "+id) {
		t.Errorf("%d %s", got.code, got.err)
	}
}

// TestExplainNowTakesAVersion: --now asks the engine for the version that was named, or for the last one.
func TestExplainNowTakesAVersion(t *testing.T) {
	c := newClub(t)
	c.say("EvaluatePlan", &pb.Report{Plan: "loop-1", PlanVersion: 2, Verdict: "pass"})
	for i, x := range []struct {
		more    []string
		version int32
	}{{nil, 0}, {[]string{"--version", "2"}, 2}} {
		if got := c.run(append([]string{"plan", "explain", "loop-1", "--now"}, x.more...)...); got.code != exit.Done {
			t.Fatalf("%v: %d %s", x.more, got.code, got.err)
		}
		if asked := c.asked("EvaluatePlan")[i].(*pb.EvaluatePlanRequest); asked.GetId() != "loop-1" || asked.GetVersion() != x.version {
			t.Errorf("%v asks %v", x.more, asked)
		}
	}
	if got := c.run("plan", "explain", "loop-1", "--now", "--version", "two"); got.code != exit.Usage {
		t.Errorf("a version in letters: %d %s", got.code, got.err)
	}
}

// TestNowIsOneInstant: an analyser calibrated "now" is not calibrated after the analysis of "now".
func TestNowIsOneInstant(t *testing.T) {
	c := newClub(t)
	c.tick = time.Second
	got := c.run("analysis", "record", "c-12-1", "--analysed-at", "now", "--oxygen-percent", "32.4", "--calibrated-at", "now")
	if got.code != exit.Done {
		t.Fatal(got.err)
	}
	a := c.asked("RecordAnalysis")[0].(*pb.RecordAnalysisRequest).GetAnalysis()
	if !a.GetAnalysedAt().AsTime().Equal(a.GetCalibratedAt().AsTime()) {
		t.Errorf("analysed %s, calibrated %s", a.GetAnalysedAt().AsTime(), a.GetCalibratedAt().AsTime())
	}
}

// TestUnitsReachTheServerAsTyped: the API converts; the client never does on the way in.
func TestUnitsReachTheServerAsTyped(t *testing.T) {
	c := newClub(t)
	create := func(units string, more ...string) *pb.Cylinder {
		t.Helper()
		before := len(c.asked("CreateCylinder"))
		got := c.run(append([]string{"cylinder", "create", "x", "--serial", "1", "--maker", "m", "--material", "steel", "--jurisdiction", "us", "--units", units}, more...)...)
		if got.code != exit.Done {
			t.Fatal(got.err)
		}
		return c.asked("CreateCylinder")[before].(*pb.CreateCylinderRequest).GetCylinder()
	}
	m := create("metric", "--water-volume", "11.1", "--working-pressure", "207")
	if m.GetWaterVolume().GetLitres() != 11.1 || m.GetWorkingPressure().GetBar() != 207 {
		t.Error(m)
	}
	i := create("imperial", "--water-volume", "80", "--working-pressure", "3000")
	if i.GetWaterVolume().GetCubicFeetOfGasAtWorkingPressure() != 80 || i.GetWorkingPressure().GetPsi() != 3000 {
		t.Error(i)
	}
	x := create("imperial", "--water-volume", "12L", "--working-pressure", "232 bar")
	if x.GetWaterVolume().GetLitres() != 12 || x.GetWorkingPressure().GetBar() != 232 {
		t.Error(x)
	}
	if got := c.run("cylinder", "show", "c-12-1", "--units", "imperial", "--as", "table"); !strings.Contains(got.out, "3365 psi") || !strings.Contains(got.out, "97 ft³") {
		t.Error(got.out)
	}
}

// TestUpdateKeepsTheRest: flags change what they name, on the version that was read.
func TestUpdateKeepsTheRest(t *testing.T) {
	c := newClub(t)
	site := proto.Clone(c.samples["lastlight.v1.Site"]).(*pb.Site)
	site.Version = 7
	c.say("GetSite", site)
	if got := c.run("site", "update", "hollow-spring", "--grade", "4"); got.code != exit.Done {
		t.Fatal(got.err)
	}
	req := c.asked("UpdateSite")[0].(*pb.UpdateSiteRequest)
	want := proto.Clone(site).(*pb.Site)
	want.Grade = 4
	if req.GetExpectedVersion() != 7 || !proto.Equal(req.GetSite(), want) {
		t.Errorf("sent %v", req)
	}
}

func TestListsFollowPages(t *testing.T) {
	c := newClub(t)
	c.answer("ListSites", func(m proto.Message) (proto.Message, error) {
		req := m.(*pb.ListSitesRequest)
		if req.GetSearch() != "spring" {
			t.Errorf("search lost: %v", req)
		}
		switch req.GetPageToken() {
		case "":
			return &pb.ListSitesResponse{Sites: []*pb.Site{{Id: "a"}, {Id: "b"}}, NextPageToken: "2"}, nil
		default:
			return &pb.ListSitesResponse{Sites: []*pb.Site{{Id: "c", Title: "tab\there\x1b[2J"}}}, nil
		}
	})
	got := c.run("site", "list", "--search", "spring")
	if want := "id\ttitle\tgrade\ttime_zone\tsurvey\tarchived\na\t\t0\t\t0\t\nb\t\t0\t\t0\t\nc\ttab here[2J\t0\t\t0\t\n"; got.out != want {
		t.Errorf("got %q", got.out)
	}
	got = c.run("site", "list", "--search", "spring", "--limit", "2")
	if strings.Count(got.out, "\n") != 3 || !strings.Contains(got.err, "more than 2") {
		t.Error(got)
	}
	got = c.run("site", "list", "--search", "spring", "--json")
	var all struct{ Sites []struct{ ID string } }
	if err := json.Unmarshal([]byte(got.out), &all); err != nil || len(all.Sites) != 3 {
		t.Errorf("%v %s", err, got.out)
	}
}

func TestApply(t *testing.T) {
	c := newClub(t)
	path := filepath.Join(c.dir, "two.yaml")
	write := func(text string) {
		t.Helper()
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	good := "records:\n  - role: {person: ane, role: diver}\n  - role: {person: rolf, role: cover}\n"
	write(good)
	c.say("ApplyRecords", &pb.ApplyRecordsResponse{Records: []*pb.AppliedRecord{
		{Kind: "role", Id: "r1", Outcome: "unchanged"}, {Kind: "role", Id: "r2", Outcome: "unchanged", NotLookedAt: []string{"a", "b"}},
	}})
	got := c.run("apply", "-f", path, "--as", "table")
	if got.code != exit.Done || !strings.Contains(got.out, "Nothing changed.") || !strings.Contains(got.out, "Not looked at, for you do not see it on record: role: a, b (in 1 of them). It stays as it is.") {
		t.Error(got)
	}
	if c.asked("ApplyRecords")[0].(*pb.ApplyRecordsRequest).GetDryRun() {
		t.Error("sent as a dry run")
	}
	// The server's problems get their lines.
	c.say("ApplyRecords", &pb.ApplyRecordsResponse{Problems: []*pb.Problem{{Field: "records[1].role.person", Read: "rolf", Expected: "a person on record", Message: "nobody by that id"}}})
	got = c.run("apply", "-f", path)
	if got.code != exit.Invalid || !strings.Contains(got.err, path+":3:20: records[1].role.person: nobody by that id") {
		t.Error(got)
	}
	// With a problem of its own the client asks for the others', and stores nothing.
	write(good + "  - role: {person: x, role: king}\n")
	got = c.run("apply", "-f", path)
	last := c.asked("ApplyRecords")[2].(*pb.ApplyRecordsRequest)
	if got.code != exit.Invalid || !last.GetDryRun() || !strings.Contains(got.err, "nobody by that id") || !strings.Contains(got.err, ":4:29: records[2].role.role") || !strings.Contains(got.err, "2 problems") {
		t.Error(got, last.GetDryRun())
	}
	// A server that cannot be reached does not hide them.
	got = c.run("apply", "-f", path, "--server", "127.0.0.1:1", "--timeout", "300ms")
	if got.code != exit.Invalid || !strings.Contains(got.err, "role.role") {
		t.Error(got)
	}
	before := len(c.asked("ApplyRecords"))
	if got = c.run("apply", "-f", path, "-f", "nowhere.yaml"); got.code != exit.Invalid || len(c.asked("ApplyRecords")) != before {
		t.Error(got)
	}
}

func TestExportIsWhatApplyTakes(t *testing.T) {
	c := newClub(t)
	var all []*pb.Record
	for _, m := range []proto.Message{c.samples["lastlight.v1.Site"], c.samples["lastlight.v1.Reading"]} {
		r := &pb.Record{}
		switch m := m.(type) {
		case *pb.Site:
			r.Record = &pb.Record_Site{Site: m}
		case *pb.Reading:
			r.Record = &pb.Record_Reading{Reading: m}
		}
		all = append(all, r)
	}
	c.answer("ExportRecords", func(m proto.Message) (proto.Message, error) {
		if m.(*pb.ExportRecordsRequest).GetPageToken() == "" {
			return &pb.ExportRecordsResponse{Records: all[:1], NextPageToken: "2"}, nil
		}
		return &pb.ExportRecordsResponse{Records: all[1:]}, nil
	})
	got := c.run("export")
	// Times of a site are written in its zone.
	if got.code != exit.Done || !strings.Contains(got.out, "read_at: 2026-06-01T07:40:00+02:00") {
		t.Error(got)
	}
	if got := c.with(got.out, nil, "apply", "-f", "-"); got.code != exit.Done {
		t.Error(got)
	}
	sent := c.asked("ApplyRecords")[0].(*pb.ApplyRecordsRequest).GetRecords()
	if len(sent) != 2 || !proto.Equal(sent[0], all[0]) || !proto.Equal(sent[1], all[1]) {
		t.Error(sent)
	}
}

// TestTokensStayOut: of output, errors and readable files.
func TestTokensStayOut(t *testing.T) {
	c := newClub(t)
	c.env["LASTLIGHT_TOKEN_FILE"] = ""
	got := c.with("another-token\n", nil, "login", "--units", "imperial")
	if got.code != exit.Done || strings.Contains(got.out+got.err, "another-token") {
		t.Fatal(got)
	}
	path := filepath.Join(c.dir, ".config", "lastlight", "club.token")
	info, err := os.Stat(path)
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Fatal(err, info)
	}
	if got = c.run("config"); got.code != exit.Done || strings.Contains(got.out, "another-token") || !strings.Contains(got.out, "units\timperial") {
		t.Error(got)
	}
	if err := os.Chmod(path, 0o640); err != nil {
		t.Fatal(err)
	}
	if got = c.run("whoami"); got.code != exit.Usage || !strings.Contains(got.err, "0640") {
		t.Error(got)
	}
	if got = c.with("two words\n", nil, "login"); got.code != exit.Usage || strings.Contains(got.err, "two words") {
		t.Error(got)
	}
	if got = c.run("whoami", "--token-file", filepath.Join(c.dir, "none")); got.code != exit.NotAllowed {
		t.Error(got)
	}
}

// TestTheCAIsPinned: a server that the club's CA did not sign gets no token.
func TestTheCAIsPinned(t *testing.T) {
	c, other := newClub(t), newClub(t)
	got := c.run("whoami", "--ca", other.env["LASTLIGHT_CA"], "--timeout", "400ms")
	if got.code != exit.Unreachable || len(c.requests) != 0 {
		t.Error(got)
	}
}

func TestSignInSendsWhatWasMeasured(t *testing.T) {
	c := newClub(t)
	c.say("SignIn", &pb.SignInResponse{Go: true})
	got := c.run("watch", "sign-in", "loop-1", "--version", "3", "--measured", "ane=2900psi", "--measured", "rolf=200", "--stage", "ane:s-1=180", "--temperature-c", "12", "--check")
	if got.code != exit.Done {
		t.Fatal(got.err)
	}
	req := c.asked("SignIn")[0].(*pb.SignInRequest)
	if !req.GetCheckOnly() || len(req.GetMeasured()) != 2 || req.GetMeasured()[0].GetStartPressure().GetPsi() != 2900 ||
		req.GetMeasured()[0].GetCylinders()[0].GetPressure().GetBar() != 180 || req.GetMeasured()[1].GetTemperatureC() != 12 {
		t.Error(req)
	}
	if got := c.run("watch", "sign-out", "d-1"); got.code != exit.Usage {
		t.Errorf("symptoms unanswered: %d", got.code)
	}
	for _, bad := range []string{"ane", "=200", "ane=x"} {
		if got := c.run("watch", "sign-in", "loop-1", "--version", "3", "--measured", bad); got.code != exit.Usage {
			t.Errorf("%s: %d", bad, got.code)
		}
	}
}

// What was not read is asked for by the flag that gives it: a stage by --stage.
func TestSignInNamesTheFlagOfAStage(t *testing.T) {
	c := newClub(t)
	s, err := status.New(codes.InvalidArgument, "not as expected").WithDetails(&errdetails.BadRequest{FieldViolations: []*errdetails.BadRequest_FieldViolation{
		{Field: "measured[0].cylinders", Description: "no pressure was read for cylinder s-1 of ane"},
		{Field: "measured", Description: "no pressure was read for rolf"},
		{Field: "measured[0].temperature_c", Description: "no temperature of a gas"},
	}})
	if err != nil {
		t.Fatal(err)
	}
	c.answer("SignIn", func(proto.Message) (proto.Message, error) { return nil, s.Err() })
	got := c.run("watch", "sign-in", "loop-1", "--version", "3", "--measured", "ane=200")
	for _, want := range []string{"--stage: no pressure was read for cylinder s-1 of ane", "--measured: no pressure was read for rolf", "--temperature-c: no temperature of a gas"} {
		if !strings.Contains(got.err, want) {
			t.Errorf("%q is missing:\n%s", want, got.err)
		}
	}
}

// lastlightd evaluate reads this form: input and report stand in it byte for byte.
func TestEvidenceIsOneFile(t *testing.T) {
	c := newClub(t)
	c.say("GetEvidence", &pb.Evidence{Plan: "loop-1", PlanVersion: 2, Hash: "beef", Input: []byte(`{"a":1.50,"b":"<"}`), Report: []byte(`{"c":2e0}`)})
	want := "{\"plan\":\"loop-1\",\"plan_version\":2,\"hash\":\"beef\",\n\"input\":{\"a\":1.50,\"b\":\"<\"},\n\"report\":{\"c\":2e0}}\n"
	for _, as := range []string{"table", "tabs"} {
		if got := c.run("plan", "evidence", "loop-1", "--as", as); got.code != exit.Done || got.out != want {
			t.Errorf("as %s: %d %s", as, got.code, got.out)
		}
	}
}

// What the server finds wrong with a file's record has its line there, in an expression that of the expression; what is wrong with
// the call itself has none.
func TestProblemsOfARecordHaveTheirLine(t *testing.T) {
	c := newClub(t)
	path := filepath.Join(c.dir, "own.yaml")
	file := "reason: r\nbased_on: shipped-default\ndocument:\n  own_rules:\n    - id: own.x\n      holds: |\n        plan.jumps < 3 &&\n          plan.nigth\n"
	if err := os.WriteFile(path, []byte(file), 0o600); err != nil {
		t.Fatal(err)
	}
	say := func(v ...*errdetails.BadRequest_FieldViolation) {
		s, err := status.New(codes.InvalidArgument, "not a policy").WithDetails(&errdetails.BadRequest{FieldViolations: v})
		if err != nil {
			t.Fatal(err)
		}
		c.answer("CreatePolicy", func(proto.Message) (proto.Message, error) { return nil, s.Err() })
	}
	say(
		&errdetails.BadRequest_FieldViolation{Field: "policy.document.own_rules[0].title", Description: "missing; expected: text"},
		&errdetails.BadRequest_FieldViolation{Field: "policy.document.own_rules[0].holds", Description: "undefined field; read: plan.jumps; expected: an expression", Reason: "LINE_2_COLUMN_7"},
	)
	got := c.run("policy", "create", "x", "-f", path)
	for _, want := range []string{path + ":8:15: document.own_rules[0].holds: undefined field\n", path + ":5:7: document.own_rules[0].title: missing\n", "expected: an expression", "2 problems"} {
		if got.code != exit.Invalid || !strings.Contains(got.err, want) {
			t.Errorf("ends with %d, lacks %q:\n%s", got.code, want, got.err)
		}
	}
	if n := strings.Count(got.err, "plan.jumps"); n != 1 {
		t.Errorf("what was read is said %d times", n)
	}
	say(&errdetails.BadRequest_FieldViolation{Field: "request_id", Description: "not a UUID"})
	if got := c.run("policy", "create", "x", "-f", path); got.code != exit.Invalid || strings.Contains(got.err, path) || !strings.Contains(got.err, "--request-id: not a UUID") {
		t.Errorf("of the call itself: %d %s", got.code, got.err)
	}
}
